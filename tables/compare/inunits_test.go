package compare

import (
	"math"
	"strings"
	"testing"

	"witnessmark/tables/surface"

	"witnessmark/tables/definition"
)

func pressure(t *testing.T, unit, speed, conversion string) *definition.Layout {
	return layoutOf(t, `
name: `+strings.ToLower(strings.Trim(unit, "[]{}_gau"))+`
title: One map of pressure
byte_order: big
image: {start: 0, size: 0x20}
tables:
  - id: boost
    quantity: manifold_pressure
    unit: "`+unit+`"
    stored: {address: 0, type: u16}
    conversion: `+conversion+`
    x: {id: bx, quantity: engine_speed, unit: "`+speed+`", stored: {address: 0x10, type: u16, count: 2}}
  - {id: heat, quantity: coolant_temperature, unit: "`+map[bool]string{true: "Cel", false: "K"}[unit == "kPa"]+`", stored: {address: 0x18, type: u16}, conversion: {factor: 0.5, offset: `+map[bool]string{true: "-40", false: "233.15"}[unit == "kPa"]+`}}
`)
}

// Worked by hand: 1 bar is 100 kPa, 20 Cel is 293.15 K, 50 Hz is 3000 1/min.
func TestTwoDefinitionsInOtherUnits(t *testing.T) {
	kPa, bar := pressure(t, "kPa", "1/min", "{factor: 0.1}"), pressure(t, "bar", "Hz", "{factor: 0.001}")
	image := func(values ...uint16) []byte {
		b := make([]byte, 0x20)
		for i, at := range []int{0, 2, 0x10, 0x12, 0x18} {
			b[at], b[at+1] = byte(values[i]>>8), byte(values[i])
		}
		return b
	}
	base := whole(kPa, image(1500, 1800, 3000, 6000, 120)) // 150 and 180 kPa at 3000 and 6000 1/min; 20 Cel
	r := compared(t, Input{Base: base, Candidate: whole(bar, image(1500, 1800, 50, 100, 120)), Layout: kPa, CandidateLayout: bar})
	if len(r.Tables) != 0 || len(r.Unjudged) != 0 {
		t.Errorf("the same in other units: %v, %v", r.Tables, r.Unjudged)
	}
	r = compared(t, Input{Base: base, Candidate: whole(bar, image(1500, 2000, 50, 100, 121)), Layout: kPa, CandidateLayout: bar})
	if len(r.Tables) != 2 {
		t.Fatalf("tables: %v", r.Tables)
	}
	c := r.Tables[0].Changes[0]
	if r.Tables[0].Unit != "bar" || c.Column != 1 || c.GetX() != 100 || c.BaseX != nil || c.GetBaseRaw() != "1800" ||
		math.Abs(c.Base.GetNumberValue()-1.8) > 1e-12 || math.Abs(c.GetDelta()-0.2) > 1e-12 {
		t.Errorf("boost: %v", r.Tables[0])
	}
	if d := r.Tables[1].Delta; math.Abs(d.Max-0.5) > 1e-9 || math.Abs(r.Tables[1].Changes[0].Base.GetNumberValue()-293.15) > 1e-9 {
		t.Errorf("heat: %v", r.Tables[1])
	}
	// The rules see the base in their own units too: 1.8 bar was over 1.7 already.
	lim := limitsOf(t, `
name: boost
title: A ceiling
rules:
  - {id: most, severity: warning, select: {tables: [boost]}, reason: r, source: made up for this test, range: {unit: kPa, max: 170}}
`)
	r = compared(t, Input{Base: base, Candidate: whole(bar, image(1500, 2000, 50, 100, 121)), Layout: kPa, CandidateLayout: bar, Limits: lim})
	if f := finding(t, r, "most:boost"); f.Origin != "worsened" || math.Abs(f.Worst.GetExcess()-0.3) > 1e-9 {
		t.Errorf("most: %v", f)
	}
}

func TestUnitsThatDoNotConvert(t *testing.T) {
	kPa, volt := pressure(t, "kPa", "1/min", "{factor: 0.1}"), pressure(t, "V", "1/min", "{factor: 0.1}")
	r := compared(t, Input{Base: whole(kPa, make([]byte, 0x20)), Candidate: whole(volt, make([]byte, 0x20)), Layout: kPa, CandidateLayout: volt})
	if len(r.Unjudged) != 1 || !strings.Contains(r.Unjudged[0].Reason, "its unit is kPa in the base's definition and V") || len(r.Tables) != 1 {
		t.Errorf("unjudged: %v, tables %v", r.Unjudged, r.Tables)
	}
}

// A quotient in another unit: 1000/raw kPa is 10/raw bar; 20 Cel more is 20 K more, from another zero.
func TestRationalInOtherUnits(t *testing.T) {
	for _, c := range []struct {
		from, to string
		want     float64
	}{{"kPa", "bar", 2.5}, {"Cel", "K", 250 + 273.15}} {
		conversion := "{rational: {num: [1000, 0, 0], den: [0, 1, 0]}}"
		b := pressure(t, c.from, "1/min", conversion).ByID["boost"]
		like := *b
		like.Unit = c.to
		image := make([]byte, 0x20)
		in, why := inUnitsOf(surface.Decode(b, image), surface.Decode(&like, image), image)
		if why != "" {
			t.Fatal(why)
		}
		out := in.Table
		if got := out.Cells.Conv.Apply(4); math.Abs(got-c.want) > 1e-12 || out.Unit != c.to || b.Unit != c.from {
			t.Errorf("%s in %s: %v, want %v", c.from, c.to, got, c.want)
		}
	}
}
