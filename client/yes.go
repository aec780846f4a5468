package client

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// Yes is who said yes to a submission: to that very one, or in advance.
type Yes struct {
	Judgement *recordv1.Judgement // what it covers
	By        *recordv1.Event     // the sign-off, or the opening of the corridor
	Corridor  *recordv1.Corridor  // nil where the submission itself was signed off
	ByAuthor  bool                // in a one-person workshop
	Reason    string              // of an author, or of a corridor
}

// YesTo is nil where nobody said yes to a submission.
func YesTo(j *recordv1.Job, sub *recordv1.Submission) *Yes {
	signed, by, corridor := record.Approved(j, sub)
	if by == nil {
		return nil
	}
	y := &Yes{Judgement: signed, By: by, Corridor: corridor, ByAuthor: sub.GetSignOff().GetByAuthor(), Reason: sub.GetSignOff().GetReason()}
	if corridor != nil {
		y.ByAuthor, y.Reason = corridor.GetAsked().GetByAuthor(), corridor.GetAsked().GetReason()
	}
	return y
}

// InAdvance says which corridor the yes is, and whose; when is the time of its opening as it is shown.
func (y *Yes) InAdvance(when string) string {
	return fmt.Sprintf("released by corridor %s, which %s signed on %s in advance", record.CorridorName(y.Corridor), OneLine(y.By.GetPerson()), when)
}

// Says is whose yes it is in a line, with its time and entry.
func (y *Yes) Says() string {
	text := "signed by " + eventText(y.By)
	if y.Corridor != nil {
		text = fmt.Sprintf("%s (entry %d)", y.InAdvance(y.By.GetSignedAt()), y.By.GetEntry())
	}
	return text + y.byAuthor()
}

// byAuthor is said wherever an author signed their own.
func (y *Yes) byAuthor() string {
	if !y.ByAuthor {
		return ""
	}
	return "; signed by its author: " + OneLine(y.Reason)
}

// Bounds are the tables of a corridor, and how far each may go, one a line.
func Bounds(asked *recordv1.OpenCorridor) (lines []string) {
	for _, t := range asked.GetTables() {
		unit := ""
		if u := t.GetUnit(); u != "" && u != "1" {
			unit = " " + OneLine(u)
		}
		lines = append(lines, fmt.Sprintf("%s at most %s%s up and %s%s down", OneLine(t.GetTable()), t.GetUp(), unit, t.GetDown(), unit))
	}
	return lines
}

// SomeTables are so many lines of a long list, a table each, and how many there are more.
func SomeTables(lines []string, most int) []string {
	if more := len(lines) - most; more > 1 {
		return append(lines[:most:most], fmt.Sprintf("and %d tables more", more))
	}
	return lines
}

// CorridorRows are what a corridor says, for columns: a label and what stands beside it.
func (c *Client) CorridorRows(j *recordv1.Job, corridor *recordv1.Corridor) ([][]string, error) {
	asked := corridor.GetAsked()
	rows := [][]string{{"starts from", startSays(j, asked)}, {"for maps of", OneLine(strings.Join(asked.GetAuthors(), ", "))}}
	for i, line := range Bounds(asked) {
		rows = append(rows, []string{firstOf(i, "may change"), line})
	}
	rows = append(rows, []string{"verdict", "at most " + asked.GetMost()}, []string{"maps", fmt.Sprint(asked.GetMaps())})
	for _, judged := range []struct {
		kind string
		rev  *recordv1.Revision
	}{{record.Definitions, asked.GetDefinition()}, {record.Limits, asked.GetLimits()}} {
		f, err := look(c, func(s *record.State) (*recordv1.CatalogFile, error) {
			f, _ := s.ByHash(judged.kind, judged.rev.GetSha256())
			return f, nil
		})
		if err != nil {
			return nil, err
		}
		rows = append(rows, []string{judged.kind, fmt.Sprintf("%s, revision %d", OneLine(judged.rev.GetName()), f.GetRevision())})
	}
	rows = append(rows, []string{"fuel", OneLine(asked.GetFuel())})
	for i, name := range slices.Sorted(maps.Keys(asked.GetNumbers())) {
		rows = append(rows, []string{firstOf(i, "numbers"), fmt.Sprintf("%s %s", OneLine(name), OneLine(asked.GetNumbers()[name]))})
	}
	if asked.GetReason() != "" {
		rows = append(rows, []string{"because", OneLine(asked.GetReason())})
	}
	if asked.GetByAuthor() {
		rows = append(rows, []string{"", "signed by its author"})
	}
	return rows, nil
}

// firstOf is a label for the first of several rows alone.
func firstOf(i int, label string) string {
	if i > 0 {
		return ""
	}
	return label
}

// CorridorMeans is what somebody who signs a corridor must have read.
const CorridorMeans = "Each map of these authors that lies inside it is a release when it is submitted: nobody looks at it before it goes to the car.\n" +
	"It never covers a warning, and covers nothing more once definition, limits, fuel or numbers of the job are others, or what it starts\n" +
	"from was taken back. The one map that stays is signed off by itself at the end."

// CorridorRow says in a line what a corridor is and what became of it.
func CorridorRow(j *recordv1.Job, c *recordv1.Corridor) string {
	text := fmt.Sprintf("%s; from %s, for maps of %s; signed by %s", CorridorState(c), startSays(j, c.GetAsked()),
		OneLine(strings.Join(c.GetAsked().GetAuthors(), ", ")), eventText(c.GetOpened()))
	if reason := c.GetAsked().GetReason(); reason != "" {
		text += ", because: " + OneLine(reason)
	}
	if e := c.GetClosed(); e != nil {
		text += "; closed by " + eventText(e)
		if c.GetBecause() != "" {
			text += ": " + OneLine(c.GetBecause())
		}
	}
	if c.GetKept() != 0 {
		text += fmt.Sprintf("; %s stays", record.Name{Job: c.GetJob(), Part: record.ASubmission, N: c.GetKept()})
	}
	return text
}

func eventText(e *recordv1.Event) string {
	return fmt.Sprintf("%s, %s (entry %d)", OneLine(e.GetPerson()), e.GetSignedAt(), e.GetEntry())
}

// startSays is what a corridor starts from, in words.
func startSays(j *recordv1.Job, asked *recordv1.OpenCorridor) string {
	name := CorridorStart(j, asked)
	if asked.GetFrom() == 0 {
		return fmt.Sprintf("the read as found (%s)", name)
	}
	return name.String()
}

// CorridorState says how far a corridor is used, and whether it still covers anything.
func CorridorState(c *recordv1.Corridor) string {
	used := fmt.Sprintf("%d of %d maps", c.GetReleased(), c.GetAsked().GetMaps())
	switch {
	case c.GetState() != corridorOpen:
		return fmt.Sprintf("closed, %s", used)
	case c.GetEnded() != "":
		return fmt.Sprintf("open, %s, and covers nothing more: %s", used, OneLine(c.GetEnded()))
	}
	return "open, " + used
}
