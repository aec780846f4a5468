package record

import (
	"fmt"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/image"
)

var addRead = &kind{
	name:   "read",
	target: latestOf("read"),
	decide: decideRead,
	apply:  applyRead,
	brings: func(a *recordv1.Action) []Brought {
		r := a.GetRead()
		return append(images(r.GetImage()), reports(r.GetCheck().GetReportSha256(), r.GetLastKnown().GetReportSha256())...)
	},
}

func decideRead(d *decision) error {
	r := d.action.GetRead()
	j := d.job(r.GetJob())
	if err := checkImage("read.image", r.GetImage()); err != nil {
		return err
	}
	holes, err := image.FromMessages(r.GetHoles())
	if err != nil {
		return refuse(ReasonBadValue, "read.holes", "", "read.holes: %s", oneLine(err.Error()))
	}
	if len(holes) > 0 && !r.GetWithHoles() {
		return refuse(ReasonHoles, "read.holes", "", "read.holes: the read lacks %s, which the definition names; allowed: with_holes, or a whole read", rangeWords(holes))
	}
	if r.GetCar() != j.GetCar() && (AsFound(j) != nil || r.GetCar() == 0 || r.GetCar() > d.head.GetCars()) {
		return refuse(ReasonOtherCar, "read.car", fmt.Sprint(j.GetCar()), "read.car: is %d; allowed: the job's, %d", r.GetCar(), j.GetCar())
	}
	if err := d.judgement("read.check", j, "", r.GetCheck()); err != nil {
		return err
	}
	return d.lastKnown(r)
}

// rangeWords names the first few ranges.
func rangeWords(ranges []image.Range) string {
	const most = 5
	var words []string
	for _, r := range ranges[:min(most, len(ranges))] {
		words = append(words, fmt.Sprintf("0x%x to 0x%x", r.Start, r.End))
	}
	if more := len(ranges) - most; more > 0 {
		words = append(words, fmt.Sprintf("and %d ranges more", more))
	}
	return strings.Join(words, ", ")
}

// lastKnown wants a read to be compared with exactly what was last in the car.
func (d *decision) lastKnown(r *recordv1.AddRead) error {
	in, last := d.InCar(r.GetCar()), r.GetLastKnown()
	if !in.GetKnown() {
		if last != nil {
			return refuse(ReasonLastKnown, "read.last_known", "", "read.last_known: the ledger does not know what was last in this car; allowed: nothing")
		}
		return nil
	}
	if last.GetJob() != in.GetJob() || last.GetSubmission() != in.GetSubmission() || last.GetImageSha256() != in.GetImageSha256() {
		return refuse(ReasonLastKnown, "read.last_known", in.GetImageSha256(),
			"read.last_known: is not what was last in this car; allowed: %s, image %s", written(in.GetJob(), in.GetSubmission()), in.GetImageSha256())
	}
	if last.GetReportSha256() == "" {
		return nil
	}
	if last.GetSame() {
		return badValue("read.last_known.report_sha256", "nothing", "the read is said to be the same, so that there is nothing to report")
	}
	return checkHash("read.last_known.report_sha256", last.GetReportSha256())
}

func applyRead(c *change) {
	r := c.action.GetRead()
	n := uint32(0)
	c.changeJob(r.GetJob(), func(j *recordv1.Job) {
		n = uint32(len(j.GetReads()) + 1)
		j.Reads = append(j.Reads, &recordv1.Read{
			Number: n, Image: r.GetImage(), WithHoles: r.GetWithHoles(), Holes: r.GetHoles(), Car: r.GetCar(),
			Frame: shut(r.GetFrame()), FileName: shut(r.GetFileName()),
			Check: r.GetCheck(), LastKnown: r.GetLastKnown(), Added: c.event,
		})
	})
	words := fmt.Sprintf("read %d added", n)
	if AsFound(c.job(r.GetJob())).GetNumber() == n {
		words += ", as found"
	}
	switch last := r.GetLastKnown(); {
	case last == nil:
	case last.GetSame():
		words += fmt.Sprintf("; as job %d left it", last.GetJob())
	default:
		words += fmt.Sprintf("; not as job %d left it", last.GetJob())
	}
	c.tell(r.GetJob(), 0, r.GetImage().GetSha256(), r.GetCheck().GetVerdict(), "%s", words)
}

// written names what is written to a car: a submission, or the read as found.
func written(job, sub uint32) string {
	if sub == 0 {
		return fmt.Sprintf("the read as found of job %d", job)
	}
	return fmt.Sprintf("%d.%d", job, sub)
}
