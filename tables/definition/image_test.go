package definition

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/image"
)

const holey = `
name: holey
byte_order: big
image: {start: 0x100, size: 0x80}
identity:
  - {id: software, address: 0x100, length: 4, encoding: ascii}
axes:
  - {id: fixed, quantity: gear, unit: "1", points: [1, 2]}
  - {id: ax, quantity: engine_speed, unit: 1/min, stored: {address: 0x110, type: u8, stride: 4, count: 3}}
tables:
  - {id: t, unit: "1", stored: {address: 0x120, type: u16, stride: 4}, x: {axis: fixed}, y: {axis: ax}}
checksums:
  - {id: sum, algorithm: sum-16, over: [{start: 0x150, end: 0x158}], stored: {address: 0x170, type: u16}}
volatile:
  - {start: 0x160, end: 0x164, title: learned}
`

// needs are the addresses that holey needs, by hand: four bytes of identity, an axis of 3 bytes 4
// apart, a table of 2 by 3 words 4 apart, what the sum is over, and the sum.
func needs(at uint64) bool {
	switch {
	case at < 0x104, at >= 0x150 && at < 0x158, at == 0x170, at == 0x171:
		return true
	case at >= 0x110 && at < 0x11C:
		return at%4 == 0
	case at >= 0x120 && at < 0x138:
		return at%4 < 2
	}
	return false
}

func TestLacks(t *testing.T) {
	lay, err := Load("d", []byte(holey))
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		im := &image.Image{Format: image.IHex, Space: lay.Space, Bytes: make([]byte, 0x80)}
		var held, want []image.Range
		for at := uint64(0x100); at < 0x180; {
			next := min(at+rapid.Uint64Range(1, 40).Draw(t, "bytes"), 0x180)
			r := image.Range{Start: at, End: next}
			at = next
			if rapid.Bool().Draw(t, "held") {
				held = append(held, r)
				continue
			}
			for i := r.Start; i < r.End; i++ {
				if needs(i) {
					want = append(want, image.Range{Start: i, End: i + 1})
				}
			}
		}
		im.Held = image.Join(held)
		if got := lay.Lacks(im); !slices.Equal(got, image.Join(want)) {
			t.Fatalf("of %x lacks %x, want %x", im.Held, got, image.Join(want))
		}
	})
	if got := lay.Lacks(image.Whole(0x100, make([]byte, 0x80))); got != nil {
		t.Errorf("a whole image lacks %x", got)
	}
}

func TestReadImage(t *testing.T) {
	lay, err := Load("d", []byte(holey))
	if err != nil {
		t.Fatal(err)
	}
	im, err := lay.ReadImage("f", make([]byte, 0x80), "")
	if err != nil || !slices.Equal(im.Space, lay.Space) || !slices.Equal(im.Held, []image.Range{{Start: 0x100, End: 0x180}}) {
		t.Errorf("%+v, %v", im, err)
	}
	const want = "f: 127 bytes; allowed: 128, the size of the definition's image"
	if _, err := lay.ReadImage("f", make([]byte, 0x7F), ""); err == nil || err.Error() != want {
		t.Errorf("%v, want %q", err, want)
	}
}
