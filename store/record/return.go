package record

import recordv1 "witnessmark/proto/witnessmark/record/v1"

// giveBack is a return of what waits, or the recall of a release.
var giveBack = &kind{
	name:   "return",
	target: subTarget("return", func(a *recordv1.Action) subAction { return a.GetReturn() }),
	closed: true,
	decide: func(d *decision) error {
		r := d.action.GetReturn()
		sub, err := d.subAt("return", r.GetJob(), r.GetSubmission())
		if err != nil {
			return err
		}
		if sub.GetState() != Waiting && !IsRelease(sub) {
			return d.wrongState(sub, "return.submission", "waiting, released, in car")
		}
		if err := sameImage(sub, "return", r.GetImageSha256()); err != nil {
			return err
		}
		return checkReason("return.reason", r.GetReason())
	},
	apply: func(c *change) {
		r := c.action.GetReturn()
		words := "returned"
		sub := c.changeSub(r.GetJob(), r.GetSubmission(), func(sub *recordv1.Submission) {
			if IsRelease(sub) {
				words = "recalled"
			}
			sub.State, sub.Return, sub.Returned, sub.Latest = Returned, r, c.event, uint32(c.entry)
			sub.JudgedWorse, sub.JudgedWorseBy = nil, 0
		})
		c.about(sub, "", "%s %s: %s", subName(sub), words, r.GetReason())
	},
}

var withdraw = &kind{
	name:   "withdraw",
	target: subTarget("withdraw", func(a *recordv1.Action) subAction { return a.GetWithdraw() }),
	decide: func(d *decision) error {
		w := d.action.GetWithdraw()
		sub, err := d.subAt("withdraw", w.GetJob(), w.GetSubmission())
		if err != nil {
			return err
		}
		if author(sub) != d.who.GetName() {
			return refuse(ReasonNotAuthor, d.who.GetName(), author(sub), "%s is by %s, who alone can withdraw it; anybody can return it", subName(sub), author(sub))
		}
		if sub.GetState() != Waiting {
			return d.wrongState(sub, "withdraw.submission", Waiting)
		}
		return nil
	},
	apply: func(c *change) {
		w := c.action.GetWithdraw()
		sub := c.changeSub(w.GetJob(), w.GetSubmission(), func(sub *recordv1.Submission) {
			sub.State, sub.Latest = Withdrawn, uint32(c.entry)
		})
		c.about(sub, "", "%s withdrawn", subName(sub))
	},
}
