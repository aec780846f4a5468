package signal

import (
	"math"
	"testing"
)

// Advance at the plug by hand: base 20 over speed 1000…3000 and filling 50…150, less a correction over intake air.
func TestAdvanceAtThePlug(t *testing.T) {
	var f fixture
	x, y := f.axis("engine_speed", "1/min", "", 1000, 3000), f.axis("cylinder_filling", "%", "", 50, 150)
	f.table("base", "deg", x, y, "", 20, 30, 10, 16)
	f.table("cold", "deg", f.axis("intake_temperature", "K", "", 293.15, 333.15), "", "", 0, -8)
	f.table("grade", "1", "", "", "", 1)
	f.table("grade98", "deg", "", "", "", 5)
	f.signal("plug", "ignition_advance", "deg", "(table('grade') == 1.0 ? table('base') : table('grade98')) + table('cold')", "")
	_, set := f.open(t, engine)
	view := set.In(NewSpace(set.lay))
	plug := signalOf(t, view, "plug")
	for _, c := range []struct{ speed, filling, air, want float64 }{
		{1000, 50, 20, 20}, {2000, 50, 20, 25}, {2000, 100, 20, 19}, {3000, 150, 60, 8}, {600, 10, 80, 12}, {2000, 100, 30, 17}, {7200, 200, -20, 16},
	} {
		cell, p := point(c.speed, c.filling, c.air)
		if got := plug.At(&cell, &p); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("at %v: %v, want %v", p[:3], got, c.want)
		}
	}
	if got := view.Looked(); len(got) != 3 || got[0] != "base" || got[2] != "grade" {
		t.Errorf("looked at %v", got)
	}
	cells := plug.space.Cells()
	if len(cells) != 3 || len(cells[0]) != 3 || len(cells[1]) != 3 || len(cells[2]) != 3 || cells[0][1].Lo != 1000 || cells[2][1].Hi != 60 {
		t.Fatalf("cells %v", cells)
	}
	box := Box{cells[0][1], cells[1][1], cells[2][1]}
	got := plug.Over(&box, &box)
	if got.Lo != 2 || got.Hi != 30 || !got.Multilinear || !got.Smooth || got.Inputs != 7 || got.Undefined {
		t.Errorf("over %v: %+v", box[:3], got)
	}
	if s := got.Slope[0]; math.Abs(s.Lo-0.003) > 1e-12 || math.Abs(s.Hi-0.005) > 1e-12 {
		t.Errorf("slope along speed %v, want 0.003 to 0.005", s)
	}
	if s := got.Slope[2]; math.Abs(s.Lo+0.2) > 1e-12 || math.Abs(s.Hi+0.2) > 1e-12 {
		t.Errorf("slope along intake air %v, want -0.2", s)
	}
}
