package imported

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"witnessmark/tables/compare"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/yamlout"
)

// What is not imported is said, with its reason, and costs nothing else: the object `good` is always there.
func TestLeftOut(t *testing.T) {
	const good = "\n/begin CHARACTERISTIC good \"\" VALUE 0x10F0 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC"
	value := func(method, more string) string {
		return "/begin CHARACTERISTIC t \"\" VALUE 0x1000 B 0 " + method + " 0 9 " + more + " /end CHARACTERISTIC "
	}
	curve := func(layout, axis string) string {
		return "/begin CHARACTERISTIC t \"\" CURVE 0x1000 " + layout + " 0 NO_COMPU_METHOD 0 9 " + axis + " /end CHARACTERISTIC "
	}
	own := func(elements string) string { return "/begin RECORD_LAYOUT L " + elements + " /end RECORD_LAYOUT " }
	method := func(text string) string { return "/begin COMPU_METHOD M \"\" " + text + " /end COMPU_METHOD " }
	axis := std("n", "NO_COMPU_METHOD", 4)
	for _, c := range []struct{ name, text, want string }{
		{"quadratic", method(`RAT_FUNC "" "" COEFFS 1 0 0 0 0 1`) + value("M", ""), "COMPU_METHOD M: RAT_FUNC [1 0 0 0 0 1] is quadratic, so that a raw value has two meanings"},
		{"constant", method(`RAT_FUNC "" "" COEFFS 0 2 4 0 1 2`) + value("M", ""), "COMPU_METHOD M: every raw value means the same"},
		{"constant 0", method(`LINEAR "" "" COEFFS_LINEAR 0 5`) + value("M", ""), "COMPU_METHOD M: every raw value means the same"},
		{"nothing", method(`RAT_FUNC "" "" COEFFS 0 0 1 0 0 1`) + value("M", ""), "COMPU_METHOD M: no raw value has a meaning"},
		{"no coefficients", method(`RAT_FUNC "" ""`) + value("M", ""), "COMPU_METHOD M: RAT_FUNC without COEFFS"},
		{"a root", method(`FORM "" "" /begin FORMULA "sqrt(X1)" /end FORMULA`) + value("M", ""), `COMPU_METHOD M: the formula "sqrt(X1)" is no quotient of polynomials of raw: "sqrt" is not understood`},
		{"a cube", method(`FORM "" "" /begin FORMULA "X1*X1*X1" /end FORMULA`) + value("M", ""), `is no quotient of polynomials of raw: it is of a higher power than raw²`},
		{"a division by 0", method(`FORM "" "" /begin FORMULA "X1/(X1-X1)" /end FORMULA`) + value("M", ""), `it divides by 0`},
		{"deep parentheses", method(`FORM "" "" /begin FORMULA "`+strings.Repeat("(", 400)+`" /end FORMULA`) + value("M", ""), `parentheses are nested too deep`},
		{"an absent method", value("M", ""), "there is no COMPU_METHOD M"},
		{"an absent table", method(`TAB_INTP "" "" COMPU_TAB_REF P`) + value("M", ""), "COMPU_METHOD M: there is no conversion table P"},
		{"the wrong table", method(`TAB_INTP "" "" COMPU_TAB_REF P`) + ` /begin COMPU_VTAB P "" TAB_VERB 1 0 "a" /end COMPU_VTAB ` + value("M", ""), "COMPU_METHOD M: TAB_INTP refers to the COMPU_VTAB P"},
		{"two values", method(`TAB_INTP "" "" COMPU_TAB_REF P`) + ` /begin COMPU_TAB P "" TAB_INTP 3 1 1 1 2 3 3 /end COMPU_TAB ` + value("M", ""), "COMPU_METHOD M: COMPU_TAB P has two values for raw 1"},
		{"two texts", method(`TAB_VERB "" "" COMPU_TAB_REF P`) + ` /begin COMPU_VTAB P "" TAB_VERB 2 1 "a" 1 "b" /end COMPU_VTAB ` + value("M", ""), "COMPU_METHOD M: COMPU_VTAB P has two texts for raw 1"},
		{"virtual", value("NO_COMPU_METHOD", `/begin VIRTUAL_CHARACTERISTIC "X1" good /end VIRTUAL_CHARACTERISTIC`), `it is virtual: not in the image, but computed as "X1"`},
		{"another address extension", value("NO_COMPU_METHOD", "ECU_ADDRESS_EXTENSION 2"), "ECU_ADDRESS_EXTENSION 2; allowed: --extension 2, for all of that one alone"},
		{"a variant", value("NO_COMPU_METHOD", "") + "/begin VARIANT_CODING /begin VAR_CHARACTERISTIC t gearbox /begin VAR_ADDRESS 0x1000 0x1010 /end VAR_ADDRESS /end VAR_CHARACTERISTIC /end VARIANT_CODING", "its address hangs on the variant (gearbox)"},
		{"twice", "/begin CHARACTERISTIC good \"\" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC", "it is there already, at car.a2l:3; allowed: each name once"},
		{"an absent layout", strings.Replace(value("NO_COMPU_METHOD", ""), " B ", " X ", 1), "there is no RECORD_LAYOUT X"},
		{"a layout without values", curve("AXIS", axis), "record layout AXIS has no FNC_VALUES"},
		{"a layout without breakpoints", curve("B", axis), "record layout B has no AXIS_PTS for axis 1; allowed: breakpoints that are stored or said"},
		{"no axis", curve("BB", ""), "a CURVE with 0 AXIS_DESCR; allowed: 1"},
		{"computed breakpoints", own("OFFSET_X 1 UBYTE DIST_OP_X 2 UBYTE FNC_VALUES 3 UBYTE ROW_DIR DIRECT") + curve("L", "/begin AXIS_DESCR FIX_AXIS n NO_COMPU_METHOD 4 0 9 /end AXIS_DESCR"),
			"FIX_AXIS of axis 1: its breakpoints are not said; breakpoints that are computed from numbers in the image are not read"},
		{"rescaled breakpoints", curve("B", "/begin AXIS_DESCR RES_AXIS n NO_COMPU_METHOD 4 0 9 AXIS_PTS_REF a /end AXIS_DESCR"), "RES_AXIS: breakpoints that are rescaled are not read"},
		{"differences", curve("BB", strings.Replace(axis, "/end", "DEPOSIT DIFFERENCE /end", 1)), "axis 1: breakpoints that are stored as differences are not read"},
		{"alternating", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UBYTE ALTERNATE_WITH_X DIRECT") + curve("L", axis), "ALTERNATE_WITH_X: values between breakpoints are not read"},
		{"one position for two", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 1 UBYTE ROW_DIR DIRECT") + curve("L", axis), "record layout L has two parts at position 1"},
		{"a border behind a varying number", own("NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UWORD ROW_DIR DIRECT") + curve("L", axis),
			"FNC_VALUES is aligned by 2 bytes behind parts of 1 bytes each, whose number the image says"},
		{"a number elsewhere", own("NO_AXIS_PTS_X 1 UBYTE FNC_VALUES 2 UBYTE ROW_DIR DIRECT") + curve("L", "/begin AXIS_DESCR FIX_AXIS n NO_COMPU_METHOD 4 0 9 FIX_AXIS_PAR 0 0 4 /end AXIS_DESCR"),
			"the image says how many breakpoints of axis 1 are used, and they are no part of the record"},
		{"doubles of no alignment", strings.Replace(common, "ALIGNMENT_FLOAT64_IEEE 8", "", 1) + own("AXIS_PTS_X 1 ULONG INDEX_INCR DIRECT FNC_VALUES 2 FLOAT64_IEEE ROW_DIR DIRECT") + curve("L", std("n", "NO_COMPU_METHOD", 3)),
			"how doubles are aligned is not said, and readers disagree; allowed: ALIGNMENT_FLOAT64_IEEE in record layout L or MOD_COMMON"},
		{"a crooked address", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UWORD ROW_DIR DIRECT") + strings.Replace(curve("L", axis), "0x1000", "0x1001", 1), "it begins at 0x1001, where its parts are not aligned by 2 bytes as record layout L asks"},
		{"half floats", own("FNC_VALUES 1 FLOAT16_IEEE ROW_DIR DIRECT") + strings.Replace(value("NO_COMPU_METHOD", ""), " B ", " L ", 1), "type FLOAT16_IEEE is not read; allowed: integers, and floats of 4 and 8 bytes"},
		{"a pointer of 8 bytes", own("FNC_VALUES 1 UBYTE ROW_DIR PLONGLONG") + strings.Replace(value("NO_COMPU_METHOD", ""), " B ", " L ", 1), "it lies where a pointer PLONGLONG leads; allowed: DIRECT, PWORD, PLONG"},
		{"bits apart", value("NO_COMPU_METHOD", "BIT_MASK 0x05"), "BIT_MASK 0x5 is not one unbroken run of bits of the 1 bytes"},
		{"bits beyond", value("NO_COMPU_METHOD", "BIT_MASK 0x100"), "BIT_MASK 0x100 is not one unbroken run of bits of the 1 bytes"},
		{"bits of a float", strings.Replace(value("NO_COMPU_METHOD", "BIT_MASK 0x01"), " B ", " F ", 1), "BIT_MASK 0x1 of a float"},
		{"a block of no size", "/begin CHARACTERISTIC t \"\" VAL_BLK 0x1000 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC", "how many values it holds is not said; allowed: NUMBER or MATRIX_DIM"},
		{"a block of too many", "/begin CHARACTERISTIC t \"\" VAL_BLK 0x1000 B 0 NO_COMPU_METHOD 0 9 MATRIX_DIM 65536 65536 /end CHARACTERISTIC", "more than 4194304 cells"},
		{"too many breakpoints", curve("BB", std("n", "NO_COMPU_METHOD", 70000)), "axis 1 has 70000 breakpoints; allowed: 1 to 65536"},
		{"no breakpoints", curve("BB", std("n", "NO_COMPU_METHOD", 0)), "axis 1 has 0 breakpoints; allowed: 1 to 65536"},
		{"an absent axis", curve("B", "/begin AXIS_DESCR COM_AXIS n NO_COMPU_METHOD 4 0 9 AXIS_PTS_REF a /end AXIS_DESCR"), "AXIS_PTS a: there is no such object"},
		{"an absent curve", curve("B", "/begin AXIS_DESCR CURVE_AXIS n NO_COMPU_METHOD 4 0 9 CURVE_AXIS_REF a /end AXIS_DESCR"), "there is no curve a to look it up through"},
		{"through itself", curve("B", "/begin AXIS_DESCR CURVE_AXIS n NO_COMPU_METHOD 4 0 9 CURVE_AXIS_REF t /end AXIS_DESCR"), "it is looked up through itself, by way of t"},
		{"through what is no curve", curve("B", "/begin AXIS_DESCR CURVE_AXIS n NO_COMPU_METHOD 4 0 9 CURVE_AXIS_REF good /end AXIS_DESCR"), "it is looked up through good, which is a VALUE; allowed: a CURVE"},
		{"the same fixed breakpoint", curve("B", "/begin AXIS_DESCR FIX_AXIS n NO_COMPU_METHOD 2 0 9 /begin FIX_AXIS_PAR_LIST 1 1 /end FIX_AXIS_PAR_LIST /end AXIS_DESCR"), "1 is already points[0]; allowed: each point once"},
		{"a text of words", "/begin CHARACTERISTIC t \"\" ASCII 0x1000 W 0 NO_COMPU_METHOD 0 9 NUMBER 4 /end CHARACTERISTIC", "a text of UWORD DIRECT; allowed: UBYTE DIRECT"},
		{"a text of two bytes each", "/begin CHARACTERISTIC t \"\" ASCII 0x1000 B 0 NO_COMPU_METHOD 0 9 NUMBER 4 ENCODING UTF16 /end CHARACTERISTIC", "ENCODING UTF16 is not read; allowed: UTF8"},
		{"a very long text", "/begin CHARACTERISTIC t \"\" ASCII 0x1000 B 0 NO_COMPU_METHOD 0 9 NUMBER 4000 /end CHARACTERISTIC", "4000 bytes; allowed: 1 to 1024 bytes"},
		{"rows that close up while parts stay", own("NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT AXIS_PTS_Y 3 UBYTE INDEX_INCR DIRECT FNC_VALUES 4 UBYTE ROW_DIR DIRECT STATIC_ADDRESS_OFFSETS") +
			strings.Replace(curve("L", axis+std("p", "NO_COMPU_METHOD", 2)), "CURVE", "MAP", 1), "STATIC_ADDRESS_OFFSETS: rows that close up where parts stay are not read"},
		{"a number behind the breakpoints that it counts", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT NO_AXIS_PTS_X 2 UBYTE FNC_VALUES 3 UBYTE ROW_DIR DIRECT") + curve("L", axis),
			"a number of breakpoints lies behind AXIS_PTS, whose own number is not known before it is read; allowed: STATIC_RECORD_LAYOUT, or each number in front of what it counts"},
		{"a number behind the breakpoints of an axis alone", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT NO_AXIS_PTS_X 2 UBYTE") + "/begin AXIS_PTS t \"\" 0x1000 n L 0 NO_COMPU_METHOD 3 0 255 /end AXIS_PTS",
			"a number of breakpoints lies behind AXIS_PTS, whose own number is not known"},
		{"a number in front of the one that it hangs on", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT NO_AXIS_PTS_Y 2 UBYTE NO_AXIS_PTS_X 3 UBYTE AXIS_PTS_Y 4 UBYTE INDEX_INCR DIRECT FNC_VALUES 5 UBYTE ROW_DIR DIRECT") +
			strings.Replace(curve("L", axis+std("p", "NO_COMPU_METHOD", 2)), "CURVE", "MAP", 1), "a number of breakpoints lies behind AXIS_PTS, whose own number is not known"},
		{"a number behind the values", own("AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UBYTE ROW_DIR DIRECT NO_AXIS_PTS_Y 3 UBYTE AXIS_PTS_Y 4 UBYTE INDEX_INCR DIRECT") +
			strings.Replace(curve("L", axis+std("p", "NO_COMPU_METHOD", 2)), "CURVE", "MAP", 1), "a number of breakpoints lies behind FNC_VALUES, whose own number is not known"},
		{"a number aligned behind a varying number", own("NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT NO_AXIS_PTS_Y 3 UWORD AXIS_PTS_Y 4 UBYTE INDEX_INCR DIRECT FNC_VALUES 5 UBYTE ROW_DIR DIRECT") +
			strings.Replace(curve("L", axis+std("p", "NO_COMPU_METHOD", 2)), "CURVE", "MAP", 1), "NO_AXIS_PTS is aligned by 2 bytes behind parts of 1 bytes each, whose number the image says"},
		{"a pointer behind a varying number", own("NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT ALIGNMENT_LONG 1 AXIS_PTS_Y 3 UBYTE INDEX_INCR PLONG FNC_VALUES 4 UBYTE ROW_DIR DIRECT") +
			strings.Replace(curve("L", axis+std("p", "NO_COMPU_METHOD", 2)), "CURVE", "MAP", 1), "a pointer to breakpoints lies behind parts whose number the image says, and moves with them"},
		{"an instance of nothing", "/begin INSTANCE t \"\" T 0x1000 /end INSTANCE", "there is no type T"},
		{"a blob", "/begin BLOB t \"\" 0x1000 8 /end BLOB", "objects of this kind are not read; allowed: CHARACTERISTIC, AXIS_PTS and INSTANCE"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := good + "\n" + c.text + layouts
			r, err := A2L(module(t, strings.TrimSuffix(common, "\n")+text), Options{})
			if err != nil {
				t.Fatal(err)
			}
			var said []string
			for _, s := range r.Said {
				if !s.Kept {
					said = append(said, fmt.Sprintf("%s: %s", s.Object, s.Why))
				}
			}
			if len(said) != 1 || !strings.Contains(said[0], c.want) {
				t.Errorf("got %q, want %q", said, c.want)
			}
			if lay := loaded(t, r); lay.ByID["good"] == nil || lay.ByID["t"] != nil {
				t.Errorf("got tables %s", lay.TableIDs())
			}
		})
	}
}

// What lies outside the memory that is described is left out at once, however much it is, with what hangs on it.
func TestManyOutside(t *testing.T) {
	var b strings.Builder
	b.WriteString(common + layouts + `/begin MOD_PAR "" /begin MEMORY_SEGMENT s "" DATA FLASH INTERN 0x1000 0x100 0 0 0 0 0 /end MEMORY_SEGMENT /end MOD_PAR` + "\n")
	b.WriteString("/begin CHARACTERISTIC good \"\" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC\n")
	b.WriteString("/begin AXIS_PTS far \"\" 0x9000 n AXIS 0 NO_COMPU_METHOD 3 0 255 /end AXIS_PTS\n")
	b.WriteString("/begin CHARACTERISTIC curve \"\" CURVE 0x1010 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR COM_AXIS n NO_COMPU_METHOD 3 0 255 AXIS_PTS_REF far /end AXIS_DESCR /end CHARACTERISTIC\n")
	b.WriteString("/begin CHARACTERISTIC through \"\" CURVE 0x1020 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR CURVE_AXIS NO_INPUT_QUANTITY NO_COMPU_METHOD 3 0 9 CURVE_AXIS_REF curve /end AXIS_DESCR /end CHARACTERISTIC\n")
	for i := range 1000 {
		fmt.Fprintf(&b, "/begin CHARACTERISTIC out_%d \"\" VALUE 0x%x B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC\n", i, 0x8000+i)
	}
	r, err := A2L(module(t, b.String()), Options{})
	if err != nil {
		t.Fatal(err)
	}
	lay := loaded(t, r)
	if len(lay.Tables) != 1 || lay.ByID["good"] == nil || len(lay.Axes) != 0 {
		t.Errorf("got tables %s", lay.TableIDs())
	}
	if n := r.LeftOut(); n != 1003 {
		t.Errorf("%d are left out, want 1003", n)
	}
	why := map[string]string{}
	for _, s := range r.Said {
		why[s.Object] = s.Why
	}
	for name, want := range map[string]string{"far": "reaches outside the image", "curve": "its axis far was left out", "through": "it is looked up through curve, which was left out", "out_999": "reaches outside the image"} {
		if !strings.Contains(why[name], want) {
			t.Errorf("%s: got %q, want %q", name, why[name], want)
		}
	}
}

// What is kept without something is said too.
func TestKeptWithout(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"no limits", `/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 0 /end CHARACTERISTIC`, "its limits 0 to 0 say nothing"},
		{"free text", `/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 9 PHYS_UNIT "laps" /end CHARACTERISTIC`, `its limits are left away, since no rule converts the unit "laps"`},
		{"texts of floats", `/begin COMPU_METHOD M "" TAB_VERB "" "" COMPU_TAB_REF V /end COMPU_METHOD /begin COMPU_VTAB V "" TAB_VERB 1 0 "off" /end COMPU_VTAB
			/begin CHARACTERISTIC t "" VALUE 0x1000 F 0 M -1e38 1e38 /end CHARACTERISTIC`, "it holds floats, so they stay numbers without the texts of COMPU_VTAB V"},
		{"many states", `/begin COMPU_METHOD M "" LINEAR "" "" COEFFS_LINEAR 2 0 STATUS_STRING_REF V /end COMPU_METHOD /begin COMPU_VTAB_RANGE V "" 1 0 200 "off" /end COMPU_VTAB_RANGE
			/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 M 0 510 /end CHARACTERISTIC`, "the texts of STATUS_STRING_REF V are left away: it names more than 64 raw values"},
		{"texts of breakpoints", `/begin COMPU_METHOD M "" TAB_VERB "" "" COMPU_TAB_REF V /end COMPU_METHOD /begin COMPU_VTAB V "" TAB_VERB 1 0 "off" /end COMPU_VTAB
			/begin CHARACTERISTIC t "" CURVE 0x1000 BB 0 NO_COMPU_METHOD 0 255 ` + std("n", "M", 2) + ` /end CHARACTERISTIC`, "breakpoints of axis 1 stay numbers, without their texts"},
		{"a formula of a curve", `/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 255 /begin DEPENDENT_CHARACTERISTIC "X1*2" u /end DEPENDENT_CHARACTERISTIC /end CHARACTERISTIC
			/begin CHARACTERISTIC u "" VAL_BLK 0x1010 B 0 NO_COMPU_METHOD 0 255 NUMBER 2 /end CHARACTERISTIC`, `that it is "X1*2" of u is not judged: u is no single number`},
		{"a formula of more", `/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 255 /begin DEPENDENT_CHARACTERISTIC "sin(X1)" u /end DEPENDENT_CHARACTERISTIC /end CHARACTERISTIC
			/begin CHARACTERISTIC u "" VALUE 0x1010 B 0 NO_COMPU_METHOD 0 255 /end CHARACTERISTIC`, `that it is "sin(X1)" of u is not judged: "sin" is not understood`},
		{"an offset", `/begin MOD_PAR "" ECU_CALIBRATION_OFFSET 0x100 /end MOD_PAR /begin CHARACTERISTIC t "" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 255 /end CHARACTERISTIC`, "addresses are taken as written, though it is 256"},
		{"a name outside", `/begin MOD_PAR "" EPK "A" ADDR_EPK 0x9000 /end MOD_PAR /begin CHARACTERISTIC t "" VALUE 0x1000 B 0 NO_COMPU_METHOD 0 255 /end CHARACTERISTIC`, `the software's name "A" at 0x9000 is not asked for`},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := A2L(module(t, common+c.text+layouts), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Said) != 1 || !r.Said[0].Kept || !strings.Contains(r.Said[0].Why, c.want) {
				t.Errorf("got %v, want %q", r.Said, c.want)
			}
			if loaded(t, r).ByID["t"] == nil {
				t.Error("the table is not there")
			}
		})
	}
}

// A formula between objects judges: what it allows is half a raw step.
func TestDependentsAreJudged(t *testing.T) {
	r, err := A2L(module(t, common+layouts+`/begin CHARACTERISTIC soft "" VALUE 0x1000 W 0 HALF 0 32767.5 /end CHARACTERISTIC
		/begin CHARACTERISTIC hard "" VALUE 0x1002 W 0 HALF 0 32767.5 /begin DEPENDENT_CHARACTERISTIC "(X1 + 1e2)*2" soft /end DEPENDENT_CHARACTERISTIC /end CHARACTERISTIC`), Options{})
	if err != nil {
		t.Fatal(err)
	}
	lay := loaded(t, r)
	lim, err := limits.Load("car.limits.yaml", yamlout.Write(r.Limits))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		bytes string
		found int
	}{{"0064 012C", 0}, {"0064 012D", 1}, {"0064 012B", 1}} { // 50; 300 halves are 150, where 300 is asked for
		want, _ := hex.DecodeString(strings.ReplaceAll(c.bytes, " ", ""))
		want[2], want[3] = byte((int(want[2])<<8+int(want[3])+300)>>8), byte(int(want[3])+300)
		im, err := lay.ReadImage("car.bin", want, image.Raw)
		if err != nil {
			t.Fatal(err)
		}
		report, err := compare.Check(im, lay, lim, nil)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, f := range report.Findings {
			if f.Rule == "depends.hard" {
				n++
			}
		}
		if n != c.found {
			t.Errorf("%x: %d findings, want %d", want, n, c.found)
		}
	}
}
