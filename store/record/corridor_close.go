package record

import (
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

var closeCorridor = &kind{
	name: "corridor_close",
	// its opening
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		_, c, err := s.corridorAt(a.GetCorridorClose())
		return uint64(c.GetOpened().GetEntry()), err
	},
	decide: func(d *decision) error {
		k := d.action.GetCorridorClose()
		j, c, err := d.corridorAt(k)
		if err != nil {
			return err
		}
		if c.GetState() != open {
			return refuse(ReasonNoChange, "corridor_close.corridor", "", "%s was closed already", CorridorName(c))
		}
		if err := d.mayKeep(j, c, k.GetKeep()); err != nil {
			return err
		}
		return checkText("corridor_close.because", k.GetBecause(), maxText)
	},
	apply: func(c *change) {
		k := c.action.GetCorridorClose()
		c.changeJob(k.GetJob(), func(j *recordv1.Job) {
			c.endCorridor(CorridorOf(j, k.GetCorridor()), k.GetBecause(), k.GetKeep())
			for _, sub := range j.GetSubmissions() {
				if k.GetKeep() != 0 && sub.GetByCorridor() == k.GetCorridor() && sub.GetNumber() != k.GetKeep() && onlyCorridor(sub) {
					sub.State = Replaced
				}
			}
		})
	},
}

func (s *State) corridorAt(k *recordv1.CloseCorridor) (*recordv1.Job, *recordv1.Corridor, error) {
	j, err := s.jobAt("corridor_close.job", k.GetJob())
	if err != nil {
		return nil, nil, err
	}
	if c := CorridorOf(j, k.GetCorridor()); c != nil {
		return j, c, nil
	}
	return nil, nil, refuse(ReasonNotFound, "corridor_close.corridor", "", "corridor_close.corridor: job %d has no corridor %d; allowed: 1 to %d", k.GetJob(), k.GetCorridor(), len(j.GetCorridors()))
}

// mayKeep wants what stays to be a release of the corridor, and what the car was given last.
func (d *decision) mayKeep(j *recordv1.Job, c *recordv1.Corridor, keep uint32) error {
	const at = "corridor_close.keep"
	if keep == 0 {
		return nil
	}
	sub := SubmissionOf(j, keep)
	switch {
	case sub == nil:
		return refuse(ReasonNotFound, at, "", "%s: job %d has no submission %d; allowed: 0 for none, or a release of %s", at, j.GetNumber(), keep, CorridorName(c))
	case sub.GetByCorridor() != c.GetNumber():
		return refuse(ReasonCorridor, at, "", "%s: %s is no release of %s; allowed: one that is", at, subName(sub), CorridorName(c))
	case !IsRelease(sub):
		return d.wrongState(sub, at, "a release")
	}
	list := j.GetCollections()
	if len(list) == 0 {
		return nil
	}
	if last := list[len(list)-1]; last.GetCollected().GetEntry() > c.GetOpened().GetEntry() && last.GetSubmission() != keep {
		return refuse(ReasonNotCollected, at, fmt.Sprint(last.GetSubmission()), "%s: %s was collected last, not %s; collect it first", at, written(j.GetNumber(), last.GetSubmission()), subName(sub))
	}
	return nil
}

// endCorridor closes a corridor, of which a submission may stay a release.
func (c *change) endCorridor(k *recordv1.Corridor, because string, keep uint32) {
	k.State, k.Closed, k.Because, k.Kept = closed, c.event, because, keep
	words, image := "", ""
	if keep != 0 {
		sub := SubmissionOf(c.job(k.GetJob()), keep)
		words, image = fmt.Sprintf("; %s stays", subName(sub)), sub.GetImage().GetSha256()
	}
	if because != "" {
		words += ": " + because
	}
	c.tell(k.GetJob(), keep, image, "", "corridor %d closed%s", k.GetNumber(), words)
}
