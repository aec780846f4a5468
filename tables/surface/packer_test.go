package surface

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pgregory.net/rapid"
)

// packer draws tables of every structure, says them as a definition does, and writes an image of them cell by cell. It
// knows nothing of how they are read: a packed record is its parts one behind the other, as many bytes as are used.
type packer struct {
	*rapid.T
	n      int // of what was drawn
	bytes  []byte
	border int           // where the second region begins; 0 if there is none
	axes   []*packedAxis // shared
}

// packed is cells as they are stored: raw bits in the order of the definition's axes, x first.
type packed struct {
	kind         string // u8 and so on
	size         int
	little, down bool
	mask         uint64
	bits         []uint64 // after the mask
	step, row    int
	most, used   []int
	yFastest     bool
	gap          int // behind it, in its record
	low          int // offset at the most
	pointer      bool
}

type packedAxis struct {
	packed
	count  *packed // what says how many are used, where that is a part of the table's record
	text   string  // as the definition says it, @ around what its place adds
	points []float64
	labels []string
}

func (p *packer) of(name string, lo, hi int) int {
	return rapid.IntRange(lo, hi).Draw(p.T, p.name(name))
}

func (p *packer) yes(name string) bool { return p.of(name, 0, 2) == 0 }

func (p *packer) name(what string) string {
	p.n++
	return fmt.Sprintf("%s %d", what, p.n)
}

// room is bytes of the image that nothing else uses.
func (p *packer) room(n int) int {
	at := len(p.bytes)
	for range n {
		p.bytes = append(p.bytes, 0xA5)
	}
	return at
}

const firstRegion, secondRegion = 0x80000000, 0xAF000000

func (p *packer) address(offset int) uint32 {
	if p.border > 0 && offset >= p.border {
		return uint32(secondRegion + offset - p.border)
	}
	return uint32(firstRegion + offset)
}

// image is how the definition says it.
func (p *packer) image() string {
	n := len(p.bytes)
	if p.border == 0 || p.border == n {
		return fmt.Sprintf("image: {start: 0x%x, size: %d}\n", firstRegion, n)
	}
	return fmt.Sprintf("image: {regions: [{start: 0x%x, size: %d}, {start: 0x%x, size: %d}]}\n", firstRegion, p.border, secondRegion, n-p.border)
}

var sizes = map[string]int{"u8": 1, "s8": 1, "u16": 2, "s16": 2, "u24": 3, "s24": 3, "u32": 4, "s32": 4, "u64": 8, "s64": 8, "f32": 4, "f64": 8}

// word draws how one cell is read.
func (p *packer) word(kinds ...string) packed {
	w := packed{kind: rapid.SampledFrom(kinds).Draw(p.T, p.name("type")), little: p.yes("little"), down: p.yes("down")}
	w.size = sizes[w.kind]
	w.mask = math.MaxUint64 >> (64 - 8*w.size)
	if w.kind[0] != 'f' && p.yes("mask") {
		from := p.of("mask from", 0, 8*w.size-1)
		w.mask = w.mask >> from << from & (w.mask >> p.of("mask to", 0, 8*w.size-1-from))
		if w.mask == 0 {
			w.mask = 1
		}
	}
	w.step = w.size + p.of("stride", 0, 2)
	return w
}

// along draws how many cells there are, and their bits.
func (p *packer) along(w *packed, most, used []int) {
	w.most, w.used = most, used
	n := 1
	for _, u := range used {
		n *= u
	}
	for range n {
		w.bits = append(w.bits, rapid.Uint64().Draw(p.T, p.name("bits"))&(w.mask>>shiftOf(w.mask)))
	}
	w.gap = p.of("gap", 0, 2)
}

func shiftOf(mask uint64) int {
	n := 0
	for mask&1 == 0 {
		mask >>= 1
		n++
	}
	return n
}

// places are where cells lie from the first on, in the order of bits, with so much room along each axis.
func (w *packed) places(room, used []int) []int {
	steps := make([]int, len(room))
	order := []int{0, 1, 2, 3, 4}[:len(room)]
	if w.yFastest {
		order = slices.Clone(order)
		order[0], order[1] = 1, 0
	}
	step := w.step
	for i, axis := range order {
		steps[axis] = step
		if step *= room[axis]; i == 0 && w.row > 0 {
			step = w.row
		}
	}
	out := []int{0}
	for i, step := range steps { // x runs fastest in bits, whatever is fastest in the image
		var more []int
		for k := range used[i] {
			for _, at := range out {
				more = append(more, at+k*step)
			}
		}
		out = more
	}
	return out
}

// span is the bytes that cells take, and block those bytes, with blanks as they come.
func (w *packed) span(room, used []int) int { return slices.Max(w.places(room, used)) + w.size }

func (w *packed) block(p *packer, room []int) []byte {
	n := w.span(room, w.used)
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(i*37 + 11)
	}
	for i, at := range w.places(room, w.used) {
		if w.down {
			at = n - w.size - at
		}
		cell := out[at : at+w.size]
		v := w.bits[i] << shiftOf(w.mask)
		for k := range cell {
			byteOf := k
			if !w.little {
				byteOf = w.size - 1 - k
			}
			m := byte(w.mask >> (8 * byteOf))
			cell[k] = cell[k]&^m | byte(v>>(8*byteOf))&m
		}
	}
	return out
}

// stored is how the definition says it.
func (w *packed) stored(p *packer, more string) string {
	at := w.low
	if w.down && !w.pointer {
		at += w.span(w.most, w.most) - w.size
	}
	out := fmt.Sprintf("address: 0x%x, type: %s, stride: %d", p.address(at), w.kind, w.step)
	if w.little {
		out += ", byte_order: little"
	}
	if w.kind[0] != 'f' {
		out += fmt.Sprintf(", mask: 0x%x", w.mask)
	}
	if w.row > 0 {
		out += fmt.Sprintf(", row_stride: %d", w.row)
	}
	if w.down {
		out += ", reversed: true"
	}
	if w.pointer {
		out += ", pointer: u32"
	}
	return "{" + out + more + "}"
}

// follow puts cells that a pointer leads to somewhere, and the pointer elsewhere.
func (w *packed) follow(p *packer, room []int) {
	b := w.block(p, room)
	at := p.room(len(b))
	copy(p.bytes[at:], b)
	if w.down {
		at += len(b) - w.size
	}
	target := p.address(at)
	w.low = p.room(4)
	for k := range 4 {
		shift := 8 * k
		if !w.little {
			shift = 8 * (3 - k)
		}
		p.bytes[w.low+k] = byte(target >> shift)
	}
}

// record lays the parts of a record out one behind the other and writes it.
func (p *packer) record(parts []*packed, compact bool) {
	size := 0
	for _, w := range parts {
		w.low = size
		size += w.span(w.most, w.most) + w.gap
	}
	base := p.room(size)
	at := base
	for _, w := range parts {
		w.low += base
		if compact {
			at += copy(p.bytes[at:], w.block(p, w.used)) + w.gap
			continue
		}
		b, to := w.block(p, w.most), w.low
		if w.down { // the first cell stays
			to += w.span(w.most, w.most) - len(b)
		}
		for _, at := range w.places(w.most, w.used) { // what is not used stays as it is
			if w.down {
				at = len(b) - w.size - at
			}
			copy(p.bytes[to+at:to+at+w.size], b[at:at+w.size])
		}
	}
}

func (p *packer) count(most int) (used int, text string) {
	used = p.of("used", 1, most)
	at := p.room(1)
	p.bytes[at] = byte(used)
	return used, fmt.Sprintf(", count_at: {address: 0x%x, type: u8}", p.address(at))
}

// axis draws an axis; what is stored of one in place belongs to its table's record unless a pointer leads to it.
func (p *packer) axis(inPlace bool) *packedAxis {
	most := p.of("breakpoints", 1, 4)
	a := &packedAxis{}
	switch p.of("axis", 0, 4) {
	case 0:
		for i := range most {
			a.points = append(a.points, float64(i*i-3))
		}
		a.used, a.most = []int{most}, []int{most}
		a.text = fmt.Sprintf("{points: [%s]}", strings.Trim(strings.Join(strings.Fields(fmt.Sprint(a.points)), ", "), "[]"))
		return a
	case 1:
		for i := range most {
			a.labels, a.points = append(a.labels, fmt.Sprintf("p%d", i)), append(a.points, float64(i))
		}
		a.used, a.most = []int{most}, []int{most}
		a.text = "{labels: [" + strings.Join(a.labels, ", ") + "]}"
		return a
	}
	a.packed = p.word("u8", "s16", "u24", "s32")
	used, more := most, fmt.Sprintf(", count: %d", most)
	if p.yes("counted in the record") && inPlace {
		used = p.of("used", 1, most)
		a.count = &packed{kind: rapid.SampledFrom([]string{"u8", "u16", "u32"}).Draw(p.T, p.name("type")), little: p.yes("little"), bits: []uint64{uint64(used)}, gap: p.of("gap", 0, 2)}
		a.count.size = sizes[a.count.kind]
		a.count.step, a.count.mask, a.count.most, a.count.used = a.count.size, math.MaxUint64, []int{1}, []int{1}
	} else if p.yes("counted") {
		var count string
		used, count = p.count(most)
		more += count
	}
	p.along(&a.packed, []int{most}, []int{used})
	a.pointer = p.yes("axis pointer")
	for _, b := range a.bits {
		a.points = append(a.points, float64(number(&a.packed, b))*0.5-7)
	}
	switch {
	case a.pointer:
		a.follow(p, a.used)
	case !inPlace:
		p.record([]*packed{&a.packed}, false)
	}
	a.text = "{conversion: {factor: 0.5, offset: -7}, stored: @" + more + "@}"
	return a
}

// said is the axis as its table says it.
func (a *packedAxis) said(p *packer) string {
	head, rest, ok := strings.Cut(a.text, "@")
	if !ok {
		return a.text
	}
	more, tail, _ := strings.Cut(rest, "@")
	if c := a.count; c != nil {
		more += fmt.Sprintf(", count_at: {address: 0x%x, type: %s", p.address(c.low), c.kind)
		if c.little {
			more += ", byte_order: little"
		}
		more += "}"
	}
	return head + a.stored(p, more) + tail
}

// number is raw bits as a number.
func number(w *packed, b uint64) int64 {
	width := 0
	for m := w.mask >> shiftOf(w.mask); m > 0; m >>= 1 {
		width++
	}
	if w.kind[0] == 's' && b>>(width-1) == 1 {
		return int64(b) - int64(1)<<(width-1)*2
	}
	return int64(b)
}
