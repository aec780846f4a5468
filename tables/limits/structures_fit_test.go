package limits

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	"witnessmark/tables/definition"
)

// What a rule cannot mean is refused when limits and definition meet; free text alone is left to the judgement, which says so.
func TestWhatFitsAStructure(t *testing.T) {
	lay, err := definition.Load("rich.yaml", []byte(structured))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ rule, want string }{
		{`"select":{"tables":["block"]},"range":{"unit":"kPa","max":1},"where":{"gear":{"to":2,"unit":"1"}}`, ""},
		{`"select":{"tables":["block"]},"range":{"unit":"kPa","max":1},"where":{"gear":{"to":2,"unit":"kPa"}}`, "do not convert"},
		{`"select":{"tables":["block"]},"range":{"unit":"kPa","max":1},"where":{"oil":{"to":2,"unit":"Cel"}}`, `no axis of quantity "oil"`},
		{`"select":{"tables":["block"]},"envelope":{"side":"max","unit":"kPa","x":{"quantity":"gear","unit":"1","points":[1]},"values":[[1]]}`, ""},
		{`"select":{"tables":["named"]},"range":{"unit":"1","max":1},"where":{"":{"to":2,"unit":"1"}}`, "the quantity is empty"},
		{`"select":{"tables":["note"]},"range":{"unit":"1","max":1}`, `table "note" is a text`},
		{`"select":{"tables":["note"]},"frozen":{}`, ""},
		{`"select":{"tables":["cut"]},"below":{"table":"note"}`, `table "note" is a text`},
		{`"select":{"tables":["free"]},"range":{"unit":"kPa","max":1}`, ""},
		{`"select":{"tables":["free"]},"monotonic":{"of":"values","along":"x","rising":true}`, ""},
		{`"expression":"table('note').min() > 1.0"`, "note is a text, which only frozen judges"},
		{`"expression":"table('block').at(1, 2) > 1.0"`, "block has 3 of them, not 2"},
		{`"expression":"table('block').at(1, 2, 3) > 1.0"`, ""},
		{`"expression":"table('block').at(1, 2, 'x') > 1.0"`, ""},
		{`"expression":"table('block').value() > 1.0"`, "value() is for a scalar"},
		{`"declared":true,"select":{"tables":["block"]},"range":{"unit":"kPa","max":1}`, ""},
	} {
		l := limitsOf(rule("{" + c.rule + "}"))
		err := l.parseOne()
		if err == nil {
			err = l.Check(lay)
		}
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", c.rule, err, c.want)
		}
	}
}

func (l *Limits) parseOne() error {
	for _, err := range l.parse(nil) {
		if !strings.Contains(err.Error(), "name") {
			return err
		}
	}
	return nil
}

// A run leaves a block by the axis that it leaves furthest, each by its own span: gear 5 of 1 to 3 is beyond by one span.
func TestCoversABlock(t *testing.T) {
	s := sheet{id: "m", unit: "kPa", x: []float64{1000, 5000}, y: []float64{20, 100}, v: make([]float64, 8), beyond: []deep{{what: "gear 1", points: []float64{1, 3}}}}
	in := judging(one(s), one(s))
	in.Run = &Run{Channels: []RunChannel{{"engine_speed", "1/min", []float64{3000, 3000, 5400}}, {"load", "%", []float64{50, 50, 50}}, {"gear", "1", []float64{2, 5, 2}}}}
	f := judged(t, in, rule(`{"covers":{}}`)).Findings
	if len(f) != 1 || f[0].Count != 2 || f[0].Worst.GetAlong() != "gear" || f[0].Worst.GetValue() != 5 || f[0].Worst.GetLimit() != 3 || f[0].Worst.Inputs["gear"] != 5 || f[0].Worst.GetX() != 3000 {
		t.Errorf("%v", f)
	}
	// Without a quantity an axis says nothing; a table of none is passed over.
	s = sheet{id: "m", unit: "kPa", x: []float64{0, 1}, v: make([]float64, 2), xLabels: []string{"a", "b"}}
	in.Base, in.Candidate, in.Layout = nil, nil, nil
	run := in.Run
	in = judging(one(s), one(s))
	in.Run = run
	if out := judged(t, in, rule(`{"covers":{}}`)); len(out.Findings) != 0 || len(out.Passed) != 1 {
		t.Errorf("%v %v", out.Findings, out.Passed)
	}
}

// The engine used to come to the second of four slices; now it comes to the third, or to between that and the fourth. What it had
// a share of before is not new.
func TestNewGroundOfABlock(t *testing.T) {
	s := sheet{id: "m", unit: "kPa", x: []float64{0}, y: []float64{0}, v: []float64{90, 91, 92, 93}, beyond: []deep{{what: "air Cel", points: []float64{0, 10, 20, 30}}}}
	for _, c := range []struct {
		from, to float64
		want     string
	}{
		{10, 20, "m introduced 1x 92/50 by 42 x=0 y=0 [0,0] in [2]"},
		{10, 15, "m introduced 1x 92/50 by 42 x=0 y=0 [0,0] in [2]"},
		{12, 15, "m introduced 1x 92/50 by 42 x=0 y=0 [0,0] in [2]"},
		{10, 25, "m introduced 2x 93/50 by 43 x=0 y=0 [0,0] in [3]"},
		{20, 10, "m introduced 1x 91/50 by 41 x=0 y=0 [0,0] in [1]"},
		{20, 5, "m introduced 2x 91/50 by 41 x=0 y=0 [0,0] in [1]"},
		{40, 50, ""},
	} {
		in := judging(one(s), one(s))
		in.Changed, in.NewGround = nil, []NewGround{{Quantity: "air", From: c.from, To: c.to, Unit: "Cel"}}
		if got := sayAll(judged(t, in, rule(`{"range":{"max":50}}`)).Findings); got != c.want {
			t.Errorf("from %v to %v:\n got %s\nwant %s", c.from, c.to, got, c.want)
		}
	}
}

// What neighbours make is new as well, on a slice that is, and over boxes too.
func TestNeighboursOnNewGroundOfABlock(t *testing.T) {
	s := sheet{id: "m", unit: "kPa", x: []float64{0, 1}, y: []float64{0}, v: []float64{0, 9, 0, 8, 0, 7}, beyond: []deep{{what: "air Cel", points: []float64{0, 10, 20}}}}
	for _, text := range []string{`{"slope":{"along":"x","max":1}}`, `{"envelope":{"side":"max","x":{"quantity":"engine_speed","points":[0]},"values":[[1]]}}`} {
		for _, points := range []*definition.Points{nil, straight} {
			s.points = points
			in := judging(one(s), one(s))
			in.Changed, in.NewGround = nil, []NewGround{{Quantity: "air", From: 10, To: 20, Unit: "Cel"}}
			if got := sayAll(judged(t, in, rule(text)).Findings); !strings.HasPrefix(got, "m introduced 1x 7/1 by 6") || !strings.HasSuffix(got, "in [2]") {
				t.Errorf("%s: %s", text, got)
			}
		}
	}
}

// The room of a block's cells is slice by slice; a code has none.
func TestRoomOfABlock(t *testing.T) {
	s := sheet{id: "m", unit: "kPa", quantity: "q", x: []float64{0, 1}, y: []float64{0}, v: []float64{1, 2, 3, 4}, off: []bool{false, false, true, false}, beyond: []deep{{what: "gear 1", points: []float64{1, 2}}}}
	l := limitsOf(rule(`{"range":{"unit":"kPa","max":5}}`), rule(`{"id":"second","range":{"unit":"kPa","max":3},"where":{"gear":{"from":2,"unit":"1"}}}`))
	d := s.decoded()
	low, high, room := Bounds(l, d.Table, d)
	if len(room) != 4 || room[0] != 4 || room[1] != 3 || room[2] == room[2] || room[3] != -1 {
		t.Errorf("%v", room)
	}
	if high[0] != 5 || high[3] != 3 || low[0] == low[0] {
		t.Errorf("%v to %v", low, high)
	}
}

// A slice whose place is no number is judged, and JSON holds what is said of it.
func TestSliceAtNoNumber(t *testing.T) {
	s := sheet{id: "m", unit: "kPa", x: []float64{0}, y: []float64{0}, v: []float64{1, 9}, beyond: []deep{{what: "air Cel", points: []float64{0, math.NaN()}}}}
	found := judged(t, judging(nil, one(s)), rule(`{"range":{"max":5}}`)).Findings
	if len(found) != 1 {
		t.Fatal(sayAll(found))
	}
	if text, err := protojson.Marshal(found[0]); err != nil || found[0].Worst.Slice.At[0].GetStringValue() != "NaN" {
		t.Errorf("%s, %v", text, err)
	}
}

// Slices pair by their places: the base has none at gear 3, and its gear 4 is the third as well. What it lacks is new.
func TestSlicesPairByPlace(t *testing.T) {
	s := func(gears []float64, v ...float64) sheet {
		return sheet{id: "m", unit: "kPa", x: []float64{0}, y: []float64{0}, v: v, beyond: []deep{{what: "gear 1", points: gears, index: true}}}
	}
	base, cand := s([]float64{4, 2, 1}, 90, 80, 70), s([]float64{1, 3, 4}, 70, 75, 90)
	for text, want := range map[string]string{
		`{"range":{"max":50}}`:    "m introduced 1x 75/50 by 25 x=0 y=0 [0,0] in [1]; m inherited 2x 90/50 by 40 x=0 y=0 [0,0] in [2]",
		`{"change":{"max_up":1}}`: "; unjudged: 1 of 3 slices: the base has nothing to compare with",
		`{"frozen":{}}`:           "m introduced 6x 70/90 by 20 x=0 y=0 [0,0] in [0]",
	} {
		out := judged(t, judging(one(base), one(cand)), rule(text))
		if got := sayJudged(out); got != strings.TrimPrefix(want, "; ") {
			t.Errorf("%s:\n got %s\nwant %s", text, got, want)
		}
	}
	if f := judged(t, judging(one(base), one(cand)), rule(`{"range":{"max":50}}`)).Findings; !strings.Contains(f[0].Detail, "the base has no slice at gear 3") {
		t.Errorf("detail %q", f[0].Detail)
	}
	// Another table of the base under the id: nothing of it is held against the block.
	flat := sheet{id: "m", unit: "kPa", x: []float64{0}, y: []float64{0}, v: []float64{99}}
	out := judged(t, judging(one(flat), one(cand)), rule(`{"range":{"max":50}}`))
	if got := sayJudged(out); got != "m introduced 3x 90/50 by 40 x=0 y=0 [0,0] in [2]" || !strings.Contains(out.Findings[0].Detail, "the base could not be judged") {
		t.Errorf("%s, %v", got, out.Findings)
	}
}
