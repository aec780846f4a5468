package desk

import (
	"fmt"
	"net/url"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// noteLine is a note as it stands on a page.
type noteLine struct {
	*recordv1.Note
	Job   uint32
	About string // which table; empty where the page says it
}

// notesOf are the notes about a submission, or about one of its tables.
func notesOf(j *recordv1.Job, sub uint32, table string) (out []noteLine) {
	for _, n := range j.GetNotes() {
		if n.GetSubmission() != sub || table != "" && n.GetTable() != table {
			continue
		}
		l := noteLine{Note: n, Job: j.GetNumber(), About: n.GetTable()}
		if table != "" {
			l.About = ""
		}
		out = append(out, l)
	}
	return out
}

// noteAt is where a note about a submission or one of its tables is written.
func noteAt(j *recordv1.Job, sub uint32, table string) string {
	return fmt.Sprintf("/job/%d/note?submission=%d&table=%s", j.GetNumber(), sub, url.QueryEscape(table))
}
