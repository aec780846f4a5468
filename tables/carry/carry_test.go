package carry

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// record is a definition with every structure that has an address, over two regions.
const record = `name: record-1
byte_order: big
image:
  regions: [{start: 0x1000, size: 0x1000}, {start: 0x8000, size: 0x800}]
  segments: [{start: 0x1000, end: 0x2000, content: calibration}]
identity:
  - {id: software, address: 0x1FF0, length: 4, encoding: ascii, expect: SW-1}
  - {id: frame, address: 0x1FE0, length: 4, encoding: ascii, vehicle: true, private: true}
axes:
  - {id: speed, quantity: engine_speed, unit: 1/min, stored: {address: 0x1100, type: u16, count: 8}}
  - {id: ghost, quantity: torque, unit: N.m, stored: {address: 0x1800, type: u16, count: 2}}
tables:
  - {id: curve, quantity: duty, unit: "%", stored: {address: 0x1110, type: u8}, x: {axis: speed}}
  - id: packed
    quantity: lambda
    unit: "1"
    stored: {address: 0x1131, type: u8, layout: packed}
    x: {id: packed.x, quantity: pedal, unit: "%", stored: {address: 0x1121, type: u16, count: 8, count_at: {address: 0x1120, type: u8}}}
  - {id: far, quantity: fuel, unit: mg, stored: {address: 0x1140, type: u16, pointer: u32}, x: {axis: speed}}
  - {id: down, quantity: boost, unit: kPa, stored: {address: 0x1157, type: u8, reversed: true}, x: {axis: speed}}
  - id: solid
    quantity: trim
    unit: "%"
    stored: {address: 0x1160, type: u8}
    axes: [{id: sa, labels: [a, b, c], index: true}, {id: sb, labels: [d, e], index: true}, {id: sc, labels: [f, g, h], index: true}]
  - {id: note, kind: text, encoding: ascii, stored: {address: 0x1180, length: 16}}
  - {id: copy, quantity: boost, unit: kPa, stored: {address: 0x11A7, type: u8, reversed: true}, x: {axis: speed}, mirror: {of: down, as: same}}
  - {id: haunted, quantity: torque_limit, unit: N.m, stored: {address: 0x1810, type: u16}, x: {axis: ghost}}
signals:
  - {id: whole, quantity: duty, unit: "%", value: "table('curve') + 1.0"}
  - {id: half, quantity: torque_limit, unit: N.m, value: "table('haunted')"}
  - {id: more, quantity: torque_limit, unit: N.m, value: "signal('half') * 2.0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 600, to: 7000}
  - {quantity: torque, unit: N.m, from: 0, to: 400}
checksums:
  - {id: right, algorithm: sum-16, over: [{start: 0x8400, end: 0x8410}], stored: {address: 0x8410, type: u16}}
  - {id: other, algorithm: sum-16, over: [{start: 0x1000, end: 0x1F00}], stored: {address: 0x1F00, type: u16}}
volatile: [{start: 0x1F10, end: 0x1F20, title: learned}]
folders: [{id: all, tables: [curve, haunted]}]
`

// recorded is an image of record whose calibration lies so much further on, and what is pointed to so much.
func recorded(shift, target int, software string) []byte {
	b := bytes.Repeat([]byte{0xFF}, 0x1800)
	random := rand.New(rand.NewPCG(7, uint64(shift)))
	for i := range 0xC0 {
		b[i] = byte(random.Uint32()) // code
	}
	at := func(address int) []byte { return b[address-0x1000+shift:] }
	for i := range 8 {
		binary.BigEndian.PutUint16(at(0x1100+2*i), uint16(800*(i+1)+37*i*i))
		at(0x1110)[i] = byte(30 + 7*i - i*i)
		b[0x1000+target+2*i], b[0x1000+target+2*i+1] = byte(i/3), byte(90+31*i)
		at(0x1150)[i] = byte(200 - 13*i)
		at(0x11A0)[i] = byte(200 - 13*i)
	}
	at(0x1120)[0] = 5
	for i := range 5 { // what follows eight breakpoints follows five
		binary.BigEndian.PutUint16(at(0x1121+2*i), uint16(900*i+11))
		at(0x112B)[i] = byte(110 + 9*i)
	}
	binary.BigEndian.PutUint32(at(0x1140), uint32(0x8000+target))
	for i := range 18 {
		at(0x1160)[i] = byte(5*i*i%97 + 1)
	}
	copy(at(0x1180), "hill climb, 98RON")
	copy(b[0xFF0:], software)
	copy(b[0xFE0:], "WTM7")
	for i := range 0x11 {
		b[0x1400+i] = byte(i)
	}
	binary.BigEndian.PutUint16(b[0x1410:], 120) // 0 to 15
	return b
}

func found(t *testing.T, text string, from, to []byte) *Result {
	t.Helper()
	lay, err := definition.Load("d.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Find(lay, lay.Space.Whole(from), lay.Space.Whole(to))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A shared axis behind a pointer is as sure as the breakpoints that the pointer leads to, whatever the image begins with.
func TestSharedAxisBehindAPointer(t *testing.T) {
	const text = `name: shared-1
byte_order: big
image: {start: 0x1000, size: 0x1000}
axes:
  - {id: speed, quantity: engine_speed, unit: 1/min, stored: {address: 0x1100, type: u16, count: 8, pointer: u32}}
tables:
  - {id: curve, quantity: duty, unit: "%", stored: {address: 0x1104, type: u8}, x: {axis: speed}}
  - {id: before, unit: "1", stored: {address: 0x10F8, type: u16}}
`
	image := func(shift int, begins, least byte) []byte {
		b := bytes.Repeat([]byte{0xFF}, 0x1000)
		random := rand.New(rand.NewPCG(1, 2))
		for i := range 0x40 {
			b[i], b[0xC0+shift+i], b[0x10C+shift+i] = begins+byte(i), byte(random.Uint32()), byte(random.Uint32())
		}
		binary.BigEndian.PutUint32(b[0x100+shift:], uint32(0x1800+shift))
		for i := range 8 {
			b[0x104+shift+i] = byte(3 + 3*i*i)
			binary.BigEndian.PutUint16(b[0x800+shift+2*i:], uint16(int(least)+300*i))
		}
		return b
	}
	for _, c := range []struct {
		name          string
		begins, least byte
		want          Surety
	}{
		{"the image begins otherwise", 7, 80, SameBytes},
		{"the breakpoints were changed", 0, 81, Moved},
	} {
		r := found(t, text, image(0, 0, 80), image(0x50, c.begins, c.least))
		for _, f := range []Found{r.Axes[0], r.Tables[0]} {
			if f.How != c.want || f.To != f.From+0x50 {
				t.Errorf("%s: %s at %#x: %s, %s", c.name, f.ID, f.To, f.How, f.Why)
			}
		}
	}
}

// Records, pointers, storage that runs down, blocks and texts move with their addresses, and read the same after.
func TestEveryStructureIsCarried(t *testing.T) {
	const shift = 0x154
	from, to := recorded(0, 0x40, "SW-1"), recorded(shift, 0x123, "SW-2")
	copy(from[0x800:], "\x01\x02\x03\x04 only in the one image \x07\x08")
	r := found(t, record, from, to)
	for _, f := range r.Tables {
		switch {
		case f.ID == "haunted" && f.How != NotFound:
			t.Errorf("%+v", f)
		case f.ID != "haunted" && (f.How != SameBytes || f.To != f.From+shift):
			t.Errorf("%s at %#x: %s, %s", f.ID, f.To, f.How, f.Why)
		}
	}
	w, err := r.Definition(Options{Name: "record-2", Least: SameAxes})
	if err != nil {
		t.Fatal(err)
	}
	for _, table := range w.Layout.Tables {
		was, is := surface.Decode(r.lay.ByID[table.ID], from), surface.Decode(table, to)
		if was.Astray != nil || is.Astray != nil || !slices.Equal(was.Bits, is.Bits) || !slices.Equal(was.X, is.X) || was.Text != is.Text || len(was.Bits)+len(was.Text) == 0 {
			t.Errorf("%s: %v %v, was %v %v; %v, %v", table.ID, is.X, is.Bits, was.X, was.Bits, was.Astray, is.Astray)
		}
	}
	d := w.Layout.Source
	if len(w.Layout.Tables) != 7 || len(d.Axes) != 1 || len(d.Signals) != 1 || len(d.Checksums) != 1 || d.Checksums[0].GetId() != "right" || !slices.Equal(d.Folders[0].GetTables(), []string{"curve"}) {
		t.Errorf("%s", w.File)
	}
	if c := d.GetCarried(); c.GetDefinition() != "record-1" || c.GetDefinitionSha256() != r.lay.SHA256 || c.GetFromImageSha256() != string(image.HashOf(from)) || c.GetToImageSha256() != string(image.HashOf(to)) {
		t.Errorf("carried: %v", c)
	}
	if d.Identity[0].Expect != nil || d.Tables[0].GetCarried() != "same bytes" {
		t.Errorf("%v, %v", d.Identity[0], d.Tables[0])
	}
	look := strings.Join(w.Look, "\n")
	for _, want := range []string{
		`identity software reads "SW-2" in the new image, and expects nothing now`, "checksum right was kept", "checksum other was left out",
		"volatile 0x1f10 to 0x1f20 was kept", "the image's segments were kept", `signal half was left out`, `signal more was left out`,
	} {
		if !strings.Contains(look, want) {
			t.Errorf("it does not say %q:\n%s", want, look)
		}
	}
	if strings.Contains(look, "WTM7") {
		t.Error("a private field is said")
	}
	again, err := r.Definition(Options{Name: "record-2", Least: SameAxes})
	if err != nil || !bytes.Equal(again.File, w.File) {
		t.Errorf("written again it is another: %v", err)
	}
}

func TestIdentityOfTheOtherImage(t *testing.T) {
	from, to := recorded(0, 0x40, "SW-1"), recorded(0x20, 0x40, "SW-2")
	copy(to[0xFE0:], "WTM9")
	w, err := found(t, record, from, to).Definition(Options{Name: "n", Least: Moved, Expect: true})
	if err != nil || w.Layout.Source.Identity[0].GetExpect() != "SW-2" || w.Layout.Source.Identity[1].Expect != nil {
		t.Errorf("%v, %v", w.Layout.Source.Identity, err)
	}
	if look := strings.Join(w.Look, "\n"); strings.Contains(look, "WTM") || !strings.Contains(look, "identity frame reads something else") {
		t.Error(look)
	}
	copy(to[0xFF0:], "\x01\x02\x03\x04")
	w, err = found(t, record, from, to).Definition(Options{Name: "n", Least: Moved})
	if err != nil || len(w.Layout.Identity) != 1 || !strings.Contains(strings.Join(w.Look, "\n"), "identity software was left out") {
		t.Errorf("%v, %v", w.Look, err)
	}
}

// Whatever the images hold, what is said to have the same bytes has them, and is written where it reads the same.
func TestSameBytesAreTheSame(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 0))
	same := 0
	for range 120 {
		from, to := recorded(random.IntN(0x40), random.IntN(0x300), "SW-1"), recorded(random.IntN(0x200), random.IntN(0x300), "SW-2")
		for range random.IntN(4) { // moved, changed and lost stretches, pointers and counts among them
			at, n, by := 0x100+random.IntN(0x100), 1+random.IntN(0x40), random.IntN(0x40)
			copy(to[at+by:], slices.Clone(to[at:at+n]))
		}
		for _, b := range [][]byte{from, to} {
			for range random.IntN(6) {
				b[0x100+random.IntN(0x200)] = byte(random.Uint32())
			}
		}
		r := found(t, record, from, to)
		w, err := r.Definition(Options{Name: "n", Least: SameBytes})
		for i, f := range r.Tables {
			if f.How < SameBytes {
				continue
			}
			if err != nil {
				t.Fatalf("seed %d: %s is sure, and %v", seed, f.ID, err)
			}
			same++
			was, is := surface.Decode(r.lay.Tables[i], from), surface.Decode(w.Layout.ByID[f.ID], to)
			if was.Astray != nil || is.Astray != nil || !slices.Equal(was.Bits, is.Bits) || !slices.Equal(was.X, is.X) || was.Text != is.Text {
				t.Errorf("seed %d: %s at %#x: %v %v, was %v %v; %v, %v", seed, f.ID, f.To, is.X, is.Bits, was.X, was.Bits, is.Astray, was.Astray)
			}
		}
	}
	if same < 120 {
		t.Errorf("seed %d: only %d tables had the same bytes", seed, same)
	}
}

// What tells places apart, and what does not.
func TestWhatTellsPlaces(t *testing.T) {
	const text = `name: d
byte_order: big
image: {start: 0, size: 0x400}
tables:
  - {id: head, quantity: duty, unit: "%", stored: {address: 0x100, type: u8}, x: {id: hx, labels: [a, b, c, d, e, f, g, h, i, j, k, l], index: true}}
  - {id: one, quantity: duty, unit: "%", stored: {address: 0x10C, type: u16}}
  - {id: two, quantity: duty, unit: "%", stored: {address: 0x10E, type: u16}}
  - {id: tail, quantity: duty, unit: "%", stored: {address: 0x110, type: u8}, x: {id: tx, labels: [a, b, c, d, e, f, g, h, i, j, k, l], index: true}}
`
	image := func(at int, parts ...[]byte) []byte {
		b := bytes.Repeat([]byte{0xFF}, 0x400)
		copy(b[at:], bytes.Join(parts, nil))
		return b
	}
	head, tail := []byte{9, 14, 20, 27, 35, 44, 54, 65, 77, 90, 104, 119}, []byte{250, 231, 213, 196, 180, 165, 151, 138, 126, 115, 105, 96}
	one, two := []byte{0x12, 0x34}, []byte{0x56, 0x78}
	from := image(0x100, head, one, two, tail)
	for name, c := range map[string]struct {
		to   []byte
		want [4]Surety
		at   [4]uint64
	}{
		"all moved":              {image(0x180, head, one, two, tail), [4]Surety{SameBytes, SameBytes, SameBytes, SameBytes}, [4]uint64{0x180, 0x18C, 0x18E, 0x190}},
		"one changed":            {image(0x180, head, []byte{1, 1}, two, tail), [4]Surety{SameBytes, Moved, SameBytes, SameBytes}, [4]uint64{0x180, 0x18C, 0x18E, 0x190}},
		"one taken out":          {image(0x180, head, two, tail), [4]Surety{SameBytes, NotFound, Moved, SameBytes}, [4]uint64{0x180, 0, 0x18C, 0x18E}},
		"nothing between":        {image(0x180, head, []byte{0xFF, 0xFF}, two, tail), [4]Surety{SameBytes, NotFound, SameBytes, SameBytes}, [4]uint64{0x180, 0, 0x18E, 0x190}},
		"the head twice":         {append(image(0x100, head, one, two, tail)[:0x200], image(0, head)[:0x200]...), [4]Surety{SameBytes, SameBytes, SameBytes, SameBytes}, [4]uint64{0x100, 0x10C, 0x10E, 0x110}},
		"the head alone, twice":  {append(image(0x100, head)[:0x200], image(0x40, head)[:0x200]...), [4]Surety{}, [4]uint64{}},
		"all of it twice":        {append(image(0x100, head, one, two, tail)[:0x200], image(0x40, head, one, two, tail)[:0x200]...), [4]Surety{}, [4]uint64{}},
		"nothing of it anywhere": {image(0), [4]Surety{}, [4]uint64{}},
		"in another order":       {image(0x140, tail, two, one, head), [4]Surety{SameBytes, NotFound, NotFound, SameBytes}, [4]uint64{0x150, 0, 0, 0x140}},
	} {
		for i, f := range found(t, text, from, c.to).Tables {
			if f.How != c.want[i] || f.How > NotFound && f.To != c.at[i] || (f.Why == "") != (f.How == SameBytes) {
				t.Errorf("%s: %s at %#x: %s (%s); want %s at %#x", name, f.ID, f.To, f.How, f.Why, c.want[i], c.at[i])
			}
		}
	}
	// What the other image does not hold is nowhere.
	r := found(t, text, from, from)
	to := r.lay.Space.Whole(slices.Clone(from))
	copy(to.Bytes[0x10C:], "\xFF\xFF")
	to.Held = r.lay.Space[:1:1]
	to.Held = append(to.Held[:0:0], to.Held[0], to.Held[0])
	to.Held[0].End, to.Held[1].Start = 0x10C, 0x10E
	r, err := Find(r.lay, r.from, to)
	if err != nil || r.Tables[1].How != NotFound || r.Tables[2].How != SameBytes {
		t.Errorf("%+v, %v", r.Tables, err)
	}
	if _, err := found(t, text, from, image(0)).Definition(Options{Name: "n", Least: Moved}); err == nil || !strings.Contains(err.Error(), "there is nothing to write") {
		t.Error(err)
	}
	if _, err := found(t, text, from, from).Definition(Options{Name: "No Name", Least: Moved}); err == nil || !strings.Contains(err.Error(), "name") {
		t.Error(err)
	}
}

func TestSureties(t *testing.T) {
	for text, want := range map[string]Surety{"moved": Moved, "same-axes": SameAxes, "same-bytes": SameBytes} {
		if got, err := Named(text); got != want || err != nil {
			t.Errorf("%s: %v, %v", text, got, err)
		}
	}
	if _, err := Named("not found"); err == nil || !strings.Contains(err.Error(), "moved, same-axes, same-bytes") {
		t.Error(err)
	}
}

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
