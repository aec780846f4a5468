package carry

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// many is a definition of n curves of 8 to 31 bytes on one axis each, and an image of it in 4 MiB.
func many(b *testing.B, n int) (*definition.Layout, []byte) {
	random := rand.New(rand.NewPCG(1, 1))
	var text strings.Builder
	text.WriteString("name: many\nbyte_order: big\nimage: {start: 0, size: 0x400000}\ntables:\n")
	im := make([]byte, 0x400000)
	for i := range im {
		im[i] = byte(random.Uint32())
	}
	at := 0x100000
	for i := range n {
		count := 8 + random.IntN(24)
		fmt.Fprintf(&text, "  - {id: t%d, quantity: duty, unit: \"%%\", stored: {address: %#x, type: u8}, x: {id: x%d, quantity: engine_speed, unit: 1/min, stored: {address: %#x, type: u16, count: %d}}}\n", i, at+2*count, i, at, count)
		for k := range count {
			speed := (k + 1) * (1 + i%7) * 400
			im[at+2*k], im[at+2*k+1], im[at+2*count+k] = byte(speed>>8), byte(speed), byte(40+k*(i%5)+random.IntN(3))
		}
		at += 3 * count
	}
	lay, err := definition.Load("many.yaml", []byte(text.String()))
	if err != nil {
		b.Fatal(err)
	}
	return lay, im
}

// BenchmarkFind is 20,000 tables in 4 MiB, all of them moved, every fiftieth changed.
func BenchmarkFind(b *testing.B) {
	lay, from := many(b, 20000)
	to := make([]byte, len(from))
	copy(to[0x1230:], from)
	for i := 0; i < len(lay.Tables); i += 50 {
		to[lay.Tables[i].Cells.Offset+0x1230]++
	}
	for b.Loop() {
		r, err := Find(lay, image.Whole(0, from), image.Whole(0, to))
		if err != nil {
			b.Fatal(err)
		}
		for i, f := range r.Tables {
			if f.To != f.From+0x1230 || f.How < SameAxes || (i%50 == 0) != (f.How == SameAxes) {
				b.Fatalf("%+v", f)
			}
		}
	}
}
