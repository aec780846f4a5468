package record

import (
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/signoff"
)

// sealed wants commitments that are of this job and field alone, so that forgetting one job forgets
// nothing of another's. Their form was asked when the envelope was opened.
func (d *decision) sealed() error {
	job := JobOf(d.action)
	for _, c := range signoff.Commitments(d.action) {
		if owner, used := d.text(docSealed, c.Commitment); used && owner != join(job, c.Field) {
			return refuse(ReasonSealedUsed, c.At, "", "%s: another job or field has this sealed text already; allowed: one with a salt of its own", c.At)
		}
	}
	return nil
}

// seal remembers whose sealed texts these are. One whose opening is not here is lacking: nobody may
// keep a text back that was not erased. By one that comes late the job is found from then on.
func (c *change) seal(job uint32) {
	var seals []string
	for _, s := range signoff.Commitments(c.action) {
		seals = append(seals, s.Commitment)
		_, used := c.text(docSealed, s.Commitment)
		if !used {
			c.putText(docSealed, s.Commitment, join(job, s.Field))
		}
		switch _, here := c.text(docOpening, s.Commitment); {
		case !here:
			c.putText(docLacking, s.Commitment, "")
		case used:
			c.drop(docLacking, s.Commitment)
			c.refind(nil, c.found(sketchOf(c.job(job))))
		}
	}
	c.putSeals(c.entry, seals)
}

func (s *State) putSeals(index uint64, seals []string) {
	if len(seals) > 0 {
		s.putText(docEntrySeals, join(index), strings.Join(seals, "\x00"))
	}
}

// CheckOpenings wants openings that are of an entry's action, each once, fit their commitments, and
// hold what they may. The error is a *Refusal. Of an entry that is not known, only the fit is asked
// yet. Which of them are missing is asked of the documents: Lacking.
func CheckOpenings(o *Opened, openings []*recordv1.Opening) error {
	var sealed []signoff.Commitment
	if o.Signed != nil {
		sealed = signoff.Commitments(o.Signed.Action)
	}
	field := map[string]string{}
	for _, c := range sealed {
		field[c.Commitment] = c.Field
	}
	for _, opening := range openings {
		if err := signoff.CheckOpening(opening); err != nil {
			return refuse(ReasonOpening, short(opening.GetCommitment()), "", "opening: %s", oneLine(err.Error()))
		}
		if !o.known() {
			continue
		}
		if field[opening.GetCommitment()] != opening.GetField() {
			return refuse(ReasonOpening, short(opening.GetCommitment()), "", "opening: it opens nothing that the action seals, or is there twice")
		}
		if err := CheckOpened(opening); err != nil {
			return err
		}
		delete(field, opening.GetCommitment())
	}
	return nil
}

// Lacking says how many sealed texts were neither handed on nor erased.
func (s *State) Lacking() int { return len(s.keys(docLacking, "")) }

// Opening finds a sealed text; nil where it was erased, or never came.
func (s *State) Opening(commitment string) *recordv1.Opening {
	o := &recordv1.Opening{}
	if commitment == "" || !s.get(docOpening, commitment, o) {
		return nil
	}
	return o
}

// OpeningsOf are the openings that came with an entry and are still there.
func (s *State) OpeningsOf(index uint64) (out []*recordv1.Opening) {
	seals, _ := s.text(docEntrySeals, join(index))
	for _, commitment := range strings.Split(seals, "\x00") {
		if o := s.Opening(commitment); o != nil {
			out = append(out, o)
		}
	}
	return out
}

// Told is an entry as it is handed on.
func Told(tx store.ReadTx, index uint64) (*recordv1.Told, error) {
	entry, err := tx.Entry(index)
	if err != nil {
		return nil, err
	}
	s := &State{tx: tx} // the head is of no interest
	out := &recordv1.Told{Entry: entry, Openings: s.OpeningsOf(index)}
	return out, s.err
}

// Salvage is what can still be read of the texts that an action seals, in a store whose documents are not
// to be relied on.
func Salvage(tx store.ReadTx, a *recordv1.Action) (out []*recordv1.Opening) {
	seen := map[string]bool{}
	for _, c := range signoff.Commitments(a) {
		s := &State{tx: tx} // an error of one is none of another's
		if o := s.Opening(c.Commitment); o != nil && !seen[c.Commitment] && o.GetCommitment() == c.Commitment && signoff.CheckOpening(o) == nil {
			seen[c.Commitment] = true
			out = append(out, o)
		}
	}
	return out
}

// reveal fills in the texts of everything below m whose openings are here.
func (s *State) reveal(m proto.Message, erased bool) {
	walk(m.ProtoReflect(), func(t *recordv1.Text) {
		if o := s.Opening(t.GetCommitment()); o != nil {
			t.Text = o.GetText()
		} else {
			t.Erased = erased
		}
	})
}

// walk visits every message of a kind in m, and does not look into one.
func walk[M proto.Message](m protoreflect.Message, fn func(M)) {
	if t, ok := m.Interface().(M); ok {
		fn(t)
		return
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap() || f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				walk(v.List().Get(i).Message(), fn)
			}
		default:
			walk(v.Message(), fn)
		}
		return true
	})
}

// shut is a sealed text as a document holds it; nil for none.
func shut(s *recordv1.Sealed) *recordv1.Text {
	if s.GetCommitment() == "" {
		return nil
	}
	return &recordv1.Text{Commitment: s.GetCommitment()}
}
