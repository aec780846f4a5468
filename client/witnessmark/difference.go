package main

import (
	"fmt"
	"io"

	"witnessmark/client"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// difference is how a submission differs from another image of its job.
type difference struct {
	report *calibrationv1.Report
	title  string // of which
	sheet  sheet.Options
}

// compared is how a submission differs from another, which is so in words, or from the read as found where that is nil.
func compared(was, is *client.Review, which string) (d difference, err error) {
	base, candidate := is.Images()
	d = difference{is.Report, "since the car came", sheet.Options{Layout: is.Layout(), Base: base, Candidate: candidate}}
	if was != nil {
		d.title = fmt.Sprintf("since %s, %s", client.Name(was.Submission), which)
		_, d.sheet.Base = was.Images()
		d.report, err = client.Between(was, is)
	}
	return d, err
}

// brief writes it in short.
func (d difference) brief(w io.Writer) error { return sheet.WriteBrief(w, d.report, d.title, d.sheet) }
