package compare

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// Random definitions with every structure at once, in an image of two regions of which the second holds nothing but what is
// pointed at, texts, and a tail of sums and learned values. Tables and axes lie anywhere, also on top of each other.
const (
	structStart, structSize = 0x400, 320
	structTail              = 280 // from here on lie the sum and a volatile range
	farStart, farSize       = 0x9000, 96
)

// drawing is a definition under way.
type drawing struct {
	*rapid.T
	d      *calibrationv1.Definition
	curves []string // by which axes can be looked up
}

func (g *drawing) one(label string, in int) bool { return rapid.IntRange(1, in).Draw(g.T, label) == 1 }

// address is somewhere in front of the tail, with room for n bytes there, and for a pointer.
func (g *drawing) address(label string, n int) uint32 {
	return structStart + uint32(rapid.IntRange(0, structTail-max(n, 4)).Draw(g.T, label+" address"))
}

// word is how one value is stored, and how many bytes apart they lie.
func (g *drawing) word(label string) (*calibrationv1.Stored, int) {
	s := drawStored(g.T, label)
	if s.Stride != nil {
		return s, int(*s.Stride)
	}
	return s, sizeOf(s.Type)
}

func (g *drawing) pointer(label string) string {
	return rapid.SampledFrom([]string{"", "", "", "u16", "u24", "u32"}).Draw(g.T, label+" pointer")
}

func (g *drawing) countAt(label string) *calibrationv1.CountAt {
	if !g.one(label+" counted", 3) {
		return nil
	}
	return &calibrationv1.CountAt{Address: g.address(label+" count", 4), Type: rapid.SampledFrom([]string{"u8", "u16", "u32"}).Draw(g.T, label+" count type"),
		ByteOrder: rapid.SampledFrom([]string{"", "little"}).Draw(g.T, label+" count order")}
}

// conversion is any kind but labels; those too where asked for.
func (g *drawing) conversion(label string, labels bool) *calibrationv1.Conversion {
	switch {
	case g.one(label+" by points", 5):
		c := &calibrationv1.Conversion{Points: &calibrationv1.PointTable{Raw: []float64{-10, 0, 100, 255}, Physical: []float64{-40, -20, 25, 130},
			Between: rapid.SampledFrom([]string{"", "linear", "step"}).Draw(g.T, label+" between")}}
		if g.one(label+" outside", 2) {
			c.Points.Outside = structpb.NewNumberValue(-99)
		}
		return c
	case labels && g.one(label+" label ranges", 6):
		return &calibrationv1.Conversion{Labels: map[string]string{"0": "off", "1..3": "part", "else": "full"}}
	}
	return drawConversion(g.T, label, false)
}

// axisStored is breakpoints in the image.
func (g *drawing) axisStored(label string) (*calibrationv1.Stored, int) {
	s, step := g.word(label)
	n := rapid.IntRange(1, 4).Draw(g.T, label+" count")
	s.Count, s.Pointer, s.CountAt = uint32(n), g.pointer(label), g.countAt(label)
	if s.Address = g.address(label, step*n); s.Pointer == "" && g.one(label+" reversed", 4) {
		s.Reversed = true
		s.Address += uint32(step * (n - 1))
	}
	return s, n
}

// axis is one axis of a table, and how many breakpoints it has at the most.
func (g *drawing) axis(label, quantity string) (*calibrationv1.TableAxis, int) {
	if g.one(label+" shared", 4) && len(g.d.Axes) > 0 {
		a := rapid.SampledFrom(g.d.Axes).Draw(g.T, label+" of")
		if a.Quantity == "" || a.Quantity == quantity {
			return &calibrationv1.TableAxis{Axis: a.Id}, int(a.Stored.Count)
		}
	}
	a := &calibrationv1.TableAxis{Id: label, Index: g.one(label+" index", 6)}
	if !g.one(label+" of nothing", 4) {
		a.Quantity, a.Unit = quantity, "1"
	}
	switch {
	case g.one(label+" named", 5):
		a.Labels, a.Unit = []string{"first", "second", "third"}, ""
		return a, 3
	case g.one(label+" fixed", 5):
		a.Points = []float64{0, 10, 25}
		return a, 3
	}
	if len(g.curves) > 0 && g.one(label+" by", 3) {
		a.By = &calibrationv1.AxisBy{Curve: rapid.SampledFrom(g.curves).Draw(g.T, label+" curve")}
	}
	var n int
	a.Stored, n = g.axisStored(label)
	a.Conversion = g.conversion(label, false)
	if g.one(label+" packed", 4) {
		a.Stored.Layout = "packed"
	}
	return a, n
}

func (g *drawing) text(id string) *calibrationv1.Table {
	n := rapid.IntRange(1, 12).Draw(g.T, id+" length")
	t := &calibrationv1.Table{Id: id, Kind: "text", Encoding: rapid.SampledFrom([]string{"ascii", "utf-8"}).Draw(g.T, id+" encoding"),
		Stored: &calibrationv1.Stored{Length: uint32(n), Address: g.address(id, n), Pointer: g.pointer(id)}}
	if t.Stored.Pointer == "" {
		t.Stored.Address = farStart + uint32(rapid.IntRange(0, farSize-n).Draw(g.T, id+" far"))
	}
	return t
}

func (g *drawing) table(id string) *calibrationv1.Table {
	if g.one(id+" text", 8) {
		return g.text(id)
	}
	t := &calibrationv1.Table{Id: id, Quantity: "q" + id, UnitText: "U/min", Conversion: g.conversion(id, true)}
	if !g.one(id+" free text", 4) {
		t.Unit, t.UnitText = "1", ""
	}
	var most []int
	quantities := []string{"speed", "load", "temperature", "gear"}
	axes := rapid.SampledFrom([]int{0, 1, 1, 2, 2, 3, 3, 4}).Draw(g.T, id+" axes")
	for k := range axes {
		a, n := g.axis(fmt.Sprintf("%s.%d", id, k), quantities[k])
		most = append(most, n)
		switch {
		case axes > 2:
			t.Axes = append(t.Axes, a)
		case k == 0:
			t.X = a
		default:
			t.Y = a
		}
	}
	s, step := g.word(id)
	if t.Conversion.GetLabels() != nil && (s.Type[0] == 'f' || s.GetMask() != 0) {
		t.Conversion = nil
	}
	if s.Type[0] == 'u' && s.Mask == nil && t.Conversion.GetLabels() == nil && g.one(id+" codes", 3) {
		s.NotAValue = []int64{0, 255}
	}
	if axes > 1 {
		t.Order = rapid.SampledFrom([]string{"", "y_fastest"}).Draw(g.T, id+" order")
	}
	if s.Pointer = g.pointer(id); g.one(id+" packed", 3) {
		s.Layout = "packed"
	}
	if len(most) > 1 && s.Layout == "" && g.one(id+" rows apart", 4) {
		fast := most[0]
		if t.Order == "y_fastest" {
			fast = most[1]
		}
		s.RowStride = proto.Uint32(uint32(fast*step + 1))
	}
	_, span := places(s, most, most, t.Order == "y_fastest", false)
	if span > structTail {
		return nil
	}
	s.Address = g.address(id, int(span))
	if s.Pointer == "" && g.one(id+" reversed", 4) {
		s.Reversed = true
		s.Address += uint32(span) - uint32(sizeOf(s.Type))
	}
	t.Stored = s
	if g.one(id+" record", 3) {
		g.record(id, t, int(span))
	}
	g.readable(t)
	t.Copies = rapid.SampledFrom([]string{"", "", "group"}).Draw(g.T, id+" copies")
	t.Protects = rapid.SampledFrom([]string{"", "lower", "higher"}).Draw(g.T, id+" protects")
	if len(most) == 1 && t.Conversion.GetLabels() == nil && t.X.GetBy() == nil && t.X.GetAxis() == "" {
		g.curves = append(g.curves, id)
	}
	return t
}

// record has the parts of a table follow each other, each count in front of its breakpoints.
func (g *drawing) record(id string, t *calibrationv1.Table, span int) {
	type item struct {
		at         *uint32
		size, back int // from its lowest byte to its address
	}
	var items []item
	add := func(s *calibrationv1.Stored, span int) {
		back := 0
		if s.Reversed {
			back = span - sizeOf(s.Type)
		}
		items = append(items, item{&s.Address, span, back})
	}
	for _, a := range append([]*calibrationv1.TableAxis{t.X, t.Y}, t.Axes...) {
		s := a.GetStored()
		if s == nil || s.Pointer != "" {
			continue
		}
		if s.CountAt != nil {
			items = append(items, item{&s.CountAt.Address, sizeOf(s.CountAt.Type), 0})
		}
		n := []int{int(s.Count)}
		_, span := places(s, n, n, false, false)
		add(s, int(span))
	}
	if t.Stored.Pointer == "" {
		add(t.Stored, span)
	}
	n := 0
	for i := range items {
		items[i].back += n + rapid.IntRange(0, 1).Draw(g.T, id+" gap")
		n += items[i].size + 1
	}
	if n > structTail {
		return
	}
	start := g.address(id+" record", n)
	for _, i := range items {
		*i.at = start + uint32(i.back)
	}
	t.Stored.Layout = "packed"
}

// readable leaves out the counts of a packed record whose place hangs on themselves, or on counts behind them.
func (g *drawing) readable(t *calibrationv1.Table) {
	sources, own := (&plain{d: g.d}).sources(t)
	packed, cells := t.Stored.Layout == "packed", uint32(math.MaxUint32)
	var most []int
	var written []*calibrationv1.Stored
	for i, a := range sources {
		if most = append(most, len(a.Points)+len(a.Labels)); a.Stored == nil {
			continue
		}
		most[i] = int(a.Stored.Count)
		if own[i] {
			written, packed = append(written, a.Stored), packed || a.Stored.Layout == "packed"
		}
	}
	if t.Stored.Pointer == "" {
		cells = uint32(lowest(t.Stored, most, t.Order == "y_fastest", packed))
	}
	for _, s := range written {
		if s.CountAt == nil || !packed {
			continue
		}
		at, behind, bad := s.CountAt.Address, cells != math.MaxUint32 && cells > s.CountAt.Address, cells < s.CountAt.Address
		for _, o := range written {
			if o.Pointer != "" {
				continue
			}
			low := uint32(lowest(o, []int{int(o.Count)}, false, packed))
			behind = behind || low > at
			bad = bad || low < at && o.CountAt != nil && o.CountAt.Address >= at
		}
		if behind && bad {
			s.CountAt = nil
		}
	}
}

// drawStructures is a definition with up to five tables; one that cannot be, as where packed parts could lie on the tail, is
// drawn anew.
func drawStructures(t *rapid.T) *definition.Layout {
	g := &drawing{T: t, d: &calibrationv1.Definition{Name: "structures", Title: "structures", ByteOrder: "big",
		Image: &calibrationv1.ImageLayout{Regions: []*calibrationv1.Region{{Start: structStart, Size: structSize}, {Start: farStart, Size: farSize}},
			Segments: []*calibrationv1.Segment{{Start: structStart, End: 0x430, Content: "code"}, {Start: 0x430, End: structStart + structTail, Content: "calibration"}}},
		Volatile: []*calibrationv1.VolatileRange{{Start: structStart + structTail, End: structStart + structTail + 8, Title: "learned"}},
		Checksums: []*calibrationv1.Checksum{{Id: "sum", Algorithm: "sum-16", Over: []*calibrationv1.AddressRange{{Start: 0x400, End: 0x480}},
			Stored: &calibrationv1.Stored{Address: structStart + structSize - 4, Type: "u32"}}},
	}}
	if g.one("identified", 2) {
		g.d.Identity = []*calibrationv1.IdentityField{{Id: "id", Encoding: "hex", Address: g.address("identity", 4), Length: 4}}
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "shared axes") {
		label := fmt.Sprintf("a%d", i)
		a := &calibrationv1.Axis{Id: label, Quantity: []string{"speed", "load"}[i], Unit: "1"}
		a.Stored, _ = g.axisStored(label)
		a.Conversion = g.conversion(label, false)
		g.d.Axes = append(g.d.Axes, a)
	}
	for i := range rapid.IntRange(1, 5).Draw(t, "tables") {
		if table := g.table(fmt.Sprintf("t%d", i)); table != nil {
			g.d.Tables = append(g.d.Tables, table)
		}
	}
	lay, err := definition.Compile("structures", []byte(g.d.String()), g.d)
	if err != nil {
		t.Fatalf("the generator makes definitions that are refused: %v", err)
	}
	return lay
}

// drawStructured is an image of random bytes whose counts and pointers lead somewhere as a rule.
func drawStructured(t *rapid.T, label string, lay *definition.Layout) []byte {
	b := rapid.SliceOfN(rapid.Byte(), structSize+farSize, structSize+farSize).Draw(t, label)
	for _, table := range lay.Varying {
		pointers, written := table.Pointers(), map[uint64]bool{}
		for range len(table.Axes) + 1 { // what is told of counts may hang on those before
			_, told, _ := table.Found(b, func(*definition.Cells) bool { return true })
			for i, c := range told {
				if !written[c.Offset] {
					written[c.Offset] = true
					lead(t, label, b, c, i < len(pointers))
				}
			}
		}
	}
	return b
}

// lead has a pointer or a count lead somewhere.
func lead(t *rapid.T, label string, b []byte, c *definition.Cells, pointer bool) {
	v := uint64(rapid.IntRange(1, 4).Draw(t, label+" count"))
	if pointer {
		v = structStart + uint64(rapid.IntRange(0, structTail-1).Draw(t, label+" pointer"))
		if rapid.IntRange(0, 3).Draw(t, label+" far") == 0 {
			v = farStart + uint64(rapid.IntRange(0, farSize-1).Draw(t, label+" far pointer"))
		}
	}
	var word [8]byte
	if binary.BigEndian.PutUint64(word[:], v); c.Little {
		slices.Reverse(word[:])
		copy(b[c.Offset:c.Offset+uint64(c.Bytes)], word[:])
		return
	}
	copy(b[c.Offset:c.Offset+uint64(c.Bytes)], word[8-c.Bytes:])
}
