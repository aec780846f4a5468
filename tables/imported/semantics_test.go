package imported

import (
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
	"witnessmark/tables/yamlout"
)

// common is what the modules of these tests say unless they say something else.
const common = `/begin MOD_COMMON "" BYTE_ORDER MSB_FIRST ALIGNMENT_BYTE 1 ALIGNMENT_WORD 2 ALIGNMENT_LONG 4 ALIGNMENT_FLOAT32_IEEE 4 ALIGNMENT_FLOAT64_IEEE 8 /end MOD_COMMON
`

// layouts are those that several tests use.
const layouts = `
/begin RECORD_LAYOUT B FNC_VALUES 1 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT S FNC_VALUES 1 SBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT W FNC_VALUES 1 UWORD ROW_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT F FNC_VALUES 1 FLOAT32_IEEE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT WC FNC_VALUES 1 UWORD COLUMN_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT AXIS AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT COUNTED_AXIS NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT BB AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin RECORD_LAYOUT BBB AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT AXIS_PTS_Y 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
/begin COMPU_METHOD HALF "" RAT_FUNC "%4.1" "kPa" COEFFS 0 2 0 0 0 1 /end COMPU_METHOD
/begin COMPU_METHOD TWICE "" LINEAR "%4.1" "U/min" COEFFS_LINEAR 2 0 /end COMPU_METHOD
`

// std is an axis whose breakpoints lie in the record.
func std(input, method string, most int) string {
	return fmt.Sprintf("/begin AXIS_DESCR STD_AXIS %s %s %d 0 255 /end AXIS_DESCR ", input, method, most)
}

// standardMap is a record of a map with each number in front of its breakpoints, and places for addresses that nothing reads.
func standardMap(unsigned, signed string) string {
	return fmt.Sprintf(`/begin RECORD_LAYOUT L SRC_ADDR_X 1 %[1]s NO_AXIS_PTS_X 2 %[1]s AXIS_PTS_X 3 %[2]s INDEX_INCR DIRECT SRC_ADDR_Y 4 %[1]s NO_AXIS_PTS_Y 5 %[1]s
		AXIS_PTS_Y 6 %[1]s INDEX_INCR DIRECT FNC_VALUES 7 %[2]s COLUMN_DIR DIRECT /end RECORD_LAYOUT `, unsigned, signed)
}

// fixed is an axis of n places.
func fixed(input string, n int) string {
	return fmt.Sprintf("/begin AXIS_DESCR FIX_AXIS %s NO_COMPU_METHOD %d 0 255 FIX_AXIS_PAR 0 0 %d /end AXIS_DESCR ", input, n, n)
}

func module(t rapid.TB, text string) *a2l.Module {
	t.Helper()
	if !strings.Contains(text, "MOD_COMMON") {
		text = common + text
	}
	all, err := a2l.Read("car.a2l", []byte("/begin PROJECT p \"\" /begin MODULE Car-1.8T \"Hill-climb car\"\n"+text+"\n/end MODULE /end PROJECT"),
		func(string) ([]byte, error) { return nil, errors.New("there is no such file") })
	if err != nil {
		t.Fatal(err)
	}
	return all[0]
}

// loaded is what an import gives, written and read back by the compiler.
func loaded(t rapid.TB, r *Result) *definition.Layout {
	t.Helper()
	file := yamlout.Write(r.Definition)
	lay, err := definition.Load("car.yaml", file)
	if err != nil {
		t.Fatalf("%v\n%s", err, file)
	}
	return lay
}

// imageOf is an image of the layout with bytes at an address.
func imageOf(lay *definition.Layout, address uint64, bytes string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(bytes, " ", ""))
	if err != nil {
		panic(err)
	}
	img := make([]byte, lay.Size)
	for i := range img {
		img[i] = 0xEE
	}
	offset, _ := lay.Space.Offset(address)
	copy(img[offset:], b)
	return img
}

// Sources: CDF is the standard's own sample, definition, image and exported values, as its two readers agree; pya2l is
// Sauci/pya2l, example-ecu is domohuhn/a2l's sample whose addresses prove its sizes; rows without one follow from the
// grammar of the standard's keywords, as DanielT/a2lfile lists them, and the meaning that each states of itself.
var semantics = []struct {
	name, source string
	text         string // with the object t at 0x1000
	image        string // from 0x1000 on
	x, y         []float64
	values       []float64
	unit         string
}{
	{"RAT_FUNC straight", "raw = (4 P + 192) / 3, by hand", `/begin COMPU_METHOD M "" RAT_FUNC "" "Nm" COEFFS 0 4 192 0 0 3 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M -48 143.25 NUMBER 3 /end CHARACTERISTIC`, "C8 40 00", []float64{0, 1, 2}, nil, []float64{102, 0, -48}, "N.m"},
	{"RAT_FUNC straight, falling", "raw = -2 P + 510, by hand", `/begin COMPU_METHOD M "" RAT_FUNC "" "-" COEFFS 0 -2 510 0 0 1 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M 127.5 255 NUMBER 2 /end CHARACTERISTIC`, "0A FF", []float64{0, 1}, nil, []float64{250, 127.5}, "1"},
	{"RAT_FUNC of a half", "pya2l: 0 1 0 0 0 2 gives 2 for 1", `/begin COMPU_METHOD M "" RAT_FUNC "" "" COEFFS 0 1 0 0 0 2 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 M 0 510 /end CHARACTERISTIC`, "01", nil, nil, []float64{2}, "1"},
	{"RAT_FUNC in hundredths", "raw = 100 P, by hand", `/begin COMPU_METHOD M "" RAT_FUNC "" "lambda" COEFFS 0 1e2 0 0 0 1 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 W 0 M 0 655.35 NUMBER 2 /end CHARACTERISTIC`, "05BE FFFF", []float64{0, 1}, nil, []float64{14.7, 655.35}, "1"},
	{"RAT_FUNC reciprocal", "raw = 1000 / P, by hand", `/begin COMPU_METHOD M "" RAT_FUNC "" "ms" COEFFS 0 0 1000 0 1 0 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M 0 1000 NUMBER 4 /end CHARACTERISTIC`, "32 08 01 00", []float64{0, 1, 2, 3}, nil, []float64{20, 125, 1000, math.Inf(1)}, "ms"},
	{"RAT_FUNC of all but squares", "raw = (2 P + 3) / (P + 5), so P = (3 - 5 raw) / (raw - 2), by hand", `/begin COMPU_METHOD M "" RAT_FUNC "" "" COEFFS 0 2 3 0 1 5 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M -100 100 NUMBER 2 /end CHARACTERISTIC`, "01 04", []float64{0, 1}, nil, []float64{2, -8.5}, "1"},
	{"LINEAR the other way", "physical = 0.1 raw - 40", `/begin COMPU_METHOD M "" LINEAR "" "°C" COEFFS_LINEAR 0.1 -40 /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VALUE 0x1000 W 0 M -40 6513.5 /end CHARACTERISTIC`, "0003", nil, nil, []float64{-39.7}, "Cel"},
	{"IDENTICAL", "", `/begin COMPU_METHOD M "" IDENTICAL "" "Grad KW" /end COMPU_METHOD /begin CHARACTERISTIC t "" VALUE 0x1000 S 0 M -128 127 /end CHARACTERISTIC`, "FE", nil, nil, []float64{-2}, "deg"},
	{"NO_COMPU_METHOD", "", `/begin CHARACTERISTIC t "" VALUE 0x1000 F 0 NO_COMPU_METHOD 0 1 /end CHARACTERISTIC`, "3FC00000", nil, nil, []float64{1.5}, "1"},
	{"PHYS_UNIT over the conversion's", "", `/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 HALF 0 1 PHYS_UNIT "bar" /end CHARACTERISTIC`, "03", nil, nil, []float64{1.5}, "bar"},
	{"FORM that is straight", "physical = f(raw)", `/begin COMPU_METHOD M "" FORM "" "V" /begin FORMULA "(X1 - 10) * 0.5 / 2" FORMULA_INV "X1*4+10" /end FORMULA /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 M 0 100 /end CHARACTERISTIC`, "12", nil, nil, []float64{2}, "V"},
	{"FORM that is a quotient", "physical = f(raw)", `/begin COMPU_METHOD M "" FORM "" "V" /begin FORMULA "60/(x+2)^2" /end FORMULA /end COMPU_METHOD
		/begin CHARACTERISTIC t "" VALUE 0x1000 B 0 M 0 100 /end CHARACTERISTIC`, "00", nil, nil, []float64{15}, "V"},
	{"TAB_INTP", "pya2l: (1, 10), (2, 20) gives 10 for 0, 15 for 1.5, 20 for 3", `/begin COMPU_METHOD M "" TAB_INTP "" "kg/h" COMPU_TAB_REF P /end COMPU_METHOD
		/begin COMPU_TAB P "" TAB_INTP 2 2 20 1 10 /end COMPU_TAB
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 F 0 M 0 100 NUMBER 3 /end CHARACTERISTIC`, "00000000 3FC00000 40400000", []float64{0, 1, 2}, nil, []float64{10, 15, 20}, "kg/h"},
	{"TAB_INTP with a value outside", "", `/begin COMPU_METHOD M "" TAB_INTP "" "" COMPU_TAB_REF P /end COMPU_METHOD
		/begin COMPU_TAB P "" TAB_INTP 2 1 10 3 30 DEFAULT_VALUE_NUMERIC -1 /end COMPU_TAB
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M 0 100 NUMBER 3 /end CHARACTERISTIC`, "00 02 04", []float64{0, 1, 2}, nil, []float64{-1, 20, -1}, "1"},
	{"TAB_NOINTP, gaps as what is missing", "pya2l and pyA2L look such a table up by the raw value alone", `/begin COMPU_METHOD M "" TAB_NOINTP "" "" COMPU_TAB_REF P /end COMPU_METHOD
		/begin COMPU_TAB P "" TAB_NOINTP 3 1 10 2 20 5 50 DEFAULT_VALUE_NUMERIC 99 /end COMPU_TAB
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M 0 100 NUMBER 7 /end CHARACTERISTIC`, "00 01 02 03 04 05 06", []float64{0, 1, 2, 3, 4, 5, 6}, nil, []float64{99, 10, 20, 99, 99, 50, 99}, "1"},
	{"STATUS_STRING_REF", "raw values with a text are no number", `/begin COMPU_METHOD M "" LINEAR "" "" COEFFS_LINEAR 1 0 STATUS_STRING_REF V /end COMPU_METHOD
		/begin COMPU_VTAB V "" TAB_VERB 1 255 "off" /end COMPU_VTAB
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 M 0 255 NUMBER 2 /end CHARACTERISTIC`, "07 FF", []float64{0, 1}, nil, []float64{7, math.NaN()}, "1"},
	{"a curve in one record", "example-ecu: 5 breakpoints and 5 values are 40 bytes", `/begin RECORD_LAYOUT L AXIS_PTS_X 1 FLOAT32_IEEE INDEX_INCR DIRECT FNC_VALUES 2 FLOAT32_IEEE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC`, "3F800000 40000000 40400000 40800000", []float64{1, 2}, nil, []float64{3, 4}, "1"},
	{"ROW_DIR", "CDF: x is the fastest", `/begin CHARACTERISTIC t "" MAP 0x1000 BBB 0 HALF 0 9 ` + std("n", "TWICE", 3) + std("p", "HALF", 2) + `/end CHARACTERISTIC`,
		"01 02 03 0A 14 01 02 03 04 05 06", []float64{2, 4, 6}, []float64{5, 10}, []float64{.5, 1, 1.5, 2, 2.5, 3}, "kPa"},
	{"COLUMN_DIR", "CDF: y is the fastest", `/begin RECORD_LAYOUT L AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT AXIS_PTS_Y 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE COLUMN_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" MAP 0x1000 L 0 HALF 0 9 ` + std("n", "TWICE", 3) + std("p", "HALF", 2) + `/end CHARACTERISTIC`,
		"01 02 03 0A 14 01 04 02 05 03 06", []float64{2, 4, 6}, []float64{5, 10}, []float64{.5, 1, 1.5, 2, 2.5, 3}, "kPa"},
	{"an order of positions that is not that of the text", "", `/begin RECORD_LAYOUT L FNC_VALUES 3 UBYTE ROW_DIR DIRECT AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT AXIS_PTS_Y 1 UBYTE INDEX_INCR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 3) + std("p", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC`,
		"01 02 0A 0B 0C 01 02 03 04 05 06", []float64{10, 11, 12}, []float64{1, 2}, []float64{1, 2, 3, 4, 5, 6}, "1"},
	{"the module's alignment", "each part at its type's border", `/begin RECORD_LAYOUT L AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UWORD ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 3) + `/end CHARACTERISTIC`, "01 02 03 EE 0001 0002 0003", []float64{1, 2, 3}, nil, []float64{1, 2, 3}, "1"},
	{"the layout's alignment over the module's", "", `/begin RECORD_LAYOUT L ALIGNMENT_WORD 1 AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UWORD ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 3) + `/end CHARACTERISTIC`, "01 02 03 0001 0002 0003", []float64{1, 2, 3}, nil, []float64{1, 2, 3}, "1"},
	{"parts that are passed over", "each takes its type's place", `/begin RECORD_LAYOUT L SRC_ADDR_X 1 UWORD IDENTIFICATION 2 UBYTE RESERVED 3 BYTE RIP_ADDR_X 4 UWORD RIP_ADDR_W 5 UWORD RESERVED 6 LONG AXIS_PTS_X 7 UBYTE INDEX_INCR DIRECT FNC_VALUES 8 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC`, "AAAA BB CC DDDD EEEE 11223344 01 02 03 04", []float64{1, 2}, nil, []float64{3, 4}, "1"},
	{"NO_AXIS_PTS_X: what follows moves up", "CDF", `/begin RECORD_LAYOUT L NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 4) + `/end CHARACTERISTIC`, "02 0A 14 05 06 EE EE EE EE", []float64{10, 20}, nil, []float64{5, 6}, "1"},
	{"counts of a map before its breakpoints", "rows are as long as what is used", `/begin RECORD_LAYOUT L NO_AXIS_PTS_X 1 UBYTE NO_AXIS_PTS_Y 2 UBYTE AXIS_PTS_X 3 UBYTE INDEX_INCR DIRECT AXIS_PTS_Y 4 UBYTE INDEX_INCR DIRECT FNC_VALUES 5 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 4) + std("p", "NO_COMPU_METHOD", 3) + `/end CHARACTERISTIC`,
		"02 02 0A 14 01 02 05 06 07 08", []float64{10, 20}, []float64{1, 2}, []float64{5, 6, 7, 8}, "1"},
	{"a number behind breakpoints that are not all used", "the standard's own map has its parts in this order; from memory", standardMap("UBYTE", "UBYTE") +
		`/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 4) + std("p", "NO_COMPU_METHOD", 5) + `/end CHARACTERISTIC`,
		"AA 02 0A 14 BB 03 01 02 03 05 06 07 08 09 0A EE", []float64{10, 20}, []float64{1, 2, 3}, []float64{5, 8, 6, 9, 7, 10}, "1"},
	{"the same in words", "", standardMap("UWORD", "SWORD") +
		`/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD -9 9 ` + std("n", "NO_COMPU_METHOD", 4) + std("p", "NO_COMPU_METHOD", 5) + `/end CHARACTERISTIC`,
		"AAAA 0002 FFEC 000A BBBB 0003 0001 0002 0003 FFFB 0006 0007 0008 0009 0102 EEEE", []float64{-20, 10}, []float64{1, 2, 3}, []float64{-5, 8, 6, 9, 7, 258}, "1"},
	{"the same in words, the lowest byte first", "", strings.Replace(common, "MSB_FIRST", "MSB_LAST", 1) + standardMap("UWORD", "SWORD") +
		`/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD -9 9 ` + std("n", "NO_COMPU_METHOD", 4) + std("p", "NO_COMPU_METHOD", 5) + `/end CHARACTERISTIC`,
		"AAAA 0200 ECFF 0A00 BBBB 0300 0100 0200 0300 FBFF 0600 0700 0800 0900 0201 EEEE", []float64{-20, 10}, []float64{1, 2, 3}, []float64{-5, 8, 6, 9, 7, 258}, "1"},
	{"all of it used", "", standardMap("UBYTE", "UBYTE") +
		`/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 2) + std("p", "NO_COMPU_METHOD", 3) + `/end CHARACTERISTIC`,
		"AA 02 0A 14 BB 03 01 02 03 05 06 07 08 09 0A", []float64{10, 20}, []float64{1, 2, 3}, []float64{5, 8, 6, 9, 7, 10}, "1"},
	{"three numbers, each behind what the one before it counts", "", `/begin RECORD_LAYOUT L NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT NO_AXIS_PTS_Y 3 UBYTE AXIS_PTS_Y 4 UBYTE INDEX_INCR DIRECT
			NO_AXIS_PTS_Z 5 UBYTE AXIS_PTS_Z 6 UBYTE INDEX_INCR DIRECT FNC_VALUES 7 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CUBOID 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 3) + std("p", "NO_COMPU_METHOD", 3) + std("q", "NO_COMPU_METHOD", 4) + `/end CHARACTERISTIC`,
		"02 0A 14 01 1E 02 28 32 01 02 03 04 EE", []float64{10, 20}, []float64{30}, []float64{1, 2, 3, 4}, "1"},
	{"a number behind breakpoints, in a static record", "", `/begin RECORD_LAYOUT L NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT NO_AXIS_PTS_Y 3 UBYTE AXIS_PTS_Y 4 UBYTE INDEX_INCR DIRECT
			FNC_VALUES 5 UBYTE ROW_DIR DIRECT STATIC_RECORD_LAYOUT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 3) + std("p", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC`,
		"02 0A 14 EE 01 1E EE 01 02 EE EE EE EE", []float64{10, 20}, []float64{30}, []float64{1, 2}, "1"},
	{"STATIC_RECORD_LAYOUT: nothing moves", "", `/begin RECORD_LAYOUT L NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE ROW_DIR DIRECT STATIC_RECORD_LAYOUT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 4) + `/end CHARACTERISTIC`, "02 0A 14 EE EE 05 06 EE EE", []float64{10, 20}, nil, []float64{5, 6}, "1"},
	{"FIX_NO_AXIS_PTS_X", "the layout's number over the axis's", `/begin RECORD_LAYOUT L FIX_NO_AXIS_PTS_X 2 AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT FNC_VALUES 2 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 9) + `/end CHARACTERISTIC`, "0A 14 05 06", []float64{10, 20}, nil, []float64{5, 6}, "1"},
	{"COM_AXIS", "AXIS_PTS says how many, AXIS_DESCR what they mean", `/begin AXIS_PTS a "" 0x1010 n AXIS 0 HALF 3 0 255 /end AXIS_PTS
		/begin CHARACTERISTIC t "" CURVE 0x1000 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR COM_AXIS n TWICE 7 0 255 AXIS_PTS_REF a /end AXIS_DESCR /end CHARACTERISTIC`,
		"05 06 07 EE EEEEEEEE EEEEEEEE EEEEEEEE 01 02 03", []float64{2, 4, 6}, nil, []float64{5, 6, 7}, "1"},
	{"COM_AXIS whose number the image says", "", `/begin AXIS_PTS a "" 0x1010 n COUNTED_AXIS 0 NO_COMPU_METHOD 3 0 255 /end AXIS_PTS
		/begin CHARACTERISTIC t "" MAP 0x1000 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR COM_AXIS n NO_COMPU_METHOD 3 0 255 AXIS_PTS_REF a /end AXIS_DESCR
		/begin AXIS_DESCR FIX_AXIS p NO_COMPU_METHOD 2 0 9 FIX_AXIS_PAR 0 0 2 /end AXIS_DESCR /end CHARACTERISTIC`,
		"05 06 07 08 EEEEEEEE EEEEEEEE EEEEEEEE 02 0A 14 EE", []float64{10, 20}, []float64{0, 1}, []float64{5, 6, 7, 8}, "1"},
	{"FIX_AXIS_PAR", "offset + i 2^shift, raw, then converted", `/begin CHARACTERISTIC t "" CURVE 0x1000 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR FIX_AXIS n TWICE 3 0 9 FIX_AXIS_PAR 10 2 3 /end AXIS_DESCR /end CHARACTERISTIC`,
		"05 06 07", []float64{20, 28, 36}, nil, []float64{5, 6, 7}, "1"},
	{"FIX_AXIS_PAR_DIST", "offset + i distance", `/begin CHARACTERISTIC t "" CURVE 0x1000 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR FIX_AXIS n HALF 3 0 9 FIX_AXIS_PAR_DIST -10 5 3 /end AXIS_DESCR /end CHARACTERISTIC`,
		"05 06 07", []float64{-5, -2.5, 0}, nil, []float64{5, 6, 7}, "1"},
	{"FIX_AXIS_PAR_LIST", "as listed", `/begin CHARACTERISTIC t "" CURVE 0x1000 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR FIX_AXIS n NO_COMPU_METHOD 3 0 9
		/begin FIX_AXIS_PAR_LIST 1 0.1 7 /end FIX_AXIS_PAR_LIST /end AXIS_DESCR /end CHARACTERISTIC`, "05 06 07", []float64{1, .1, 7}, nil, []float64{5, 6, 7}, "1"},
	{"INDEX_DECR", "breakpoints and values run down", `/begin RECORD_LAYOUT L AXIS_PTS_X 1 UBYTE INDEX_DECR DIRECT FNC_VALUES 2 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 3) + `/end CHARACTERISTIC`, "1E 14 0A 07 06 05", []float64{10, 20, 30}, nil, []float64{5, 6, 7}, "1"},
	{"INDEX_DECR of one axis of two", "the same values by the same breakpoints, in the order of the bytes", `/begin RECORD_LAYOUT L AXIS_PTS_X 1 UBYTE INDEX_DECR DIRECT AXIS_PTS_Y 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE ROW_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" MAP 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 2) + std("p", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC`,
		"14 0A 01 02 06 05 08 07", []float64{20, 10}, []float64{1, 2}, []float64{6, 5, 8, 7}, "1"},
	{"BIT_MASK", "shifted down to its lowest bit; domohuhn/a2l", `/begin CHARACTERISTIC t "" VALUE 0x1000 W 0 NO_COMPU_METHOD 0 255 BIT_MASK 0x0FF0 /end CHARACTERISTIC`, "1234", nil, nil, []float64{0x23}, "1"},
	{"BIT_MASK of a signed type", "what is masked out has no sign", `/begin CHARACTERISTIC t "" VALUE 0x1000 S 0 NO_COMPU_METHOD 0 15 BIT_MASK 0xF0 /end CHARACTERISTIC`, "F3", nil, nil, []float64{15}, "1"},
	{"BIT_MASK of all bits", "", `/begin CHARACTERISTIC t "" VALUE 0x1000 S 0 NO_COMPU_METHOD -128 127 BIT_MASK 0xFFFFFFFF /end CHARACTERISTIC`, "F3", nil, nil, []float64{-13}, "1"},
	{"MATRIX_DIM", "x y z, x the fastest", `/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 NO_COMPU_METHOD 0 9 MATRIX_DIM 3 2 1 /end CHARACTERISTIC`,
		"01 02 03 04 05 06", []float64{0, 1, 2}, []float64{0, 1}, []float64{1, 2, 3, 4, 5, 6}, "1"},
	{"MATRIX_DIM of three", "", `/begin CHARACTERISTIC t "" VAL_BLK 0x1000 B 0 NO_COMPU_METHOD 0 9 MATRIX_DIM 2 2 2 /end CHARACTERISTIC`,
		"01 02 03 04 05 06 07 08", []float64{0, 1}, []float64{0, 1}, []float64{1, 2, 3, 4, 5, 6, 7, 8}, "1"},
	{"NUMBER", "example-ecu: 5 floats are 20 bytes", `/begin CHARACTERISTIC t "" VAL_BLK 0x1000 W 0 NO_COMPU_METHOD 0 9 NUMBER 2 /end CHARACTERISTIC`, "0001 0002", []float64{0, 1}, nil, []float64{1, 2}, "1"},
	{"CUBOID, COLUMN_DIR", "CDF: of three axes x and y change places alone", `/begin RECORD_LAYOUT L AXIS_PTS_X 1 UBYTE INDEX_INCR DIRECT AXIS_PTS_Y 2 UBYTE INDEX_INCR DIRECT AXIS_PTS_Z 3 UBYTE INDEX_INCR DIRECT FNC_VALUES 4 UBYTE COLUMN_DIR DIRECT /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CUBOID 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 2) + std("p", "NO_COMPU_METHOD", 2) + std("q", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC`,
		"0A 0B 14 15 1E 1F 01 03 02 04 05 07 06 08", []float64{10, 11}, []float64{20, 21}, []float64{1, 2, 3, 4, 5, 6, 7, 8}, "1"},
	{"CUBE_4", "the fastest first", `/begin CHARACTERISTIC t "" CUBE_4 0x1000 B 0 NO_COMPU_METHOD 0 9 ` + fixed("n", 2) + fixed("p", 1) + fixed("q", 2) + fixed("r", 2) + `/end CHARACTERISTIC`,
		"01 02 03 04 05 06 07 08", []float64{0, 1}, []float64{0}, []float64{1, 2, 3, 4, 5, 6, 7, 8}, "1"},
	{"STATIC_ADDRESS_OFFSETS of a curve: parts stay", "", `/begin RECORD_LAYOUT L NO_AXIS_PTS_X 1 UBYTE AXIS_PTS_X 2 UBYTE INDEX_INCR DIRECT FNC_VALUES 3 UBYTE ROW_DIR DIRECT STATIC_ADDRESS_OFFSETS /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" CURVE 0x1000 L 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 4) + `/end CHARACTERISTIC`, "02 0A 14 EE EE 05 06 EE EE", []float64{10, 20}, nil, []float64{5, 6}, "1"},
	{"CURVE_AXIS", "its breakpoints are places in the curve's values", `/begin CHARACTERISTIC norm "" CURVE 0x1010 BB 0 NO_COMPU_METHOD 0 9 ` + std("n", "NO_COMPU_METHOD", 2) + `/end CHARACTERISTIC
		/begin CHARACTERISTIC t "" CURVE 0x1000 B 0 NO_COMPU_METHOD 0 9 /begin AXIS_DESCR CURVE_AXIS NO_INPUT_QUANTITY NO_COMPU_METHOD 3 0 9 CURVE_AXIS_REF norm /end AXIS_DESCR /end CHARACTERISTIC`,
		"05 06 07", []float64{0, 1, 2}, nil, []float64{5, 6, 7}, "1"},
	{"values where a pointer leads", "PLONG", `/begin RECORD_LAYOUT L FNC_VALUES 1 UBYTE ROW_DIR PLONG /end RECORD_LAYOUT
		/begin CHARACTERISTIC t "" VAL_BLK 0x1000 L 0 NO_COMPU_METHOD 0 9 NUMBER 2 /end CHARACTERISTIC /begin CHARACTERISTIC end "" VALUE 0x1010 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC`,
		"00001008 EEEEEEEE 05 06", []float64{0, 1}, nil, []float64{5, 6}, "1"},
	{"an object's own byte order", "", `/begin CHARACTERISTIC t "" VALUE 0x1000 W 0 NO_COMPU_METHOD 0 9 BYTE_ORDER MSB_LAST /end CHARACTERISTIC`, "0100", nil, nil, []float64{1}, "1"},
	{"the module's byte order", "", strings.Replace(common, "MSB_FIRST", "MSB_LAST", 1) + `/begin CHARACTERISTIC t "" VALUE 0x1000 F 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC`, "0000C03F", nil, nil, []float64{1.5}, "1"},
	{"an instance", "a type at an address", `/begin TYPEDEF_CHARACTERISTIC T "" CURVE BB 0 HALF 0 9 ` + std("n", "TWICE", 2) + `/end TYPEDEF_CHARACTERISTIC
		/begin INSTANCE t "" T 0x1000 /end INSTANCE`, "01 02 03 04", []float64{2, 4}, nil, []float64{1.5, 2}, "kPa"},
	{"one input on both axes", "a table has one axis of a quantity", `/begin CHARACTERISTIC t "" MAP 0x1000 BBB 0 HALF 0 9 ` + std("n", "TWICE", 2) + std("n", "HALF", 2) + `/end CHARACTERISTIC`,
		"01 02 0A 14 01 02 03 04", []float64{2, 4}, []float64{5, 10}, []float64{.5, 1, 1.5, 2}, "kPa"},
}

// close are numbers that differ by rounding alone; what is no number is like any other.
func close(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(a, b float64) bool {
		return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-12*math.Abs(b)
	})
}

func TestSemantics(t *testing.T) {
	for _, c := range semantics {
		t.Run(c.name, func(t *testing.T) {
			r, err := A2L(module(t, c.text+layouts), Options{})
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range r.Said {
				if !s.Kept {
					t.Errorf("%v", s)
				}
			}
			lay := loaded(t, r)
			img := imageOf(lay, 0x1000, c.image)
			table := lay.ByID["t"]
			if table == nil {
				t.Fatalf("there is no such table\n%s", yamlout.Write(r.Definition))
			}
			d := surface.Decode(table, img)
			if d.Astray != nil {
				t.Fatalf("%v\n%s", d.Astray, yamlout.Write(r.Definition))
			}
			for _, part := range []struct {
				what      string
				got, want []float64
			}{{"x", d.X, c.x}, {"y", d.Y, c.y}, {"values", d.Values, c.values}} {
				if !close(part.got, part.want) {
					t.Errorf("%s: got %v, want %v (%s)\n%s", part.what, part.got, part.want, c.source, yamlout.Write(r.Definition))
				}
			}
			if table.Unit != c.unit {
				t.Errorf("unit %q, want %q", table.Unit, c.unit)
			}
		})
	}
}
