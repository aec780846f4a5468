package run

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func TestReadForms(t *testing.T) {
	names := &calibrationv1.ChannelMap{Channels: []*calibrationv1.Channel{
		{Header: "Zeit", Quantity: "time", Unit: "ms"}, {Header: "n, Motor", Quantity: "engine_speed", Unit: "rad/s"},
	}}
	for name, c := range map[string]struct {
		csv      string
		channels *calibrationv1.ChannelMap
		speed    []float64
		left     string
	}{
		"commas":           {"time [s],engine_speed [1/min]\n0,1000\n0.5,1500.5\n", nil, []float64{1000, 1500.5}, ""},
		"semicolons":       {"\ufefftime [s];engine_speed [1/min]\r\n0,0;1000,25\r\n0,5;1500,5\r\n\r\n", nil, []float64{1000.25, 1500.5}, ""},
		"semicolons, dots": {"time [s]; engine_speed [1/min]\n0; 1000.25\n0.5; 1.5e3", nil, []float64{1000.25, 1500}, ""},
		"tabs":             {"time [s]\tengine_speed [1/min]\n0\t1000\n,5\t-1500", nil, []float64{1000, -1500}, ""},
		"units":            {"time [min],engine_speed [Hz]\n0,10\n1,20\n", nil, []float64{600, 1200}, ""},
		"mapped": {"Zeit,\"n, Motor\",note,lambda [1]\n0,0,x,1\n500,104.71975511965977,\"y, z\",1\n", names,
			[]float64{0, 1000}, "note"},
	} {
		r, err := Read("a.csv", strings.NewReader(c.csv), c.channels)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got, _ := r.Values("engine_speed")
		for i, want := range c.speed {
			if math.Abs(float64(got[i])-want) > 1e-4 {
				t.Errorf("%s: %v, want %v", name, got, c.speed)
			}
		}
		if strings.Join(r.Left, "|") != c.left || r.Time[0] != 0 || r.Unit("engine_speed") != "1/min" {
			t.Errorf("%s: left out %q, time %v", name, r.Left, r.Time)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	const head = "time [s],engine_speed [1/min],torque [N.m]\n"
	names := &calibrationv1.ChannelMap{Channels: []*calibrationv1.Channel{{Header: "n", Quantity: "engine_speed", Unit: "1/min"}}}
	twice := &calibrationv1.ChannelMap{Channels: []*calibrationv1.Channel{
		{Header: "torque [N.m]", Quantity: "torque", Unit: "N.m"}, {Header: "torque [N.m]", Quantity: "lambda", Unit: "1"}}}
	for _, c := range []struct {
		csv      string
		channels *calibrationv1.ChannelMap
		want     string
	}{
		{"", nil, "a.csv: the file is empty"},
		{head, nil, "a.csv: 0 rows"},
		{head + "0,1,2\n", nil, "a.csv: 1 rows"},
		{head + "0,1,2\n1,2\n", nil, "a.csv:3: column torque [N.m]: is missing"},
		{head + "0,1,2\n1,2,3,4\n", nil, "a.csv:3: column 4 has no header"},
		{head + "0,1,2\n1,fast,2\n", nil, `a.csv:3: column engine_speed [1/min]: "fast" is no number`},
		{head + "0,1,2\n1,0x10,2\n", nil, `"0x10" is no number`},
		{head + "0,1,2\n1,1e99,2\n", nil, `a.csv:3: column engine_speed [1/min]: "1e99" is too large`},
		{head + "0,1,2\n1,1e999,2\n", nil, `"1e999" is too large`},
		{"time [s],engine_speed [GHz]\n0,1e29\n", nil, `column engine_speed [GHz]: "1e29" is too large`},
		{head + "1,1,2\n0.5,1,2\n", nil, `a.csv:3: column time [s]: "0.5" goes backwards`},
		{head + "1,1,2\n1.0,1,2\n", nil, "a.csv: the time stands still at 1 s"},
		{head + "0,1,2\nmax,1,2\n1,1,2\n", nil, `a.csv:3: column time [s]: "max" is no number`},
		{head + "0,1,2\n1,1,2\n" + strings.Repeat("noise\n", 21), nil, "a.csv:4: column engine_speed [1/min]: is missing"},
		{head + "0,1,2\n10,1,2\n5,1,2\n6,1,2\n", nil, `a.csv:4: column time [s]: "5" goes backwards`},
		{head + "0,1,2\n25:00:71,1,2\n1,1,2\n", nil, `a.csv:3: column time [s]: "25:00:71" is no time`},
		{strings.Repeat("a note\n", 200), nil, "a.csv:1: no header row in the first 100 lines"},
		{head + "0,1,\"2\n", nil, "a.csv:2: a quote is not closed"},
		{"time [s];torque [N.m]\n0,5;1,5\n1.5;2\n", nil, `a.csv:3: column time [s]: "1.5" has another decimal mark`},
		{"time [s];torque [N.m]\n0,5;1.234,5\n", nil, `another decimal mark`},
		{"engine_speed [1/min],torque [N.m]\n0,0\n", nil, "a.csv:1: column time [s] is missing"},
		{"time [s],n\n0,0\n", nil, "a.csv:1: of the columns time [s], n only time is known"},
		{"time [s],torque [kPa]\n0,0\n", nil, "a.csv:1: column torque [kPa]: torque: kPa is a pressure"},
		{"time [s],torque [kPa{gauge}]\n0,0\n", nil, "torque: kPa{gauge} is a pressure"},
		{"time [s],torque [N.m]\n0,0\n1,1\n", names, "a.csv:1: column n is missing: the channel file maps it to engine_speed"},
		{head + "0,1,2\n1,1,2\n", twice, `a.csv: its channel file: channels[1]: header "torque [N.m]" is given twice`},
		{head + "0,1,2\n1,1,2\n", &calibrationv1.ChannelMap{Channels: []*calibrationv1.Channel{{Header: "n", Quantity: "Engine Speed", Unit: "1/min"}}}, "channels[0]: quantity"},
		{head + strings.Repeat("1", 70000), nil, "a.csv:2: the line is longer than 65536 bytes"},
		{strings.Repeat("a [1],", 300) + "b\n", nil, "301 columns"},
	} {
		_, err := Read("a.csv", strings.NewReader(c.csv), c.channels)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.60q: %v, want %q", c.csv, err, c.want)
		}
	}
}

// The short way to read a number is strconv's answer, to the last bit.
func TestNumbersAreReadAsStrconvDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?[0-9]{1,18}(\.[0-9]{0,14})?([eE][-+]?[0-9]{1,2})?`).Draw(t, "number")
		p := &reader{separator: ','}
		for range 2 { // once before the decimal mark is known, and once after
			got, why := p.number([]byte(text))
			want, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(want) > largest {
				if why == "" {
					t.Fatalf("%s is taken", text)
				}
			} else if got != want || why != "" {
				t.Fatalf("%s: %v (%s), want %v", text, got, why, want)
			}
		}
	})
}

// FuzzRead: no input panics, and what is read is whole: every channel as long as time, which rises.
func FuzzRead(f *testing.F) {
	f.Add("time [s],engine_speed [1/min]\n0,1000\n1,2000\n")
	f.Add("\ufefftime [s];engine_speed [1/min]\r\n0,0;1000,25\r\n0,5;1500,5\r\n\r\n")
	f.Add("time [s]\tx\n0\t\"a\"\"b\"\n")
	f.Add("time [h],torque [N.m],engine_speed [rad/s]\n1e-3,-5,+.5\n2,1e30,1.\n")
	f.Add(pull{torque: published, low: 1500, top: 5500, seconds: 3, rate: 10}.csv())
	for _, c := range asTheyAre {
		f.Add(c.file)
	}
	for i, has := range troubles {
		a := &afternoon{has: map[trouble]bool{has: true, slow: true}, noise: 1, rng: rand.New(rand.NewPCG(uint64(i), 3))}
		text, _, _ := a.file()
		f.Add(string(text))
	}
	mapped := &calibrationv1.ChannelMap{Channels: []*calibrationv1.Channel{{Header: "x", Quantity: "torque", Unit: "N.m"}}}
	f.Fuzz(func(t *testing.T, csv string) {
		for _, m := range []*calibrationv1.ChannelMap{nil, mapped} {
			r, err := Read("f.csv", strings.NewReader(csv), m)
			if err != nil {
				if !strings.HasPrefix(err.Error(), "f.csv:") {
					t.Fatalf("the error does not name the file: %v", err)
				}
				continue
			}
			for i := range r.Channels {
				if len(r.values[i]) != len(r.Time) {
					t.Fatalf("channel %d has %d samples of %d", i, len(r.values[i]), len(r.Time))
				}
			}
			for i, v := range r.Time {
				if i > 0 && !(v > r.Time[i-1]) {
					t.Fatalf("time %v after %v", v, r.Time[i-1])
				}
			}
			all, err := FindSweeps(r)
			if err != nil {
				continue
			}
			for n, s := range all {
				for _, o := range []Options{{}, {Place: Crank}, {Ratio: 4}, {Circumference: 2}} {
					if c, err := MakeCurve(r, s, o); err == nil {
						Summary(r, all, n+1, c, Quality(r, s, c))
					}
				}
			}
		}
	})
}

// recording writes rows of a long log as they are asked for, so that the file is never in memory.
type recording struct {
	rows, columns, at int
	rest              []byte
}

func (l *recording) Read(p []byte) (int, error) {
	for len(l.rest) == 0 {
		if l.at > l.rows {
			return 0, io.EOF
		}
		l.rest = l.row(l.rest[:0])
		l.at++
	}
	n := copy(p, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

func (l *recording) row(b []byte) []byte {
	for c := range l.columns {
		switch {
		case l.at == 0 && c == 0:
			b = append(b, "time [s]"...)
		case l.at == 0:
			b = fmt.Appendf(b, ",q%c%c [1]", 'a'+c/26, 'a'+c%26)
		case c == 0:
			b = strconv.AppendFloat(b, float64(l.at)/100, 'f', 2, 64)
		default:
			b = append(b, ',')
			b = strconv.AppendInt(b, int64(l.at*c%9000), 10)
			b = append(b, '.', byte('0'+c%10), byte('0'+l.at%10))
		}
	}
	return append(b, '\n')
}

// Two hours at 100 samples a second and 40 channels are 28.8 million numbers: 115 MB as kept. What
// reading allocates in all is bounded by a small multiple of that, whatever the text's length.
func TestTwoHoursInBoundedMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("reads 230 MB")
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	r, err := Read("long.csv", &recording{rows: 720000, columns: 41}, nil)
	if err != nil {
		t.Fatal(err)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	live := float64(after.HeapAlloc-before.HeapAlloc) / 1e6
	peak := float64(after.HeapSys) / 1e6
	t.Logf("%d samples of %d channels: %.0f MB kept, %.0f MB of heap at most, %.0f MB allocated on the way", len(r.Time), len(r.Channels), live, peak, float64(after.TotalAlloc-before.TotalAlloc)/1e6)
	if len(r.Time) != 720000 || len(r.Channels) != 40 || live > 170 || peak > 500 {
		t.Errorf("%d samples, %d channels, %.0f MB kept, %.0f MB at most", len(r.Time), len(r.Channels), live, peak)
	}
	runtime.KeepAlive(r)
}

// BenchmarkRead reads a minute at 100 samples a second and 40 channels; the rate is MB of text a second.
func BenchmarkRead(b *testing.B) {
	text, err := io.ReadAll(&recording{rows: 6000, columns: 41})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read("b.csv", strings.NewReader(string(text)), nil); err != nil {
			b.Fatal(err)
		}
	}
}
