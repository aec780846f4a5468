package definition

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"witnessmark/tables/yamldoc"
)

// leans says whether one fault may hide another, or bring it: what refers to something that is at fault is not
// looked at further, and overlaps are told of what could be placed.
func leans(one, two string) bool {
	on := func(a, b, first, second string) bool {
		return strings.HasPrefix(a, first) && strings.HasPrefix(b, second)
	}
	return on(one, two, "tables[0]", "axes") || on(one, two, "tables[3].mirror", "tables") || on(one, two, "tables[3].mirror", "axes") ||
		strings.Contains(one, "overlaps") || strings.Contains(one, "image.size")
}

func faultsOf(t *testing.T, doc string) (out []string) {
	t.Helper()
	_, faults := Examine("d.yaml", []byte(doc))
	line := 0
	for _, err := range faults {
		var e *yamldoc.Error
		if !errors.As(err, &e) || e.Line < line {
			t.Errorf("%v is no fault of the file, or out of order", err)
			continue
		}
		line, out = e.Line, append(out, err.Error())
	}
	return out
}

// TestExamine: alone, each fault is told as Load tells it, and nothing beside it that only follows; of two
// in different lines both are told.
func TestExamine(t *testing.T) {
	renamed := map[string]bool{"id: rpm": true, "id: 'a:b'": true, "id: base": true} // what names the old id is wrong too
	var docs, said []string
	for _, tt := range refusals {
		doc := strings.Replace(sound, tt.old, tt.new, 1)
		_, err := Load("d.yaml", []byte(doc))
		if got := faultsOf(t, doc); !slices.Contains(got, err.Error()) || len(got) > 1 && !renamed[tt.new] {
			t.Errorf("%q for %q: %q", tt.new, tt.old, got)
		}
		docs, said = append(docs, doc), append(said, err.Error())
	}
	tried := 0
	for i, one := range refusals {
		for j, two := range refusals[:i] {
			doc := strings.Replace(docs[i], two.old, two.new, 1)
			_, a, _ := strings.Cut(said[i], ": ")
			_, b, _ := strings.Cut(said[j], ": ")
			if len(docs[i]) > 1<<14 || len(doc) > 1<<14 || one.line == two.line || !strings.Contains(docs[i], two.old) || leans(a, b) || leans(b, a) {
				continue
			}
			tried++
			got := strings.Join(faultsOf(t, doc), "\n")
			for _, n := range []int{i, j} {
				_, problem, _ := strings.Cut(said[n], ": ")
				if !strings.Contains(got, problem) {
					t.Errorf("%.60q and %.60q: %.300q; want %q", one.new, two.new, got, said[n])
				}
			}
		}
	}
	if tried < 1000 {
		t.Errorf("%d pairs", tried)
	}
}

// TestExamineReads: faults of form and of meaning are told together, signals' too, and what only follows from
// them is not.
func TestExamineReads(t *testing.T) {
	doc := strings.NewReplacer("colour: red\n", "", "count: 4}", "count: four}", "role: target", "rôle: target").Replace(sound) + `
signals:
  - {id: total, quantity: advance, unit: deg, value: "table('base') + table('cut')"}
  - {id: other, quantity: advance, unit: deg, value: "signal('total') + table('nothing')"}
  - {id: third, quantity: advance, unit: deg, value: "signal('other') * 2.0"}
  - {id: fourth, quantity: advance, unit: deg, value: "signal('fourth') +"}
  - {id: fifth, quantity: advance, unit: deg, value: "signal('fourth') + input('nothing')"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 5, to: 5}
colour: red
`
	want := []string{"13: axes[0].stored.count", "16: tables[0]", "27: signals[1].value", "29: signals[3].value", "30: signals[4].value", "32: inputs[0].to", "33: unknown field"}
	got := faultsOf(t, doc)
	for i, w := range want {
		if i >= len(got) || !strings.HasPrefix(got[i], "d.yaml:"+w) {
			t.Fatalf("%q\nwant %q", got, want)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%q\nwant %q", got, want)
	}
	for _, doc := range []string{"", "a: [", "tables: 5\nname: dx", "image: 3\n" + sound, strings.Repeat("a: 1\n", 300)} {
		if got := faultsOf(t, doc); len(got) == 0 || len(got) > yamldoc.MaxFaults {
			t.Errorf("%.20q: %d faults", doc, len(got))
		}
	}
	if lay, faults := Examine("d.yaml", []byte(sound)); len(faults) > 0 || lay.ByID["base"] == nil {
		t.Errorf("%v", faults)
	}
}
