package desk

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/doubt"
	"witnessmark/tables/severity"
)

// remark is a doubt and the line that it is about.
type remark struct {
	doubt.Doubt
	Quote string
}

// worse is a submission that would be judged worse.
type worse struct {
	Name, Plate string
	*recordv1.JudgedWorse
}

// look finds out what is to be said of the text.
func (d *Desk) look(r *http.Request, a *adding) error {
	doubts, err := d.client.DoubtsOf(r.Context(), a.Kind, a.File, []byte(a.Text))
	if err != nil {
		return err
	}
	if doubt.Worst(doubts) == severity.Danger {
		a.Image = "" // by what has a fault nothing is read
	}
	if a.Image != "" {
		read, err := d.client.DoubtsRead(a.File, []byte(a.Text), a.Image)
		if a.Image = filepath.Base(a.Image); err != nil {
			a.ImageWhy = d.plain(err)
		}
		doubts = doubt.InOrder(append(doubts, read...))
	}
	all := strings.Split(a.Text, "\n")
	for _, one := range doubts {
		if one.Severity == severity.Danger {
			a.Faults++
		}
		if len(a.Doubts) == mostSaid {
			a.MoreDoubts++
			continue
		}
		m := remark{Doubt: one}
		if one.Line > 0 && one.Line <= len(all) {
			m.Quote = all[one.Line-1]
		}
		a.Doubts = append(a.Doubts, m)
	}
	if a.Faults > 0 {
		return nil
	}
	if a.Looked, err = d.client.LookAtDocument(r.Context(), a.Kind, a.File, []byte(a.Text)); err != nil {
		a.Why, a.Looked.Name = d.plain(err), ""
		return nil
	}
	a.Becomes = becomes(a.Looked)
	var name string
	var shown uint32
	if _, err := fmt.Sscan(r.FormValue("becomes"), &name, &shown); err == nil && name == a.Looked.Name && shown < a.Looked.Revision {
		a.Since = fmt.Sprintf("%s?revision=%d&against=%d#text", a.At(name), a.Looked.Revision-1, shown-1)
	}
	a.Worse, a.WorseIs = d.worseOf(a.Looked.Worse), worseSaid(a.Looked.Worse)
	return nil
}

func (d *Desk) worseOf(list []*recordv1.JudgedWorse) (out []worse) {
	for _, one := range list {
		m := worse{Name: subAt(one.GetJob(), one.GetSubmission()), JudgedWorse: one}
		if j, err := d.client.Job(one.GetJob()); err == nil {
			m.Plate = text(j.GetPlate())
		}
		out = append(out, m)
	}
	return out
}

// becomes is the revision that a text would be.
func becomes(l client.Looked) string { return fmt.Sprint(l.Name, " ", l.Revision) }

// worseSaid is what is agreed to.
func worseSaid(list []*recordv1.JudgedWorse) string {
	var out []string
	for _, one := range list {
		out = append(out, fmt.Sprint(subAt(one.GetJob(), one.GetSubmission()), " ", one.GetVerdict(), " ", one.GetWarnings()))
	}
	return strings.Join(out, "; ")
}
