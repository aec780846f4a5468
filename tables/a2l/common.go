package a2l

import (
	"math"
	"strings"
)

// common is what holds for all objects that do not say otherwise.
func (r *reader) common() {
	m := r.m
	m.Align = Align{}
	r.comment()
	r.body(func(t token) {
		if border, isAlign := strings.CutPrefix(t.text, "ALIGNMENT_"); isAlign {
			m.Align[border] = r.border(t)
			return
		}
		switch t.text {
		case "BYTE_ORDER":
			m.ByteOrder = r.word(t.text)
		case "DEPOSIT":
			m.Deposit = r.word(t.text)
		}
	})
}

func (r *reader) parameters() {
	m := r.m
	r.comment()
	r.body(func(t token) {
		switch t.text {
		case "EPK":
			m.Software = r.text(t.text)
		case "ADDR_EPK":
			m.SoftwareAt = append(m.SoftwareAt, r.whole(t.text, math.MaxUint32))
		case "ECU_CALIBRATION_OFFSET":
			m.CalibrationOffset = r.signed(t.text)
		case "MEMORY_SEGMENT":
			s := Memory{Place: t.Place, Name: r.word("the name")}
			r.text("the description")
			s.Holds, s.Kind = r.word("what it holds"), r.word("the kind of memory")
			r.word("INTERN or EXTERN")
			s.Address, s.Size = r.whole("the address", math.MaxUint32), r.whole("the size", math.MaxUint32)
			m.Memory = append(m.Memory, s)
		}
	})
}

func (r *reader) variants() {
	r.body(func(t token) {
		if t.text == "VAR_CHARACTERISTIC" {
			if all := r.list(); len(all) > 0 {
				r.m.Variants[all[0]] = all[1:]
			}
		}
	})
}

// comment passes over a text that most files have.
func (r *reader) comment() {
	if r.peek().kind == quoted {
		r.take()
	}
}
