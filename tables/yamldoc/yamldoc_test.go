package yamldoc

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func TestDecode(t *testing.T) {
	doc := `# a comment
name: dx
image:
  start: 0x100
  size: 4294967295
axes:
  - {id: a, points: [1, 2.5, -3e2, 0x10, .5, 5., 18446744073709551616], index: true}
tables:
  - id: t
    stored: {address: 0, type: u64, mask: 0xffffffffffffffff, stride: 0}
    conversion: {labels: {-1: "yes", 0x10: off}}
    x: {axis: a}
    feeds: [one, "2"]
    mirror: {}
`
	got := &calibrationv1.Definition{}
	at, err := Decode("d.yaml", []byte(doc), got)
	if err != nil {
		t.Fatal(err)
	}
	want := &calibrationv1.Definition{
		Name: "dx", Image: &calibrationv1.ImageLayout{Start: 0x100, Size: math.MaxUint32},
		Axes: []*calibrationv1.Axis{{Id: "a", Points: []float64{1, 2.5, -300, 16, 0.5, 5, 18446744073709551616}, Index: true}},
		Tables: []*calibrationv1.Table{{
			Id:         "t",
			Stored:     &calibrationv1.Stored{Type: "u64", Mask: proto.Uint64(math.MaxUint64), Stride: proto.Uint32(0)},
			Conversion: &calibrationv1.Conversion{Labels: map[string]string{"-1": "yes", "0x10": "off"}},
			X:          &calibrationv1.TableAxis{Axis: "a"}, Feeds: []string{"one", "2"}, Mirror: &calibrationv1.Mirror{},
		}},
	}
	if !proto.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	for path, line := range map[string]int{
		"": 2, "name": 2, "image": 3, "image.size": 5, "axes[0]": 7, "axes[0].points[2]": 7, "tables[0].id": 9, "tables[0].stored.mask": 10,
		"tables[0].conversion.labels[0x10]": 11, "tables[0].mirror.of": 14, "tables[7].id": 8, "nothing.at.all": 2, "a..b[": 2,
	} {
		if got := at.Line(path); got != line {
			t.Errorf("line of %q is %d, want %d", path, got, line)
		}
	}
}

func TestDecodeLimits(t *testing.T) {
	doc := `
rules:
  - id: e
    envelope: {values: [[1, 2.5], []]}
  - {id: f, frozen: {}}
  - {id: g, expression: "1 < 2"}
  - {id: h, range: {min: 0}}
`
	l := &calibrationv1.Limits{}
	if _, err := Decode("l", []byte(doc), l); err != nil {
		t.Fatal(err)
	}
	rows := l.GetRules()[0].GetEnvelope().GetValues()
	if len(rows) != 2 || len(rows[1].GetValues()) != 0 || rows[0].GetValues()[1].GetNumberValue() != 2.5 {
		t.Errorf("rows %v", rows)
	}
	if l.GetRules()[1].GetFrozen() == nil || l.GetRules()[2].GetExpression() != "1 < 2" {
		t.Errorf("rules %v", l.GetRules())
	}
	if r := l.GetRules()[3].GetRange(); r.Min == nil || r.Max != nil {
		t.Errorf("a bound of 0 is given and one left out is not: %v", r)
	}
}

func TestRefused(t *testing.T) {
	for _, tt := range []struct {
		doc, path string
		line      int
		says      string
	}{
		{"", "", 0, "nothing in the file"},
		{"# only a comment\n", "", 0, "nothing in the file"},
		{"a: [", "", 1, "is not YAML"},
		{"name: a\n  b: c\n", "", 2, "is not YAML"},
		{"name: a\n---\nname: b\n", "", 2, "second document"},
		{"- a", "", 1, "a list where a block of fields belongs"},
		{"text", "", 1, "a block of fields belongs"},
		{"null", "", 1, "no value"},
		{"name: a\nnmae: b\n", "", 2, `unknown field "nmae"; allowed: name, title, byte_order, image`},
		{"byteOrder: big\n", "", 1, `unknown field "byteOrder"`},
		{"name: a\ntitle: t\nname: b\n", "name", 3, "given twice"},
		{"[a]: b\n", "", 1, "where a field's name belongs"},
		{"name: 12\n", "name", 1, `12 is not text; allowed: "12" in quotes`},
		{"name: true\n", "name", 1, "is not text"},
		{"name: 2026-01-01\n", "name", 1, "is not text"},
		{"name: [a]\n", "name", 1, "a list where text belongs"},
		{"name:\n", "name", 1, "no value"},
		{"name: ~\n", "name", 1, "no value"},
		{"image:\n  size: 4294967296\n", "image.size", 2, "out of range; allowed: 0 to 4294967295"},
		{"image: {size: -1}\n", "image.size", 1, "out of range"},
		{"image: {size: 010}\n", "image.size", 1, "not a whole number"},
		{"image: {size: 0o10}\n", "image.size", 1, "not a whole number"},
		{"image: {size: 1_000}\n", "image.size", 1, "not a whole number"},
		{"image: {size: \"16\"}\n", "image.size", 1, "without quotes"},
		{"image: {size: 1.0}\n", "image.size", 1, "not a whole number"},
		{"image: {size: {}}\n", "image.size", 1, "a block of fields is not a whole number"},
		{"image: [1]\n", "image", 1, "where a block of fields belongs"},
		{"image:\n", "image", 1, "no value"},
		{"axes:\n- id: a\n- {id: b, index: yes}\n", "axes[1].index", 3, "not a yes or no; allowed: true or false"},
		{"axes:\n- id: a\n  points: [1, .nan]\n", "axes[0].points[1]", 3, "finite"},
		{"axes: [{points: [.inf]}]", "axes[0].points[0]", 1, "finite"},
		{"axes: [{points: [1e999]}]", "axes[0].points[0]", 1, "out of range"},
		{"axes: [{points: [\"1\"]}]", "axes[0].points[0]", 1, "without quotes"},
		{"axes: [{points: [01]}]", "axes[0].points[0]", 1, "not a number"},
		{"axes: [{points: [null]}]", "axes[0].points[0]", 1, "no value"},
		{"axes: {}\n", "axes", 1, "where a list belongs"},
		{"tables:\n- conversion:\n    labels: {0: a, 0: b}\n", "tables[0].conversion.labels[0]", 3, "given twice"},
		{"tables: [{conversion: {labels: [a]}}]", "tables[0].conversion.labels", 1, "where pairs belong"},
		{"tables: [{conversion: {labels: {0: 1}}}]", "tables[0].conversion.labels[0]", 1, "is not text"},
		{"tables: [{conversion: {points: {outside: [1]}}}]", "tables[0].conversion.points.outside", 1, "a list where text belongs"},
		{"tables: [{conversion: {points: {outside: .inf}}}]", "tables[0].conversion.points.outside", 1, "not a number"},
		{"tables: [{conversion: {points: {outside: true}}}]", "tables[0].conversion.points.outside", 1, "is not text"},
		{"tables: [{conversion: {points: {outside: }}}]", "tables[0].conversion.points.outside", 1, "no value"},
		{"name: !!binary aGk=\n", "name", 1, "tag"},
		{"name: !own a\n", "name", 1, "tag"},
		{"name: \"a\\e[31mb\"\n", "name", 1, "control character U+001B"},
		{"name: |\n  a\n  b\n", "name", 1, "several lines; allowed: text on one line"},
		{"name: \"a\\u202Eb\"\n", "name", 1, "control character U+202E"},
		{"image: &i {start: 1}\n<<: *i\n", "", 2, "unknown field"},
	} {
		_, err := Decode("d.yaml", []byte(tt.doc), &calibrationv1.Definition{})
		check(t, tt.doc, err, tt.path, tt.line, tt.says)
	}
}

func check(t *testing.T, doc string, err error, path string, line int, says string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Errorf("%q: %v, want an *Error", doc, err)
		return
	}
	if e.Path != path || e.Line != line || !strings.Contains(err.Error(), says) {
		t.Errorf("%q:\n%v\nwant line %d, path %q, and %q", doc, err, line, path, says)
	}
	if strings.Contains(err.Error(), "\n") {
		t.Errorf("%q: the error has more than one line", doc)
	}
}

func TestTwoKinds(t *testing.T) {
	doc := "rules:\n- id: a\n  frozen: {}\n  covers: {}\n"
	_, err := Decode("l", []byte(doc), &calibrationv1.Limits{})
	check(t, doc, err, "rules[0]", 4, "both frozen and covers are given; allowed: one of envelope, range")
	doc = "rules: [{envelope: {values: [[1], [a]]}}]"
	_, err = Decode("l", []byte(doc), &calibrationv1.Limits{})
	check(t, doc, err, "rules[0].envelope.values[1][0]", 1, "not a number")
	doc = "rules: [{envelope: {values: [1]}}]"
	_, err = Decode("l", []byte(doc), &calibrationv1.Limits{})
	check(t, doc, err, "rules[0].envelope.values[0]", 1, "where a row of numbers belongs")
}

// A field that holds a number or text.
func TestEither(t *testing.T) {
	for in, want := range map[string]any{"hold": "hold", "-40.5": -40.5, "0x10": 16.0, `"7"`: "7"} {
		d := &calibrationv1.Definition{}
		if _, err := Decode("d", []byte("tables: [{conversion: {points: {outside: "+in+"}}}]"), d); err != nil {
			t.Error(err)
		} else if got := d.GetTables()[0].GetConversion().GetPoints().GetOutside().AsInterface(); got != want {
			t.Errorf("%s is read as %v, want %v", in, got, want)
		}
	}
}

func TestMultiline(t *testing.T) {
	l := &calibrationv1.Limits{}
	doc := "rules:\n- id: a\n  reason: |\n    one\n    two\n"
	if _, err := Decode("l", []byte(doc), l, "reason"); err != nil || l.GetRules()[0].GetReason() != "one\ntwo\n" {
		t.Errorf("%v %v", l, err)
	}
}

func TestErrorText(t *testing.T) {
	_, err := Decode("d.yaml", []byte("name: a\nimage: {size: x}\n"), &calibrationv1.Definition{})
	const want = `d.yaml:2: image.size: "x" is not a whole number; allowed: a whole number as in 256 or 0x100, without quotes`
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// A thousand aliases of ten thousand numbers are 10^7 values out of 25 kB.
func TestAliasBomb(t *testing.T) {
	var b strings.Builder
	b.WriteString("rules:\n- envelope: {values: [&r [" + strings.Repeat("1,", 9999) + "1]]}\n")
	b.WriteString("- &x {envelope: {values: [" + strings.Repeat("*r,", 999) + "*r]}}\n")
	_, err := Decode("l", []byte(b.String()), &calibrationv1.Limits{})
	if err == nil || !strings.Contains(err.Error(), "too large") {
		t.Errorf("%v", err)
	}
	doc := "tables: [{id: a, x: &x {id: q}, y: *x}]"
	d := &calibrationv1.Definition{}
	if _, err := Decode("d", []byte(doc), d); err != nil || d.GetTables()[0].GetY().GetId() != "q" {
		t.Errorf("an alias: %v %v", d, err)
	}
	doc = "rules: &a [*a]"
	if _, err := Decode("l", []byte(doc), &calibrationv1.Limits{}); err == nil {
		t.Error("a list inside itself was read")
	}
}

// What would make too many values is refused before the parser makes any, which would take a gigabyte and more.
func TestTooManyValues(t *testing.T) {
	const n = maxNodes + 1
	for name, doc := range map[string]string{
		"numbers":  "a: [" + strings.Repeat("1,", n) + "]",
		"keys":     "a: {" + strings.Repeat("b,", n) + "}",
		"rules":    "rules:\n" + strings.Repeat("- {id: a, frozen: {}}\n", n/5),
		"lines":    strings.Repeat("- a\n", n/2+1),
		"nested":   "a: " + strings.Repeat("[", n),
		"aliases":  "a: [&a 1," + strings.Repeat("*a,", n) + "]",
		"comments": strings.Repeat("#\n", n),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Decode("d", []byte(doc), &calibrationv1.Limits{})
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), "too large; allowed: at most") {
			t.Errorf("%s: %v", name, err)
		}
		if took := after.TotalAlloc - before.TotalAlloc; took > uint64(len(doc))+1<<20 {
			t.Errorf("%s: refused after %d bytes were taken", name, took)
		}
	}
}

func TestTooLong(t *testing.T) {
	_, err := Decode("d", make([]byte, MaxBytes+1), &calibrationv1.Definition{})
	if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("at most %d bytes", MaxBytes)) {
		t.Error(err)
	}
}

func TestNoLines(t *testing.T) {
	var none *Locator
	for _, at := range []*Locator{none, Locate("d", []byte("["))} {
		want := "a.b: wrong; allowed: c"
		if at != nil {
			want = "d: " + want
		}
		if err := at.Errorf("a.b", "c", "wrong"); err.Error() != want || at.Line("a") != 0 {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

// What is accepted says the same as protobuf's own JSON, and never panics.
func FuzzDecode(f *testing.F) {
	f.Add("name: a\nimage: {start: 0x0, size: 16}\n")
	f.Add("rules:\n- {id: a, frozen: {}}\n- {envelope: {values: [[1, 2]]}}\n")
	f.Add("tables: [{conversion: {labels: {0: off, -1: \"on\"}}, x: &a {points: [1.5]}, y: *a}]")
	f.Add("a: &a [*a]\n---\n? [b]\n: !!binary x")
	f.Fuzz(func(t *testing.T, doc string) {
		for _, m := range []proto.Message{&calibrationv1.Definition{}, &calibrationv1.Limits{}} {
			if _, err := Decode("f", []byte(doc), m); err != nil {
				var e *Error
				if !errors.As(err, &e) {
					t.Fatalf("%T: %v", err, err)
				}
				continue
			}
			text, err := protojson.Marshal(m)
			if err != nil {
				t.Fatal(err)
			}
			again := m.ProtoReflect().New().Interface()
			if err := protojson.Unmarshal(text, again); err != nil || !proto.Equal(m, again) {
				t.Fatalf("%v\n%v\n%v", m, again, err)
			}
		}
	})
}

// The demo's documents mean the same when the YAML library's own values are read by protobuf's JSON.
func TestAgreesWithAnotherReader(t *testing.T) {
	for name, m := range map[string]proto.Message{"dx1-1.8t.yaml": &calibrationv1.Definition{}, "dx1-road-98.yaml": &calibrationv1.Limits{}} {
		file, err := os.ReadFile("../../testdata/demo/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Decode(name, file, m); err != nil {
			t.Error(err)
		}
		var tree map[string]any
		if err := yaml.Unmarshal(file, &tree); err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(jsonable(tree))
		if err != nil {
			t.Fatal(err)
		}
		want := m.ProtoReflect().New().Interface()
		if err := protojson.Unmarshal(text, want); err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(m, want) {
			t.Errorf("%s:\n%v\nby JSON:\n%v", name, m, want)
		}
	}
}

// jsonable turns keys that are numbers, as those of labels are, into JSON's strings.
func jsonable(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = jsonable(v[k])
		}
	case map[any]any:
		out := map[string]any{}
		for k, x := range v {
			out[fmt.Sprint(k)] = jsonable(x)
		}
		return out
	case []any:
		for i := range v {
			v[i] = jsonable(v[i])
		}
	}
	return v
}

// A block for each key: the stretches where a rule holds.
func TestPairsOfBlocks(t *testing.T) {
	file := "name: l\nrules:\n  - id: r\n    where:\n      engine_speed: {from: 3000, unit: 1/min}\n      gear: {to: 3}\n"
	l := &calibrationv1.Limits{}
	at, err := Decode("l.yaml", []byte(file), l)
	if err != nil {
		t.Fatal(err)
	}
	where := l.GetRules()[0].GetWhere()
	if s := where["engine_speed"]; s.GetFrom() != 3000 || s.To != nil || s.GetUnit() != "1/min" || where["gear"].GetTo() != 3 || len(where) != 2 {
		t.Errorf("where %v", where)
	}
	if line := at.Line("rules[0].where[gear].to"); line != 6 {
		t.Errorf("line %d, want 6", line)
	}
	for file, want := range map[string]string{
		"name: l\nrules:\n  - where: {gear: 3}\n":                  `l.yaml:3: rules[0].where[gear]: "3" where a block of fields belongs; allowed: from, to, unit`,
		"name: l\nrules:\n  - where: {gear: {}, gear: {}}\n":       `l.yaml:3: rules[0].where[gear]: the key is given twice`,
		"name: l\nrules:\n  - where:\n      gear: {upto: 3}\n":     `l.yaml:4: rules[0].where[gear]: unknown field "upto"; allowed: from, to, unit`,
		"name: l\nrules:\n  - where:\n      gear: {from: three}\n": `l.yaml:4: rules[0].where[gear].from`,
	} {
		if _, err := Decode("l.yaml", []byte(file), &calibrationv1.Limits{}); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v\nwant %s", file, err, want)
		}
	}
}
