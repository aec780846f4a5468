package run

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"
)

// trouble is one thing that goes wrong with a log on a real afternoon.
type trouble string

// The troubles; how a file is written is among them.
const (
	spikesOfSpeed  trouble = "wild engine speeds"
	spikesOfTorque trouble = "wild torques"
	lift           trouble = "a lift of the foot"
	lapse          trouble = "a second without samples"
	coastDown      trouble = "coast-down before and after"
	pulls          trouble = "three pulls"
	restart        trouble = "a second pull whose time begins again"
	notes          trouble = "notes above, comments and a foot"
	unitRow        trouble = "everyday names and a row of units"
	imperial       trouble = "pound-feet, in parentheses"
	commas         trouble = "quoted decimal commas"
	trailing       trouble = "trailing semicolons and decimal commas"
	holes          trouble = "empty cells and NaN"
	clockTime      trouble = "a clock under [s]"
	coarse         trouble = "coarse time stamps"
	wideText       trouble = "UTF-16"
	latin          trouble = "Latin-1"
	boostGauge     trouble = "boost against ambient"
	slow           trouble = "six samples a second"
	textColumn     trouble = "a column of text"
	wheelTorque    trouble = "torque at the wheels"
)

var troubles = []trouble{spikesOfSpeed, spikesOfTorque, lift, lapse, coastDown, pulls, restart, notes, unitRow, imperial, commas, trailing, holes,
	clockTime, coarse, wideText, latin, boostGauge, slow, textColumn, wheelTorque}

// afternoon writes a log of the published curve with some troubles.
type afternoon struct {
	has   map[trouble]bool
	noise float64 // N.m
	rng   *rand.Rand
}

// samples are time, engine speed and torque of one pull and what lies about it.
func (a *afternoon) samples() [][3]float64 {
	rate := 20 + 60*a.rng.Float64()
	if a.has[slow] {
		rate = 6
	}
	low, top, seconds := 1000+400*a.rng.Float64(), 5400+250*a.rng.Float64(), 10+8*a.rng.Float64()
	liftAt := 2500 + 1500*a.rng.Float64()
	speed, t := low, 0.0
	var out [][3]float64
	add := func(n, load float64) {
		torque := load*published(n) - (1-load)*4 + a.noise*a.rng.NormFloat64()
		out = append(out, [3]float64{t, n + 4*a.rng.NormFloat64(), torque})
		t += 1 / rate
	}
	fall := func(from, to float64) {
		for n := from; n > to; n -= 1200 / rate {
			add(n, 0)
		}
	}
	if a.has[coastDown] {
		fall(3500, low)
	}
	for range int(2 * rate) {
		add(low, 0.3)
	}
	for lifted := false; speed < top; speed += (top - low) / seconds / rate {
		if a.has[lift] && !lifted && speed > liftAt {
			lifted = true
			fall(speed, speed-250)
			speed -= 250
		}
		add(speed, 1)
	}
	if a.has[coastDown] || a.has[pulls] {
		fall(top, 1100)
	}
	return out
}

// recorded is the whole log, and how many pulls are in it.
func (a *afternoon) recorded() (rows [][3]float64, count int) {
	count = 1
	if a.has[pulls] {
		count = 3
	}
	if a.has[restart] {
		count++
	}
	begin := 12.5
	for n := range count {
		if a.has[restart] && n == count-1 {
			begin = 0
		}
		s := a.samples()
		for _, r := range s {
			rows = append(rows, [3]float64{r[0] + begin, r[1], r[2]})
		}
		begin += s[len(s)-1][0] + 4
	}
	if a.has[lapse] {
		from := len(rows)/3 + a.rng.IntN(len(rows)/3)
		t := rows[from][0]
		rows = slices.DeleteFunc(rows, func(r [3]float64) bool { return r[0] >= t && r[0] < t+1 })
	}
	for range len(rows) / 100 {
		if a.has[spikesOfSpeed] {
			rows[a.rng.IntN(len(rows))][1] = []float64{65535, 0, 20000 * a.rng.Float64()}[a.rng.IntN(3)]
		}
		if a.has[spikesOfTorque] {
			rows[a.rng.IntN(len(rows))][2] = []float64{6553.5, 0, -300, 400 * a.rng.Float64()}[a.rng.IntN(4)]
		}
	}
	return rows, count
}

// ratio is the overall one of the car whose torque is measured at the wheels.
const ratio = 4.4

// file is the log as it is written, and the options that it needs.
func (a *afternoon) file() (text []byte, count int, o Options) {
	rows, count := a.recorded()
	sep, factor, column, unit := ",", 1.0, "torque", "N.m"
	if a.has[imperial] {
		factor, unit = 1/1.3558179483314004, "lb-ft" // NIST SP 811 (2008), appendix B
	}
	if a.has[wheelTorque] {
		factor, column, o.Ratio = factor*ratio, "wheel_torque", ratio
	}
	if a.has[trailing] {
		sep = ";"
	}
	header := []string{"time [s]", "engine_speed [1/min]", column + " [" + unit + "]", "barometric_pressure [kPa]", "manifold_pressure [kPa]"}
	units := ""
	switch {
	case a.has[unitRow]:
		header = []string{"Time", "Engine Speed", strings.ReplaceAll(column, "_", " "), "Baro", "MAP"}
		units = strings.Join([]string{"sec", "rpm", unit, "hPa", "kPa"}, sep)
	case a.has[imperial]:
		header = []string{"Time (s)", "RPM", strings.ToUpper(column) + " (" + unit + ")", "Barometer (kPa)", "map (kPa)"}
	}
	if a.has[boostGauge] {
		header[4] = "Boost (kPa)"
		if units != "" {
			header[4] = "boost"
		}
	}
	if a.has[textColumn] {
		header = append(header, "throttle [%]")
		if units != "" {
			units += sep + "%"
		}
	}
	var b strings.Builder
	line := func(s string) {
		b.WriteString(s)
		if a.has[trailing] {
			b.WriteString(sep)
		}
		b.WriteString("\r\n")
	}
	if a.has[notes] {
		b.WriteString("Club hill-climb car, 98 RON\r\nsep=" + sep + "\r\n# stand 2, \"warm\r\n\r\n")
	}
	if a.has[latin] {
		b.WriteString("Prüfstand, 20 °C\r\n")
	}
	line(strings.Join(header, sep))
	if units != "" {
		line(units)
		line("")
	}
	for i, r := range rows {
		at := r[0]
		if a.has[coarse] {
			at = math.Floor(at*2) / 2
		}
		cells := []string{fmt.Sprintf("%.3f", at), fmt.Sprintf("%.1f", r[1]), fmt.Sprintf("%.2f", r[2]*factor), "98.20", "150.0"}
		if a.has[unitRow] {
			cells[3] = "982.0"
		}
		if a.has[boostGauge] {
			cells[4] = "51.8"
		}
		if a.has[clockTime] {
			cells[0] = fmt.Sprintf("23:%02d:%06.3f", 59+int(at)/60-60*(int(at+3540)/3600), math.Mod(at, 60))
			if at >= 60 {
				cells[0] = fmt.Sprintf("00:%02d:%06.3f", int(at)/60-1, math.Mod(at, 60))
			}
		}
		if a.has[holes] && a.rng.IntN(10) == 0 {
			cells[1+a.rng.IntN(4)] = []string{"", "NaN", "--"}[a.rng.IntN(3)]
		}
		if a.has[textColumn] {
			cells = append(cells, "wide open")
		}
		if a.has[trailing] || a.has[commas] {
			for j := range cells {
				cells[j] = strings.ReplaceAll(cells[j], ".", ",")
				if a.has[commas] {
					cells[j] = `"` + cells[j] + `"`
				}
			}
		}
		if a.has[notes] && i == len(rows)/2 {
			b.WriteString("# a remark in the middle\r\n\r\n")
		}
		line(strings.Join(cells, sep))
	}
	if a.has[notes] {
		b.WriteString("\r\nEnd of recording\r\nmax" + sep + "6000\r\n")
	}
	return a.encoded(b.String()), count, o
}

func (a *afternoon) encoded(s string) []byte {
	switch {
	case a.has[wideText]:
		out := []byte{0xff, 0xfe}
		for _, u := range utf16.Encode([]rune(s)) {
			out = append(out, byte(u), byte(u>>8))
		}
		return out
	case a.has[latin]:
		var out []byte
		for _, r := range s {
			out = append(out, byte(r))
		}
		return out
	}
	return []byte(s)
}

// The published curve (synthetic_test.go) is recovered from two hundred logs with every trouble, first
// each alone, then some together: both peaks within what the curve says that they are good to in 95 of
// a hundred sweeps, and so 95 of a hundred points; no pull is missed.
func TestAfternoons(t *testing.T) {
	const seeds = 200
	var points, inside, sweeps, torque, power, missed int
	for seed := range uint64(seeds) {
		a := &afternoon{has: map[trouble]bool{}, noise: 1.5, rng: rand.New(rand.NewPCG(seed, 11))}
		if n := len(troubles); seed < uint64(n) {
			a.has[troubles[seed]] = true
		} else {
			for range 2 + a.rng.IntN(5) {
				a.has[troubles[a.rng.IntN(n)]] = true
			}
		}
		text, count, o := a.file()
		r, err := Read("log.csv", strings.NewReader(string(text)), nil)
		if err != nil {
			t.Errorf("seed %d, %v: %v", seed, a.names(), err)
			continue
		}
		found, err := FindSweeps(r)
		if err != nil || len(found) != count {
			t.Logf("seed %d, %v: %d sweeps of %d: %v", seed, a.names(), len(found), count, err)
			missed++
		}
		for _, s := range found {
			c, err := MakeCurve(r, s, o)
			if err != nil {
				t.Errorf("seed %d, %v: %v", seed, a.names(), err)
				continue
			}
			sweeps++
			var mostTorque, mostPower float64
			for _, p := range c.Points {
				points++
				if math.Abs(p.Torque-published(p.Speed)) <= p.PlusMinus {
					inside++
				}
			}
			for n := c.Points[0].Speed; n <= c.Points[len(c.Points)-1].Speed; n++ {
				mostTorque, mostPower = max(mostTorque, published(n)), max(mostPower, Power(published(n), n))
			}
			off := math.Abs(c.PeakTorque.Torque - mostTorque)
			if off <= c.PeakTorque.PlusMinus {
				torque++
			} else {
				t.Logf("seed %d, %v: peak torque is off by %.2f, ± %.2f at %.0f", seed, a.names(), off, c.PeakTorque.PlusMinus, c.PeakTorque.Speed)
			}
			off = math.Abs(c.PeakPower.Power - mostPower)
			if good := Power(c.PeakPower.PlusMinus, c.PeakPower.Speed); off <= good {
				power++
			} else {
				t.Logf("seed %d, %v: peak power is off by %.2f, ± %.2f at %.0f", seed, a.names(), off, good, c.PeakPower.Speed)
			}
		}
	}
	t.Logf("%d seeds, %d sweeps: peak torque inside its interval in %d, peak power in %d; %d of %d points; the sweeps of %d logs were miscounted", seeds, sweeps, torque, power, inside, points, missed)
	if least := sweeps * 95 / 100; torque < least || power < least || inside < points*95/100 || missed > seeds/20 {
		t.Error("too few are inside")
	}
}

func (a *afternoon) names() []trouble {
	var out []trouble
	for _, x := range troubles {
		if a.has[x] {
			out = append(out, x)
		}
	}
	return out
}
