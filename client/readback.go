package client

import (
	"context"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Found is what a read-back showed. Report says how it differs, and is nil where it matches.
type Found struct {
	Readback *recordv1.Readback
	Report   *calibrationv1.Report
	Why      string

	Layout          *definition.Layout // with the two images that Report compares; nil where it is
	Written, Actual []byte
}

// Readback compares an image read after writing with what was collected, and enters it.
func (c *Client) Readback(ctx context.Context, number uint32, path string, format image.Format) (*Found, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	_, job, err := c.job(number)
	if err != nil {
		return nil, err
	}
	candidates, err := written(job)
	if err != nil {
		return nil, err
	}
	rules, err := c.rules(ctx, job.Definition, job.Limits)
	if err != nil {
		return nil, err
	}
	p, err := ReadFile(path, format, rules.Layout)
	if err != nil {
		return nil, err
	}
	add := &recordv1.AddReadback{Job: number, Image: p.Image}
	var f *Found
	var blobs []blob
	for _, w := range candidates {
		found, report, err := c.matches(ctx, job, w, p, rules)
		if err != nil {
			return nil, err
		}
		if f == nil || found.Why == "" {
			f, blobs, add.Submission = found, report, w.submission
		}
		if f.Why == "" {
			break
		}
	}
	add.Matches = f.Why == ""
	if len(blobs) > 0 {
		add.ReportSha256 = HashHex(blobs[0].bytes)
	}
	return c.enterReadback(ctx, add, f, append(blobs, blob{path, p.Bytes})...)
}

// NotPossible enters that this controller cannot be read back, and why.
func (c *Client) NotPossible(ctx context.Context, number uint32, why string) (*Found, error) {
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	_, job, err := c.job(number)
	if err != nil {
		return nil, err
	}
	w, err := written(job)
	if err != nil {
		return nil, err
	}
	return c.enterReadback(ctx, &recordv1.AddReadback{Job: number, Submission: w[0].submission, NotPossible: why}, &Found{})
}

func (c *Client) enterReadback(ctx context.Context, add *recordv1.AddReadback, f *Found, blobs ...blob) (*Found, error) {
	if _, err := c.act(ctx, &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: add}}, blobs...); err != nil {
		return nil, err
	}
	_, job, err := c.job(add.Job)
	if err != nil {
		return nil, err
	}
	if len(job.ReadBacks) == 0 {
		return nil, distrust("job %d has no read-back after it was admitted", add.Job)
	}
	f.Readback = job.ReadBacks[len(job.ReadBacks)-1]
	return f, nil
}

// taken is what was taken to the bay last.
type taken struct {
	submission uint32 // 0 is the original
	image      *recordv1.Image
}

// written is what may have been written to the car, likeliest first: what was collected last, and
// where that is the original, which is also taken to be kept, the release collected before it.
func written(job *recordv1.Job) ([]taken, error) {
	if len(job.Collections) == 0 {
		return nil, usage(fmt.Sprintf("witnessmark collect %d --out FILE", job.Number), "nothing of job %d has been collected, so nothing was written", job.Number)
	}
	var out []taken
	for _, c := range slices.Backward(job.Collections) {
		if len(out) > 0 && c.Submission == 0 {
			continue
		}
		im := imageOf(job, c.ImageSha256)
		if im == nil {
			return nil, fmt.Errorf("job %d has no image %s, which was collected", job.Number, short(c.ImageSha256))
		}
		out = append(out, taken{c.Submission, im})
		if c.Submission != 0 {
			break
		}
	}
	return out, nil
}

// matches compares what was written with what was found; where they differ, the blob is the report.
func (c *Client) matches(ctx context.Context, job *recordv1.Job, w taken, found *Picture, rules *Rules) (*Found, []blob, error) {
	lay := rules.Layout
	p, err := c.picture(ctx, "what was written", w.image, lay)
	if err != nil {
		return nil, nil, err
	}
	same, why := compare.SameInCar(lay, p.Side(lay), found.Side(lay))
	if same {
		return &Found{}, nil, nil
	}
	if why == "" {
		why = "it differs"
	}
	report, err := compare.Compare(compare.Input{Base: p.Side(lay), Candidate: found.Side(lay), Layout: lay,
		Limits: rules.Limit, Job: jobFacts(job)})
	if err != nil {
		return nil, nil, err
	}
	b, err := marshal(report)
	return &Found{Report: report, Why: why, Layout: lay, Written: p.Bytes, Actual: found.Bytes}, []blob{{"read-back report", b}}, err
}

// sameVehicle says whether two images, or an image and a frame number, are of one car: every
// identity field of a fresh read must be the file's, and a frame number that of one field that
// belongs to the car. Private fields are compared and never shown.
func sameVehicle(lay *definition.Layout, ours, fresh []byte, frame string) error {
	framed := frame == "" || !hasVehicle(lay)
	for _, f := range lay.Identity {
		if f.Vehicle && normalFrame(f.Text(ours)) == normalFrame(frame) {
			framed = true
		}
		if fresh != nil && f.Text(ours) != f.Text(fresh) {
			return distrustCar("the fresh read is of another car or another software: identity field %s differs", f.ID)
		}
	}
	if !framed {
		return distrustCar("the frame number typed is not that of the file")
	}
	return nil
}

func distrustCar(format string, args ...any) error {
	return &Error{Kind: Distrust, Text: fmt.Sprintf(format, args...), Hint: "nothing was written; make sure that the right car is in the bay"}
}

// normalFrame compares frame numbers as the ledger's digests do.
func normalFrame(s string) string { return record.FrameDigest("", s) }
