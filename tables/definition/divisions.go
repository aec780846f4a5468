package definition

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/formula"
)

// reach is what inputs and constants alone make of a formula; not known where a table has a say.
type reach struct {
	bounded.Interval
	known bool
}

// divisions refuses a divisor that inputs and constants alone can make zero, and notes a signal's range.
func (r *resolver) divisions(s *Signal) error {
	inputs := make(map[string]bounded.Interval, len(r.lay.Inputs))
	for _, in := range r.lay.Inputs {
		inputs[in.Quantity] = bounded.Interval{Lo: in.From, Hi: in.To}
	}
	all, err := r.reach(s.Value, inputs)
	r.ranges[s] = all
	return err
}

func (r *resolver) reach(n *formula.Node, inputs map[string]bounded.Interval) (reach, error) {
	switch n.Kind {
	case formula.Number:
		return reach{bounded.Exactly(n.Value), true}, nil
	case formula.Input:
		return reach{inputs[n.Name], true}, nil
	case formula.Signal:
		return r.ranges[r.lay.SignalByID[n.Name]], nil
	case formula.Table:
		return reach{}, nil
	case formula.Choose:
		return r.branches(n, inputs)
	}
	all := reach{known: true}
	for i, a := range n.Args {
		arg, err := r.reach(a, inputs)
		if err != nil {
			return all, err
		}
		all.known = all.known && arg.known
		switch {
		case n.Kind == formula.Div && i == 1:
			if arg.known && arg.Holds(0) {
				return all, &formula.Error{At: n.At, Problem: "the divisor can be zero within the ranges of the inputs", Allowed: "a divisor that cannot, as in max(input('engine_speed'), 1)"}
			}
			all.Interval = all.Div(arg.Interval)
		case n.Kind == formula.Neg:
			all.Interval = arg.Neg()
		case i == 0:
			all.Interval = arg.Interval
		case n.Kind == formula.Add:
			all.Interval = all.Add(arg.Interval)
		case n.Kind == formula.Sub:
			all.Interval = all.Sub(arg.Interval)
		case n.Kind == formula.Mul:
			all.Interval = all.Mul(arg.Interval)
		case n.Kind == formula.Min:
			all.Interval = all.Min(arg.Interval)
		case n.Kind == formula.Max:
			all.Interval = all.Max(arg.Interval)
		}
	}
	return all, nil
}

// branches looks at each branch of a choice with the inputs that lead to it.
func (r *resolver) branches(n *formula.Node, inputs map[string]bounded.Interval) (reach, error) {
	if _, err := r.condition(n.Args[0], inputs); err != nil {
		return reach{}, err
	}
	yes, err := r.reach(n.Args[1], narrowed(n.Args[0], true, inputs))
	if err != nil {
		return reach{}, err
	}
	no, err := r.reach(n.Args[2], narrowed(n.Args[0], false, inputs))
	return reach{yes.Hull(no.Interval), yes.known && no.known}, err
}

// condition looks for divisions in a condition.
func (r *resolver) condition(n *formula.Node, inputs map[string]bounded.Interval) (reach, error) {
	for _, a := range n.Args {
		look := r.reach
		if a.Kind.Condition() {
			look = r.condition
		}
		if _, err := look(a, inputs); err != nil {
			return reach{}, err
		}
	}
	return reach{}, nil
}

// narrowed is what the inputs can be where a condition has come out so. Both ends of a comparison belong to
// both sides: what is reached in the limit counts.
func narrowed(n *formula.Node, holds bool, inputs map[string]bounded.Interval) map[string]bounded.Interval {
	switch {
	case n.Kind == formula.Not:
		return narrowed(n.Args[0], !holds, inputs)
	case n.Kind == formula.And && holds, n.Kind == formula.Or && !holds:
		return narrowed(n.Args[1], holds, narrowed(n.Args[0], holds, inputs))
	case n.Kind.Condition() && len(n.Args) == 2 && n.Args[0].Kind == formula.Input && n.Args[1].Kind == formula.Number:
		return within(n.Args[0].Name, n.Kind, n.Args[1].Value, holds, inputs)
	case n.Kind.Condition() && len(n.Args) == 2 && n.Args[1].Kind == formula.Input && n.Args[0].Kind == formula.Number:
		return within(n.Args[1].Name, turned[n.Kind], n.Args[0].Value, holds, inputs)
	}
	return inputs
}

// turned is a comparison read from the right.
var turned = map[formula.Kind]formula.Kind{formula.Less: formula.Greater, formula.LessEqual: formula.GreaterEqual, formula.Greater: formula.Less,
	formula.GreaterEqual: formula.LessEqual, formula.Equal: formula.Equal, formula.NotEqual: formula.NotEqual}

func within(name string, kind formula.Kind, v float64, holds bool, inputs map[string]bounded.Interval) map[string]bounded.Interval {
	lo, hi := math.Inf(-1), math.Inf(1)
	switch above, below := kind == formula.Greater || kind == formula.GreaterEqual, kind == formula.Less || kind == formula.LessEqual; {
	case above && holds, below && !holds:
		lo = v
	case above && !holds, below && holds:
		hi = v
	case kind == formula.Equal && holds, kind == formula.NotEqual && !holds:
		lo, hi = v, v
	}
	was := inputs[name]
	now := bounded.Interval{Lo: max(was.Lo, lo), Hi: min(was.Hi, hi)}
	if now.Lo > now.Hi { // the branch is never taken
		return inputs
	}
	out := make(map[string]bounded.Interval, len(inputs))
	for k, v := range inputs {
		out[k] = v
	}
	out[name] = now
	return out
}
