package run

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// driven is a pull of 200 N.m at the crank that the rollers see: the overall ratio 5, a tyre of 2 m around,
// a drag of 100 N and 0.03 N for each (km/h)2, and a coast-down after it with the clutch open. All by hand.
func driven(columns string, row func(n, wheel, road, force float64) string) string {
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min]," + columns + "\n")
	i := 0
	add := func(n, wheel, torque float64) {
		road := wheel * 2 * 60 / 1000
		force := torque*5*2*math.Pi/2 - (100 + 0.03*road*road) // N, at the tyre's face
		fmt.Fprintf(&b, "%.2f,%.1f,%s\n", float64(i)/50, n+math.Sin(float64(i)), row(n, wheel, road, force))
		i++
	}
	for n := 2000.0; n <= 6000; n += 8 {
		add(n, n/5, 200)
	}
	for wheel := 1200.0; wheel > 350; wheel -= 1 {
		add(900, wheel, 0)
	}
	return b.String()
}

// At the wheels 200 N.m less the drag: power is force times speed, and torque is that at the engine.
func TestTorqueWhereItWasMeasured(t *testing.T) {
	radius := 2 / (2 * math.Pi) // m
	want := func(n float64) float64 {
		road := n / 5 * 2 * 60 / 1000
		return 200 - (100+0.03*road*road)*radius/5
	}
	for name, c := range map[string]struct {
		csv string
		o   Options
	}{
		"ratio":       {driven("wheel_torque [N.m]", func(_, _, _, f float64) string { return fixed(f * radius) }), Options{Ratio: 5}},
		"wheel speed": {driven("wheel_torque [N.m],wheel_speed [1/min]", func(_, w, _, f float64) string { return fixed(f*radius) + "," + fixed(w) }), Options{}},
		"roller and tyre": {driven("wheel_torque [N.m],roller_speed [km/h]", func(_, _, v, f float64) string { return fixed(f*radius) + "," + fixed(v) }),
			Options{Circumference: 2}},
		"force":       {driven("tractive_force [N],road_speed [km/h]", func(_, _, v, f float64) string { return fixed(f) + "," + fixed(v) }), Options{}},
		"force, feet": {driven("tractive_force [lbf],speed (mph)", func(_, _, v, f float64) string { return fixed(f/4.4482216152605) + "," + fixed(v/1.609344) }), Options{}},
		"power":       {driven("wheel_power [kW]", func(_, _, v, f float64) string { return fixed(f * v / 3600) }), Options{}},
	} {
		_, _, curve := curveOf(t, c.csv, c.o)
		if curve.Place != Wheels {
			t.Errorf("%s: at the %s", name, curve.Place)
		}
		for _, p := range curve.Points {
			if math.Abs(p.Torque-want(p.Speed)) > 0.3 || math.Abs(p.Power-Power(p.Torque, p.Speed)) > 1e-9 {
				t.Fatalf("%s at %v: %.2f N.m, want %.2f", name, p.Speed, p.Torque, want(p.Speed))
			}
		}
	}
	_, _, curve := curveOf(t, driven("power [kW]", func(n, _, _, _ float64) string { return fixed(Power(200, n)) }), Options{})
	if curve.Place != Crank || math.Abs(curve.PeakTorque.Torque-200) > 0.2 {
		t.Errorf("power: at the %s %v", curve.Place, curve.PeakTorque)
	}
}

// A coast-down gives the losses back, with their spread.
func TestLossesByCoastDown(t *testing.T) {
	csv := driven("tractive_force [N],road_speed [km/h]", func(_, _, v, f float64) string { return fixed(f+4*math.Sin(v*97)) + "," + fixed(v) })
	r, s, c := curveOf(t, csv, Options{Place: Crank})
	for _, p := range c.Points {
		if off := math.Abs(p.Torque - 200); off > p.PlusMinus || p.PlusMinus > 3 {
			t.Errorf("at %v: %.2f ± %.2f N.m, want 200", p.Speed, p.Torque, p.PlusMinus)
		}
	}
	if q := kinds(Quality(r, s, c), "losses"); c.Place != Crank || len(q) != 1 || !strings.Contains(q[0].Text, "N.m by its scatter") {
		t.Errorf("at the %s: %v", c.Place, q)
	}
	without := csv[:strings.Index(csv, ",900.")]
	without = without[:strings.LastIndex(without, "\n")+1]
	r, err := Read("a.csv", strings.NewReader(without), nil)
	if err != nil {
		t.Fatal(err)
	}
	if s, err = FindSweep(r); err != nil {
		t.Fatal(err)
	}
	if _, err := MakeCurve(r, s, Options{Place: Crank}); err == nil || !strings.Contains(err.Error(), "no coast-down after the sweep shows the losses") {
		t.Errorf("%v", err)
	}
}

// Each way is refused where what it needs is missing.
func TestPlacesRefused(t *testing.T) {
	number := func(_, _, _, _ float64) string { return "100" }
	for _, c := range []struct {
		columns string
		o       Options
		want    string
	}{
		{"wheel_torque [N.m]", Options{}, "needs the overall ratio"}, {"wheel_torque [N.m]", Options{Ratio: -1}, "allowed: above 0"},
		{"tractive_force [N]", Options{}, "needs the speed that it acts at"}, {"lambda [1]", Options{}, "a curve needs one"},
		{"torque [N.m]", Options{Ratio: 4}, "is of a column wheel_torque"},
		{"torque [N.m]", Options{Place: Wheels}, "no torque at the wheels is recorded"}, {"torque [N.m]", Options{Place: "gearbox"}, "allowed: crank, wheels"},
		{"wheel_power [kW]", Options{Place: Crank}, "losses need a coast-down"},
	} {
		r, err := Read("a.csv", strings.NewReader(driven(c.columns, number)), nil)
		if err != nil {
			t.Fatal(err)
		}
		s, err := FindSweep(r)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := MakeCurve(r, s, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.columns, err, c.want)
		}
	}
	csv := driven("wheel_torque [N.m],wheel_speed [1/min],power [kW]", func(_, w, _, _ float64) string { return "800," + fixed(w) + "," + fixed(Power(800, w)) })
	if r, s, c := curveOf(t, csv, Options{}); c.Place != Wheels || len(kinds(Quality(r, s, c), "place")) != 1 || math.Abs(c.PeakTorque.Torque-160) > 0.2 {
		t.Errorf("power of the wheels is taken for the %s's: %v", c.Place, Quality(r, s, c))
	}
	csv = driven("torque [N.m],power [kW]", func(n, _, _, _ float64) string { return "200," + fixed(1.36*Power(200, n)) })
	r, s, c := curveOf(t, csv, Options{})
	if q := kinds(Quality(r, s, c), "place"); len(q) != 1 || !strings.Contains(q[0].Text, "is 1.36 times") {
		t.Errorf("PS under kW: %v", Quality(r, s, c))
	}
}
