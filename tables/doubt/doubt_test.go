package doubt

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/severity"
)

// plain is a definition of which nothing is doubtful; the cases below each change one line of it.
const plain = `name: plain
byte_order: big
image:
  start: 0x100
  size: 0x80
  segments: [{start: 0x100, end: 0x180, content: calibration}]
identity: [{id: software, address: 0x100, length: 4, encoding: ascii, expect: "SW-1"}]
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x110, type: u8, count: 4}, conversion: {factor: 50}}
tables:
  - {id: boost, quantity: manifold_pressure, unit: kPa, stored: {address: 0x114, type: u8}, x: {axis: rpm}}
  - {id: spark, quantity: ignition_advance, unit: deg, stored: {address: 0x118, type: s8}, x: {axis: rpm}, conversion: {factor: 0.5}}
  - {id: trim, quantity: ignition_advance, role: correction, unit: deg, stored: {address: 0x11C, type: s8}, x: {id: temp, quantity: coolant_temperature, unit: Cel, points: [0, 80]}}
  - {id: fan, quantity: fan, stored: {address: 0x11E, type: u8, mask: 0x01}, conversion: {labels: {0: off, 1: on}}}
  - {id: pump, quantity: pump, stored: {address: 0x11E, type: u8, mask: 0x02}, conversion: {labels: {0: off, 1: on}}}
checksums: [{id: sum, algorithm: sum-8, over: [{start: 0x100, end: 0x120}], stored: {address: 0x130, type: u8}, restamped_on_write: true}]
`

const allow = `name: plain-road
applies_to: [plain]
rules:
  - {id: boost-top, severity: danger, select: {quantity: manifold_pressure}, range: {unit: kPa, max: 230}, reason: r, source: test}
  - {id: spark-top, severity: danger, select: {quantity: ignition_advance, tables: [spark]}, range: {unit: deg, max: 40}, reason: r, source: test}
  - {id: kept, severity: danger, select: {tables: [fan, pump]}, frozen: {}, reason: r, source: test}
  - {id: sum, severity: danger, expression: "table('trim').max() < 5.0", reason: r, source: test}
`

// bytesOf is an image of plain, correct in everything.
func bytesOf() []byte {
	b := make([]byte, 0x80)
	copy(b, "SW-1")
	copy(b[0x10:], []byte{20, 40, 80, 120, 100, 150, 180, 170, 20, 40, 50, 44, 0xFE, 3, 0xFD})
	for _, v := range b[:0x20] {
		b[0x30] += v
	}
	return b
}

// lines are doubts as severity, line, and words.
func lines(all []Doubt) (out []string) {
	for _, d := range all {
		out = append(out, fmt.Sprintf("%s %s", d.Severity, d.Error()))
	}
	return out
}

// want holds doubts against parts of their lines, in order.
func want(t *testing.T, what string, all []Doubt, parts ...string) {
	t.Helper()
	got := lines(all)
	for i, p := range parts {
		severity, words, _ := strings.Cut(p, " ")
		if i >= len(got) || !strings.HasPrefix(got[i], severity+" ") || !strings.Contains(got[i], words) {
			t.Errorf("%s:\n%s\nwant %q", what, strings.Join(got, "\n"), parts)
			return
		}
	}
	if len(got) != len(parts) {
		t.Errorf("%s:\n%s\nwant %q", what, strings.Join(got, "\n"), parts)
	}
}

func TestOfDefinition(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"name: plain", "name: plain", ""},
		{"unit: kPa", "unit: kpa", `caution d.yaml:11: tables[0].unit: unit "kpa" is not known`},
		{"unit: Cel", "unit: degC", `caution d.yaml:13: tables[2].x.unit: unit "degC" is not known`},
		{"unit: 1/min", "unit: revs", `caution d.yaml:9: axes[0].unit: unit "revs" is not known`},
		{"address: 0x118", "address: 0x117", `notice d.yaml:12: tables[1]: table spark shares bits with table boost`},
		{"address: 0x114", "address: 0x113", `caution d.yaml:11: tables[0]: table boost shares bits with axis rpm`},
		{"mask: 0x02", "mask: 0x03", `notice d.yaml:15: tables[4]: table pump shares bits with table fan`},
		{"type: u8}, x: {axis: rpm}", "type: u8}, x: {axis: rpm}, conversion: {offset: 5000}", `caution d.yaml:11: tables[0].conversion: what is stored can only mean 5000 to 5255 kPa, which is no usual manifold_pressure; allowed: usually 0 to 600 kPa`},
		{"factor: 50", "factor: -50, offset: -500", `caution d.yaml:9: axes[0].conversion: what is stored can only mean -13250 to -500 1/min`},
		{"type: u8, count: 4", "type: u9, count: 4", `danger d.yaml:9: axes[0].stored.type`},
	} {
		if !strings.Contains(plain, c.old) {
			t.Errorf("%q is not in the definition", c.old)
		}
		lay, all := OfDefinition("d.yaml", []byte(strings.Replace(plain, c.old, c.new, 1)))
		var parts []string
		if c.want != "" {
			parts = []string{c.want}
		}
		want(t, c.new, all, parts...)
		if lay == nil || (c.want == "") != (Worst(all) == severity.Clear) {
			t.Errorf("%s: %s", c.new, Worst(all))
		}
	}
	if lay, all := OfDefinition("d.yaml", []byte("a: [")); lay != nil || Worst(all) != severity.Danger {
		t.Errorf("no YAML: %v", all)
	}
}

func TestOfImage(t *testing.T) {
	for _, c := range []struct {
		what  string
		old   string // in the definition
		new   string
		edit  func(b []byte)
		wants []string
	}{
		{"as it is", "", "", func([]byte) {}, nil},
		{"another software", "", "", func(b []byte) { b[3] = '2' }, []string{"caution identity"}},
		{"an axis that does not rise", "", "", func(b []byte) { b[0x11] = 20 }, []string{"caution d.yaml:9: axes[0]: axis rpm: 1 of 4 breakpoints are out of order, the first: 1000 after 1000"}},
		{"a wrong factor", "factor: 0.5", "factor: 5", func([]byte) {}, []string{"caution d.yaml:12: tables[1]: table spark holds 100 to 250 deg; 4 of 4 values are far outside what ignition_advance usually is; allowed: usually -60 to 80 deg"}},
		{"an axis far out", "factor: 50", "factor: 500", func([]byte) {}, []string{"caution d.yaml:9: axes[0]: axis rpm holds 10000 to 60000 1/min; 3 of 4 values"}},
		{"no such label", "labels: {0: off, 1: on}}}\n  - {id: pump", "labels: {0: off}}}\n  - {id: pump", func([]byte) {}, []string{"caution d.yaml:14: tables[3].conversion.labels: table fan holds raw 1"}},
		{"a wrong sum", "", "", func(b []byte) { b[0x30]++ }, []string{"notice checksum"}},
		{"something between", "", "", func(b []byte) { b[0x44] = 7 }, []string{"notice d.yaml:15: tables[4]: 0x131 to 0x180, after table pump: 79 bytes belong to nothing"}},
		{"filled", "", "", func(b []byte) {
			for i := 0x40; i < 0x80; i++ {
				b[i] = 0xFF
			}
			for i := 0x31; i < 0x40; i++ {
				b[i] = 0xFF
			}
		}, nil},
	} {
		file := []byte(strings.Replace(plain, c.old, c.new, 1))
		lay, err := definition.Load("d.yaml", file)
		if err != nil {
			t.Fatal(err)
		}
		b := bytesOf()
		c.edit(b)
		if c.what != "a wrong sum" {
			b[0x30] = 0
			for _, v := range b[:0x20] {
				b[0x30] += v
			}
		}
		all, err := OfImage("d.yaml", file, lay, image.Whole(0x100, b))
		if err != nil {
			t.Fatal(err)
		}
		want(t, c.what, all, c.wants...)
	}
	lay, _ := definition.Load("d.yaml", []byte(plain))
	if _, err := OfImage("d.yaml", []byte(plain), lay, image.Whole(0, bytesOf())); err == nil {
		t.Error("an image of another place")
	}
	holed := image.Whole(0x100, bytesOf())
	holed.Held = image.Minus(holed.Held, []image.Range{{Start: 0x114, End: 0x118}})
	for i := 0x14; i < 0x18; i++ {
		holed.Bytes[i] = 0xFF
	}
	all, err := OfImage("d.yaml", []byte(plain), lay, holed)
	if err != nil || len(all) == 0 || Worst(all) != severity.Notice {
		t.Errorf("what an image lacks is doubted: %v, %v", lines(all), err)
	}
}

func TestOfLimits(t *testing.T) {
	lay, err := definition.Load("d.yaml", []byte(plain))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		old, new string
		wants    []string
	}{
		{"", "", nil},
		{"tables: [spark]", "role: target", []string{"danger l.yaml:5: rules[1].select: rule spark-top: it selects no table"}},
		{"tables: [spark]", "role: goal", []string{"danger l.yaml:5: rules[1].select.role"}},
		{"max: 230", "max: 2300", []string{"caution l.yaml:4: rules[0].range.max: rule boost-top: 2300 kPa is far outside what manifold_pressure usually is"}},
		{"unit: kPa, max: 230", "unit: bar, max: 230", []string{"caution l.yaml:4: rules[0].range.max: rule boost-top: 230 bar is far outside"}},
		{"max: 230}, reason: r", "max: 230}", []string{"notice l.yaml:4: rules[0]: rule boost-top says no reason"}},
		{"tables: [fan, pump]", "tables: [fan]", []string{"notice l.yaml:3: rules: no rule looks at 1 of 5 tables: pump"}},
		{"expression: \"table('trim')", "expression: \"table('boost')", []string{"notice l.yaml:3: rules: no rule looks at 1 of 5 tables: trim"}},
		{"applies_to: [plain]", "applies_to: [plane]", []string{"danger l.yaml:2: applies_to"}},
	} {
		doc := strings.Replace(allow, c.old, c.new, 1)
		want(t, c.new, OfLimits("l.yaml", []byte(doc), lay), c.wants...)
	}
	if all := OfLimits("l.yaml", []byte("- 1"), lay); Worst(all) != severity.Danger {
		t.Errorf("no limits: %v", all)
	}
}

// TestDemo: nothing is doubtful in what the demo shows.
func TestDemo(t *testing.T) {
	folder := "../../testdata/demo/"
	read := func(name string) []byte {
		b, err := os.ReadFile(folder + name)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	def := read("dx1-1.8t.yaml")
	lay, all := OfDefinition("dx1-1.8t.yaml", def)
	want(t, "the demo's definition", all)
	im, err := lay.ReadImage("asfound.bin", read("asfound.bin"), image.Raw)
	if err != nil {
		t.Fatal(err)
	}
	seen, err := OfImage("dx1-1.8t.yaml", def, lay, im)
	if err != nil || Worst(seen).AtLeast(severity.Caution) {
		t.Errorf("%v, %v", lines(seen), err)
	}
	if all := OfLimits("dx1-road-98.yaml", read("dx1-road-98.yaml"), lay); Worst(all).AtLeast(severity.Caution) {
		t.Errorf("%v", lines(all))
	}
}
