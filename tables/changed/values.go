package changed

import (
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/said"
)

// Kind is what a value is.
type Kind uint8

const (
	None   Kind = iota // a code that is no value
	Number             // in the table's unit; it need not be finite
	Word               // a label or a text
)

// Value is what one side holds in a cell.
type Value struct {
	Is     Kind
	Number float64
	Word   string
}

// Raw is a raw value, of what is neither a float nor a text.
type Raw struct {
	Given    bool
	Unsigned bool   // Bits are an unsigned 64-bit number, else a signed one
	Bits     uint64 // as stored, extended to 64
}

// Append adds the decimal form to text; nothing where it is not Given.
func (r Raw) Append(text []byte) []byte {
	switch {
	case !r.Given:
		return text
	case r.Unsigned:
		return strconv.AppendUint(text, r.Bits, 10)
	}
	return strconv.AppendInt(text, int64(r.Bits), 10)
}

// String is the decimal form; empty where it is not Given.
func (r Raw) String() string { return string(r.Append(nil)) }

// Place is where a cell lies along one axis of the candidate.
type Place struct {
	Given  bool
	Named  bool    // Label says it, else Point
	Point  float64 // a breakpoint
	Label  string
	Moved  bool    // the base's breakpoint is another one,
	Before float64 // this
}

// Slice says where a slice lies in its block, by the number that cells have; nil of what is no block.
func (c *Cells) Slice(n int) *calibrationv1.Slice {
	if c.objs != nil {
		return c.slices[n]
	}
	if len(c.m.Axes) <= 2 {
		return nil
	}
	out := &calibrationv1.Slice{}
	for _, a := range c.m.Axes[2:] {
		at := n % int(a.Count)
		n /= int(a.Count)
		out.Index = append(out.Index, uint32(at))
		if len(a.Labels) > 0 {
			out.At = append(out.At, structpb.NewStringValue(a.Labels[at]))
		} else {
			out.At = append(out.At, said.Number(a.Points[at]))
		}
	}
	return out
}

// Object is the cell as one message, as reports print it.
func (c Cell) Object() *calibrationv1.CellChange {
	m := &calibrationv1.CellChange{Row: uint32(c.Row), Column: uint32(c.Column), Base: c.Base().message(), Candidate: c.Candidate().message(),
		BaseRaw: c.BaseRaw().message(), CandidateRaw: c.CandidateRaw().message(), Slice: c.of.Slice(c.Slice)}
	m.X, m.BaseX, m.XLabel = c.X().messages()
	m.Y, m.BaseY, m.YLabel = c.Y().messages()
	if c.HasDelta {
		m.Delta = proto.Float64(c.Delta)
	}
	return m
}

func (v Value) message() *structpb.Value {
	if v.Is == Word {
		return structpb.NewStringValue(v.Word)
	}
	return said.NumberOr(v.Number, v.Is == None)
}

func (r Raw) message() *string {
	if !r.Given {
		return nil
	}
	return proto.String(r.String())
}

func (p Place) messages() (now, before *float64, label *string) {
	switch {
	case p.Named:
		return nil, nil, &p.Label
	case !p.Given:
		return nil, nil, nil
	case p.Moved:
		before = &p.Before
	}
	return &p.Point, before, nil
}
