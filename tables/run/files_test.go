package run

import (
	"math"
	"strings"
	"testing"
)

// asTheyAre are the ways in which logs are written, one each; all are also seeds of FuzzRead.
var asTheyAre = map[string]struct {
	file           string
	time, speed    []float64 // want
	left, remarked string    // headers, and kinds of remarks
}{
	"notes above":           {"Club day; stand 2\nhill-climb car\n\ntime [s];engine_speed [1/min]\n0;1000\n1;2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"sep=":                  {"sep=;\ntime [s];engine_speed [1/min]\n0;1000\n1;2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"SEP= in quotes":        {"\"SEP=;\"\ntime [s];engine_speed [1/min]\n0;1000\n1;2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"milliseconds":          {"time,rpm\n0,1000\n20,2000\n", []float64{0, 0.02}, []float64{1000, 2000}, "", "unit"},
	"comments":              {"# a\n// b\ntime [s],engine_speed [1/min]\n0,1000\n# c\n// d\n1,2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"a header behind #":     {"# time [s],engine_speed [1/min]\n0,1000\n1,2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"a row of units":        {"time;engine_speed;note\ns;rpm;\n0;1000;a\n1;2000;b\n", []float64{0, 1}, []float64{1000, 2000}, "note", ""},
	"units in brackets":     {"Time,Speed\n[ms],[rpm]\n0,1000\n1000,2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"parentheses":           {"Time (min),Engine Speed (rpm)\n0,1000\n1,2000\n", []float64{0, 60}, []float64{1000, 2000}, "", ""},
	"a unit last":           {"time s,engine_speed_rpm\n0,1000\n1,2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"a blank line":          {"time [s],engine_speed [1/min]\n\n0,1000\n\n1,2000\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"a foot":                {"time [s],engine_speed [1/min]\n0,1000\n1,2000\n\nmax,2000\nend\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"cut off":               {"time [s],engine_speed [1/min]\n0,1000\n1,2000\n2", []float64{0, 1}, []float64{1000, 2000}, "", "rows"},
	"trailing separators":   {"time [s];engine_speed [1/min];\n0;1000;\n1;2000;;\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"quoted decimal commas": {"\"time [s]\",\"engine_speed [1/min]\"\n\"0,0\",\"1000,5\"\n\"1,0\",\"2000,5\"\n", []float64{0, 1}, []float64{1000.5, 2000.5}, "", ""},
	"empty and NaN":         {"time [s],engine_speed [1/min],torque [N.m]\n0,1000,1\n1,,2\n2,NaN,\n3,4000,-1.#IND\n", []float64{0, 1, 2, 3}, []float64{1000, 2000, 3000, 4000}, "", ""},
	"an empty column":       {"time [s],engine_speed [1/min],torque [N.m]\n0,1000,\n1,2000,\n", []float64{0, 1}, []float64{1000, 2000}, "torque [N.m]", ""},
	"clock":                 {"Time,RPM\n14:32:05.5,1000\n14:32:06,2000\n", []float64{0, 0.5}, []float64{1000, 2000}, "", ""},
	"clock under [s]":       {"time [s];rpm\n32:05,5;1000\n32:06,0;2000\n", []float64{0, 0.5}, []float64{1000, 2000}, "", ""},
	"date and midnight":     {"Time,RPM\n2026-05-01 23:59:59,1000\n2026-05-02T00:00:01,2000\n", []float64{0, 2}, []float64{1000, 2000}, "", ""},
	"coarse stamps": {"time [s],rpm\n0,1\n1,2\n1,3\n1,4\n1,5\n2,6\n2,7\n2,8\n2,9\n3,10\n", []float64{0.75, 1, 1.25, 1.5, 1.75, 2, 2.25, 2.5, 2.75, 3},
		[]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, "", "time"},
	"a second pull":     {"time [s],rpm\n5,1000\n15,2000\n5,3000\n6,4000\n", []float64{5, 15, 16, 17}, []float64{1000, 2000, 3000, 4000}, "", "time"},
	"a second header":   {"time [s],rpm\n5,1000\n15,2000\n\ntime [s],rpm\n5,3000\n6,4000\n", []float64{5, 15, 16, 17}, []float64{1000, 2000, 3000, 4000}, "", "time"},
	"UTF-16":            {utf16LE("\ufefftime [s];rpm;λ\n0;1000;1\n1;2000;1\n"), []float64{0, 1}, []float64{1000, 2000}, "λ", ""},
	"UTF-16, no mark":   {utf16LE("time [s];rpm\n0;1000\n1;2000\n"), []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"Latin-1":           {"Pr\xfcfstand\ntime [s];rpm;IAT (\xb0C)\n0;1000;20\n1;2000;20\n", []float64{0, 1}, []float64{1000, 2000}, "", ""},
	"text":              {"time [s],rpm,throttle [%]\n0,1000,wide\n1,2000,open\n", []float64{0, 1}, []float64{1000, 2000}, "throttle [%]", ""},
	"another unit":      {"time [s],rpm,oil temp (bar)\n0,1000,1\n1,2000,1\n", []float64{0, 1}, []float64{1000, 2000}, "oil temp (bar)", "unit"},
	"no unit":           {"time,rpm,torque\n0,1000,100\n1,2000,100\n", []float64{0, 1}, []float64{1000, 2000}, "", "unit"},
	"twice":             {"time [s],rpm,torque [N.m],Torque (lb.ft)\n0,1000,100,73\n1,2000,100,73\n", []float64{0, 1}, []float64{1000, 2000}, "Torque (lb.ft)", "column"},
	"lambda 12":         {"time [s],rpm,lambda [1]\n0,1000,12\n1,2000,12.5\n", []float64{0, 1}, []float64{1000, 2000}, "", "implausible"},
	"humidity 0.4":      {"time [s],rpm,humidity [%]\n0,1000,0.4\n1,2000,0.4\n", []float64{0, 1}, []float64{1000, 2000}, "", "implausible"},
	"negative absolute": {"time [s],rpm,MAP [kPa]\n0,1000,-60\n1,2000,-50\n", []float64{0, 1}, []float64{1000, 2000}, "", "implausible"},
}

func utf16LE(s string) string {
	var b strings.Builder
	for _, r := range s {
		b.WriteByte(byte(r))
		b.WriteByte(byte(r >> 8))
	}
	return b.String()
}

func TestFilesAsTheyAre(t *testing.T) {
	for name, c := range asTheyAre {
		r, err := Read("a.csv", strings.NewReader(c.file), nil)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		speed, _ := r.Values("engine_speed")
		if len(r.Time) != len(c.time) || len(speed) != len(c.speed) {
			t.Errorf("%s: time %v, engine speed %v", name, r.Time, speed)
			continue
		}
		for i := range c.time {
			if math.Abs(r.Time[i]-c.time[i]) > 1e-9 || math.Abs(float64(speed[i])-c.speed[i]) > 1e-3 {
				t.Errorf("%s: at %v s %v, want %v s %v", name, r.Time[i], speed[i], c.time[i], c.speed[i])
			}
		}
		var kinds []string
		for _, q := range r.Remarks {
			kinds = append(kinds, q.Kind)
		}
		if got := strings.Join(kinds, " "); got != c.remarked || strings.Join(r.Left, "|") != c.left {
			t.Errorf("%s: left out %q, remarks %v", name, r.Left, r.Remarks)
		}
	}
}

// Everyday names, in any case, with underscores, blanks or neither, and what they mean.
func TestEverydayNames(t *testing.T) {
	for quantity, names := range map[string]string{
		"engine_speed": "rpm, engine speed, Engine_Speed, ENGINESPEED", "torque": "Torque", "power": "POWER",
		"barometric_pressure": "baro, barometer, Barometric Pressure, barometric_pressure", "relative_humidity": "Humidity",
		"intake_temperature": "IAT, air temp, Air_Temperature, intaketemperature", "manifold_pressure": "MAP, boost, Boost Pressure",
		"lambda": "Lambda", "air_fuel_ratio": "AFR", "ignition_advance": "ignition, Spark, timing advance, Timing_Advance", "road_speed": "Speed",
	} {
		for name := range strings.SplitSeq(names, ", ") {
			beside := ",rpm"
			if quantity == "engine_speed" {
				beside = ",torque"
			}
			r, err := Read("a.csv", strings.NewReader("Time,"+name+beside+"\n0,98,98\n1,98,98\n"), nil)
			if err != nil || r.Channels[0].Quantity != quantity || r.Channels[0].Header != name {
				t.Errorf("%s is not %s: %v", name, quantity, err)
			}
		}
	}
	// A name that can be two things is what the others leave.
	r, err := Read("a.csv", strings.NewReader("time [s],air temp [C],IAT [C]\n0,20,40\n1,20,40\n"), nil)
	if err != nil {
		t.Fatal(err)
	}
	if v, ok := r.Values("ambient_temperature"); !ok || v[0] != 20 {
		t.Errorf("%v", r.Channels)
	}
}

// What people write for a unit, against values in the unit that is kept: the exact definitions in NIST SP
// 811 (2008), appendix B.
func TestUnitSpellings(t *testing.T) {
	for _, c := range []struct {
		name, units string
		in, want    float64
	}{
		{"torque", "Nm, N.m, N·m, N m, N-m", 100, 100}, {"torque", "lb.ft, lb-ft, ft.lb, ft-lbs, LBFT, lbf·ft", 100, 135.58179483314004},
		{"torque", "kgm, kgf.m", 10, 98.0665}, {"power", "kW, KW", 100, 100}, {"power", "hp, bhp, HP", 100, 74.569987158227022},
		{"power", "PS, ps, cv", 100, 73.549875}, {"engine speed", "rpm, RPM, 1/min, min-1, r/min", 3000, 3000},
		{"iat", "°C, C, degC, deg C, celsius", 20, 20}, {"iat", "°F, F, degF", 68, 20}, {"baro", "kPa, KPA", 98, 98}, {"baro", "mbar, hPa", 980, 98},
		{"baro", "inHg, in Hg, inhg", 29, 98.205270569889}, {"map", "psi, psia, PSIA", 20, 137.89514586336722}, {"map", "bar, bara", 1.5, 150},
		{"speed", "km/h, kph, kmh, KPH", 100, 100}, {"speed", "mph", 100, 160.9344}, {"wheel speed", "km/h", 100, 100}, {"wheel speed", "rpm", 500, 500}, {"ignition", "deg, °, °BTDC", 12, 12},
	} {
		for unit := range strings.SplitSeq(c.units, ", ") {
			r, err := Read("a.csv", strings.NewReader("time [s];"+c.name+" ["+unit+"]\n0;"+fixed(c.in)+"\n1;"+fixed(c.in)+"\n"), nil)
			if err != nil {
				t.Errorf("%s [%s]: %v", c.name, unit, err)
				continue
			}
			if got := float64(r.values[0][0]); math.Abs(got/c.want-1) > 1e-6 {
				t.Errorf("%s [%s]: %v becomes %v, want %v", c.name, unit, c.in, got, c.want)
			}
		}
	}
}

// A pressure against ambient becomes an absolute one where the file has a barometer, and else stays one:
// 10 psi over 101.325 kPa are 170.272573 kPa (the definition of the pound-force per square inch).
func TestGaugePressure(t *testing.T) {
	for header, baro := range map[string]string{"boost (psi)": "101.325", "MAP (psig)": "101.325", "manifold_pressure [[psi]{gauge}]": "101.325"} {
		r, err := Read("a.csv", strings.NewReader("time [s],"+header+",baro [kPa]\n0,10,"+baro+"\n1,10,"+baro+"\n"), nil)
		if err != nil {
			t.Fatal(err)
		}
		v, _ := r.Values("manifold_pressure")
		if math.Abs(float64(v[1])-170.272573) > 1e-4 || r.Unit("manifold_pressure") != "kPa" || !r.Channels[0].FromGauge {
			t.Errorf("%s: %v %s", header, v, r.Unit("manifold_pressure"))
		}
	}
	r, err := Read("a.csv", strings.NewReader("time [s],boost (bar),rpm\n0,1,1\n1,1,1\n"), nil)
	if err != nil || r.Unit("manifold_pressure") != gauge {
		t.Errorf("without a barometer: %v, %s", err, r.Unit("manifold_pressure"))
	}
	r, err = Read("a.csv", strings.NewReader("time [s],boost (psia),baro [kPa]\n0,20,100\n1,20,100\n"), nil)
	if err != nil || r.Channels[0].FromGauge {
		t.Errorf("an absolute unit: %v, %v", err, r.Channels)
	}
}

// A hole too long to fill says nothing: rows in it have no torque.
func TestLongHoles(t *testing.T) {
	var b strings.Builder
	b.WriteString("time [s],rpm,torque [N.m]\n")
	for i := range 100 {
		cell := "100"
		if i > 40 && i < 60 || i == 10 {
			cell = ""
		}
		b.WriteString(fixed(float64(i)/10) + "," + fixed(2000+float64(i)*30) + "," + cell + "\n")
	}
	r, err := Read("a.csv", strings.NewReader(b.String()), nil)
	if err != nil {
		t.Fatal(err)
	}
	hole := r.holed("torque")
	if !hole(41) || !hole(59) || hole(40) || hole(60) || hole(10) {
		t.Errorf("holes %v", r.holes)
	}
	_, _, c := curveOf(t, b.String(), Options{})
	for _, p := range c.Points {
		if p.Speed > 3300 && p.Speed < 3700 {
			t.Errorf("a point at %v 1/min, where no torque was recorded", p.Speed)
		}
	}
}
