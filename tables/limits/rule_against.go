package limits

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// against keeps the whole surface below, or above, another table's, on the breakpoints of both.
// A rule that selects by quantity may pick that other table too, which nobody means to hold against itself.
func (s *subject) against(a *calibrationv1.Against, below bool) error {
	if a.GetTable() == s.t.ID {
		return errPassed
	}
	if s.cand.err != nil {
		return s.cand.err
	}
	b, err := s.boundOf(false, a, below)
	if err != nil {
		return err
	}
	baseBound, err := s.boundOf(true, a, below)
	if err != nil {
		s.detail = "the base could not be judged: " + err.Error()
	}
	if err := s.holdSurface(b, baseBound); err != nil {
		return err
	}
	s.lookedAt(s.rule, a.GetTable())
	return nil
}

// boundOf is the other table of one image as a limit, in this table's units; nil without an error
// where the base has none.
func (s *subject) boundOf(base bool, a *calibrationv1.Against, below bool) (*bound, error) {
	shift, err := spans(a.GetUnit(), s.t.Unit)
	if err != nil {
		return nil, err
	}
	shift *= a.GetMargin()
	if below {
		shift = -shift
	}
	d := s.in.Candidate
	if base {
		d = s.in.Base
	}
	if d == nil || d(a.GetTable()) == nil {
		if base {
			return nil, nil
		}
		return nil, unjudged("the candidate lacks table %s", a.GetTable())
	}
	// A stand-in says in which units the other table is wanted: an axis keeps its own where this
	// table has none of that quantity.
	other := d(a.GetTable())
	want := &definition.Table{Quantity: s.t.Quantity, Unit: s.t.Unit}
	b := &bound{to: [2]int{-1, -1}, ceiling: below, shift: shift}
	for i, axis := range [2]*definition.Axis{other.Table.X, other.Table.Y} {
		if axis == nil {
			continue
		}
		b.to[i], b.index[i] = pairing(s.t, axis.Quantity), axis.Index
		unit := axis.Unit
		if b.to[i] >= 0 {
			unit = [2]*definition.Axis{s.t.X, s.t.Y}[b.to[i]].Unit
		}
		if i == 0 {
			want.X = &definition.Axis{Unit: unit}
		} else {
			want.Y = &definition.Axis{Unit: unit}
		}
	}
	f, err := s.face(base, a.GetTable(), want)
	if err != nil {
		return nil, err
	}
	if f.err != nil {
		return nil, f.err
	}
	b.grid, b.curved = f.grid, f.curved
	return b, nil
}
