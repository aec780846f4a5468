package compare

import (
	"encoding/binary"
	"math"
	"math/big"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// plainTable is a table as the slow way reads it out of an image: from the definition's message, word by word.
type plainTable struct {
	source *calibrationv1.Table
	astray bool
	axes   []plainPart
	cells  plainPart
	text   string
	words  []plainWord // of directions
}

// plainPart is the values of an axis or of the cells, the fastest axis first.
type plainPart struct {
	words  []plainWord // nil where it is not stored
	used   []int
	points []float64 // of an axis that is not stored; names are numbers
}

// plainWord is one value in the image.
type plainWord struct {
	at      uint64 // offset
	bytes   int
	little  bool
	mask    uint64
	s       *calibrationv1.Stored
	reading *calibrationv1.Conversion
}

// plain reads an image by a definition's message.
type plain struct {
	d *calibrationv1.Definition
	b []byte
}

func (p *plain) offset(address uint64, n int) (uint64, bool) {
	before := uint64(0)
	for _, r := range p.d.Image.Regions {
		start, end := uint64(r.Start), uint64(r.Start)+uint64(r.Size)
		if start <= address && address+uint64(n) <= end {
			return before + address - start, true
		}
		before += uint64(r.Size)
	}
	return 0, false
}

func (p *plain) word(at uint64, s *calibrationv1.Stored, c *calibrationv1.Conversion) plainWord {
	w := plainWord{at: at, bytes: sizeOf(s.Type), s: s, reading: c, mask: math.MaxUint64}
	order := s.ByteOrder
	if order == "" {
		order = p.d.ByteOrder
	}
	w.little = order == "little"
	if s.Mask != nil {
		w.mask = *s.Mask
	}
	return w
}

func (w plainWord) bits(b []byte) uint64 {
	var all [8]byte
	for i := range w.bytes {
		if w.little {
			all[7-i] = b[w.at+uint64(i)]
		} else {
			all[8-w.bytes+i] = b[w.at+uint64(i)]
		}
	}
	v := binary.BigEndian.Uint64(all[:]) & w.mask
	for m := w.mask; m&1 == 0; m >>= 1 {
		v >>= 1
	}
	return v
}

// raw is the whole number that bits mean; not of floats.
func (w plainWord) raw(b []byte) *big.Int {
	v := new(big.Int).SetUint64(w.bits(b))
	if w.s.Type[0] != 's' {
		return v
	}
	width := 8 * w.bytes
	if w.s.Mask != nil {
		width = 0
		for m := *w.s.Mask; m != 0; m &= m - 1 {
			width++
		}
	}
	if sign := uint(width - 1); v.Bit(int(sign)) == 1 {
		if w.s.Sign == "magnitude" {
			return v.Neg(v.SetBit(v, int(sign), 0))
		}
		v.Sub(v, new(big.Int).Lsh(big.NewInt(1), uint(width)))
	}
	return v
}

// off says that a word holds a code that is no value.
func (w plainWord) off(b []byte) bool {
	return w.s.Type[0] != 'f' && w.raw(b).IsInt64() && slices.Contains(w.s.NotAValue, w.raw(b).Int64())
}

func (w plainWord) number(b []byte) float64 {
	switch w.s.Type {
	case "f32":
		return float64(math.Float32frombits(uint32(w.bits(b))))
	case "f64":
		return math.Float64frombits(w.bits(b))
	}
	v, _ := new(big.Float).SetInt(w.raw(b)).Float64()
	return v
}

// value is what a word means, by its conversion.
func (w plainWord) value(b []byte) float64 {
	raw, c := w.number(b), w.reading
	switch {
	case c == nil:
		return raw
	case c.Rational != nil:
		return (c.Rational.Num[0] + c.Rational.Num[1]*raw) / (c.Rational.Den[0] + c.Rational.Den[1]*raw)
	case c.Points != nil:
		return byPoints(c.Points, raw)
	}
	factor := 1.0
	if c.Factor != nil {
		factor = *c.Factor
	}
	return float64(raw*factor) + c.GetOffset()
}

func byPoints(p *calibrationv1.PointTable, raw float64) float64 {
	last := len(p.Raw) - 1
	if outside := p.Outside; (raw < p.Raw[0] || raw > p.Raw[last]) && outside != nil {
		return outside.GetNumberValue()
	}
	for i := last; i >= 0; i-- {
		if raw < p.Raw[i] {
			continue
		}
		if i == last || p.Between == "step" {
			return p.Physical[i]
		}
		t := (raw - p.Raw[i]) / (p.Raw[i+1] - p.Raw[i])
		return float64((1-t)*p.Physical[i]) + float64(t*p.Physical[i+1])
	}
	if math.IsNaN(raw) {
		return raw
	}
	return p.Physical[0]
}

// places are the distances of cells from the first, by what is used, and by the most if packed is not set.
func places(s *calibrationv1.Stored, used, most []int, yFastest, packed bool) (out []uint64, span uint64) {
	room := most
	if packed {
		room = used
	}
	step := uint64(sizeOf(s.Type))
	if s.Stride != nil {
		step = uint64(*s.Stride)
	}
	order := make([]int, len(used))
	for i := range order {
		order[i] = i
	}
	if yFastest && len(order) > 1 {
		order[0], order[1] = 1, 0
	}
	steps := make([]uint64, len(used))
	for k, axis := range order {
		steps[axis] = step
		if step *= uint64(room[axis]); k == 0 && s.RowStride != nil {
			step = uint64(*s.RowStride)
		}
	}
	total := 1
	for _, n := range used {
		total *= n
	}
	for i := range total {
		at, rest := uint64(0), i
		for axis, n := range used {
			at += uint64(rest%n) * steps[axis]
			rest /= n
		}
		out, span = append(out, at), max(span, at+uint64(sizeOf(s.Type)))
	}
	return out, span
}

// lowest is the address of the lowest byte where all of it is used.
func lowest(s *calibrationv1.Stored, most []int, yFastest, packed bool) uint64 {
	if !s.Reversed {
		return uint64(s.Address)
	}
	_, span := places(s, most, most, yFastest, packed)
	return uint64(s.Address) - (span - uint64(sizeOf(s.Type)))
}

// sources are the axes of a table: its own words, whether they are its own, and what they convert by.
func (p *plain) sources(t *calibrationv1.Table) (all []*calibrationv1.TableAxis, own []bool) {
	said := t.Axes
	if len(said) == 0 {
		said = []*calibrationv1.TableAxis{t.X, t.Y}
	}
	for _, a := range said {
		if a == nil {
			continue
		}
		shared := slices.IndexFunc(p.d.Axes, func(s *calibrationv1.Axis) bool { return s.Id == a.Axis })
		if a.Axis == "" {
			all, own = append(all, a), append(own, true)
			continue
		}
		s := p.d.Axes[shared]
		all, own = append(all, &calibrationv1.TableAxis{Id: s.Id, Stored: s.Stored, Conversion: s.Conversion, Index: s.Index}), append(own, false)
	}
	return all, own
}

// read finds a table in the image.
func (p *plain) read(t *calibrationv1.Table) *plainTable {
	out := &plainTable{source: t}
	sources, own := p.sources(t)
	direct := func(order string, address uint64, kind string) uint64 {
		at, inside := p.offset(address, sizeOf(kind))
		if !inside {
			return 0
		}
		w := p.word(at, &calibrationv1.Stored{Type: kind, ByteOrder: order}, nil)
		out.words = append(out.words, w)
		return w.bits(p.b)
	}
	var most []int
	packed := t.Stored.Layout == "packed"
	for i, a := range sources {
		if most = append(most, len(a.Points)+len(a.Labels)); a.Stored != nil {
			most[i] = int(a.Stored.Count)
			packed = packed || own[i] && a.Stored.Layout == "packed"
		}
	}
	if t.Kind == "text" {
		most = []int{int(t.Stored.Length)}
	}
	used := slices.Clone(most)
	type part struct {
		axis       int
		s          *calibrationv1.Stored
		c          *calibrationv1.Conversion
		used, most []int
		own        bool // it moves with the record
		into       *plainPart
	}
	var parts []part
	out.axes = make([]plainPart, len(sources))
	for i, a := range sources {
		out.axes[i].used, out.axes[i].points = used[i:i+1], a.Points
		for k := range a.Labels {
			out.axes[i].points = append(out.axes[i].points, float64(k))
		}
		if a.Stored != nil {
			parts = append(parts, part{i, a.Stored, a.Conversion, used[i : i+1], most[i : i+1], own[i], &out.axes[i]})
		}
	}
	s := t.Stored
	if t.Kind == "text" {
		s = &calibrationv1.Stored{Address: s.Address, Type: "u8", Pointer: s.Pointer}
	}
	out.cells.used = used
	parts = append(parts, part{-1, s, t.Conversion, used, most, true, &out.cells})
	spans := func(q part, pack bool) (all, now, low uint64) {
		yFastest := t.Order == "y_fastest" && q.into == &out.cells
		_, all = places(q.s, q.most, q.most, yFastest, pack)
		_, now = places(q.s, q.used, q.most, yFastest, pack)
		return all, now, lowest(q.s, q.most, yFastest, pack)
	}
	// A count is read as soon as all is known of what it moves up with.
	const unread, good, bad = 0, 1, 2
	state := make([]int, len(sources))
	for range sources {
		for i, a := range sources {
			count := a.Stored.GetCountAt()
			if count == nil {
				state[i] = good
			}
			if state[i] != unread {
				continue
			}
			address, behind, known := uint64(count.Address), uint64(0), true
			for _, q := range parts {
				if !packed || !own[i] || !q.own || q.s.Pointer != "" {
					continue
				}
				switch all, left, low := spans(q, true); {
				case low > uint64(count.Address):
					behind++
				case low == uint64(count.Address):
				case q.axis >= 0 && state[q.axis] == good:
					address -= all - left
				default:
					known = false
				}
			}
			if behind == 0 {
				address, known = uint64(count.Address), true
			}
			if !known {
				continue
			}
			v := direct(count.ByteOrder, address, count.Type)
			if state[i] = good; v == 0 || v > uint64(most[i]) {
				state[i], out.astray = bad, true
				continue
			}
			used[i] = int(v)
		}
	}
	pointed := make([]uint64, len(parts))
	for i, q := range parts {
		if q.s.Pointer != "" {
			pointed[i] = direct(q.s.ByteOrder, uint64(q.s.Address), q.s.Pointer)
		}
	}
	if out.astray {
		return out
	}
	for i, q := range parts {
		pack := packed && q.own
		at, now := places(q.s, q.used, q.most, t.Order == "y_fastest" && q.into == &out.cells, pack)
		first := uint64(q.s.Address)
		switch _, _, low := spans(q, pack); {
		case q.s.Pointer != "":
			first = pointed[i]
		case pack:
			first = low
			for k, o := range parts {
				if all, left, lower := spans(o, pack); k != i && o.own && o.s.Pointer == "" && lower < low {
					first -= all - left
				}
			}
			if q.s.Reversed {
				first += now - uint64(sizeOf(q.s.Type))
			}
		}
		low := first
		if q.s.Reversed {
			low -= now - uint64(sizeOf(q.s.Type))
		}
		if _, inside := p.offset(low, int(now)); !inside {
			out.astray = true
			return out
		}
		for _, d := range at {
			address := first + d
			if q.s.Reversed {
				address = first - d
			}
			o, _ := p.offset(address, sizeOf(q.s.Type))
			q.into.words = append(q.into.words, p.word(o, q.s, q.c))
		}
	}
	if t.Kind == "text" {
		var raw []byte
		for _, w := range out.cells.words {
			raw = append(raw, p.b[w.at])
		}
		out.text = strings.TrimRight(string(raw), "\x00 ")
	}
	return out
}

// plainOwners says for each bit of two images of one definition what it belongs to.
func plainOwners(lay *definition.Layout, a, b []byte) []kind {
	own := make([]kind, 8*len(a))
	word := func(w plainWord, k kind) {
		for bit := range 8 * w.bytes {
			place := w.bytes - 1 - bit/8
			if w.little {
				place = bit / 8
			}
			if w.mask>>bit&1 == 1 {
				own[8*(w.at+uint64(place))+uint64(bit%8)] |= k
			}
		}
	}
	for _, image := range [][]byte{a, b} {
		p := &plain{lay.Source, image}
		used := map[string]bool{}
		for _, t := range lay.Source.Tables {
			table := p.read(t)
			parts := append([]plainPart{{words: table.words}}, table.axes...)
			if !table.astray {
				parts = append(parts, table.cells)
			} else {
				parts = parts[:1]
			}
			for _, part := range parts {
				for _, w := range part.words {
					word(w, ofTable)
				}
			}
			sources, _ := p.sources(t)
			for _, s := range sources {
				used[s.Id] = true
			}
		}
		for _, s := range lay.Source.Axes { // of no table
			if !used[s.Id] && s.Stored.Pointer == "" {
				alone := p.read(&calibrationv1.Table{Stored: &calibrationv1.Stored{Type: s.Stored.Type, Address: s.Stored.Address, Stride: s.Stored.Stride, Mask: s.Stored.Mask,
					ByteOrder: s.Stored.ByteOrder, Reversed: s.Stored.Reversed}, X: &calibrationv1.TableAxis{Points: make([]float64, s.Stored.Count)}})
				for _, w := range alone.cells.words {
					word(w, ofTable)
				}
			}
		}
	}
	bytesOf := func(start, n uint64, k kind) {
		for bit := 8 * start; bit < 8*(start+n); bit++ {
			own[bit] |= k
		}
	}
	for _, f := range lay.Source.Identity {
		bytesOf(uint64(f.Address)-structStart, uint64(f.Length), ofIdentity)
	}
	bytesOf(structSize-4, 4, ofChecksum)
	bytesOf(structTail, 8, ofVolatile)
	return own
}
