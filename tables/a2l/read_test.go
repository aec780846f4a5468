package a2l

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"witnessmark/tables/yamldoc"
)

func none(string) ([]byte, error) { return nil, errors.New("there is no such file") }

// wrapped is a module that holds what is given.
func wrapped(inside string) []byte {
	return []byte("ASAP2_VERSION 1 71\n/begin PROJECT p \"\"\n/begin MODULE m \"\"\n" + inside + "\n/end MODULE\n/end PROJECT\n")
}

func TestWhatStopsReading(t *testing.T) {
	deep := strings.Repeat("/begin X ", 10_000) + strings.Repeat("/end X ", 10_000)
	for _, c := range []struct{ name, file, want string }{
		{"empty", "", "car.a2l:1: there is no module; allowed: a description with /begin PROJECT and a /begin MODULE in it"},
		{"not closed", "/begin PROJECT p \"\"\n\n/begin MODULE m \"\"\n", "car.a2l:4: the file ends inside the block MODULE of line 3; allowed: /end MODULE"},
		{"crossed", string(wrapped("/begin GROUP g \"\"\n/end MODULE")), "car.a2l:5: the block GROUP of line 4 ends as \"MODULE\"; allowed: /end GROUP"},
		{"deep", string(wrapped(deep)), "car.a2l:4: block X is nested too deep; allowed: at most 64 blocks, one inside the other"},
		{"deep in other tools' data", string(wrapped("/begin IF_DATA " + deep + " /end IF_DATA")), "car.a2l:4: block X is nested too deep"},
		{"no end of a text", string(wrapped("/begin GROUP g \"never\n")), `car.a2l:4: a quoted text begins here and never ends; allowed: " at its end`},
		{"no end of a comment", string(wrapped("/* never\n")), "car.a2l:4: a comment begins here and never ends; allowed: */ at its end"},
		{"no end of A2ML", string(wrapped("/begin A2ML \"/end A2ML\" /* /end A2ML */")), "car.a2l:4: the block A2ML begins here and never ends"},
		{"end alone", "/end PROJECT", "car.a2l:1: a block ends here that never began"},
		{"a directive", "/start PROJECT", `car.a2l:1: "/start" is not known; allowed: /begin, /end, /include`},
		{"a long word", strings.Repeat("x", 5000), "car.a2l:1: a word is too long"},
		{"itself", "/include car.a2l", `car.a2l:1: "car.a2l" is included in a circle; allowed: no circles`},
		{"a path upwards", "\n/include \"../car.a2l\"", `car.a2l:2: "../car.a2l" leads elsewhere; allowed: a file beside this one, or in a folder there`},
		{"a path upwards and down again", `/include "a/../../b"`, `"a/../../b" leads elsewhere`},
		{"an absolute path", `/include "/etc/passwd"`, `"/etc/passwd" leads elsewhere`},
		{"an absolute path elsewhere", `/include "\\server\share\x"`, "leads elsewhere"},
		{"a drive", `/include "C:\x.a2l"`, "leads elsewhere"},
		{"a name that is missing", `/include`, "car.a2l:1: there is no name"},
		{"an absent file", `/include "b.a2l"`, "car.a2l:1: cannot be included: there is no such file"},
		{"an alignment", string(wrapped("/begin MOD_COMMON \"\"\nALIGNMENT_WORD 3 /end MOD_COMMON")), "car.a2l:5: ALIGNMENT_WORD: 3 is no border; allowed: 1, 2, 4, 8 and so on"},
		{"a segment", string(wrapped("/begin MOD_PAR \"\"\n/begin MEMORY_SEGMENT s \"\" DATA FLASH INTERN 0x100000000 1 /end MEMORY_SEGMENT /end MOD_PAR")),
			"car.a2l:5: the address: \"0x100000000\" is not a whole number that can stand here; allowed: 0 to 4294967295"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read("car.a2l", []byte(c.file), none)
			var e *yamldoc.Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v", err)
			}
			if !strings.Contains(err.Error(), c.want) || strings.ContainsRune(err.Error(), '\n') {
				t.Errorf("got  %s\nwant %s", err, c.want)
			}
		})
	}
}

func TestIncludes(t *testing.T) {
	asked := []string{}
	open := func(files map[string]string) func(string) ([]byte, error) {
		return func(name string) ([]byte, error) {
			asked = append(asked, name)
			if f, there := files[name]; there {
				return []byte(f), nil
			}
			return nil, errors.New("there is no such file")
		}
	}
	all, err := Read("/shop/car.a2l", wrapped("/include \"parts\\rows.a2l\"\n/begin GROUP last \"\" /end GROUP"), open(map[string]string{
		"parts/rows.a2l": "/begin GROUP first \"\" /end GROUP\n/include more.a2l", "parts/more.a2l": "\n/begin GROUP second \"\"\n/end GROUP"}))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, g := range all[0].Groups {
		got = append(got, fmt.Sprintf("%s %s:%d", g.Name, g.File, g.Line))
	}
	if text := strings.Join(got, ", "); text != "first parts/rows.a2l:1, second parts/more.a2l:2, last /shop/car.a2l:5" {
		t.Errorf("got %s", text)
	}
	for name, files := range map[string]map[string]string{
		"is included in a circle": {"a": "/include b", "b": "/include c", "c": "/include a"},
		"leads elsewhere":         {"a": "/include d/b", "d/b": "/include ../a"},
	} {
		if _, err := Read("car.a2l", []byte("/include a"), open(files)); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: got %v", name, err)
		}
	}
	chain := map[string]string{}
	for i := range 40 {
		chain[fmt.Sprintf("f%d", i)] = fmt.Sprintf("/include f%d", i+1)
	}
	if _, err := Read("car.a2l", []byte("/include f0"), open(chain)); err == nil || !strings.Contains(err.Error(), "too deep; allowed: at most 16 files") {
		t.Errorf("a chain: got %v", err)
	}
	half := strings.Repeat(" ", MaxBytes/2+1) // the second one is refused before it is read
	if _, err := Read("car.a2l", []byte("/include one"), open(map[string]string{"one": "/include two " + half, "two": half})); err == nil || !strings.Contains(err.Error(), "too large; allowed: at most 268435456 bytes") {
		t.Errorf("too much: got %v", err)
	}
}

// An object's own fault leaves the others standing.
func TestFaultsOfObjects(t *testing.T) {
	all, err := Read("car.a2l", wrapped(`
/begin CHARACTERISTIC short "" VALUE 0x10 /end CHARACTERISTIC
/begin CHARACTERISTIC kind "" PLANE 0x10 L 0 M 0 1 /begin AXIS_DESCR STD_AXIS x /end AXIS_DESCR /end CHARACTERISTIC
/begin CHARACTERISTIC axis "" CURVE 0x10 L 0 M 0 1
  /begin AXIS_DESCR STD_AXIS x M some 0 1 /begin ANNOTATION /end ANNOTATION /end AXIS_DESCR
  BYTE_ORDER MSB_LAST /end CHARACTERISTIC
/begin CHARACTERISTIC good "" VALUE 0x10 L 0 M -1.5 1e3 DISPLAY_IDENTIFIER BIT_MASK
  /begin IF_DATA TOOL /begin X "/end IF_DATA" 1 /end X /end IF_DATA UNKNOWN_KEYWORD 3 "x" ECU_ADDRESS_EXTENSION -1 /end CHARACTERISTIC
/begin CHARACTERISTIC good "again" VALUE 0x10 L 0 M 0 1 /end CHARACTERISTIC
/begin AXIS_PTS good "" 0x10 x L 0 M 4 0 1 /end AXIS_PTS
/begin INSTANCE i "" T 0x10 /end INSTANCE
/begin COMPU_VTAB v "" TAB_VERB 3 0 "off" 1 "on" /end COMPU_VTAB
/begin RECORD_LAYOUT r FNC_VALUES 1 UTYPE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT r FNC_VALUES 1 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin GROUP "g" /end GROUP`), none)
	if err != nil {
		t.Fatal(err)
	}
	m := all[0]
	if len(m.Characteristics) != 1 || m.Characteristics[0].Name != "good" || m.Characteristics[0].Lower != -1.5 || m.Characteristics[0].Upper != 1000 ||
		m.Characteristics[0].Extension != -1 || m.Characteristics[0].Mask != nil || len(m.AxisPts) != 0 || m.Layouts["r"] == nil {
		t.Fatalf("got %+v", m)
	}
	var got []string
	for _, f := range m.Faults {
		got = append(got, fmt.Sprintf("%d %s %s: %s", f.Line, f.Block, f.Name, f.Why))
	}
	want := []string{
		"5 CHARACTERISTIC short: the record layout is missing; allowed: a word",
		`6 CHARACTERISTIC kind: the type: "PLANE" is not known; allowed: VALUE, CURVE, MAP, CUBOID, CUBE_4, CUBE_5, VAL_BLK, ASCII`,
		`8 CHARACTERISTIC axis: the most breakpoints: "some" is not a whole number that can stand here; allowed: 0 to 4294967295`,
		"12 CHARACTERISTIC good: it is there already, at car.a2l:10; allowed: each name once",
		"13 AXIS_PTS good: it is there already, at car.a2l:10; allowed: each name once",
		"15 COMPU_VTAB v: a raw value is missing; allowed: a word",
		`16 RECORD_LAYOUT r: the type: "UTYPE" is not known; allowed: ` + strings.Join(dataTypes, ", "),
		"18 GROUP : the name is missing; allowed: a word",
		"14 INSTANCE i: there is no type T",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Types and their instances, by the grammar of version 1.7: a structure's parts by their offsets, its breakpoints as THIS.
func TestInstances(t *testing.T) {
	all, err := Read("car.a2l", wrapped(`
/begin TYPEDEF_AXIS axis "" n LA 0 M 4 0 255 /end TYPEDEF_AXIS
/begin TYPEDEF_CHARACTERISTIC curve "A curve" CURVE L 0 M 0 9 /begin AXIS_DESCR COM_AXIS n M 4 0 255 AXIS_PTS_REF THIS.rpm /end AXIS_DESCR /end TYPEDEF_CHARACTERISTIC
/begin TYPEDEF_CHARACTERISTIC number "" VALUE LV 0 M 0 9 BIT_MASK 3 /end TYPEDEF_CHARACTERISTIC
/begin TYPEDEF_MEASUREMENT seen "" UBYTE M 0 0 0 255 /end TYPEDEF_MEASUREMENT
/begin TYPEDEF_STRUCTURE bank "" 0x10 /begin STRUCTURE_COMPONENT rpm axis 0 /end STRUCTURE_COMPONENT /begin STRUCTURE_COMPONENT spark curve 4 SYMBOL_TYPE_LINK "x" /end STRUCTURE_COMPONENT
  /begin STRUCTURE_COMPONENT now seen 8 /end STRUCTURE_COMPONENT /end TYPEDEF_STRUCTURE
/begin TYPEDEF_STRUCTURE engine "" 0x40 /begin STRUCTURE_COMPONENT banks bank 0x10 MATRIX_DIM 2 /end STRUCTURE_COMPONENT /begin STRUCTURE_COMPONENT idle number 2 /end STRUCTURE_COMPONENT /end TYPEDEF_STRUCTURE
/begin TYPEDEF_STRUCTURE ring "" 4 /begin STRUCTURE_COMPONENT again ring 0 /end STRUCTURE_COMPONENT /end TYPEDEF_STRUCTURE
/begin INSTANCE four "The engine" engine 0x1000 ECU_ADDRESS_EXTENSION 1 /end INSTANCE
/begin INSTANCE limit "Where it is cut" number 0x2000 /end INSTANCE
/begin INSTANCE watched "" seen 0x2000 /end INSTANCE
/begin INSTANCE many "" number 0x2000 MATRIX_DIM 3 /end INSTANCE
/begin INSTANCE circle "" ring 0x2000 /end INSTANCE
/begin INSTANCE other "" number 0x2000 /begin OVERWRITE other 0 CONVERSION N /end OVERWRITE /end INSTANCE
/begin INSTANCE far "" engine 0xFFFFFFF0 /end INSTANCE`), none)
	if err != nil {
		t.Fatal(err)
	}
	hollow, err := Read("car.a2l", wrapped(`/begin TYPEDEF_STRUCTURE hollow "" 4 /begin STRUCTURE_COMPONENT again hollow 0 MATRIX_DIM 1000 1000 /end STRUCTURE_COMPONENT /end TYPEDEF_STRUCTURE
		/begin INSTANCE of "" hollow 0 /end INSTANCE`), none)
	if err != nil || len(hollow[0].Faults) != 1 || len(hollow[0].Faults[0].Why) > 100 {
		t.Errorf("a structure of a million of itself: %v, %v", err, hollow[0].Faults)
	}
	var got []string
	for _, a := range all[0].AxisPts {
		got = append(got, fmt.Sprintf("%s 0x%x %d", a.Name, a.Address, a.Extension))
	}
	for _, c := range all[0].Characteristics {
		ref := ""
		for _, a := range c.Axes {
			ref = " " + a.Ref
		}
		got = append(got, fmt.Sprintf("%s 0x%x %q%s", c.Name, c.Address, c.Title, ref))
	}
	for _, f := range all[0].Faults {
		got = append(got, f.Name+": "+f.Why)
	}
	want := []string{"four.banks[0].rpm 0x1010 1", "four.banks[1].rpm 0x1020 1", `four.banks[0].spark 0x1014 "A curve" four.banks[0].rpm`, `four.banks[1].spark 0x1024 "A curve" four.banks[1].rpm`,
		`four.idle 0x1002 ""`, `limit 0x2000 "Where it is cut"`, `far.idle 0xfffffff2 ""`,
		"other: OVERWRITE is not read; allowed: instances that are as their type says",
		"many: many: several of number are not read; allowed: MATRIX_DIM in the type, or of structures", "circle: structures stand too deep in each other; allowed: 16",
		"far: far.banks[0].rpm lies beyond the address 0xffffffff"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
