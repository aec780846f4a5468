package corridor

import (
	"fmt"
	"math/big"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/image"
)

// TestWholeSteps: so many raw steps of a decimal resolution lie within a bound exactly where the decimals say so, whatever the
// floats that they are reckoned in make of them. Decimals are exact here.
func TestWholeSteps(t *testing.T) {
	exact := func(t *rapid.T, decimal string) *big.Rat {
		r, ok := new(big.Rat).SetString(decimal)
		if !ok {
			t.Fatal(decimal)
		}
		return r
	}
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]string{"u8", "u16", "s8", "s16"}).Draw(t, "type")
		factor := rapid.SampledFrom([]string{"0.1", "-0.1", "0.75", "0.05", "0.004", "0.0078125", "0.01", "0.3", "100"}).Draw(t, "factor")
		offset := rapid.SampledFrom([]string{"0", "-40", "0.1", "-273.15"}).Draw(t, "offset")
		lay := layoutOf(t, fmt.Sprintf("name: n\ntitle: n\nbyte_order: big\nimage: {start: 0, size: 16, segments: [{start: 0, end: 16, content: calibration}]}\n"+
			"tables: [{id: v, quantity: q, unit: \"1\", stored: {address: 4, type: %s}, conversion: {factor: %s, offset: %s}}]\n", kind, factor, offset))
		steps := rapid.IntRange(0, 59).Draw(t, "steps of the bound")
		by := rapid.SampledFrom([]int{steps, -steps, steps + 1, -steps - 1, 30, -30}).Draw(t, "steps of the cell")
		most := new(big.Rat).Mul(exact(t, factor), big.NewRat(int64(steps), 1))
		bound, err := strconv.ParseFloat(most.Abs(most).FloatString(9), 64) // as somebody writes it
		if err != nil {
			t.Fatal(err)
		}
		was, is := make([]byte, 16), make([]byte, 16)
		raw := rapid.IntRange(60, 127-60).Draw(t, "raw")
		last := 4
		if kind[1:] == "16" {
			last, raw = 5, raw+256*rapid.IntRange(0, 126).Draw(t, "high")
			was[4], is[4] = byte(raw>>8), byte((raw+by)>>8)
		}
		was[last], is[last] = byte(raw), byte(raw+by)
		moved := new(big.Rat).Mul(exact(t, factor), big.NewRat(int64(by), 1))
		for _, b := range []Bound{{"v", bound, 0}, {"v", 0, bound}, {"v", bound, bound}} {
			up, down := exact(t, strconv.FormatFloat(b.Up, 'f', -1, 64)), exact(t, strconv.FormatFloat(b.Down, 'f', -1, 64))
			inside := moved.Cmp(up) <= 0 && new(big.Rat).Neg(moved).Cmp(down) <= 0
			r, err := Check(lay, image.Whole(0, was), image.Whole(0, is), []Bound{b})
			if err != nil || inside != (len(r.Outside) == 0) {
				t.Fatalf("%s by %d steps of %s, allowed %v up and %v down: %v, %v; decimals say inside: %v", kind, by, factor, b.Up, b.Down, r, err, inside)
			}
		}
	})
}
