package compare

import (
	"encoding/binary"
	"reflect"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/limits"
)

// reaching is a boost target, a cut, and tables over the pressure that they let in: in kPa and in bar, on an axis
// that two share, on fixed points, against ambient, and over gears, which are places.
const reaching = `
name: reaching
title: Tables over what others reach
byte_order: big
image: {start: 0, size: 0x80}
axes:
  - {id: map, quantity: manifold_pressure, unit: kPa, stored: {address: 0x00, type: u16, count: 3}}
tables:
  - {id: target, quantity: manifold_pressure, unit: kPa, stored: {address: 0x10, type: u16}, x: {id: rpm, quantity: engine_speed, unit: 1/min, points: [2000, 4000]}}
  - {id: cut, quantity: manifold_pressure, unit: bar, conversion: {factor: 0.01}, stored: {address: 0x18, type: u16}}
  - {id: fuel, quantity: injection_time, unit: ms, stored: {address: 0x20, type: u8}, x: {axis: map}}
  - {id: advance, quantity: ignition_advance, unit: deg, stored: {address: 0x28, type: u8}, x: {id: ax, quantity: engine_speed, unit: 1/min, points: [2000, 4000]}, y: {axis: map}}
  - {id: duty, quantity: duty, unit: "%", stored: {address: 0x30, type: u8}, x: {id: dx, quantity: manifold_pressure, unit: bar, points: [1, 2.6]}}
  - {id: gear.top, quantity: gear, unit: "1", stored: {address: 0x38, type: u8}}
  - {id: gear.cut, quantity: torque, unit: N.m, stored: {address: 0x40, type: u8}, x: {id: gx, quantity: gear, unit: "1", points: [1, 2, 3, 4, 5], index: true}}
`

func reachingImage() []byte {
	b := make([]byte, 0x80)
	for at, v := range map[int]uint16{0: 100, 2: 200, 4: 250, 0x10: 180, 0x12: 230, 0x18: 260} {
		binary.BigEndian.PutUint16(b[at:], v)
	}
	b[0x38] = 4
	return b
}

// groundIn compares an edit of the image, and is what the limits would be given too.
func groundIn(t *testing.T, yaml string, edit func(b []byte)) (*calibrationv1.Report, []limits.NewGround) {
	t.Helper()
	lay, base := layoutOf(t, yaml), reachingImage()
	cand := edited(base, edit)
	s, err := compare(Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay})
	if err != nil {
		t.Fatal(err)
	}
	return s.report, s.ground
}

func TestNewGround(t *testing.T) {
	put := func(at int, v uint16) func(b []byte) { return func(b []byte) { binary.BigEndian.PutUint16(b[at:], v) } }
	for name, c := range map[string]struct {
		edit             func(b []byte)
		severity, detail string // of target; severity empty: no finding
		ground           []limits.NewGround
	}{
		"within the axes": {put(0x12, 240), "notice", "its greatest value rose from 230 to 240 kPa (x 4000)",
			[]limits.NewGround{{Quantity: "manifold_pressure", Unit: "kPa", From: 230, To: 240, By: []string{"target"}}}},
		"to an end":     {put(0x12, 250), "notice", "its greatest value rose from 230 to 250 kPa (x 4000)", []limits.NewGround{{Quantity: "manifold_pressure", Unit: "kPa", From: 230, To: 250, By: []string{"target"}}}},
		"past two ends": {put(0x12, 255), "caution", "its greatest value rose from 230 to 255 kPa (x 4000); before that end fuel at 250 kPa, advance at 250 kPa", []limits.NewGround{{Quantity: "manifold_pressure", Unit: "kPa", From: 230, To: 255, By: []string{"target"}}}},
		"past all":      {put(0x10, 270), "caution", "its greatest value rose from 230 to 270 kPa (x 2000); before that end fuel at 250 kPa, advance at 250 kPa, duty at 2.6 bar", nil},
		"below":         {put(0x10, 90), "caution", "its least value fell from 180 to 90 kPa (x 2000); before that end fuel at 100 kPa, advance at 100 kPa, duty at 1 bar", []limits.NewGround{{Quantity: "manifold_pressure", Unit: "kPa", From: 180, To: 90, By: []string{"target"}}}},
		"both ways": {func(b []byte) { put(0x10, 170)(b); put(0x12, 235)(b) }, "notice", "its greatest value rose from 230 to 235 kPa (x 4000); its least value fell from 180 to 170 kPa (x 2000)",
			[]limits.NewGround{{Quantity: "manifold_pressure", Unit: "kPa", From: 180, To: 170, By: []string{"target"}}, {Quantity: "manifold_pressure", Unit: "kPa", From: 230, To: 235, By: []string{"target"}}}},
		"inside the old reach": {put(0x10, 200), "", "", []limits.NewGround(nil)},
	} {
		r, ground := groundIn(t, reaching, c.edit)
		if c.severity == "" {
			if len(r.Findings) != 0 || len(ground) != 0 {
				t.Errorf("%s: %v, %v", name, r.Findings, ground)
			}
			continue
		}
		f := finding(t, r, "new-ground:target")
		if f.Severity != c.severity || f.Detail != c.detail || strings.Join(f.Tables, " ") != "fuel advance duty" || f.Count != 3 || f.Origin != "" {
			t.Errorf("%s: %v\nwant %s, %s", name, f, c.severity, c.detail)
		}
		if c.ground != nil && !reflect.DeepEqual(ground, c.ground) {
			t.Errorf("%s: the limits are given %v, want %v", name, ground, c.ground)
		}
	}
	r, _ := groundIn(t, reaching, put(0x12, 240))
	if w := finding(t, r, "new-ground:target").Worst; w.GetValue() != 240 || w.GetLimit() != 230 || w.GetExcess() != 10 || w.GetX() != 4000 || w.GetColumn() != 1 {
		t.Errorf("worst: %v", w)
	}
}

// Two tables that moved are two findings and one stretch: target from 230 to 265 kPa, cut from 2.6 to 2.7 bar.
func TestNewGroundOfTwoTables(t *testing.T) {
	r, ground := groundIn(t, reaching, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x12:], 265)
		binary.BigEndian.PutUint16(b[0x18:], 270)
	})
	if f := finding(t, r, "new-ground:cut"); f.Detail != "its greatest value rose from 2.6 to 2.7 bar (its one cell); before that end fuel at 250 kPa, advance at 250 kPa, duty at 2.6 bar" {
		t.Errorf("cut: %v", f)
	}
	finding(t, r, "new-ground:target")
	want := []limits.NewGround{{Quantity: "manifold_pressure", Unit: "kPa", From: 230, To: 270, By: []string{"target", "cut"}}}
	if len(ground) != 1 || ground[0].To < 269.999 || ground[0].To > 270.001 {
		t.Fatalf("the limits are given %v, want %v", ground, want)
	}
	if ground[0].To = 270; !reflect.DeepEqual(ground, want) {
		t.Errorf("the limits are given %v, want %v", ground, want)
	}
}

// What overlaps and goes the same way is one; worked by hand.
func TestJoinGround(t *testing.T) {
	g := func(from, to float64, by ...string) limits.NewGround {
		return limits.NewGround{Quantity: "q", Unit: "1", From: from, To: to, By: by}
	}
	got := joinGround([]limits.NewGround{g(9, 12, "a"), g(5, 3, "b"), g(1, 4, "c"), g(4, 2, "a"), g(12, 13, "d"), g(2, 3, "c"), g(1, 0, "e")})
	want := []limits.NewGround{g(5, 2, "b", "a"), g(1, 0, "e"), g(1, 4, "c"), g(9, 13, "a", "d")}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

func TestNewGroundOfPlaces(t *testing.T) {
	for to, severity := range map[byte]string{5: "notice", 6: "caution"} {
		r, _ := groundIn(t, reaching, func(b []byte) { b[0x38] = to })
		if f := finding(t, r, "new-ground:gear.top"); f.Severity != severity || len(f.Tables) != 1 || f.Tables[0] != "gear.cut" {
			t.Errorf("gear %d: %v", to, f)
		}
	}
}

// A table over its own quantity opens nothing of itself.
func TestNewGroundOfATableOverItsOwnQuantity(t *testing.T) {
	own := strings.Replace(reaching, "  - {id: gear.top,", `  - {id: own, quantity: manifold_pressure, unit: kPa, stored: {address: 0x50, type: u8}, x: {id: ox, quantity: manifold_pressure, unit: kPa, points: [100, 300]}}
  - {id: gear.top,`, 1)
	r, _ := groundIn(t, own, func(b []byte) { b[0x50] = 9 })
	if f := finding(t, r, "new-ground:own"); strings.Join(f.Tables, " ") != "fuel advance duty" {
		t.Errorf("own: %v", f)
	}
}

// A pressure against ambient is another one: nothing says where on that axis the engine gets.
func TestNewGroundThatDoesNotConvert(t *testing.T) {
	gauge := strings.Replace(reaching, "quantity: manifold_pressure, unit: bar, points", `quantity: manifold_pressure, unit: "bar{gauge}", points`, 1)
	r, _ := groundIn(t, gauge, func(b []byte) { binary.BigEndian.PutUint16(b[0x12:], 240) })
	if f := finding(t, r, "new-ground:target"); strings.Join(f.Tables, " ") != "fuel advance" {
		t.Errorf("finding: %v", f)
	}
	if len(r.Unjudged) != 1 || r.Unjudged[0].Rule != "new-ground" || r.Unjudged[0].Table != "duty" || !strings.Contains(r.Unjudged[0].Reason, "gauge") {
		t.Errorf("unjudged: %v", r.Unjudged)
	}
}

// The breakpoints that count are the candidate's: an axis that was made longer with the target does not end before it.
func TestNewGroundOnALongerAxis(t *testing.T) {
	r, _ := groundIn(t, reaching, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x12:], 255)
		binary.BigEndian.PutUint16(b[0x04:], 260)
	})
	if f := finding(t, r, "new-ground:target"); f.Severity != "notice" {
		t.Errorf("an axis that grew: %v", f)
	}
	// A cell that is no number reaches nowhere.
	float := strings.Replace(reaching, "{address: 0x18, type: u16}", "{address: 0x18, type: f32}", 1)
	if r, _ := groundIn(t, float, func(b []byte) { putFloat(b, 0x18, float32(1e30)); b[0x18], b[0x19] = 0x7F, 0x80 }); len(r.Findings) == 0 || r.Findings[0].Rule != "not-finite" || len(r.Findings) != 1 {
		t.Errorf("an infinity: %v", r.Findings)
	}
}

// What the limits are given they judge: fuel did not change, and 25 ms at 240 kPa, where the engine newly gets, is too much.
func TestLimitsOnNewGround(t *testing.T) {
	lim := limitsOf(t, `
name: reaching-limits
title: Injection time
rules:
  - {id: most, severity: danger, select: {tables: [fuel]}, reason: r, source: made up for this test, envelope: {side: max, unit: ms, x: {quantity: manifold_pressure, unit: kPa, points: [230, 250]}, values: [[20, 20]]}}
`)
	lay, base := layoutOf(t, reaching), edited(reachingImage(), func(b []byte) { copy(b[0x20:], []byte{10, 10, 30}) })
	run := func(reach uint16) *calibrationv1.Report {
		return compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, edited(base, func(b []byte) { binary.BigEndian.PutUint16(b[0x12:], reach) })), Layout: lay, Limits: lim})
	}
	// fuel is 10 at 200 and 30 at 250 kPa: 22 at 230, and 26 at 240.
	f := finding(t, run(240), "most:fuel")
	if f.Origin != "introduced" || f.Worst.GetX() != 240 || f.Worst.GetValue() != 26 || f.Worst.GetExcess() != 6 {
		t.Errorf("new ground: %v", f)
	}
	if r := run(210); slices.Contains(keys(r), "most:fuel") {
		t.Errorf("no new ground: %v", r.Findings)
	}
}
