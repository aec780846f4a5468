package record

import (
	"fmt"
	"maps"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func (s *State) applyJob(a *applied) {
	o := a.action.GetJob()
	j := &job{entry: a.entry, car: s.carFor(o.GetCar(), o.GetFrameDigest())}
	j.msg = &recordv1.Job{
		Number: uint32(len(s.jobs) + 1), Car: o.GetCar(), FrameGiven: o.GetFrameDigest() != "",
		Definition: proto.CloneOf(o.GetDefinition()), Limits: proto.CloneOf(o.GetLimits()),
		Fuel: o.GetFuel(), Parts: append([]string(nil), o.GetParts()...), Note: o.GetNote(), Opened: a.event,
	}
	if len(o.GetNumbers()) > 0 {
		j.msg.Numbers = maps.Clone(o.GetNumbers())
	}
	s.jobs = append(s.jobs, j)
	j.car.add(a, j, 0, &recordv1.CarEvent{What: fmt.Sprintf("job %d opened", j.msg.GetNumber())})
}

func (s *State) applyRead(a *applied) {
	r := a.action.GetRead()
	j := s.job(r.GetJob())
	if j == nil {
		return
	}
	first := len(j.msg.GetReads()) == 0
	if first {
		j.readEntry = a.entry
	}
	j.msg.Reads = append(j.msg.Reads, &recordv1.Read{
		Number: uint32(len(j.msg.GetReads()) + 1), Original: first, Image: proto.CloneOf(r.GetImage()),
		Check: proto.CloneOf(r.GetCheck()), LastKnown: proto.CloneOf(r.GetLastKnown()), Added: a.event,
	})
	j.car.add(a, j, 0, &recordv1.CarEvent{
		ImageSha256: r.GetImage().GetSha256(), Verdict: r.GetCheck().GetVerdict(), What: readWords(j, r),
	})
	in := &recordv1.InCar{Job: r.GetJob(), ImageSha256: r.GetImage().GetSha256(), KnownBy: "read", Since: a.event}
	if lk := r.GetLastKnown(); lk.GetSame() && lk.GetJob() == r.GetJob() {
		in.Submission = lk.GetSubmission() // read again in the same job, and unchanged: still that one
	}
	j.car.inCar = in
}

func readWords(j *job, r *recordv1.AddRead) string {
	words := fmt.Sprintf("read %d added", len(j.msg.GetReads()))
	if len(j.msg.GetReads()) == 1 {
		words += ", the original"
	}
	switch lk := r.GetLastKnown(); {
	case lk == nil:
	case lk.GetSame():
		words += fmt.Sprintf(", as job %d left it", lk.GetJob())
	default:
		words += fmt.Sprintf(", not as job %d left it", lk.GetJob())
	}
	return words
}

func (s *State) applySubmission(a *applied) {
	b := a.action.GetSubmission()
	j := s.job(b.GetJob())
	if j == nil {
		return
	}
	if n := len(j.subs); n > 0 && j.subs[n-1].msg.GetState() == waiting { // no older one can wait
		j.subs[n-1].msg.State = replaced
	}
	sub := &submission{job: j, entry: a.entry, msg: &recordv1.Submission{
		Job: b.GetJob(), Number: uint32(len(j.subs) + 1), State: waiting,
		Image: proto.CloneOf(b.GetImage()), BaseSha256: b.GetBaseSha256(), Judgement: proto.CloneOf(b.GetJudgement()),
		Note: b.GetNote(), MeantGiven: b.GetMeantGiven(), Meant: append([]string(nil), b.GetMeant()...), Submitted: a.event,
	}}
	j.subs = append(j.subs, sub)
	j.msg.Submissions = append(j.msg.Submissions, sub.msg)
	sub.happened(a, sub.id()+" submitted", b.GetJudgement().GetVerdict())
}

// happened puts a line into the car's history.
func (sub *submission) happened(a *applied, what, verdict string) {
	sub.job.car.add(a, sub.job, sub.msg.GetNumber(), &recordv1.CarEvent{
		ImageSha256: sub.msg.GetImage().GetSha256(), Verdict: verdict, What: what,
	})
}

func (s *State) applySignOff(a *applied) {
	so := a.action.GetSignOff()
	sub := s.job(so.GetJob()).sub(so.GetSubmission())
	if sub == nil {
		return
	}
	sub.entry, sub.signKey, sub.collected = a.entry, a.keyID, false
	sub.msg.SignOff, sub.msg.Signed, sub.msg.Voided = proto.CloneOf(so), a.event, false
	if sub.msg.GetState() != inCar { // signed again: what is in the car stays in it
		sub.msg.State = released
	}
	sub.job.release = sub.msg.GetNumber()
	s.signedWith[a.keyID] = append(s.signedWith[a.keyID], sub)
	words := sub.id() + " signed off"
	if so.GetByAuthor() {
		words += " by its author"
	}
	sub.happened(a, words, so.GetJudgement().GetVerdict())
}

func (s *State) applyReturn(a *applied) {
	r := a.action.GetReturn()
	sub := s.job(r.GetJob()).sub(r.GetSubmission())
	if sub == nil {
		return
	}
	words := sub.id() + " returned: "
	if sub.isReleased() {
		words = sub.id() + " recalled: "
	}
	sub.entry = a.entry
	sub.msg.State, sub.msg.Return, sub.msg.Returned = returned, proto.CloneOf(r), a.event
	if sub.job.release == sub.msg.GetNumber() {
		sub.job.release = 0
	}
	sub.happened(a, words+r.GetReason(), "")
}

func (s *State) applyWithdraw(a *applied) {
	w := a.action.GetWithdraw()
	sub := s.job(w.GetJob()).sub(w.GetSubmission())
	if sub == nil {
		return
	}
	sub.entry = a.entry
	sub.msg.State = withdrawn
	sub.happened(a, sub.id()+" withdrawn", "")
}

func (s *State) applyCollect(a *applied) {
	c := a.action.GetCollect()
	j := s.job(c.GetJob())
	if j == nil {
		return
	}
	j.collectEntry = a.entry
	j.msg.Collections = append(j.msg.Collections, &recordv1.Collection{
		Submission: c.GetSubmission(), ImageSha256: c.GetImageSha256(), CarCheckedBy: c.GetCarCheckedBy(), Collected: a.event,
	})
	if sub := j.sub(c.GetSubmission()); sub != nil {
		sub.collected = true
	}
	j.car.add(a, j, c.GetSubmission(), &recordv1.CarEvent{
		ImageSha256: c.GetImageSha256(), Verdict: c.GetJudgement().GetVerdict(), What: written(j, c.GetSubmission()) + " collected",
	})
}

// written names what is written to a car: a submission, or the original.
func written(j *job, n uint32) string {
	if n == 0 {
		return fmt.Sprintf("the original of job %d", j.msg.GetNumber())
	}
	return fmt.Sprintf("%d.%d", j.msg.GetNumber(), n)
}

func (s *State) applyReadBack(a *applied) {
	r := a.action.GetReadBack()
	j := s.job(r.GetJob())
	if j == nil || j.taken(r.GetSubmission()) == nil {
		return
	}
	image := j.taken(r.GetSubmission()).GetImageSha256()
	j.msg.ReadBacks = append(j.msg.ReadBacks, &recordv1.Readback{
		Submission: r.GetSubmission(), Image: proto.CloneOf(r.GetImage()), NotPossible: r.GetNotPossible(),
		Matches: r.GetMatches(), ReportSha256: r.GetReportSha256(), Added: a.event,
	})
	what := written(j, r.GetSubmission())
	in := &recordv1.InCar{Job: r.GetJob(), Submission: r.GetSubmission(), ImageSha256: image, Since: a.event}
	switch {
	case r.GetNotPossible() != "":
		in.KnownBy = "written, not read back"
		what += " written, not read back: " + r.GetNotPossible()
	case r.GetMatches():
		in.KnownBy = "read-back"
		what += " read back: it matches"
		if sub := j.sub(r.GetSubmission()); sub != nil && sub.msg.GetState() == released {
			sub.msg.State = inCar
		}
	default:
		in = nil
		what += " read back: it differs"
	}
	if in != nil {
		j.car.inCar = in
	}
	j.car.add(a, j, r.GetSubmission(), &recordv1.CarEvent{ImageSha256: image, What: what})
}

func (s *State) applyRun(a *applied) {
	r := a.action.GetRun()
	j := s.job(r.GetJob())
	if j == nil {
		return
	}
	j.msg.Runs = append(j.msg.Runs, &recordv1.Run{
		Number: uint32(len(j.msg.GetRuns()) + 1), When: r.GetWhen(), FileSha256: r.GetFileSha256(),
		ChannelsSha256: r.GetChannelsSha256(), Added: a.event,
	})
	j.car.add(a, j, 0, &recordv1.CarEvent{What: fmt.Sprintf("run %d added, %s", len(j.msg.GetRuns()), r.GetWhen())})
}
