package desk

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"sync"

	"witnessmark/client"
	"witnessmark/client/outcome"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

func roadAt(j *recordv1.Job) string { return fmt.Sprintf("/job/%d/road", j.GetNumber()) }

// roadBody is a job as whoever stands in the bay has it before them.
type roadBody struct {
	Job      *recordv1.Job
	Bay      *client.Bay
	Alarms   []alarmLine
	InCar    string        // the name of what is in the car; empty where nobody knows
	Owed     string        // what is to be read back, also before that is an alarm
	Day      *corridorLine // the newest corridor; nil for none
	Offer    *offer        // nil where nothing is to be collected
	Why      string        // then why
	Choose   bool          // there are releases all the same, and this person may collect one
	Cautions string
	Collects bool    // this person may
	Fields   []field // by which the car is told apart; they stay on the page
	Waiting  []waitingLine
	Last     *heldRun // what the last run showed; nil without a run
	RunOf    string   // the map that was in the car then
	Runs     [][]string
	NoRuns   string // why those that there are cannot be shown
	Files    []takenAt
	Stays    *recordv1.Submission // of the newest corridor, once it is closed
	Yes      *client.Yes          // to what stays by itself; nil for none
	Closes   bool                 // this person may close the corridor
}

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

// waitingLine is a submission that lies outside, or waits for another reason.
type waitingLine struct {
	*recordv1.Submission
	Says string
}

// takenAt is what was collected at this desk, and where its files are.
type takenAt struct {
	*takenFiles
	At string
}

// How much of a release, and of what waits, stands on the page.
const (
	mostDiffering = 6
	mostWaiting   = 3
)

const roadCautions = "Before it is loaded: car strapped, guards closed, fans and extraction on, nobody in line with the wheels, a second person at the stop. First loads short; stop at the first thing that is not as expected."

// road is what the technician at the rolling road has before them: it renews itself, and a key collects what is new.
func (d *Desk) road(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "")
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	b := roadBody{Job: j, Cautions: roadCautions, Collects: p.may(collectDeed.kind) == "" && j.GetState() != "closed", Closes: closeCorridorDeed.why(p, j) == "",
		Fields: []field{{Kind: "line", Name: "frame", Label: "Frame number of the car in the bay"}, {Kind: "file", Name: "fresh", Label: "or a fresh read of it"}, formatField("as the read came in")}}
	if b.Bay, err = d.client.Bay(j.GetNumber()); err != nil {
		return err
	}
	if b.Alarms, err = d.alarmsOf(p, j.GetCar()); err != nil {
		return err
	}
	for _, a := range j.GetAlarms() {
		if a.GetAlarm() == record.NotReadBack {
			b.Owed = sentence(a.GetSays())
		}
	}
	err = d.client.View(func(s *record.State) error {
		if in, known := s.PresumedIn(j.GetNumber()); known {
			b.InCar = in.String()
		}
		return nil
	})
	if err != nil {
		return err
	}
	if b.Offer, b.Why = d.offers(r.Context(), b.Bay); b.Offer == nil && len(releases(j)) > 1 {
		b.Choose = b.Collects
	}
	p.Live, p.Title = true, fmt.Sprintf("Rolling road: job %d, %s", j.GetNumber(), text(j.GetPlate()))
	if b.Offer != nil {
		p.Title = b.Offer.Name + " to collect: " + p.Title
	}
	b.ends()
	b.Waiting = d.waitingOf(r.Context(), j, func(*recordv1.Submission) bool { return true })
	d.runsBeside(r.Context(), &b)
	b.Files = d.takenOf(j)
	d.show(w, p, http.StatusOK, "road", b)
	return nil
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

// ends says how the day stands: its corridor, and of a closed one what stays.
func (b *roadBody) ends() {
	list := b.Job.GetCorridors()
	if len(list) == 0 {
		return
	}
	line := asCorridorLine(list[len(list)-1])
	b.Day, b.Stays = &line, record.SubmissionOf(b.Job, line.GetKept())
	if yes := client.YesTo(b.Job, b.Stays); b.Stays != nil && yes != nil && yes.Corridor == nil {
		b.Yes = yes
	}
}

// waitingOf are the newest of those that wait, and why.
func (d *Desk) waitingOf(ctx context.Context, j *recordv1.Job, among func(*recordv1.Submission) bool) (out []waitingLine) {
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if s.GetState() != record.Waiting || !among(s) || len(out) == mostWaiting {
			continue
		}
		one := waitingLine{s, "Waits for a sign-off."}
		if s.GetCorridor() != nil {
			if rev, err := d.client.Review(ctx, s.GetJob(), s.GetNumber()); err != nil {
				one.Says = d.plain(err)
			} else {
				one.Says = sentence(rev.Corridor.Says()) + "."
			}
		}
		out = append(out, one)
	}
	return out
}

// takenOf is what was collected of a job at this desk, the newest first.
func (d *Desk) takenOf(j *recordv1.Job) (out []takenAt) {
	d.taken.newest(func(id string, t *takenFiles) {
		if t.Job.GetNumber() == j.GetNumber() {
			out = append(out, takenAt{t, "/taken/" + id})
		}
	})
	return out
}

// runsBeside sets the job's runs beside the maps that they are of, and says what the last one showed.
func (d *Desk) runsBeside(ctx context.Context, b *roadBody) {
	runs := b.Job.GetRuns()
	if len(runs) == 0 {
		return
	}
	var err error
	if b.Runs, err = d.maps.of(ctx, d.client, b.Job); err != nil {
		b.NoRuns = d.plain(err)
	}
	last := runs[len(runs)-1]
	held := d.heldOf(ctx, runs[len(runs)-1:])[last.GetAdded().GetEntry()]
	b.Last, b.RunOf = &held, outcome.MapOf(b.Job, last)
}

// mapRuns remembers the runs of the job that was looked at last, side by side: they are read again only where there are others.
type mapRuns struct {
	mu   sync.Mutex
	key  string
	rows [][]string
}

// of are the rows, their heading first.
func (m *mapRuns) of(ctx context.Context, c *client.Client, j *recordv1.Job) ([][]string, error) {
	key := fmt.Sprint(j.GetNumber(), j.GetDefinition().GetSha256(), outcome.StartOf(j))
	for _, r := range j.GetRuns() {
		key += fmt.Sprint(" ", r.GetFileSha256(), r.GetChannelsSha256(), r.GetWhen(), outcome.MapOf(j, r))
	}
	if rows, ok := m.kept(key); ok {
		return rows, nil
	}
	lay, err := c.JobLayout(ctx, j)
	if err != nil {
		return nil, err
	}
	runs, err := c.Runs(ctx, j.GetNumber(), "")
	if err != nil {
		return nil, err
	}
	beside, start := outcome.MapRuns(j, runs, lay)
	rows := outcome.Columns(beside, start, outcome.Metric)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.key, m.rows = key, rows
	return rows, nil
}

func (m *mapRuns) kept(key string) (rows [][]string, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.rows, m.key == key
}
