package compare

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/said"
)

// rich has one table of each structure, in an image of two regions: offset 0x100 is address 0x8000.
const rich = `
name: rich-1
byte_order: big
image:
  regions: [{start: 0x1000, size: 0x100}, {start: 0x8000, size: 0x20}]
  segments: [{start: 0x1000, end: 0x1010, content: code}, {start: 0x1010, end: 0x1100, content: calibration}]
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x1010, type: u16, count: 3}}
  - {id: rpm.index, unit: "1", by: {curve: rpm.to.index}, stored: {address: 0x1054, type: u8, count: 2}}
tables:
  - id: trim
    quantity: fuel_trim
    unit: "%"
    stored: {address: 0x1020, type: u8}
    conversion: {factor: 0.5}
    axes:
      - {axis: rpm}
      - {id: trim.load, quantity: cylinder_filling, unit: "%", stored: {address: 0x1016, type: u8, count: 2}}
      - {id: trim.temp, quantity: coolant_temperature, unit: Cel, stored: {address: 0x1018, type: u8, count: 2}}
  - id: pump
    quantity: pump_duty
    unit: "%"
    stored: {address: 0x1035, type: u8, layout: packed}
    x: {id: pump.load, quantity: cylinder_filling, unit: "%", stored: {address: 0x1031, type: u8, count: 4, count_at: {address: 0x1030, type: u8}}}
  - id: idle
    quantity: idle_air
    unit: kg/h
    stored: {address: 0x1040, type: u8, pointer: u16}
    x: {id: idle.state, index: true, labels: [cold, warm]}
  - {id: cut, quantity: engine_speed, unit: 1/min, protects: lower, stored: {address: 0x1044, type: u16, not_a_value: [0xFFFF]}}
  - {id: duty, quantity: duty, unit: "%", stored: {address: 0x1048, type: u8, not_a_value: [255]}, x: {axis: rpm}}
  - {id: therm, quantity: coolant_temperature, unit: Cel, stored: {address: 0x104C, type: u8}, conversion: {points: {raw: [0, 100, 255], physical: [-40, 25, 130]}}}
  - {id: rpm.to.index, quantity: index, unit: "1", stored: {address: 0x104E, type: u8}, x: {id: rpm.ends, quantity: engine_speed, unit: 1/min, points: [0, 8000]}}
  - {id: dwell, quantity: dwell_time, unit: ms, stored: {address: 0x1056, type: u8}, x: {axis: rpm.index}}
  - {id: back, quantity: flow, unit_text: "U/ min ", stored: {address: 0x1072, type: u8, reversed: true}, x: {axis: rpm}}
  - {id: note, kind: text, stored: {address: 0x8000, length: 8}, encoding: ascii}
`

// richImage holds values that fit rich: trim from 50 to 55.5 %, pump with three of four points in use.
func richImage() []byte {
	b := make([]byte, 0x120)
	for i, v := range []uint16{1000, 2000, 4000} {
		binary.BigEndian.PutUint16(b[0x10+2*i:], v)
	}
	copy(b[0x16:], []byte{20, 80, 0, 80})
	for i := range 12 {
		b[0x20+i] = byte(100 + i)
	}
	copy(b[0x30:], []byte{3, 10, 40, 80, 50, 60, 70})
	copy(b[0x40:], []byte{0x10, 0x50})
	copy(b[0x50:], []byte{10, 20})
	copy(b[0x60:], []byte{10, 21})
	binary.BigEndian.PutUint16(b[0x44:], 6500)
	copy(b[0x48:], []byte{10, 20, 30})
	b[0x4C] = 100
	copy(b[0x4E:], []byte{0, 16})
	copy(b[0x54:], []byte{0, 16, 3, 4})
	copy(b[0x70:], []byte{33, 22, 11})
	copy(b[0x100:], "HILL")
	return b
}

// richReport compares richImage with an edit of it, every byte accounted for.
func richReport(t *testing.T, edit func(b []byte)) *calibrationv1.Report {
	t.Helper()
	base := richImage()
	cand := edited(base, edit)
	r := pair(t, layoutOf(t, rich), base, cand)
	differ := uint32(0)
	for i := range base {
		if base[i] != cand[i] {
			differ++
		}
	}
	if b := r.Bytes; b.Differing != differ || b.Differing != b.Mapped+b.Unmapped {
		t.Errorf("%d bytes differ: %v", differ, b)
	}
	return r
}

func tableOf(t *testing.T, r *calibrationv1.Report, id string) *calibrationv1.TableReport {
	t.Helper()
	i := slices.IndexFunc(r.Tables, func(t *calibrationv1.TableReport) bool { return t.Id == id })
	if i < 0 {
		t.Fatalf("%s did not change: %v", id, r)
	}
	return r.Tables[i]
}

// Worked by hand: the third cell of the first row of the second slice lies 8 cells in, and 4 raw steps are 2 %.
func TestBlockCells(t *testing.T) {
	r := richReport(t, func(b []byte) { b[0x28] = 112 })
	want := &calibrationv1.TableReport{Id: "trim", Kind: "block", Unit: "%", Cells: 12, Changed: 1, Delta: &calibrationv1.Delta{Min: 2, Max: 2, Mean: 2, Rms: 2},
		Changes: []*calibrationv1.CellChange{{Row: 0, Column: 2, X: proto.Float64(4000), Y: proto.Float64(20), Base: said.Number(54), Candidate: said.Number(56),
			Delta: proto.Float64(2), BaseRaw: proto.String("108"), CandidateRaw: proto.String("112"),
			Slice: &calibrationv1.Slice{Index: []uint32{1}, At: []*structpb.Value{said.Number(80)}}}}}
	if len(r.Tables) != 1 || !proto.Equal(r.Tables[0], want) {
		t.Errorf("got  %v\nwant %v", r.Tables, want)
	}
}

// Worked by hand: the second slice moves from 80 to 100 Cel. At 80 it is 4/5 of the way up from the first, which
// lies 3 % below: 0.6 % less than it was; at 0 and at 100 nothing moved.
func TestBlockWhoseSlicesMoved(t *testing.T) {
	r := tableOf(t, richReport(t, func(b []byte) { b[0x19] = 100 }), "trim")
	if !r.AxesChanged || r.Changed != 0 || r.Regridded || r.Surface != nil || len(r.Surfaces) != 3 {
		t.Fatalf("%v", r)
	}
	for i, want := range []struct{ at, base, cand float64 }{{0, 50, 50}, {80, 53, 52.4}, {100, 53, 53}} {
		s := r.Surfaces[i]
		if s.Slice.At[0].GetNumberValue() != want.at || math.Abs(s.Base[0].Values[0].GetNumberValue()-want.base) > 1e-9 || math.Abs(s.Candidate[0].Values[0].GetNumberValue()-want.cand) > 1e-9 {
			t.Errorf("%v, want %v", s, want)
		}
	}
	if d := r.Delta; math.Abs(d.Min+0.6) > 1e-9 || math.Abs(d.Max+0.6) > 1e-9 {
		t.Errorf("%v", d)
	}
}

// Points between slices grow with each axis that moved: of too many none are joined, and cells are compared by index.
func TestTooManyPointsBetweenSlices(t *testing.T) {
	lay := layoutOf(t, `
name: deep
byte_order: big
image: {start: 0, size: 0x20000}
tables:
  - id: deep
    unit: "1"
    stored: {address: 0x100, type: u8}
    axes: [{id: x, points: [0, 1, 2, 3, 4, 5, 6, 7, 8]}, {id: y, points: [0, 1]}, {id: z, stored: {address: 0, type: u8, count: 64}}, {id: w, stored: {address: 0x40, type: u8, count: 64}}]
`)
	base := make([]byte, 0x20000)
	for i := range 64 {
		base[i], base[0x40+i] = byte(2*i), byte(2*i)
	}
	for _, c := range []struct {
		moved, surfaces int
	}{{63, 0}, {1, 65 * 65}} {
		r := pair(t, lay, base, edited(base, func(b []byte) {
			for i := range c.moved {
				b[i]++
				b[0x40+i]++
			}
		}))
		if deep := r.Tables[0]; len(deep.Surfaces) != c.surfaces || !deep.AxesChanged || deep.Regridded != (c.surfaces > 0) {
			t.Errorf("%d moved: %d surfaces, re-gridded %v", c.moved, len(deep.Surfaces), deep.Regridded)
		}
	}
}

// A point of load moved in both slices: each has its own joined surface.
func TestBlockWhoseRowsMoved(t *testing.T) {
	r := tableOf(t, richReport(t, func(b []byte) { b[0x17] = 90 }), "trim")
	if len(r.Surfaces) != 2 || !slices.Equal(r.Surfaces[1].Y, []float64{20, 80, 90}) || r.Surfaces[1].Slice.Index[0] != 1 {
		t.Errorf("%v", r.Surfaces)
	}
}

// Worked by hand: a fourth point at 20 %. Where the base has 50 at 10 and 60 at 40, it is 53 1/3 at 20; a raw step is 1 %.
func TestAnotherCountOfBreakpoints(t *testing.T) {
	for _, c := range []struct {
		raw       byte
		regridded bool
		delta     float64
	}{{53, true, -1.0 / 3}, {56, false, 8.0 / 3}} {
		r := richReport(t, func(b []byte) { copy(b[0x30:], []byte{4, 10, 20, 40, 80, 50, c.raw, 60, 70}) })
		pump := tableOf(t, r, "pump")
		if pump.Cells != 4 || pump.Changed != 0 || !pump.AxesChanged || pump.Regridded != c.regridded || r.Bytes.Unmapped != 0 {
			t.Errorf("%v, %v", pump, r.Bytes)
		}
		want := &calibrationv1.Alignment{X: []*calibrationv1.AlignedIndex{{Side: "candidate", Index: 1, Point: 20}}}
		if !proto.Equal(pump.Alignment, want) || !slices.Equal(pump.Surface.X, []float64{10, 20, 40, 80}) {
			t.Errorf("%v, %v", pump.Alignment, pump.Surface)
		}
		if d := pump.Delta; math.Abs(d.Min-c.delta) > 1e-9 || math.Abs(d.Max-c.delta) > 1e-9 {
			t.Errorf("%v, want %v", d, c.delta)
		}
	}
	r := richReport(t, func(b []byte) { b[0x30] = 5 })
	if f := finding(t, r, "pointer:pump"); f.Severity != "danger" || len(r.Tables) != 0 || r.Bytes.Mapped != 1 || len(r.Unjudged) != 1 || r.Unjudged[0].Table != "pump" {
		t.Errorf("a count beyond the most: %v", r)
	}
}

// Two of three points are used along x and y: of the nine cells of a slice the seventh, say, belongs to nothing.
func TestCellsOfABlockThatAreNotUsed(t *testing.T) {
	lay := layoutOf(t, `
name: holed
byte_order: big
image: {start: 0, size: 0x40}
tables:
  - id: m
    unit: "1"
    stored: {address: 0x10, type: u8}
    axes:
      - {id: x, stored: {address: 2, type: u8, count: 3, count_at: {address: 0, type: u8}}}
      - {id: y, stored: {address: 5, type: u8, count: 3, count_at: {address: 1, type: u8}}}
      - {id: z, points: [0, 1]}
`)
	base := make([]byte, 0x40)
	copy(base, []byte{2, 2, 0, 1, 2, 0, 1, 2})
	for i, used := range []bool{true, true, false, true, true, false, false, false, false, true, true, false, true, true, false, false, false, false} {
		r := pair(t, lay, base, edited(base, func(b []byte) { b[0x10+i] = 1 }))
		if (r.Bytes.Mapped == 1) != used || (len(r.Tables) == 1) != used || (r.Bytes.Unmapped == 1) == used {
			t.Errorf("cell %d, used %v: %v", i, used, r)
		}
	}
}

func TestPointers(t *testing.T) {
	// Elsewhere one value is another one: the table changed there, and the byte there did not.
	r := richReport(t, func(b []byte) { b[0x41] = 0x60 })
	f := finding(t, r, "pointer:idle")
	if f.Severity != "warning" || f.Detail != "its pointer at 0x1040 leads to 0x1060, where it led to 0x1050" {
		t.Errorf("%v", f)
	}
	idle := tableOf(t, r, "idle")
	if c := idle.Changes; len(c) != 1 || c[0].GetXLabel() != "warm" || c[0].X != nil || c[0].GetDelta() != 1 || r.Bytes.Mapped != 1 {
		t.Errorf("%v", idle)
	}
	// The same values elsewhere are the same table.
	r = richReport(t, func(b []byte) { b[0x41], b[0x61] = 0x60, 20 })
	if len(r.Tables) != 0 || r.Bytes.Mapped != 2 || len(r.Findings) != 1 {
		t.Errorf("%v", r)
	}
	// Into the code: the warning says so.
	r = richReport(t, func(b []byte) { b[0x41], b[0x01] = 0x00, 7 })
	if f := finding(t, r, "pointer:idle"); !strings.HasSuffix(f.Detail, "in code instead of calibration") || r.Bytes.Unmapped != 0 {
		t.Errorf("%v, %v", f, r.Bytes)
	}
	// Outside, even by its last cell.
	r = richReport(t, func(b []byte) { copy(b[0x40:], []byte{0x10, 0xFF}); b[0x51] = 9 })
	if f := finding(t, r, "pointer:idle"); f.Severity != "danger" || len(r.Tables) != 0 || r.Bytes.Mapped != 2 {
		t.Errorf("%v, %v", f, r.Bytes)
	}
	// What led outside before and leads home now has nothing to be compared with.
	lay := layoutOf(t, rich)
	r = pair(t, lay, edited(richImage(), func(b []byte) { b[0x40] = 0 }), richImage())
	if idle := tableOf(t, r, "idle"); idle.Changed != 2 || len(idle.Changes) != 0 || finding(t, r, "pointer:idle").Severity != "warning" {
		t.Errorf("%v", r)
	}
	// A check looks at every table, and an image of which nothing changed says nothing.
	wrong := edited(richImage(), func(b []byte) { b[0x40] = 0 })
	if r, err := Check(whole(lay, wrong), lay, nil, nil); err != nil || finding(t, r, "pointer:idle").Severity != "danger" {
		t.Errorf("%v, %v", r, err)
	}
	if r := pair(t, lay, wrong, wrong); !quiet(r) {
		t.Errorf("%v", r)
	}
	if r := pair(t, lay, wrong, edited(wrong, func(b []byte) { b[0x57]++ })); len(r.Findings) != 0 || len(r.Unjudged) != 1 || r.Unjudged[0].Table != "idle" {
		t.Errorf("it led outside all along: %v", r)
	}
}

// Codes that are no value have no difference and no part in sums.
func TestCodesThatAreNoValue(t *testing.T) {
	r := richReport(t, func(b []byte) { b[0x44], b[0x45] = 0xFF, 0xFF })
	c := tableOf(t, r, "cut").Changes[0]
	if _, null := c.Candidate.Kind.(*structpb.Value_NullValue); !null || c.Base.GetNumberValue() != 6500 || c.Delta != nil || c.GetCandidateRaw() != "65535" || r.Tables[0].Delta != nil {
		t.Errorf("%v", r.Tables[0])
	}
	if f := finding(t, r, "switched-off:cut"); f.Severity != "danger" || !slices.Equal(keys(r), []string{"switched-off:cut"}) {
		t.Errorf("%v of %v", f, keys(r))
	}
	r = richReport(t, func(b []byte) { b[0x49], b[0x4A] = 255, 40 })
	if d := tableOf(t, r, "duty"); d.Changed != 2 || d.Delta.Min != 10 || d.Delta.Max != 10 {
		t.Errorf("%v", d)
	}
	if f := finding(t, r, "switched-off:duty"); f.Severity != "warning" || f.Count != 1 || f.Worst.GetX() != 2000 {
		t.Errorf("%v", f)
	}
	// On moved breakpoints: what a code touches has no difference.
	r = richReport(t, func(b []byte) { b[0x49] = 255; binary.BigEndian.PutUint16(b[0x14:], 5000) })
	d := tableOf(t, r, "duty")
	var cells []string
	for _, v := range d.Surface.Candidate[0].Values {
		cells = append(cells, v.String())
	}
	if len(cells) != 4 || !strings.HasPrefix(cells[1], "null") || !strings.HasPrefix(cells[2], "null") || d.Delta != nil || d.Regridded {
		t.Errorf("%v", d)
	}
}

// Source of the numbers: straight lines between the pairs by hand. 178 is 78/155 of the way from 100 to 255: 25 + 78/155 × 105.
func TestPoints(t *testing.T) {
	c := tableOf(t, richReport(t, func(b []byte) { b[0x4C] = 178 }), "therm").Changes[0]
	if want := 78.0 / 155 * 105; c.Base.GetNumberValue() != 25 || math.Abs(c.GetDelta()-want) > 1e-9 {
		t.Errorf("%v, want %v more", c, want)
	}
}

func TestMeaningMovesThroughACurve(t *testing.T) {
	f := finding(t, richReport(t, func(b []byte) { b[0x4F] = 20 }), "meaning-moved:rpm.to.index")
	if !slices.Equal(f.Tables, []string{"dwell"}) || !strings.Contains(f.Detail, "to 1.25 (x 8000)") {
		t.Errorf("%v", f)
	}
}

func TestTexts(t *testing.T) {
	r := richReport(t, func(b []byte) { copy(b[0x100:], "CLIMB") })
	want := &calibrationv1.TableReport{Id: "note", Kind: "text", Cells: 1, Changed: 1,
		Changes: []*calibrationv1.CellChange{{Base: structpb.NewStringValue("HILL"), Candidate: structpb.NewStringValue("CLIMB")}}}
	if len(r.Tables) != 1 || !proto.Equal(r.Tables[0], want) || r.Bytes.Mapped != 5 {
		t.Errorf("%v", r)
	}
	if r := richReport(t, func(b []byte) { b[0x104], b[0x107] = ' ', ' ' }); len(r.Tables) != 0 || r.Bytes.Mapped != 2 || len(r.Findings) != 0 {
		t.Errorf("blanks behind it: %v", r)
	}
}

// The last cell as stored is the first of a curve that runs down from its address; the unit is free text.
func TestReversed(t *testing.T) {
	c := tableOf(t, richReport(t, func(b []byte) { b[0x70] = 30 }), "back")
	if len(c.Changes) != 1 || c.Changes[0].Column != 2 || c.Changes[0].GetX() != 4000 || c.Changes[0].GetDelta() != -3 || c.Unit != "" {
		t.Errorf("%v", c)
	}
}

// Regions lie apart, and so do ranges of what belongs to nothing.
func TestRegions(t *testing.T) {
	r := richReport(t, func(b []byte) { b[0xFF], b[0x110] = 1, 1 })
	var got []string
	for _, u := range r.Unmapped {
		got = append(got, u.Start+"-"+u.End+" "+u.Content)
	}
	if want := []string{"0x10ff-0x1100 calibration", "0x8010-0x8011 data"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// other is rich as another version of the software has it.
func other(t *testing.T, edits ...string) string {
	t.Helper()
	out := strings.Replace(rich, "rich-1", "rich-2", 1)
	for i := 0; i < len(edits); i += 2 {
		if !strings.Contains(out, edits[i]) {
			t.Fatalf("%q is not in the definition", edits[i])
		}
		out = strings.Replace(out, edits[i], edits[i+1], 1)
	}
	return out
}

// twoReport compares an image of rich with one of another definition.
func twoReport(t *testing.T, base []byte, def string, cand []byte) *calibrationv1.Report {
	t.Helper()
	a, b := layoutOf(t, rich), layoutOf(t, def)
	return compared(t, Input{Base: whole(a, base), Candidate: whole(b, cand), Layout: a, CandidateLayout: b})
}

func TestTwoDefinitionsOfStructures(t *testing.T) {
	// Alike: names in another order, degrees in kelvin, another code for off, a longer text, a pointer that leads elsewhere.
	def := other(t, "labels: [cold, warm]", "labels: [warm, cold]", "not_a_value: [255]", "not_a_value: [254]", "length: 8", "length: 12", "encoding: ascii", "encoding: utf-8",
		"unit: Cel, stored: {address: 0x104C", "unit: K, stored: {address: 0x104C", "[-40, 25, 130]", "[233.15, 298.15, 403.15]")
	base := edited(richImage(), func(b []byte) { b[0x49] = 255 })
	cand := edited(base, func(b []byte) { b[0x49], b[0x41], b[0x60], b[0x61] = 254, 0x60, 20, 10 })
	if r := twoReport(t, base, def, cand); len(r.Tables) != 1 || r.Tables[0].Id != "idle" || r.Tables[0].Changed != 0 || !r.Tables[0].AxesChanged || len(r.Findings) != 0 {
		t.Errorf("%v", r)
	}
	// A value that another name has now is a change of that name.
	r := twoReport(t, base, def, edited(cand, func(b []byte) { b[0x60] = 22 }))
	if c := tableOf(t, r, "idle").Changes; len(c) != 1 || c[0].GetXLabel() != "warm" || c[0].Base.GetNumberValue() != 20 || c[0].Candidate.GetNumberValue() != 22 || c[0].Column != 0 {
		t.Errorf("%v", c)
	}
	// Free text does not convert, and neither does it to a unit.
	r = twoReport(t, base, other(t, `unit_text: "U/ min "`, `unit_text: "U/min"`), base)
	if back := tableOf(t, r, "back"); back.Changed != 3 || len(back.Changes) != 0 || !strings.Contains(r.Unjudged[0].Reason, "free text does not convert") {
		t.Errorf("%v, %v", back, r.Unjudged)
	}
	// Names on one side only.
	r = twoReport(t, base, other(t, "index: true, labels: [cold, warm]", "index: true, points: [0, 1]"), base)
	if idle := tableOf(t, r, "idle"); idle.Changed != 2 || r.Unjudged[0].Reason != "an axis has names in one definition and numbers in the other" {
		t.Errorf("%v, %v", idle, r.Unjudged)
	}
	// What leads outside in the base has nothing to be compared with, in the candidate it cannot be read.
	wrong := edited(base, func(b []byte) { b[0x40] = 0 })
	if r = twoReport(t, wrong, other(t), base); tableOf(t, r, "idle").Changed != 2 || !strings.HasPrefix(r.Unjudged[0].Reason, "it cannot be compared with the base, which says of it: its pointer") {
		t.Errorf("%v", r)
	}
	if r = twoReport(t, base, other(t), wrong); len(r.Tables) != 0 || finding(t, r, "pointer:idle").Severity != "danger" {
		t.Errorf("%v", r)
	}
}

// Worked by hand: a third slice at 40 Cel lies half-way between 50 and 53 %, at 51.5; it holds 52.
func TestSlicesPairByTheirPlaces(t *testing.T) {
	def := other(t, "stored: {address: 0x1020, type: u8}", "stored: {address: 0x1080, type: u8}", "address: 0x1018, type: u8, count: 2", "address: 0x1018, type: u8, count: 3")
	cand := edited(richImage(), func(b []byte) {
		copy(b[0x18:], []byte{0, 40, 80})
		copy(b[0x80:], b[0x20:0x26])
		copy(b[0x86:], []byte{104, 104, 105, 106, 107, 108})
		copy(b[0x8C:], b[0x26:0x2C])
	})
	r := twoReport(t, richImage(), def, cand)
	trim := tableOf(t, r, "trim")
	if trim.Cells != 18 || trim.Changed != 0 || !trim.AxesChanged || trim.Regridded || len(trim.Surfaces) != 3 || len(r.Unjudged) != 1 ||
		r.Unjudged[0].Reason != "only the candidate has it at coolant_temperature 40" {
		t.Errorf("%v, %v", trim, r.Unjudged)
	}
	if s := trim.Surfaces[1]; s.Base[0].Values[0].GetNumberValue() != 51.5 || s.Candidate[0].Values[0].GetNumberValue() != 52 || trim.Delta.Max != 0.5 {
		t.Errorf("%v, %v", s, trim.Delta)
	}
}

// From the image as found to the candidate, of each structure.
func TestStructuresFromAsFound(t *testing.T) {
	lay := layoutOf(t, rich)
	found := edited(richImage(), func(b []byte) { b[0x28], b[0x30], b[0x41], b[0x49] = 104, 9, 0x60, 255; copy(b[0x100:], "SPRINT") })
	cand := edited(richImage(), func(b []byte) {
		b[0x28], b[0x36], b[0x50], b[0x49], b[0x104] = 112, 71, 11, 24, '1'
	})
	r := compared(t, Input{Base: whole(lay, richImage()), Candidate: whole(lay, cand), Layout: lay, AsFound: whole(lay, found)})
	for id, want := range map[string]*calibrationv1.SinceAsFound{
		"trim": {Changed: 1, Min: proto.Float64(4), Max: proto.Float64(4)}, "idle": {Changed: 2, Min: proto.Float64(-1), Max: proto.Float64(1)},
		"duty": {Changed: 1}, "note": {Changed: 1}, "pump": nil,
	} {
		if got := fromFound(t, r, id); !proto.Equal(got, want) {
			t.Errorf("%s: %v, want %v", id, got, want)
		}
	}
	if len(r.Unjudged) != 1 || r.Unjudged[0].Reason != "how far it is from the image as found is not known, which says of it: its count at 0x1030 is 9; allowed: 1 to 4" {
		t.Errorf("%v", r.Unjudged)
	}
}

// An image that lacks a pointer, a count, or what is pointed at, lacks the table.
func TestHolesInWhatVaries(t *testing.T) {
	lay := layoutOf(t, rich)
	for _, c := range []struct {
		start, end uint64
		id         string
	}{{0x41, 0x42, "idle"}, {0x51, 0x52, "idle"}, {0x30, 0x31, "pump"}, {0x35, 0x36, "pump"}, {0x103, 0x104, "note"}} {
		base, cand := holed(lay, richImage(), c.start, c.end), holed(lay, edited(richImage(), func(b []byte) { b[0x4C]++ }), c.start, c.end)
		r := compared(t, Input{Base: base, Candidate: cand, Layout: lay})
		if len(r.Unjudged) != 1 || r.Unjudged[0].Table != c.id || !strings.HasSuffix(r.Unjudged[0].Reason, "of it are unknown") {
			t.Errorf("%s: %v", c.id, r.Unjudged)
		}
		whole := whole(lay, richImage())
		if _, err := Compare(Input{Base: whole, Candidate: cand, Layout: lay}); err == nil || !strings.Contains(err.Error(), "of table "+c.id+", which the base holds") {
			t.Errorf("%s: %v", c.id, err)
		}
	}
	// The fourth point is not in use, and what only the largest count would take is not missed.
	base, cand := holed(lay, richImage(), 0x37, 0x39), holed(lay, edited(richImage(), func(b []byte) { b[0x36]++ }), 0x37, 0x39)
	if r := compared(t, Input{Base: base, Candidate: cand, Layout: lay}); tableOf(t, r, "pump").Changed != 1 || len(r.Unjudged) != 0 {
		t.Errorf("%v", r)
	}
}

func TestPlacesOfStructuresInACar(t *testing.T) {
	lay := layoutOf(t, rich)
	for at, want := range map[int]string{0x28: "0x1028 (table trim)", 0x41: "0x1041 (table idle)", 0x51: "0x1051 (table idle)", 0x34: "0x1034 (table pump)", 0x31: "0x1031 (table pump)",
		0x103: "0x8003 (table note)", 0x70: "0x1070 (table back)", 0x10: "0x1010 (axis rpm)", 0x37: "0x1037"} {
		if same, why := SameInCar(lay, whole(lay, richImage()), whole(lay, edited(richImage(), func(b []byte) { b[at] ^= 0x55 }))); same || !strings.HasSuffix(why, want) {
			t.Errorf("%s, want %s", why, want)
		}
	}
}

// A table that only what its own definition declared was asked about counts as one that no rule looked at.
func TestDeclaredLimitsAreNoLimits(t *testing.T) {
	lay := layoutOf(t, rich)
	rules := `{id: hard, severity: caution, select: {tables: [trim]}, range: {unit: "%", max: 120}, declared: true, reason: r, source: the definition's own limits}`
	own := `{id: road, severity: caution, select: {tables: [trim]}, range: {unit: "%", max: 60}, reason: r, source: made up}`
	cand := edited(richImage(), func(b []byte) { b[0x28] = 112 })
	for _, c := range []struct {
		rules string
		want  []string
	}{{"[" + rules + "]", []string{"no-limit:trim"}}, {"[" + rules + ", " + own + "]", nil}} {
		r := compared(t, Input{Base: whole(lay, richImage()), Candidate: whole(lay, cand), Layout: lay, Limits: limitsOf(t, "name: l\nrules: "+c.rules)})
		if !slices.Equal(keys(r), c.want) || r.Tables[0].JudgedBy[0] != "hard" {
			t.Errorf("%v", r.Findings)
		}
		if len(c.want) > 0 && r.Findings[0].Detail != "what the definition's own author declared alone was asked: hard" {
			t.Errorf("%v", r.Findings[0])
		}
	}
}

// Slices at 80 and 160 Cel against slices at 0 and 80: the one at 80 is the same.
func TestAsManySlicesElsewhere(t *testing.T) {
	def := other(t, "stored: {address: 0x1020, type: u8}", "stored: {address: 0x1080, type: u8}")
	r := twoReport(t, richImage(), def, edited(richImage(), func(b []byte) {
		copy(b[0x18:], []byte{80, 160})
		copy(b[0x80:], b[0x26:0x2C])
		copy(b[0x86:], b[0x20:0x26])
	}))
	if trim := tableOf(t, r, "trim"); trim.Changed != 0 || !trim.AxesChanged {
		t.Errorf("%v", trim)
	}
	if got := unjudgedTexts(r); !slices.Equal(got, []string{"trim: only the base has it at coolant_temperature 0", "trim: only the candidate has it at coolant_temperature 160"}) {
		t.Errorf("%q", got)
	}
}

// A pointer into what both images lack: the table is not known in the candidate, and nobody holds what the other lacks.
func TestAPointerIntoAHole(t *testing.T) {
	lay := layoutOf(t, rich)
	cand := edited(richImage(), func(b []byte) { b[0x41] = 0x60 })
	r := compared(t, Input{Base: holed(lay, richImage(), 0x60, 0x62), Candidate: holed(lay, cand, 0x60, 0x62), Layout: lay, Limits: limitsOf(t, "name: l")})
	if len(r.Tables) != 0 || !slices.Equal(keys(r), []string{"pointer:idle", "no-limit:idle"}) || r.Unjudged[0].Reason != "0x1060 to 0x1062 of it are unknown" {
		t.Errorf("%v", r)
	}
}

// Between its breakpoints a table of points bends. Where a code has a part in the surface nothing rises or falls.
func TestCodesInWhatBends(t *testing.T) {
	lay := layoutOf(t, `
name: bent
byte_order: big
image: {start: 0, size: 0x10}
tables:
  - id: m
    unit: "1"
    protects: lower
    stored: {address: 4, type: u8, not_a_value: [255]}
    conversion: {points: {raw: [0, 100, 200], physical: [0, 1, 9]}}
    x: {id: x, quantity: q, unit: "1", stored: {address: 0, type: u8, count: 4}}
`)
	base := []byte{0, 10, 20, 30, 60, 60, 255, 60, 0, 0, 0, 0, 0, 0, 0, 0}
	for _, c := range []struct {
		at, point, cell byte
		want            []string
	}{{2, 21, 60, nil}, {1, 9, 60, nil}, {2, 21, 70, []string{"protection-weakened:m"}}} {
		r := pair(t, lay, base, edited(base, func(b []byte) { b[c.at], b[5] = c.point, c.cell }))
		if !slices.Equal(slices.DeleteFunc(keys(r), func(k string) bool { return k == "switched-off:m" }), c.want) {
			t.Errorf("point %d, cell %d: %v", c.point, c.cell, r.Findings)
		}
	}
	if r := pair(t, lay, base, edited(base, func(b []byte) { b[1], b[4], b[5], b[7] = 9, 255, 255, 255 })); slices.Contains(keys(r), "undecided:m") {
		t.Errorf("no cell is a value: %v", r.Findings)
	}
}
