package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// happened is one line of a job card, in the order of the ledger.
type happened struct {
	*recordv1.CarEvent
	What, Text string // what is said of it in a word, and in full
	Said       string // what its author added
	Href       string
	Files      []*recordv1.NotedFile
	Get        string   // the name by which a working copy is had; empty for none
	Held       *heldRun // of a run
}

// offered is a deed on the card: why this person may not do it now, or that it is the likely one.
type offered struct {
	Href, Label, Why string
	Strong           bool
}

type cardBody struct {
	Job                *recordv1.Job
	Far                *far // nil where the car is as found
	Alarms             []alarmLine
	Happened           []happened
	Earlier, Later     string    // the addresses of what happened before and after that; empty for none
	Deeds              []offered // the likely first
	More               []offered // seldom done
	Not                []offered // what cannot be done now
	Releases           []string
	Corridors          []corridorLine
	Outside            []waitingLine // what waits because no corridor covered it
	Definition, Limits string        // with their revisions
	Pairs              bool          // two submissions can be compared
	Numbers            [][]string    // of the car and its parts, and what they come to
	Others             []uint32      // other jobs of this car
}

func (d *Desk) card(w http.ResponseWriter, r *http.Request) error {
	p := d.base(r, "")
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	p.Title, p.Live = fmt.Sprintf("Job %d, %s", j.GetNumber(), text(j.GetPlate())), true
	b := cardBody{Job: j, Pairs: len(j.GetSubmissions()) > 1, Numbers: client.NumberRows(j), Corridors: corridorLines(j)}
	if b.Definition, err = d.revision(client.Definitions, j.GetDefinition()); err != nil {
		return err
	}
	if b.Limits, err = d.revision(client.Limits, j.GetLimits()); err != nil {
		return err
	}
	for _, s := range releases(j) {
		b.Releases = append(b.Releases, client.Name(s))
	}
	if b.Alarms, err = d.alarmsOf(p, j.GetCar()); err != nil {
		return err
	}
	err = d.client.View(func(s *record.State) error {
		b.Happened, b.Others = story(j, s.CarHistory(j.GetCar()).GetEvents(), named(p, j))
		return nil
	})
	if err != nil {
		return err
	}
	b.turnTo(numberIn(r, "skip"))
	runs := d.heldOf(r.Context(), j.GetRuns())
	for i := range b.Happened {
		if h, ok := runs[b.Happened[i].Event.GetEntry()]; ok {
			b.Happened[i].Held = &h
		}
	}
	b.Outside = d.waitingOf(r.Context(), j, func(s *recordv1.Submission) bool { return s.GetNotCovered() != "" })
	b.Far = d.farOf(r.Context(), j.GetInCar())
	b.offer(p, j, d.client.OnePerson())
	d.show(w, p, http.StatusOK, "card", b)
	return nil
}

// mostHappened is how much of what happened stands on one page of a card.
const mostHappened = 100

// turnTo leaves of what happened a page, so much before the newest.
func (b *cardBody) turnTo(skip int) {
	end := max(0, len(b.Happened)-skip)
	from := max(0, end-mostHappened)
	if from > 0 {
		b.Earlier = fmt.Sprintf("?skip=%d#story", len(b.Happened)-from)
	}
	if end < len(b.Happened) {
		b.Later = fmt.Sprintf("?skip=%d#story", max(0, skip-mostHappened))
	}
	b.Happened = b.Happened[from:end]
}

// revision calls a file of the catalogue by its name, says which revision it is, and whether there is a newer one.
func (d *Desk) revision(kind string, of *recordv1.Revision) (string, error) {
	files, err := d.client.Documents(kind)
	is, newest := uint32(0), uint32(0)
	for _, f := range files {
		if f.GetName() == of.GetName() {
			newest = max(newest, f.GetRevision())
			if f.GetSha256() == of.GetSha256() {
				is = f.GetRevision()
			}
		}
	}
	said := fmt.Sprintf("%s, revision %d", of.GetName(), is)
	if is < newest {
		said += fmt.Sprintf(" (the newest is %d)", newest)
	}
	return said, err
}

// offer sorts the deeds by whether this person may do them now; what the job waits for comes first.
func (b *cardBody) offer(p page, j *recordv1.Job, onePerson bool) {
	likely := map[string]bool{}
	for _, w := range record.WaitsOf(j) {
		if !w.May(p.Me, onePerson) {
			continue
		}
		if do := does[w.What]; do.deed != "" {
			likely[do.deed] = true
		} else {
			b.Deeds = append(b.Deeds, offered{Href: "/sheet/" + w.Of.String(), Label: do.word + " " + w.Of.String(), Strong: true})
		}
	}
	for _, o := range deeds() {
		one := offered{Href: fmt.Sprintf("/job/%d/%s", j.GetNumber(), o.path), Label: o.label, Why: o.why(p, j), Strong: likely[o.path]}
		switch {
		case j.GetState() == "closed" && !o.closed: // what takes nothing more
		case one.Why != "" && !o.more:
			b.Not = append(b.Not, one)
		case one.Why != "":
		case o.more:
			b.More = append(b.More, one)
		default:
			b.Deeds = append(b.Deeds, one)
		}
	}
	if record.OpenIn(j) != nil {
		b.Deeds = append(b.Deeds, offered{Href: roadAt(j), Label: "The rolling-road page", Strong: true})
	}
	slices.SortStableFunc(b.Deeds, func(a, b offered) int {
		switch {
		case a.Strong == b.Strong:
			return 0
		case a.Strong:
			return -1
		}
		return 1
	})
}

// releases are what can be collected of a job.
func releases(j *recordv1.Job) (out []*recordv1.Submission) {
	for _, s := range j.GetSubmissions() {
		if record.IsRelease(s) {
			out = append(out, s)
		}
	}
	return out
}

// story is everything that happened to a job, out of what happened to its car; others are the car's
// other jobs.
func story(j *recordv1.Job, events []*recordv1.CarEvent, copies map[uint32]record.Name) (out []happened, others []uint32) {
	said := saidAt(j)
	for _, e := range events {
		if n := e.GetJob(); n != j.GetNumber() {
			if !slices.Contains(others, n) {
				others = append(others, n)
			}
			continue
		}
		h := happened{CarEvent: e, Said: said[e.GetEvent().GetEntry()]}
		if name, ok := copies[e.GetEvent().GetEntry()]; ok {
			h.Get = name.String()
			if name.Part == record.ARead || name.Part == record.AReadback {
				h.Href = reportAt(name)
			}
		}
		h.What, h.Text, _ = strings.Cut(e.GetWhat(), ": ")
		if e.GetSubmission() != 0 && h.Href == "" {
			h.Href = "/sheet/" + ofJob(e.GetJob(), e.GetSubmission())
		}
		for _, n := range j.GetNotes() {
			if n.GetAdded().GetEntry() == e.GetEvent().GetEntry() {
				h.Files = n.GetFiles()
			}
		}
		out = append(out, h)
	}
	return out, others
}

// saidAt is what people added to what they did, by entry.
func saidAt(j *recordv1.Job) map[uint32]string {
	out := map[uint32]string{}
	for _, s := range j.GetSubmissions() {
		out[s.GetSubmitted().GetEntry()] = text(s.GetNote())
		if from := s.GetFrom(); from != 0 {
			out[s.GetSubmitted().GetEntry()] += fmt.Sprintf("\nStarted from %s.", ofJob(j.GetNumber(), from))
		}
		if s.GetSignOff().GetByAuthor() {
			out[s.GetSigned().GetEntry()] = s.GetSignOff().GetReason()
		}
	}
	for _, n := range j.GetNotes() {
		out[n.GetAdded().GetEntry()] = strings.TrimPrefix(n.GetTable()+": "+text(n.GetText()), ": ")
	}
	for _, c := range j.GetCollections() {
		switch c.GetCarCheckedBy() {
		case "fresh-read":
			out[c.GetCollected().GetEntry()] = "the car was told by a fresh read"
		case "frame":
			out[c.GetCollected().GetEntry()] = "the car was told by its frame number"
		}
	}
	if turns := j.GetTurns(); len(turns) > 0 {
		out[turns[len(turns)-1].GetEntry()] = j.GetBecause()
	}
	return out
}
