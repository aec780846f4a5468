package claims

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/corridor"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/reckon"
)

// Corridor is how an image lies to a corridor that was open when it was submitted.
type Corridor struct {
	Of               *recordv1.Corridor
	Start, Candidate *image.Image
	In               *recordv1.InCorridor
	// Outside says each place of In on a line of its own, and how many more there are; none where it lies inside.
	Outside []string
}

// corridor: its tables are the definition's, in its order, and of numbers; decimals are written in their one way.
func (m *making) corridor(o *recordv1.OpenCorridor) error {
	if _, err := m.job(o.GetJob()); err != nil {
		return err
	}
	const at = "corridor.tables"
	for _, t := range o.GetTables() {
		up, err := strconv.ParseFloat(t.GetUp(), 64)
		down, also := strconv.ParseFloat(t.GetDown(), 64)
		if err != nil || also != nil {
			return refuse(record.ReasonBadValue, at, "", "%s: %.60q is %.40q up and %.40q down; allowed: decimal numbers of at least 0", at, t.GetTable(), t.GetUp(), t.GetDown())
		}
		if err := corridor.Fits(m.Layout, corridor.Bound{Table: t.GetTable(), Up: up, Down: down}); err != nil {
			return refuse(record.ReasonBadValue, at, "", "%s: %s", at, oneLine(err))
		}
		of := m.Layout.ByID[t.GetTable()]
		t.Up, t.Down, t.Unit = reckon.Text(up), reckon.Text(down), cmp.Or(of.Unit, of.UnitText)
	}
	places := make(map[string]int, len(m.Layout.Tables))
	for i, t := range m.Layout.Tables {
		places[t.ID] = i
	}
	slices.SortFunc(o.GetTables(), func(a, b *recordv1.CorridorTable) int { return places[a.GetTable()] - places[b.GetTable()] })
	return nil
}

// inCorridor is how the candidate lies to the corridor of its job that covers what is submitted now; nil where none does.
func (m *making) inCorridor(job uint32) (in *recordv1.InCorridor, err error) {
	var j *recordv1.Job
	var c *recordv1.Corridor
	err = m.src.View(func(s *record.State) error {
		j, _ = s.Job(job)
		c = s.Covering(job)
		return nil
	})
	if err != nil || c == nil {
		return nil, err
	}
	if m.Corridor, err = m.against(j, c); err != nil {
		return nil, err
	}
	return m.Corridor.In, nil
}

// against holds the candidate against a corridor of its job.
func (m *making) against(j *recordv1.Job, c *recordv1.Corridor) (*Corridor, error) {
	// The read as found is no other one now, since no read is voided that a submission stands on.
	start, err := m.image("where the corridor starts", record.StartOf(j, c.GetAsked()))
	if err != nil {
		return nil, err
	}
	return Against(m.Layout, c, start, m.Candidate)
}

// Against holds an image against a corridor that starts from another; both are of the definition that this names. The error is a
// *record.Refusal where they do not fit together.
func Against(lay *definition.Layout, c *recordv1.Corridor, start, candidate *image.Image) (*Corridor, error) {
	bounds := make([]corridor.Bound, len(c.GetAsked().GetTables()))
	for i, t := range c.GetAsked().GetTables() {
		bounds[i].Table = t.GetTable()
		bounds[i].Up, _ = strconv.ParseFloat(t.GetUp(), 64) // as the rules took it
		bounds[i].Down, _ = strconv.ParseFloat(t.GetDown(), 64)
	}
	r, err := corridor.Check(lay, start, candidate, bounds)
	if err != nil {
		return nil, refuse(ReasonImage, "submission.image", "", "submission.image: %s", oneLine(err))
	}
	out := &Corridor{Of: c, Start: start, Candidate: candidate, In: &recordv1.InCorridor{Corridor: c.GetNumber(), More: uint32(r.More)}}
	for _, p := range r.Outside {
		out.In.Outside = append(out.In.Outside, &recordv1.Outside{What: p.What, Table: p.Table, At: p.At, Address: p.Address})
		out.Outside = append(out.Outside, corridor.Say(lay, start, candidate, bounds, p))
	}
	if r.More > 0 {
		out.Outside = append(out.Outside, fmt.Sprintf("and %d more places", r.More))
	}
	return out, nil
}

// Corridor holds a submission, which the record has, against the corridor that it spoke of when it was submitted, by the revision of
// the definition that this names; nil where it spoke of none. The error is the source's, or a *record.Refusal: also where the
// two are not as it said.
func (c *Computer) Corridor(src Source, job, submission uint32) (*Corridor, error) {
	m := c.making(src)
	var j *recordv1.Job
	err := src.View(func(s *record.State) error { j, _ = s.Job(job); return nil })
	if err != nil {
		return nil, err
	}
	return m.spoken(j, submission)
}

// spoken is Computer.Corridor of a job at hand.
func (m *making) spoken(j *recordv1.Job, submission uint32) (*Corridor, error) {
	sub := record.SubmissionOf(j, submission)
	c := record.CorridorOf(j, sub.GetCorridor().GetCorridor())
	if c == nil {
		return nil, nil
	}
	then := m.c.making(m.src)
	var err error
	if then.Layout, err = m.c.Layout(m.src, c.GetAsked().GetDefinition()); err != nil {
		return nil, err
	}
	if then.Candidate, err = then.image("image", sub.GetImage()); err != nil {
		return nil, err
	}
	out, err := then.against(j, c)
	if err == nil {
		err = then.differs("submission.corridor", sub.GetCorridor().ProtoReflect(), out.In.ProtoReflect())
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}
