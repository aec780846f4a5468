package printed

import (
	"strconv"

	"witnessmark/tables/changed"
)

// fields are the texts before what a changed cell says, at one depth.
type fields struct {
	row, column, x, y, baseX, baseY, base, candidate, delta, baseRaw, candidateRaw, xLabel, yLabel, slice, end string
}

func fieldsAt(at string) *fields {
	name := func(s string) string { return ",\n" + at + indent + `"` + s + `": ` }
	return &fields{"{" + name("row")[1:], name("column"), name("x"), name("y"), name("base_x"), name("base_y"), name("base"), name("candidate"), name("delta"),
		name("base_raw"), name("candidate_raw"), name("x_label"), name("y_label"), name("slice"), "\n" + at + "}"}
}

// cells writes changed cells as a list of objects; of none nothing, and then it answers false.
func (p *printer) cells(c *changed.Cells, at string) bool {
	at += indent
	if p.at != at {
		p.at, p.fields = at, fieldsAt(at)
	}
	open, next, close := "[\n"+at, ",\n"+at, "\n"+at[:len(at)-len(indent)]+"]"
	slice, number := "", -1
	for _, cell := range c.All() {
		if cell.Slice != number {
			slice, number = p.slice(c, cell.Slice), cell.Slice
		}
		p.text = append(p.text, open...)
		p.cell(cell, slice)
		open = next
		if !p.pass() {
			break
		}
	}
	if c.Len() > 0 {
		p.text = append(p.text, close...)
	}
	return c.Len() > 0
}

// slice is where a slice lies; empty of what is no block.
func (p *printer) slice(c *changed.Cells, n int) string {
	if s := c.Slice(n); s != nil {
		return p.fields.slice + string(p.indented(s, p.at+indent))
	}
	return ""
}

func (p *printer) cell(c changed.Cell, slice string) {
	f, x, y, b := p.fields, c.X(), c.Y(), p.text
	b = strconv.AppendUint(append(b, f.row...), uint64(c.Row), 10)
	b = strconv.AppendUint(append(b, f.column...), uint64(c.Column), 10)
	b = p.point(b, f.x, x)
	b = p.point(b, f.y, y)
	b = p.before(b, f.baseX, x)
	b = p.before(b, f.baseY, y)
	b = p.value(append(b, f.base...), c.Base())
	b = p.value(append(b, f.candidate...), c.Candidate())
	if c.HasDelta {
		b = p.numbers.Append(append(b, f.delta...), c.Delta)
	}
	b = appendRaw(b, f.baseRaw, c.BaseRaw())
	b = appendRaw(b, f.candidateRaw, c.CandidateRaw())
	b = p.label(b, f.xLabel, x)
	b = p.label(b, f.yLabel, y)
	p.text = append(append(b, slice...), f.end...)
}

func (p *printer) point(b []byte, name string, at changed.Place) []byte {
	if !at.Given || at.Named {
		return b
	}
	return p.numbers.Append(append(b, name...), at.Point)
}

func (p *printer) before(b []byte, name string, at changed.Place) []byte {
	if !at.Moved {
		return b
	}
	return p.numbers.Append(append(b, name...), at.Before)
}

func (p *printer) label(b []byte, name string, at changed.Place) []byte {
	if !at.Named {
		return b
	}
	return append(append(b, name...), p.words.of(at.Label)...)
}

func (p *printer) value(b []byte, v changed.Value) []byte {
	switch v.Is {
	case changed.Number:
		return p.numbers.Append(b, v.Number)
	case changed.Word:
		return append(b, p.words.of(v.Word)...)
	}
	return append(b, "null"...)
}

func appendRaw(b []byte, name string, r changed.Raw) []byte {
	if !r.Given {
		return b
	}
	return append(r.Append(append(append(b, name...), '"')), '"')
}
