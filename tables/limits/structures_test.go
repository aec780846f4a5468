package limits

import (
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// structured is a definition of every structure; cells are u8 or big-endian u16. Each table's bytes are written out by bytes().
const structured = `name: rich
byte_order: big
image: {size: 0x400}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x10, type: u8, count: 3, count_at: {address: 0x0F, type: u8}}, conversion: {factor: 100}}
  - {id: gear, labels: [first, second, third], index: true}
tables:
  - {id: block, quantity: boost, unit: kPa, stored: {address: 0x20, type: u8}, axes: [{axis: rpm}, {quantity: load, unit: "%", points: [0, 100]}, {quantity: gear, unit: "1", points: [1, 2, 3], index: true}]}
  - {id: cut, quantity: boost, unit: kPa, stored: {address: 0x40, type: u8}, x: {quantity: gear, unit: "1", points: [1, 2, 3], index: true}}
  - {id: far, quantity: advance, unit: deg, stored: {address: 0x50, type: u8, pointer: u16}, x: {axis: rpm}}
  - {id: points, quantity: temp, unit: Cel, stored: {address: 0x60, type: u8}, conversion: {points: {raw: [0, 100, 200], physical: [-40, 60, 40]}}, x: {axis: rpm}}
  - {id: named, quantity: ratio, unit: "1", stored: {address: 0x70, type: u8}, x: {axis: gear}}
  - {id: free, quantity: flow, unit_text: "U / min", stored: {address: 0x80, type: u8}, x: {axis: rpm}}
  - {id: note, kind: text, stored: {address: 0x90, length: 8}, encoding: ascii}
  - {id: off, quantity: advance, unit: deg, stored: {address: 0xA0, type: u8, not_a_value: [255]}, x: {axis: rpm}}
  - {id: down, quantity: advance, unit: deg, stored: {address: 0xB2, type: u8, reversed: true}, x: {axis: rpm}}
`

// richImage is an image of it with bytes at places of it.
func richImage(at map[int][]byte) []byte {
	image := make([]byte, 0x400)
	put := func(at int, b ...byte) { copy(image[at:], b) }
	put(0x0F, 3, 10, 20, 40)                                                    // rpm: 1000, 2000, 4000
	put(0x20, 1, 2, 3, 4, 5, 6, 11, 12, 13, 14, 15, 16, 21, 22, 23, 24, 25, 26) // block: gear by gear, load by load
	put(0x40, 50, 60, 70)
	put(0x50, 0x01, 0x00) // far begins at 0x100
	put(0x100, 7, 8, 9)
	put(0x60, 0, 100, 200)
	put(0x70, 1, 2, 3)
	put(0x80, 1, 2, 3)
	put(0x90, []byte("ab  \x00\x00\x00\x00")...)
	put(0xA0, 10, 255, 20)
	put(0xB0, 9, 8, 7) // down: 7, 8, 9
	put(0x200, 30, 31, 32)
	for a, b := range at {
		put(a, b...)
	}
	return image
}

// richJudged judges rules on a candidate whose bytes differ as given; all tables named are said to have changed.
func richJudged(t *testing.T, at map[int][]byte, changed []string, rules ...*calibrationv1.Rule) *Judged {
	t.Helper()
	lay, err := definition.Load("rich.yaml", []byte(structured))
	if err != nil {
		t.Fatal(err)
	}
	read := func(image []byte) func(id string) *surface.Decoded {
		return func(id string) *surface.Decoded {
			if lay.ByID[id] == nil {
				return nil
			}
			return surface.Decode(lay.ByID[id], image)
		}
	}
	l := limitsOf(rules...)
	if err := l.Check(lay); err != nil {
		t.Fatal(err)
	}
	out, err := Judge(l, JudgeInput{Layout: lay, Changed: changed, Base: read(richImage(nil)), Candidate: read(richImage(at))})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func sayJudged(out *Judged) string {
	text := sayAll(out.Findings)
	for _, f := range out.Findings {
		if w := f.Worst; w.GetXLabel() != "" || w.GetAlong() != "" {
			text += " (" + w.GetXLabel() + w.GetAlong() + ")"
		}
		if f.Rule == "rule-error" {
			text += " (" + f.Detail + ")"
		}
	}
	for _, u := range out.Unjudged {
		text += "; unjudged: " + u.Reason
	}
	for _, u := range out.Passed {
		text += "; passed: " + u.Reason
	}
	return strings.TrimPrefix(text, "; ")
}

// Every number is worked out by hand from the bytes above.
func TestStructuresByHand(t *testing.T) {
	for _, c := range []struct {
		name  string
		table string
		bytes map[int][]byte
		rule  string
		want  string
	}{
		// The block's second gear lies from 0x26; its cell (load 100, 2000) at 0x2A is 15.
		{"range on a block", "block", map[int][]byte{0x2A: {40}, 0x31: {33}}, `"range":{"unit":"kPa","max":30}`, "block introduced 2x 40/30 by 10 x=2000 y=100 [1,1] in [1]"},
		{"equal ones: the first slice", "block", map[int][]byte{0x21: {40}, 0x2A: {40}}, `"range":{"unit":"kPa","max":30}`, "block introduced 2x 40/30 by 10 x=2000 y=0 [0,1] in [0]"},
		{"change on a block", "block", map[int][]byte{0x25: {9}, 0x31: {33}}, `"change":{"unit":"kPa","max_up":2}`, "block introduced 2x 33/28 by 5 x=4000 y=100 [1,2] in [2]"},
		{"where on its third axis", "block", map[int][]byte{0x25: {40}, 0x31: {33}}, `"range":{"unit":"kPa","max":30},"where":{"gear":{"from":2,"unit":"1"}}`, "block introduced 1x 33/30 by 3 x=4000 y=100 [1,2] in [2]"},
		{"where it has no slice", "block", map[int][]byte{0x25: {40}}, `"range":{"unit":"kPa","max":30},"where":{"gear":{"from":9,"unit":"1"}}`, "passed: no slice of it lies where the rule holds"},
		// The ceiling over gear: 10, 20, 26 at 1, 2, 3. First gear at most 6 inside; 16 inside; 26 at the limit, 27 beyond it.
		{"envelope over the third axis", "block", map[int][]byte{0x31: {27}}, `"envelope":{"side":"max","unit":"kPa","x":{"quantity":"gear","unit":"1","points":[1,2,3]},"values":[[10,20,26]]}`, "block introduced 1x 27/26 by 1 x=4000 y=100 [1,2] in [2]"},
		{"envelope that lacks a gear", "block", map[int][]byte{0x31: {27}}, `"envelope":{"side":"max","unit":"kPa","x":{"quantity":"gear","unit":"1","points":[1,3]},"values":[[10,26]]}`, "block introduced 1x 27/26 by 1 x=4000 y=100 [1,2] in [2]; unjudged: 1 of 3 slices: the index axis of gear has no point 2 in what limits the table, and is never interpolated"},
		// Below the cut of the same gear less 40: 10, 20, 30.
		{"below a curve over the third axis", "block", map[int][]byte{0x28: {23}}, `"below":{"table":"cut","unit":"kPa","margin":40}`, "block introduced 1x 23/20 by 3 x=4000 y=0 [0,2] in [1]"},
		// The block's least is 1, 11, 21 from gear to gear; 12 and 70 lie above it, and the base did further.
		{"a curve below the block at its worst", "cut", map[int][]byte{0x40: {0}, 0x41: {12}}, `"below":{"table":"block","unit":"kPa","margin":0}`, "cut inherited 2x 70/21 by 49 x=3 [0,2]"},
		{"frozen", "block", map[int][]byte{0x2A: {40}, 0x12: {50}}, `"frozen":{}`, "block introduced 2x 40/15 by 25 x=2000 y=100 [1,1] in [1]"},
		{"its axes", "block", map[int][]byte{0x11: {10}}, `"monotonic":{"of":"axes"}`, "block introduced 1x 1000/1000 by 0 x=1000 y=0 [0,1] in [0] (x)"},
		// Two breakpoints are used in the candidate: cells move up, the surface is joined.
		{"a count that differs", "points", map[int][]byte{0x0F: {2}}, `"range":{"unit":"Cel","max":50}`, "points inherited 1x 60/50 by 10 x=2000 [0,1]"},
		{"a frozen count", "points", map[int][]byte{0x0F: {2}}, `"frozen":{}`, "points introduced 1x by 0 x=0"},
		{"a count that leads outside", "points", map[int][]byte{0x0F: {9}}, `"range":{"unit":"Cel","max":50}`, "unjudged: axis rpm: its count at 0xf is 9; allowed: 1 to 3"},
		{"a pointer", "far", map[int][]byte{0x50: {0x02, 0x00}}, `"change":{"unit":"deg","max_up":20}`, "far introduced 3x 30/27 by 3 x=1000 [0,0]"},
		{"a pointer that leads outside", "far", map[int][]byte{0x50: {0xF0, 0x00}}, `"change":{"unit":"deg","max_up":20}`, "unjudged: "},
		// Raw 0, 100, 200 is -40, 60, 40. From 90 at 2000 to 110 at 4000 it is 100 half way, which is 60; the cells are 50 and 58, the base 50 there.
		{"points between the cells", "points", map[int][]byte{0x61: {90}, 0x62: {110}}, `"envelope":{"side":"max","unit":"Cel","x":{"quantity":"engine_speed","unit":"1/min","points":[1000]},"values":[[55]]}`, "points introduced 1x 60/55 by 5 x=3000"},
		{"names along an axis", "named", map[int][]byte{0x71: {9}}, `"range":{"unit":"1","max":5}`, "named introduced 1x 9/5 by 4 [0,1] (second)"},
		{"no quantity to confine", "named", map[int][]byte{0x71: {9}}, `"range":{"unit":"1","max":5},"where":{"gear":{"to":2,"unit":"1"}}`, "passed: it has no axis of gear"},
		{"nothing to cover or slope", "named", map[int][]byte{0x71: {9}}, `"slope":{"along":"x","unit":"1","max":5}`, "unjudged: its x axis is an index axis, along which nothing is measured"},
		{"free text has no unit", "free", map[int][]byte{0x81: {9}}, `"range":{"unit":"L/min","max":5}`, `unjudged: a unit is free text there, "U / min", which nothing converts`},
		{"free text in per cent", "free", map[int][]byte{0x81: {9}}, `"change":{"percent":true,"max_up":100}`, "free introduced 1x 9/4 by 5 x=2000 [0,1]"},
		{"free text rises", "free", map[int][]byte{0x81: {0}}, `"monotonic":{"of":"values","along":"x","rising":true}`, "free introduced 1x 0/1 by 1 x=2000 [0,1]"},
		{"a text that differs", "note", map[int][]byte{0x90: []byte("ax")}, `"frozen":{}`, "note introduced 1x by 0"},
		{"blanks are no text", "note", map[int][]byte{0x92: {0}}, `"frozen":{}`, ""},
		{"a text is no number", "note", map[int][]byte{0x90: []byte("ax")}, `"range":{"unit":"deg","max":5}`, "unjudged: the table is a text, which only frozen judges"},
		{"a code", "off", map[int][]byte{0xA0: {90}}, `"range":{"unit":"deg","max":50}`, "off introduced 1x 90/50 by 40 x=1000 [0,0]"},
		{"switched on", "off", map[int][]byte{0xA1: {90}}, `"change":{"unit":"deg","max_up":5}`, ""},
		{"switched on and frozen", "off", map[int][]byte{0xA1: {90}}, `"frozen":{}`, "off introduced 1x by 0 x=2000 [0,1]"},
		{"reversed", "down", map[int][]byte{0xB2: {60}}, `"range":{"unit":"deg","max":50}`, "down introduced 1x 60/50 by 10 x=1000 [0,0]"},
		{"at() with all axes", "", nil, `"expression":"table('block').at(1500, 50, 2) == 13.0"`, ""},
		{"at() at no gear", "", nil, `"expression":"table('block').at(1500, 50, 2.5) == 13.0"`, "  1x (rule r could not be evaluated: 2.5 is no point of the index axis gear of block, which is never interpolated)"},
		{"min and max of all slices", "", nil, `"expression":"table('block').min() == 1.0 && table('block').max() == 26.0 && table('off').max() == 20.0"`, ""},
	} {
		r := rule("{" + c.rule + "}")
		if c.table != "" {
			r.Select = &calibrationv1.Select{Tables: []string{c.table}}
		}
		if strings.HasPrefix(c.want, "passed: it has no") || strings.Contains(c.name, "no number") || strings.Contains(c.name, "slope") { // a rule that names a table must fit it
			r.Select = &calibrationv1.Select{}
			for _, id := range []string{"block", "cut", "far", "points", "named", "free", "note", "off", "down"} {
				if id != c.table {
					r.Select.Except = append(r.Select.Except, id)
				}
			}
		}
		got := sayJudged(richJudged(t, c.bytes, []string{c.table}, r))
		if open := strings.HasSuffix(c.want, ": ") || strings.HasSuffix(c.want, "1x"); got != c.want && !(open && strings.HasPrefix(got, c.want)) {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}
