package runcheck

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/run"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

const demo = "../../testdata/demo"

func demoFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(demo, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func demoLayout(t testing.TB) *definition.Layout {
	t.Helper()
	lay, err := definition.Load("dx1-1.8t.yaml", demoFile(t, "dx1-1.8t.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return lay
}

func demoLimits(t testing.TB) *limits.Limits {
	t.Helper()
	l, err := limits.Load("dx1-road-98.yaml", demoFile(t, "dx1-road-98.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// as found, with a switch or a map changed by its definition.
func demoImage(t testing.TB, lay *definition.Layout, change func(b []byte)) *image.Image {
	b := bytes.Clone(demoFile(t, "asfound.bin"))
	if change != nil {
		change(b)
	}
	return lay.Space.Whole(b)
}

// point is a moment of a drive.
type point struct{ time, rpm, volts, intake, coolant, exhaust, pedal, fill float64 }

// drive is cruising, a pull at full pedal, a lift, and a second pull from lower down: 30 s.
func drive(t float64) point {
	p := point{time: t, intake: 32, coolant: 88, exhaust: 780}
	ramp := func(a, b float64) float64 { return min(1, max(0, (t-a)/(b-a))) }
	p.rpm = 2200 + 300*math.Sin(t) + 4300*ramp(5, 14) - 4400*ramp(15, 18) + 4000*ramp(20, 28)
	p.pedal = 22 + 6*math.Sin(1.3*t) + 72*ramp(4.6, 4.9)
	if t >= 14.5 {
		p.pedal = 20 + 75*ramp(19.5, 19.9)
	}
	p.fill = 35 + p.pedal*0.6 + 90*ramp(5, 6.5)
	if t >= 14.5 {
		p.fill = 40 + p.pedal*0.5 + 95*ramp(20, 21.5)
	}
	p.exhaust = 700 + 1.2*p.fill
	return p
}

// logger writes what a car with an image would log.
type logger struct {
	lay     *definition.Layout
	set     *signal.Set
	hertz   float64
	seconds float64
	delays  map[string]float64 // s, by channel
	noise   map[string]float64 // standard deviation
	random  *rand.Rand
	change  func(channel string, p point, v float64) float64 // what else happens; nil for nothing
	without string                                           // a column left out
	more    func(p point) string                             // further cells, with header
	header  string
	filling func(rpm, volts float64) float64
}

var observed = [][2]string{{"ignition_advance", "advance.plug"}, {"lambda", "lambda.commanded"}, {"manifold_pressure", "boost.request"}}

// moment is a point of the drive with the voltage at which the controller makes its filling of it, as far as the meter goes.
func (l *logger) moment(t testing.TB, time float64) point {
	if l.filling == nil {
		space := signal.NewSpace(l.lay)
		f, err := l.set.In(space).Signal("filling.model")
		if err != nil {
			t.Fatal(err)
		}
		inputs := space.Inputs()
		l.filling = func(rpm, volts float64) float64 {
			var p signal.Point
			var cell signal.Box
			for i, in := range inputs {
				if p[i] = rpm; in.Quantity == "meter_voltage" {
					p[i] = volts
				}
				cell[i] = bounded.Exactly(p[i])
			}
			return f.At(&cell, &p)
		}
	}
	p := drive(time)
	low, high := 1.0, 4.9
	for range 40 {
		if p.volts = (low + high) / 2; l.filling(p.rpm, p.volts) < p.fill {
			low = p.volts
		} else {
			high = p.volts
		}
	}
	p.fill = l.filling(p.rpm, p.volts)
	return p
}

func (l *logger) at(t testing.TB, p point) map[string]float64 {
	space := signal.NewSpace(l.lay)
	view := l.set.In(space)
	out := map[string]float64{}
	for _, o := range observed {
		steps, err := view.Show([]string{o[1]}, l.inputs(o[1], p))
		if err != nil {
			t.Fatal(err)
		}
		out[o[0]] = steps[0].Value
	}
	return out
}

// inputs are those that a signal needs.
func (l *logger) inputs(id string, p point) map[string]float64 {
	all := map[string]float64{"engine_speed": p.rpm, "meter_voltage": p.volts, "intake_temperature": p.intake, "coolant_temperature": p.coolant, "exhaust_temperature": p.exhaust, "pedal_position": p.pedal}
	out := map[string]float64{}
	for _, in := range l.lay.SignalByID[id].Inputs {
		out[in.Quantity] = all[in.Quantity]
	}
	return out
}

func (l *logger) write(t testing.TB) *run.Run {
	t.Helper()
	r, err := run.Read("log.csv", strings.NewReader(l.text(t)), nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (l *logger) text(t testing.TB) string {
	columns := []string{"time [s]", "engine_speed [1/min]", "meter_voltage [V]", "intake_temperature [Cel]", "coolant_temperature [Cel]", "exhaust_temperature [Cel]", "pedal_position [%]", "barometric_pressure [kPa]", "ignition_advance [deg]", "lambda [1]", "manifold_pressure [kPa]"}
	var b strings.Builder
	keep := func(cells []string) {
		for i, c := range cells {
			if strings.HasPrefix(columns[i], l.without+" ") {
				continue
			}
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(c)
		}
	}
	keep(columns)
	b.WriteString(l.header + "\n")
	for i := range int(l.seconds*l.hertz) + 1 {
		now := float64(i) / l.hertz
		p := l.moment(t, now)
		cells := []string{fmt.Sprintf("%.4f", now)}
		for _, v := range []float64{p.rpm, p.volts, p.intake, p.coolant, p.exhaust, p.pedal, 100} {
			cells = append(cells, fmt.Sprintf("%.5f", v))
		}
		for _, o := range observed {
			earlier := l.moment(t, now-l.delays[o[0]])
			v := l.at(t, earlier)[o[0]]
			if o[0] == "manifold_pressure" && earlier.pedal < 80 {
				v = 60 + earlier.pedal/3 // the throttle is not open
			}
			if l.change != nil {
				v = l.change(o[0], earlier, v)
			}
			if l.random != nil {
				v += l.noise[o[0]] * l.random.NormFloat64()
			}
			cells = append(cells, fmt.Sprintf("%.5f", v))
		}
		keep(cells)
		if l.more != nil {
			b.WriteString(l.more(p))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// logging is a logger of a car with the demo's image.
func logging(t testing.TB, lay *definition.Layout, im *image.Image) *logger {
	return &logger{lay: lay, hertz: 50, seconds: 30, set: signal.Open(lay, func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], im.Bytes) })}
}

func checked(t testing.TB, in Input) *Result {
	t.Helper()
	out, err := Check(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// kinds are the findings as kind/severity/what, notices left out.
func kinds(r *Result) string {
	var out []string
	for _, f := range r.Findings {
		if f.Severity != "notice" {
			out = append(out, strings.TrimSuffix(fmt.Sprintf("%s/%s/%s", f.Kind, f.Severity, f.Signal+f.Table), "/"))
		}
	}
	return strings.Join(out, " ")
}

func sideOf(r *Result, channel string) *calibrationv1.RunSide {
	for _, s := range r.Sides {
		if s.Channel == channel {
			return s
		}
	}
	return nil
}
