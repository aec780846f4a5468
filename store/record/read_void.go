package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

var voidRead = &kind{
	name: "void",
	// the read's own entry
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		r, err := s.readAt(a.GetVoid())
		return uint64(r.GetAdded().GetEntry()), err
	},
	decide: func(d *decision) error {
		v := d.action.GetVoid()
		r, err := d.readAt(v)
		if err != nil {
			return err
		}
		j := d.job(v.GetJob())
		if r.GetVoided() != nil {
			return refuse(ReasonNoChange, "void.read", "", "read %d of job %d was voided already", v.GetRead(), v.GetJob())
		}
		for _, sub := range j.GetSubmissions() {
			if AsFound(j) == r {
				return refuse(ReasonState, "void.read", "", "read %d of job %d cannot be voided: %s stands on it", v.GetRead(), v.GetJob(), subName(sub))
			}
		}
		for _, taken := range j.GetCollections() {
			if AsFound(j) == r && taken.GetSubmission() == 0 {
				return refuse(ReasonState, "void.read", "", "read %d of job %d cannot be voided: it was collected", v.GetRead(), v.GetJob())
			}
		}
		return checkReason("void.because", v.GetBecause())
	},
	apply: func(c *change) {
		v := c.action.GetVoid()
		c.changeJob(v.GetJob(), func(j *recordv1.Job) {
			r := j.GetReads()[v.GetRead()-1]
			r.Voided, r.VoidBecause = c.event, v.GetBecause()
		})
		c.tell(v.GetJob(), 0, "", "", "read %d voided: %s", v.GetRead(), v.GetBecause())
	},
}

func (s *State) readAt(v *recordv1.VoidRead) (*recordv1.Read, error) {
	j, err := s.jobAt("void.job", v.GetJob())
	if err != nil {
		return nil, err
	}
	if n := v.GetRead(); n >= 1 && int64(n) <= int64(len(j.GetReads())) {
		return j.GetReads()[n-1], nil
	}
	return nil, refuse(ReasonNotFound, "void.read", "", "void.read: job %d has no read %d; allowed: 1 to %d", v.GetJob(), v.GetRead(), len(j.GetReads()))
}
