package record

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// body fills in what a line says.
func (h *history) body(a *recordv1.Action, w words) {
	switch w.verb {
	case "enrols":
		a.Body = &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{
			Name: w.arg(0), Roles: list(w.arg(1), "+"), PublicKey: signoff.FormatPublicKey(pub(w.or("pub", w.arg(0)))),
		}}
	case "retires":
		a.Body = &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: w.arg(0), Compromised: w.has("compromised")}}
	case "rekeys-server":
		a.Body = &recordv1.Action_ServerKey{ServerKey: &recordv1.ChangeServerKey{PublicKey: signoff.FormatPublicKey(pub(w.arg(0)))}}
	case "defines":
		a.Body = &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: &recordv1.Revision{Name: w.arg(0), Sha256: sha(w.arg(1))}}}
	case "limits":
		a.Body = &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: &recordv1.Revision{Name: w.arg(0), Sha256: sha(w.arg(1))}}}
	case "opens":
		h.openBody(a, w)
	case "runs":
		a.Body = &recordv1.Action_Run{Run: &recordv1.AddRun{
			Job: number(w.arg(0)), When: w.arg(1), FileSha256: sha("run"), ChannelsSha256: sha("channels"),
		}}
	case "reads":
		h.readBody(a, w)
	case "submits":
		job, _ := h.s.Job(number(w.arg(0)))
		a.Body = &recordv1.Action_Submission{Submission: &recordv1.Submit{
			Job: number(w.arg(0)), Image: image(w.arg(1)), Judgement: h.judge(w, "clear", nil), Note: "more air, more fuel",
		}}
		if reads := job.GetReads(); len(reads) > 0 {
			a.GetSubmission().BaseSha256 = reads[0].GetImage().GetSha256()
		}
	default:
		h.subBody(a, w)
	}
}

func (h *history) openBody(a *recordv1.Action, w words) {
	j := h.judge(w, "", nil)
	a.Body = &recordv1.Action_Job{Job: &recordv1.OpenJob{
		Car: w.arg(0), Definition: j.GetDefinition(), Limits: j.GetLimits(), Fuel: w.or("fuel", "98-RON"),
		LimitsFuel: list(w.or("fuels", ""), "|"), Parts: []string{"larger compressor wheel", "intercooler"}, Note: "hill climb",
	}}
	if f, ok := w.named["frame"]; ok {
		a.GetJob().FrameDigest = FrameDigest(h.s.GenesisSHA256, f)
	}
}

func (h *history) readBody(a *recordv1.Action, w words) {
	r := &recordv1.AddRead{Job: number(w.arg(0)), Image: image(w.arg(1))}
	a.Body = &recordv1.Action_Read{Read: r}
	job, ok := h.s.Job(r.GetJob())
	if ok && len(job.GetReads()) == 0 {
		r.Check = h.judge(w, "clear", nil)
	}
	if in := job.GetInCar(); in != nil {
		r.LastKnown = &recordv1.LastKnown{
			Job: in.GetJob(), Submission: in.GetSubmission(), ImageSha256: in.GetImageSha256(), Same: !w.has("differs"),
		}
		if w.has("differs") {
			r.LastKnown.ReportSha256 = sha("report")
		}
	}
}

func (h *history) subBody(a *recordv1.Action, w words) {
	job, n := dotted(w.arg(0))
	sub, _ := h.s.Submission(job, n)
	img := sub.GetImage().GetSha256()
	was := sub.GetJudgement()
	switch w.verb {
	case "signs":
		j := h.judge(w, was.GetVerdict(), was.GetWarnings())
		so := &recordv1.SignOff{
			Job: job, Submission: n, ImageSha256: img, BaseSha256: sub.GetBaseSha256(), Judgement: j,
			ByAuthor: w.has("author"), Reason: w.or("reason", ""), Because: map[string]string{},
		}
		for _, k := range j.GetWarnings() {
			so.Because[k] = "seen on the road"
		}
		if b, ok := w.named["because"]; ok {
			so.Because = map[string]string{}
			for _, k := range list(b, ",") {
				so.Because[k] = "seen on the road"
			}
		}
		a.Body = &recordv1.Action_SignOff{SignOff: so}
	case "returns":
		a.Body = &recordv1.Action_Return{Return: &recordv1.Return{Job: job, Submission: n, ImageSha256: img, Reason: "too much advance"}}
	case "withdraws":
		a.Body = &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: job, Submission: n}}
	case "collects":
		c := &recordv1.Collect{Job: job, Submission: n, ImageSha256: img}
		if signed := sub.GetSignOff().GetJudgement(); n > 0 {
			c.Judgement = h.judge(w, signed.GetVerdict(), signed.GetWarnings())
		} else if card, _ := h.s.Job(job); len(card.GetReads()) > 0 {
			c.ImageSha256 = card.GetReads()[0].GetImage().GetSha256()
		}
		a.Body = &recordv1.Action_Collect{Collect: c}
	case "reads-back":
		a.Body = &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{
			Job: job, Submission: n, Image: image(w.arg(1)), Matches: !w.has("differs"), ReportSha256: sha("report"),
		}}
	case "cannot-read":
		a.Body = &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: job, Submission: n, NotPossible: "the controller locks reading"}}
	default:
		h.t.Fatalf("no verb %q", w.verb)
	}
}
