package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

var closeJob = &kind{
	name:   "close",
	target: latestOf("close"),
	decide: func(d *decision) error {
		c := d.action.GetClose()
		if err := checkOneOf("close.outcome", c.GetOutcome(), "done", "cancelled"); err != nil {
			return err
		}
		return checkText("close.because", c.GetBecause(), maxText)
	},
	apply: func(c *change) {
		a := c.action.GetClose()
		c.turn(a.GetJob(), closed, a.GetOutcome(), a.GetBecause())
		c.tell(a.GetJob(), 0, "", "", "job %d closed: %s", a.GetJob(), a.GetOutcome())
	},
}

var reopenJob = &kind{
	name:   "reopen",
	target: latestOf("reopen"),
	closed: true,
	decide: func(d *decision) error {
		r := d.action.GetReopen()
		if d.job(r.GetJob()).GetState() == open {
			return refuse(ReasonNoChange, "reopen.job", "", "job %d is open", r.GetJob())
		}
		return checkReason("reopen.because", r.GetBecause())
	},
	apply: func(c *change) {
		a := c.action.GetReopen()
		c.turn(a.GetJob(), open, "", a.GetBecause())
		c.tell(a.GetJob(), 0, "", "", "job %d reopened: %s", a.GetJob(), a.GetBecause())
	},
}

// turn closes or reopens a job.
func (c *change) turn(job uint32, state, outcome, because string) {
	c.changeJob(job, func(j *recordv1.Job) {
		j.State, j.Outcome, j.Because, j.Latest = state, outcome, because, uint32(c.entry)
		j.Turns = append(j.Turns, c.event)
		if open := OpenIn(j); open != nil {
			c.endCorridor(open, "", 0)
		}
	})
}
