package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

var amendJob = &kind{
	name:   "amend",
	target: latestOf("amend"),
	decide: func(d *decision) error {
		a := d.action.GetAmend()
		return d.details("amend.details", a.GetDetails(), d.job(a.GetJob()))
	},
	apply: func(c *change) {
		a := c.action.GetAmend()
		c.changeJob(a.GetJob(), func(j *recordv1.Job) {
			j.Amended = append(j.Amended, c.event)
			c.setDetails(j, a.GetDetails())
		})
		c.tell(a.GetJob(), 0, "", "", "job %d amended", a.GetJob())
	},
}
