package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

var addRun = &kind{
	name:   "run",
	target: latestOf("run"),
	decide: func(d *decision) error {
		r := d.action.GetRun()
		if err := checkOneOf("run.when", r.GetWhen(), "before", "after"); err != nil {
			return err
		}
		if err := checkHash("run.file_sha256", r.GetFileSha256()); err != nil {
			return err
		}
		if r.GetCheckSha256() != "" {
			if err := checkHash("run.check_sha256", r.GetCheckSha256()); err != nil {
				return err
			}
		} else if r.GetDanger() {
			return badValue("run.danger", "false, or the check that says so", "nothing says so")
		}
		return checkHash("run.channels_sha256", r.GetChannelsSha256())
	},
	apply: func(c *change) {
		r := c.action.GetRun()
		n := uint32(0)
		c.changeJob(r.GetJob(), func(j *recordv1.Job) {
			n = uint32(len(j.GetRuns()) + 1)
			j.Runs = append(j.Runs, &recordv1.Run{
				Number: n, When: r.GetWhen(), FileSha256: r.GetFileSha256(), ChannelsSha256: r.GetChannelsSha256(),
				FileName: shut(r.GetFileName()), Danger: r.GetDanger(), CheckSha256: r.GetCheckSha256(), Added: c.event,
			})
		})
		c.tell(r.GetJob(), 0, "", "", "run %d added, %s", n, r.GetWhen())
	},
	brings: func(a *recordv1.Action) []Brought {
		r := a.GetRun()
		return []Brought{
			{SHA256: r.GetFileSha256(), What: ARun}, {SHA256: r.GetChannelsSha256(), What: ARun}, {SHA256: r.GetCheckSha256(), What: AReport},
		}
	},
}
