package record

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// composer makes the action of a line, by what the state says.
type composer struct {
	*State
	h *history
	words
	openings []*recordv1.Opening
}

// seal seals a text with a salt of its own.
func (c *composer) seal(field, text string) *recordv1.Sealed {
	if text == "" {
		return nil
	}
	salt := sha256.Sum256(fmt.Appendf(nil, "salt %d %d", len(c.h.told), len(c.openings)))
	o := signoff.NewOpening(field, text, bytes.NewReader(salt[:]))
	c.openings = append(c.openings, o)
	return &recordv1.Sealed{Commitment: o.GetCommitment()}
}

// keep seals a text, unless it is the one that is there already.
func (c *composer) keep(field, text string, was *recordv1.Text) *recordv1.Sealed {
	if was.GetText() == text && text != "" {
		return &recordv1.Sealed{Commitment: was.GetCommitment()}
	}
	return c.seal(field, text)
}

// body fills in what the line says.
func (c *composer) body(a *recordv1.Action) {
	switch c.verb {
	case "enrols":
		a.Body = &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{
			Name: c.arg(0), Roles: list(c.arg(1), "+"), PublicKey: signoff.FormatPublicKey(pub(c.or("pub", c.arg(0)))),
		}}
	case "retires":
		a.Body = &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: c.arg(0), Compromised: c.has("compromised")}}
	case "defines":
		a.Body = &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: c.revision(), JudgedWorse: c.worse()}}
	case "limits":
		a.Body = &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: c.revision(), JudgedWorse: c.worse()}}
	case "opens":
		a.Body = &recordv1.Action_Job{Job: &recordv1.OpenJob{Definition: c.judge("", nil).GetDefinition(), Details: c.details(nil), DefinitionCarried: c.has("carried")}}
	case "amends":
		job, _ := c.Job(toNumber(c.arg(0)))
		c.args = c.args[1:]
		a.Body = &recordv1.Action_Amend{Amend: &recordv1.AmendJob{Job: job.GetNumber(), Details: c.details(job)}}
	case "closes":
		a.Body = &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: toNumber(c.arg(0)), Outcome: c.arg(1), Because: c.or("because", "")}}
	case "reopens":
		a.Body = &recordv1.Action_Reopen{Reopen: &recordv1.ReopenJob{Job: toNumber(c.arg(0)), Because: "another day on the rolling road"}}
	case "erases":
		a.Body = &recordv1.Action_Erase{Erase: &recordv1.Erase{Job: toNumber(c.arg(0)), Images: c.has("images"), Because: "its owner asked"}}
	case "settles":
		a.Body = &recordv1.Action_Settle{Settle: &recordv1.Settle{Job: toNumber(c.arg(0)), Alarm: c.arg(1), About: c.arg(2), Because: "asked its owner"}}
	case "opens-corridor":
		a.Body = &recordv1.Action_Corridor{Corridor: c.corridor()}
	case "closes-corridor":
		a.Body = &recordv1.Action_CorridorClose{CorridorClose: &recordv1.CloseCorridor{
			Job: toNumber(c.arg(0)), Corridor: toNumber(c.arg(1)), Keep: c.number("keep", 0), Because: c.or("because", ""),
		}}
	default:
		c.jobBody(a)
	}
}

func (c *composer) corridor() *recordv1.OpenCorridor {
	job, _ := c.Job(toNumber(c.arg(0)))
	from := c.number("from", 0)
	j := c.judgeJob(job, "", nil)
	o := &recordv1.OpenCorridor{
		Job: toNumber(c.arg(0)), From: from, FromSha256: j.GetBaseSha256(), Authors: list(c.arg(1), ","), Most: c.or("most", "caution"), Maps: c.number("maps", 20),
		Definition: j.GetDefinition(), Limits: j.GetLimits(), Fuel: j.GetFuel(), Numbers: j.GetNumbers(), Reason: c.or("reason", ""), ByAuthor: c.has("author"),
	}
	if sub := SubmissionOf(job, from); sub != nil {
		o.FromSha256 = sub.GetImage().GetSha256()
	}
	for _, t := range list(c.or("tables", "ignition:2:6,fuel:0.05:0"), ",") {
		f := strings.Split(t, ":")
		o.Tables = append(o.Tables, &recordv1.CorridorTable{Table: f[0], Up: f[1], Down: f[2], Unit: "deg"})
	}
	return o
}

// inCorridor says how a submission lies to the corridor that covers now, unless the line says another.
func (c *composer) inCorridor(job uint32) *recordv1.InCorridor {
	n := c.number("corridor", c.Covering(job).GetNumber())
	if n == 0 {
		return nil
	}
	in := &recordv1.InCorridor{Corridor: n}
	for i, o := range list(c.or("out", ""), ",") {
		what, table, _ := strings.Cut(o, ":")
		in.Outside = append(in.Outside, &recordv1.Outside{What: what, Table: table, At: []uint32{0, 3, uint32(i)}, Address: 0x1c40})
	}
	return in
}

func (c *composer) revision() *recordv1.Revision {
	return &recordv1.Revision{Name: c.arg(0), Sha256: c.h.sha(c.arg(1))}
}

func (c *composer) worse() (out []*recordv1.JudgedWorse) {
	for _, name := range list(c.or("worse", ""), ",") {
		job, sub := dotted(name)
		out = append(out, &recordv1.JudgedWorse{Job: job, Submission: sub, Verdict: "danger"})
	}
	return out
}

// details names the car that has the frame, else the plate, else a new one.
func (c *composer) details(was *recordv1.Job) *recordv1.JobDetails {
	known := append(c.CarsByFrame(c.or("frame", "")), c.CarsByPlate(c.arg(0))...)
	car := was.GetCar()
	if len(known) > 0 {
		car = known[0]
	}
	return &recordv1.JobDetails{
		Car: c.number("car", car), CarSaid: c.or("said", ""), Plate: c.keep("plate", c.arg(0), was.GetPlate()),
		Frame: c.keep("frame", NormalFrame(c.or("frame", "")), was.GetFrame()), Note: c.keep("note", c.or("note", "hill climb"), was.GetNote()),
		Limits: c.judge("", nil).GetLimits(), LimitsFuel: list(c.or("fuels", ""), "|"), Fuel: c.or("fuel", "98-RON"),
		Parts: []string{"larger compressor wheel", "intercooler"}, Numbers: map[string]string{"displacement": "1.8"},
	}
}

// judge makes a judgement by the newest revisions, or by the labels that the line gives, and by what
// the job says.
func (c *composer) judge(verdict string, warnings []string) *recordv1.Judgement {
	d, _ := c.Newest(Definitions, "d")
	l, _ := c.Newest(Limits, c.or("by", "l"))
	j := &recordv1.Judgement{
		Definition: &recordv1.Revision{Name: "d", Sha256: d.GetSha256()},
		Limits:     &recordv1.Revision{Name: c.or("by", "l"), Sha256: l.GetSha256()},
		Verdict:    verdict, Warnings: warnings, ReportSha256: c.h.sha("report"),
	}
	if v, ok := c.named["def"]; ok {
		j.Definition.Sha256 = sha(v)
	}
	if v, ok := c.named["lim"]; ok {
		j.Limits.Sha256 = sha(v)
	}
	if v, ok := c.named["warn"]; ok {
		j.Warnings, j.Verdict = list(v, ","), "warning"
	}
	j.Verdict = c.or("verdict", j.Verdict)
	return j
}

// judgeJob makes a judgement of a job, against its read as found.
func (c *composer) judgeJob(job *recordv1.Job, verdict string, warnings []string) *recordv1.Judgement {
	if name := job.GetLimits().GetName(); name != "" && c.named["by"] == "" {
		c.named["by"] = name
	}
	j := c.judge(verdict, warnings)
	j.Fuel, j.Numbers, j.BaseSha256 = job.GetFuel(), job.GetNumbers(), AsFound(job).GetImage().GetSha256()
	return j
}

func (c *composer) image(label string) *recordv1.Image {
	return &recordv1.Image{
		Sha256: c.h.sha(label), Size: 16, FileFormat: "raw", Ranges: []*calibrationv1.AddressRange{{Start: 0, End: 16}},
	}
}

func (c *composer) jobBody(a *recordv1.Action) {
	n, subNumber := dotted(c.arg(0))
	job, _ := c.Job(n)
	switch c.verb {
	case "reads":
		a.Body = &recordv1.Action_Read{Read: c.read(n, job)}
	case "voids":
		a.Body = &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: n, Read: toNumber(c.arg(1)), Because: "another car's"}}
	case "runs":
		r := &recordv1.AddRun{
			Job: n, When: c.arg(1), FileSha256: c.h.sha("run" + c.arg(1)), ChannelsSha256: c.h.sha("channels"), FileName: c.seal("file_name", "sweep.csv"), Of: c.or("of", ""),
		}
		if c.has("danger") {
			r.Danger, r.CheckSha256 = true, c.h.sha("knock")
		}
		a.Body = &recordv1.Action_Run{Run: r}
	case "notes":
		note := &recordv1.AddNote{Job: n, Submission: subNumber, Table: c.or("table", ""), Text: c.seal("text", c.arg(1))}
		for _, f := range list(c.or("file", ""), ",") {
			note.Files = append(note.Files, &recordv1.NoteFile{Sha256: c.h.sha(f), Size: 5, Name: c.seal("name", f)})
		}
		a.Body = &recordv1.Action_Note{Note: note}
	case "submits":
		a.Body = &recordv1.Action_Submission{Submission: &recordv1.Submit{
			Job: n, Image: c.image(c.arg(1)), From: c.number("from", 0), Judgement: c.judgeJob(job, "clear", nil),
			Note: c.seal("note", "more air, more fuel"), FileName: c.seal("file_name", c.arg(1)+".bin"), Corridor: c.inCorridor(n),
		}}
	default:
		c.subBody(a, job, n, subNumber)
	}
}

func (c *composer) read(n uint32, job *recordv1.Job) *recordv1.AddRead {
	check := c.judgeJob(job, "clear", nil)
	check.BaseSha256 = ""
	r := &recordv1.AddRead{
		Job: n, Car: c.number("car", job.GetCar()), Image: c.image(c.arg(1)), Check: check,
		Frame: c.seal("frame", c.or("frame", "")), FileName: c.seal("file_name", "read.bin"),
	}
	if in := c.InCar(r.GetCar()); in.GetKnown() {
		r.LastKnown = &recordv1.LastKnown{
			Job: in.GetJob(), Submission: in.GetSubmission(), ImageSha256: in.GetImageSha256(), Same: !c.has("differs"),
		}
		if c.has("differs") {
			r.LastKnown.ReportSha256 = c.h.sha("report")
		}
	}
	return r
}

func (c *composer) subBody(a *recordv1.Action, job *recordv1.Job, n, subNumber uint32) {
	sub := SubmissionOf(job, subNumber)
	img := sub.GetImage().GetSha256()
	if sub == nil {
		img = sha("none")
	}
	switch c.verb {
	case "signs":
		was := sub.GetJudgement()
		j := c.judgeJob(job, was.GetVerdict(), was.GetWarnings())
		so := &recordv1.SignOff{
			Job: n, Submission: subNumber, ImageSha256: img, Judgement: j, ByAuthor: c.has("author"), Reason: c.or("reason", ""), Because: map[string]string{},
		}
		because := j.GetWarnings()
		if b, ok := c.named["because"]; ok {
			because = list(b, ",")
		}
		for _, k := range because {
			so.Because[k] = "seen on the road"
		}
		a.Body = &recordv1.Action_SignOff{SignOff: so}
	case "returns":
		a.Body = &recordv1.Action_Return{Return: &recordv1.Return{Job: n, Submission: subNumber, ImageSha256: img, Reason: "too much advance"}}
	case "withdraws":
		a.Body = &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: n, Submission: subNumber}}
	case "collects":
		k := &recordv1.Collect{Job: n, Submission: subNumber, ImageSha256: img, CarCheckedBy: c.or("by-car", "")}
		if signed, _, _ := Approved(job, sub); subNumber > 0 {
			k.Judgement = c.judgeJob(job, signed.GetVerdict(), signed.GetWarnings())
		} else {
			k.ImageSha256 = AsFound(job).GetImage().GetSha256()
		}
		a.Body = &recordv1.Action_Collect{Collect: k}
	case "reads-back":
		r := &recordv1.AddReadback{Job: n, Submission: subNumber, Image: c.image(c.arg(1)), Matches: !c.has("differs"), FileName: c.seal("file_name", "back.bin")}
		if c.has("differs") {
			r.ReportSha256 = c.h.sha("report")
		}
		a.Body = &recordv1.Action_ReadBack{ReadBack: r}
	case "cannot-read":
		a.Body = &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: n, Submission: subNumber, NotPossible: "the controller locks reading"}}
	default:
		c.h.t.Fatalf("no verb %q", c.verb)
	}
}
