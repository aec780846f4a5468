package imported

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

// many is a description of n objects as controllers of the road have them: scalars most, then curves and maps with shared
// and own breakpoints, some of another kind. expect tells of each scalar what it holds in the image that comes with it.
func many(r *rand.Rand, n int) (text string, img []byte, expect map[string]float64) {
	var b strings.Builder
	expect = map[string]float64{}
	b.WriteString("ASAP2_VERSION 1 71\n/begin PROJECT made \"\"\n/begin MODULE made \"Made by a generator\"\n" + common + layouts)
	b.WriteString("/begin RECORD_LAYOUT N NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT\n")
	for i := range 40 {
		fmt.Fprintf(&b, "/begin COMPU_METHOD CM_%d \"\" RAT_FUNC \"%%6.2\" \"kPa\" COEFFS 0 %d %d 0 0 1 /end COMPU_METHOD\n", i, 1<<(i%6), i%7)
	}
	at := 0x10000
	put := func(size, border int) int {
		at = (at + border - 1) / border * border
		from := at
		for at += size; len(img) < at-0x10000; {
			img = append(img, 0)
		}
		return from
	}
	for i := range n / 60 {
		from := put(8, 1)
		for k := range 8 {
			img[from-0x10000+k] = byte(10*k + 1)
		}
		fmt.Fprintf(&b, "/begin AXIS_PTS AX_%d \"Breakpoints %d\" 0x%X input_%d AXIS 0 NO_COMPU_METHOD 8 0 255 /end AXIS_PTS\n", i, i, from, i)
	}
	for i := range n - n/60 {
		method := r.IntN(40)
		head := func(kind, layout string, from int) {
			fmt.Fprintf(&b, "/begin CHARACTERISTIC Unit%d.Object_%d \"What the object with the number %d is for\"\n  %s 0x%X %s 0 CM_%d 0 %d\n", i%97, i, i, kind, from, layout, method, 10+i%50)
		}
		switch k := r.IntN(100); {
		case k < 60:
			from := put(2, 2)
			raw := r.IntN(1 << 16)
			img[from-0x10000], img[from-0x10000+1] = byte(raw>>8), byte(raw)
			expect[Name(fmt.Sprintf("Unit%d.Object_%d", i%97, i))] = (float64(raw) - float64(method%7)) / float64(int(1)<<(method%6))
			head("VALUE", "W", from)
		case k < 75:
			head("CURVE", "B", put(8, 1))
			fmt.Fprintf(&b, "  /begin AXIS_DESCR COM_AXIS input_%d NO_COMPU_METHOD 8 0 255 AXIS_PTS_REF AX_%d /end AXIS_DESCR\n", i%(n/60), i%(n/60))
		case k < 90:
			head("MAP", "BBB", put(4+4+16, 1))
			b.WriteString("  " + std("n", "NO_COMPU_METHOD", 4) + "\n  " + std("load", "NO_COMPU_METHOD", 4) + "\n")
		case k < 95:
			from := put(13, 1)
			img[from-0x10000] = byte(1 + r.IntN(6))
			head("CURVE", "N", from)
			b.WriteString("  " + std("n", "NO_COMPU_METHOD", 6) + "\n")
		case k < 98:
			head("VAL_BLK", "B", put(8, 1))
			b.WriteString("  MATRIX_DIM 2 2 2\n")
		default:
			head("ASCII", "B", put(8, 1))
			b.WriteString("  NUMBER 8\n")
		}
		b.WriteString("/end CHARACTERISTIC\n")
	}
	for i := range 97 {
		fmt.Fprintf(&b, "/begin FUNCTION Unit_%d \"\" /begin DEF_CHARACTERISTIC Unit%d.Object_%d /end DEF_CHARACTERISTIC /end FUNCTION\n", i, i, i)
	}
	b.WriteString("/end MODULE\n/end PROJECT\n")
	return b.String(), img, expect
}

func none(string) ([]byte, error) { return nil, fmt.Errorf("there is no such file") }

// imported is the whole way from a description's text to what the compiler loads.
func imported(t testing.TB, text string) (*Result, *definition.Layout) {
	t.Helper()
	all, err := a2l.Read("made.a2l", []byte(text), none)
	if err != nil {
		t.Fatal(err)
	}
	r, err := A2L(all[0], Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r, loaded(t, r)
}

func TestManyObjects(t *testing.T) {
	seed := rand.Uint64()
	text, img, expect := many(rand.New(rand.NewPCG(seed, 0)), 6000)
	r, lay := imported(t, text)
	if len(r.Said) > 0 {
		t.Errorf("seed %d: %d said, the first: %v", seed, len(r.Said), r.Said[0])
	}
	if n := len(r.Definition.Tables) + len(r.Definition.Axes); n != 6000 {
		t.Errorf("seed %d: %d objects of 6000", seed, n)
	}
	img = append(img, make([]byte, lay.Size-uint64(len(img)))...)
	for _, table := range lay.Tables {
		d := surface.Decode(table, img)
		if d.Astray != nil {
			t.Fatalf("seed %d: %v", seed, d.Astray)
		}
		if want, known := expect[table.ID]; known && !close(d.Values, []float64{want}) {
			t.Errorf("seed %d: %s holds %v, want %v", seed, table.ID, d.Values, want)
		}
		delete(expect, table.ID)
	}
	if len(expect) > 0 {
		t.Errorf("seed %d: %d scalars are not there", seed, len(expect))
	}
	lim, err := limits.Load("made.limits.yaml", yamlout.Write(r.Limits))
	if err != nil {
		t.Fatal(err)
	}
	if err := lim.Check(lay); err != nil {
		t.Fatal(err)
	}
	for m, back := range map[proto.Message]proto.Message{r.Definition: &calibrationv1.Definition{}, r.Limits: &calibrationv1.Limits{}} {
		if _, err := yamldoc.Decode("made.yaml", yamlout.Write(m), back); err != nil || !proto.Equal(m, back) {
			t.Errorf("seed %d: it does not come back: %v", seed, err)
		}
	}
}

// Ids do not hang on which part of a description is imported.
func TestOnlyAPart(t *testing.T) {
	text, _, _ := many(rand.New(rand.NewPCG(1, 2)), 600)
	text = strings.Replace(text, "/begin FUNCTION", "/begin CHARACTERISTIC Unit1.object_1 \"\" VALUE 0x10000 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC\n/begin FUNCTION", 1)
	all, _ := imported(t, text)
	if again, _ := imported(t, text); string(yamlout.Write(again.Definition)) != string(yamlout.Write(all.Definition)) || string(yamlout.Write(again.Limits)) != string(yamlout.Write(all.Limits)) {
		t.Error("the same input gives other bytes")
	}
	part, err := A2L(madeModule(t, text), Options{Only: []string{"*1.object_1", "unit5.*"}})
	if err != nil {
		t.Fatal(err)
	}
	whole := map[string]string{}
	for _, table := range all.Definition.Tables {
		whole[table.GetKnownAs()] = table.GetId()
	}
	if n := len(part.Definition.Tables); n < 5 || n > 20 {
		t.Errorf("%d tables", n)
	}
	for _, table := range part.Definition.Tables {
		if whole[table.GetKnownAs()] != table.GetId() {
			t.Errorf("%s is %s here and %s there", table.GetKnownAs(), table.GetId(), whole[table.GetKnownAs()])
		}
	}
	loaded(t, part)
}

func madeModule(t testing.TB, text string) *a2l.Module {
	t.Helper()
	all, err := a2l.Read("made.a2l", []byte(text), none)
	if err != nil {
		t.Fatal(err)
	}
	return all[0]
}

// BenchmarkImport is what 20,000 objects take from a description's text to the text of a definition and limits, and what that
// takes to be read again and compiled: both in times of what the YAML library takes to read the definition, each the fastest
// of several turns.
func BenchmarkImport(b *testing.B) {
	text, _, _ := many(rand.New(rand.NewPCG(1, 2)), 20_000)
	var made []byte
	least := map[string]time.Duration{}
	turn := func(what string, do func() error) {
		runtime.GC()
		begun := time.Now()
		if err := do(); err != nil {
			b.Fatal(err)
		}
		if took := time.Since(begun); least[what] == 0 || took < least[what] {
			least[what] = took
		}
	}
	for b.Loop() {
		turn("import", func() error {
			all, err := a2l.Read("made.a2l", []byte(text), none)
			if err != nil {
				return err
			}
			r, err := A2L(all[0], Options{})
			if err == nil {
				made = yamlout.Write(r.Definition)
				yamlout.Write(r.Limits)
			}
			return err
		})
		turn("load", func() error { _, err := definition.Load("made.yaml", made); return err })
		turn("bare", func() error { return yaml.Unmarshal(made, new(yaml.Node)) })
	}
	b.ReportMetric(0, "ns/op")
	for _, what := range []string{"import", "load"} {
		b.ReportMetric(least[what].Seconds()/least["bare"].Seconds(), what+"-x-bare-parse")
	}
}

// BenchmarkCheckImported of 20,000 objects: whether the declared limits fit the definition.
func BenchmarkCheckImported(b *testing.B) {
	text, _, _ := many(rand.New(rand.NewPCG(1, 2)), 20_000)
	r, err := A2L(madeModule(b, text), Options{})
	if err != nil {
		b.Fatal(err)
	}
	lay := loaded(b, r)
	lim, err := limits.Load("made.limits.yaml", yamlout.Write(r.Limits))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := lim.Check(lay); err != nil {
			b.Fatal(err)
		}
	}
}
