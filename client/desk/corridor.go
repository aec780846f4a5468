package desk

import (
	"fmt"
	"slices"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// corridorDeed is as a card offers it; its form has pages of its own, since it is read before it is signed.
var corridorDeed = deed{path: "corridor", label: "Open a corridor", kind: "corridor", more: true,
	not: func(j *recordv1.Job) string {
		switch c := record.OpenIn(j); {
		case record.AsFound(j) == nil:
			return noRead
		case c != nil:
			return fmt.Sprintf("Corridor %d is open; close it first.", c.GetNumber())
		}
		return ""
	}}

var closeCorridorDeed = deed{path: "corridor-close", label: "Close the corridor", kind: "corridor_close", more: true,
	not: func(j *recordv1.Job) string {
		if record.OpenIn(j) == nil {
			return "No corridor is open."
		}
		return ""
	},
	says: func(j *recordv1.Job) string {
		return fmt.Sprintf("Corridor %d releases nothing more. The one that stays is read back before the car leaves, and a lead is asked for a sign-off of it by itself; "+
			"the corridor's other releases, unless somebody signed them, can be collected no more.", record.OpenIn(j).GetNumber())
	},
	fields: func(f *filling) []field {
		why := because("Anything to say about it")
		why.Must = false
		return []field{keepField(f.job), why}
	},
	do: func(f *filling) (string, string, error) {
		c, err := f.desk.client.CloseCorridor(f.Context(), f.job.GetNumber(), f.value("keep"), f.value("because"))
		return fmt.Sprintf("You closed corridor %d.", c.GetNumber()), roadAt(f.job), err
	}}

// keepField picks what stays of an open corridor's releases; what was collected last comes first.
func keepField(j *recordv1.Job) field {
	c := record.OpenIn(j)
	out := field{Kind: "pick", Name: "keep", Label: "Which one stays", Hint: "It is the one that was collected last; collect another first, if that is to stay."}
	var last string
	for _, one := range j.GetCollections() {
		last = ofJob(j.GetNumber(), one.GetSubmission())
	}
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if s.GetByCorridor() == c.GetNumber() && record.IsRelease(s) {
			words := client.Name(s) + " by " + s.GetSubmitted().GetPerson()
			if client.Name(s) == last {
				words += ", collected last"
				out.Value = last
			}
			out.Options = append(out.Options, [2]string{client.Name(s), words})
		}
	}
	if out.Value == "" {
		out.Options = slices.Insert(out.Options, 0, [2]string{"", "none is named"})
	} else {
		out.Options = append(out.Options, [2]string{"", "none is named"})
	}
	return out
}

// corridorLine is a corridor as a card and the rolling-road page show it.
type corridorLine struct {
	*recordv1.Corridor
	Stands string // how far it is used, and whether it still covers anything
	From   string
	Bounds []string
	More   int // tables that are left out
}

// mostBounds keeps a card readable.
const mostBounds = 12

func asCorridorLine(c *recordv1.Corridor) corridorLine {
	l := corridorLine{Corridor: c, Stands: client.CorridorState(c), From: "the read as found", Bounds: client.Bounds(c.GetAsked())}
	if n := c.GetAsked().GetFrom(); n != 0 {
		l.From = ofJob(c.GetJob(), n)
	}
	l.More = max(0, len(l.Bounds)-mostBounds)
	l.Bounds = l.Bounds[:len(l.Bounds)-l.More]
	return l
}

func corridorLines(j *recordv1.Job) (out []corridorLine) {
	for _, c := range j.GetCorridors() {
		out = append(out, asCorridorLine(c))
	}
	return out
}

// wayTo are the releases of a corridor up to the one that stays; of any other submission there is none.
func wayTo(rev *client.Review) (out []*recordv1.Submission) {
	c := record.CorridorOf(rev.Job, rev.Submission.GetByCorridor())
	if c.GetKept() != rev.Submission.GetNumber() {
		return nil
	}
	for _, s := range rev.Job.GetSubmissions()[:c.GetKept()] {
		if s.GetByCorridor() == c.GetNumber() {
			out = append(out, s)
		}
	}
	return out
}

// boundsOf are those of the corridor by which a submission was released, where that is all the yes it has.
func boundsOf(rev *client.Review) []string {
	yes := client.YesTo(rev.Job, rev.Submission)
	if yes == nil || yes.Corridor == nil {
		return nil
	}
	line := asCorridorLine(yes.Corridor)
	if line.More > 0 {
		return append(line.Bounds, fmt.Sprintf("and %s", count(line.More, "more table")))
	}
	return line.Bounds
}
