package desk

import (
	"context"
	"fmt"
	"html/template"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// offer is the release that is to be collected next.
type offer struct {
	*client.Review
	Name     string
	Says     string // whose yes it has
	Findings template.HTML
	Differs  []differing
	Untold   string // why not all of that is told
	ReadBack bool   // what was collected last is to be read back first
}

// differing is how a release differs from another image, in small.
type differing struct {
	From, Href string
	Cards      []tableCard
	More       int
}

// offers finds what is to be collected next: the release that collecting takes by default, unless that was collected last. Where it
// is nil, why says why: the page is there all the same, since it also tells of recalls.
func (d *Desk) offers(ctx context.Context, bay *client.Bay) (o *offer, why string) {
	s, last := bay.Release, bay.LastOf
	switch {
	case bay.Job.GetState() == "closed":
		return nil, "The job is closed."
	case s == nil:
		return nil, sentence(bay.None.Error()) + "."
	case last.GetNumber() == s.GetNumber() && s.GetCollected():
		return nil, fmt.Sprintf("%s was collected, and nothing newer is released.", client.Name(s))
	}
	rev, err := d.client.Review(ctx, s.GetJob(), s.GetNumber())
	if err != nil {
		return nil, fmt.Sprintf("%s is released, and cannot be shown: %s.", client.Name(s), d.plain(err))
	}
	drawn := comparisonOf(rev)
	o = &offer{Review: rev, Name: client.Name(s), Says: sentence(approvedBy(rev.Job, rev.Submission)), ReadBack: bay.First(true) != ""}
	o.Findings = drawn.Brief(rev.Report.GetFindings(), hrefIn(drawn, "/sheet/"+o.Name))
	if err := d.differences(ctx, o, last); err != nil {
		o.Untold = d.plain(err)
	}
	return o, ""
}

// differences set what is offered beside the one before it, which is what was collected last, and beside where the day began.
func (d *Desk) differences(ctx context.Context, o *offer, before *recordv1.Submission) error {
	start, err := d.client.StartOf(ctx, record.CorridorOf(o.Job, o.Submission.GetByCorridor()))
	if err != nil {
		return err
	}
	which := "collected last"
	if before == nil && o.Corridor != nil {
		before, which = o.Corridor.Before(), "the one before"
	}
	known := before == nil || before.GetNumber() == o.Submission.GetNumber() || start != nil && start.Submission.GetNumber() == before.GetNumber()
	if !known {
		was, err := d.client.Review(ctx, before.GetJob(), before.GetNumber())
		if err != nil {
			return err
		}
		if err := o.differs(was, which); err != nil {
			return err
		}
	}
	return o.differs(start, "where the corridor starts")
}

// differs adds how the release differs from another; nil is the read as found.
func (o *offer) differs(was *client.Review, what string) error {
	c, at, one := comparisonOf(o.Review), "/sheet/"+o.Name, differing{From: "the read as found", Href: "/sheet/" + o.Name + "#tables"}
	if was != nil {
		name := client.Name(was.Submission)
		one.From = name + ", " + what
		at, one.Href = betweenAt(was, o.Review), fmt.Sprintf("/job/%d/between?a=%s&b=%s", o.Job.GetNumber(), name, o.Name)
		var err error
		if c.Report, err = client.Between(was, o.Review); err != nil {
			return err
		}
		_, c.Base = was.Images()
	}
	for _, folder := range cardsOf(c, at, mostDiffering) {
		one.Cards = append(one.Cards, folder.Cards...)
	}
	one.More = max(0, len(one.Cards)-mostDiffering)
	one.Cards = one.Cards[:len(one.Cards)-one.More]
	o.Differs = append(o.Differs, one)
	return nil
}
