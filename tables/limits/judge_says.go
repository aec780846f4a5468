package limits

import (
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
)

// worst is a place and a verdict as the report says them.
func (s *subject) worst(p place, v verdict) *calibrationv1.Worst {
	w := &calibrationv1.Worst{Excess: v.excess, Along: v.along, Inputs: p.inputs, Bound: v.bound, Slice: said.Slice(p.slice)}
	if !v.wordless {
		w.Value, w.Limit = proto.Float64(v.value), proto.Float64(v.limit)
	}
	w.X, w.Y = s.axes(p)
	w.XLabel, w.YLabel = s.labels(p)
	if p.along != "" {
		w.Along = proto.String(p.along)
	}
	if p.cell {
		w.Row, w.Column = proto.Uint32(uint32(p.row)), proto.Uint32(uint32(p.col))
	}
	return w
}

// axes is where a place lies along those axes that the table has.
func (s *subject) axes(p place) (x, y *float64) {
	if s.cand != nil && s.cand.x != nil && s.cand.t.X.Labels == nil {
		x = s.number(p.x)
	}
	if s.cand != nil && s.cand.y != nil && s.cand.t.Y.Labels == nil {
		y = s.number(p.y)
	}
	return x, y
}

func (j *judge) number(v float64) *float64 {
	out := j.room.numbers.One()
	*out = v
	return out
}

// labels is where a place lies along axes of labels.
func (s *subject) labels(p place) (x, y *string) {
	name := func(a *definition.Axis, v float64) *string {
		if a == nil || !(v >= 0 && v < float64(len(a.Labels))) {
			return nil
		}
		return &a.Labels[int(v)]
	}
	if s.cand == nil {
		return nil, nil
	}
	return name(s.cand.t.X, p.x), name(s.cand.t.Y, p.y)
}

// findings are one for each origin that has points.
func (s *subject) findings() []*calibrationv1.Finding {
	var out []*calibrationv1.Finding
	for o, b := range s.tally.buckets {
		if b.count == 0 {
			continue
		}
		f := &calibrationv1.Finding{
			Rule: s.rule.GetId(), Severity: s.rule.GetSeverity(), Origin: originNames[o], Count: uint32(b.count),
			Worst: s.worst(b.at, b.worst), Reason: s.rule.GetReason(), Source: s.rule.GetSource(), Detail: s.detail,
		}
		f.Table, f.Signal = s.id()
		if s.tally.check {
			f.Origin = ""
		}
		if other := s.kind.against(s.rule); other != "" {
			f.Tables = []string{other}
		}
		out = append(out, f)
	}
	if f := s.undecidedFinding(); f != nil {
		out = append(out, f)
	}
	return out
}

// margin is the least room left, nil where the rule keeps none.
func (s *subject) margin() *calibrationv1.Margin {
	t := &s.tally
	if !t.judged {
		return nil
	}
	m := s.room.margins.One()
	m.Rule, m.Margin, m.Value, m.Limit, m.Unit, m.Inputs, m.Slice = s.rule.GetId(), t.least.room, t.least.value, t.least.limit, s.unit, t.leastAt.inputs, said.Slice(t.leastAt.slice)
	m.Table, m.Signal = s.id()
	m.X, m.Y = s.axes(t.leastAt)
	return m
}
