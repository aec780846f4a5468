package changed

import (
	"fmt"
	"slices"
	"strconv"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/said"
)

// object is a cell as rules before number 3 wrote it.
type object struct {
	slice int
	m     *calibrationv1.CellChange
	value [candidate + 1]Value // by side
	raw   [candidate + 1]Raw
	place [2]Place // along x and y
}

// objects reads cells that are objects; what it answers is wrong with them.
func (c *Cells) objects(all []*calibrationv1.CellChange) (problem string) {
	c.n = len(all)
	for i, m := range all {
		if last := len(c.slices) - 1; last < 0 || !slices.Equal(c.slices[last].GetIndex(), m.GetSlice().GetIndex()) {
			c.slices = append(c.slices, m.GetSlice())
		}
		o := object{slice: len(c.slices) - 1, m: m}
		o.value[base], o.value[candidate] = valueOf(m.GetBase()), valueOf(m.GetCandidate())
		o.place[0] = placeOf(m.X, m.BaseX, m.XLabel)
		o.place[1] = placeOf(m.Y, m.BaseY, m.YLabel)
		var err, too error
		o.raw[base], err = rawOf(m.BaseRaw)
		if o.raw[candidate], too = rawOf(m.CandidateRaw); err != nil || too != nil {
			return fmt.Sprintf("cell %d: raw %.40q and %.40q; allowed: decimal numbers of 64 bits", i, m.GetBaseRaw(), m.GetCandidateRaw())
		}
		c.objs = append(c.objs, o)
	}
	return ""
}

func (c *Cells) object(i int) Cell {
	o := &c.objs[i]
	return Cell{Slice: o.slice, Row: int(o.m.GetRow()), Column: int(o.m.GetColumn()), Delta: o.m.GetDelta(), HasDelta: o.m.Delta != nil, of: c, i: i}
}

func valueOf(v *structpb.Value) Value {
	if number, ok := said.NumberIn(v); ok {
		return Value{Is: Number, Number: number}
	}
	if word, ok := v.GetKind().(*structpb.Value_StringValue); ok {
		return Value{Is: Word, Word: word.StringValue}
	}
	return Value{}
}

func rawOf(text *string) (Raw, error) {
	if text == nil {
		return Raw{}, nil
	}
	n, err := strconv.ParseInt(*text, 10, 64)
	if err == nil {
		return Raw{Given: true, Bits: uint64(n)}, nil
	}
	u, err := strconv.ParseUint(*text, 10, 64)
	return Raw{Given: true, Unsigned: true, Bits: u}, err
}

func placeOf(now, before *float64, label *string) Place {
	switch {
	case label != nil:
		return Place{Given: true, Named: true, Label: *label}
	case now == nil:
		return Place{}
	case before == nil:
		return Place{Given: true, Point: *now}
	}
	return Place{Given: true, Point: *now, Moved: true, Before: *before}
}
