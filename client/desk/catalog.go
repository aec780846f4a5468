package desk

import (
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/doubt"
)

// catalogKind is what a page of the catalogue is about.
type catalogKind struct {
	Kind    string
	Heading string // of many
}

// kindAt is the kind that the address names.
func kindAt(r *http.Request) (catalogKind, error) {
	switch k := r.PathValue("kind"); k {
	case client.Definitions:
		return catalogKind{k, "Definitions"}, nil
	case client.Limits:
		return catalogKind{k, "Limits"}, nil
	}
	return catalogKind{}, errAway
}

// At is the page of one name, or of all for none.
func (k catalogKind) At(name string) string {
	if name == "" {
		return "/catalog/" + k.Kind
	}
	return "/catalog/" + k.Kind + "/" + name
}

// users are the jobs that a name is used by, as links.
type users struct {
	client.Catalogued
	Jobs       []jobLink // open ones; of a definition none, since they are searched for
	More       int
	Open, Find string // addresses that find those of a definition
}

type jobLink struct {
	Number uint32
	Plate  string
}

// mostUsers is how many open jobs are named where nothing finds them.
const mostUsers = 6

func (d *Desk) users(k catalogKind, c client.Catalogued) users {
	u := users{Catalogued: c}
	if k.Kind == client.Definitions {
		u.Find = "/jobs?definition=" + c.Newest.GetName()
		u.Open = u.Find + "&job=open"
		return u
	}
	for _, n := range c.Open[:min(mostUsers, len(c.Open))] {
		l := jobLink{Number: n}
		if j, err := d.client.Job(n); err == nil {
			l.Plate = text(j.GetPlate())
		}
		u.Jobs = append(u.Jobs, l)
	}
	u.More = len(c.Open) - len(u.Jobs)
	return u
}

// catalog lists what there is of a kind.
func (d *Desk) catalog(w http.ResponseWriter, r *http.Request) error {
	k, err := kindAt(r)
	if err != nil {
		return err
	}
	p := d.base(r, k.Heading)
	names, err := d.client.Catalogue(k.Kind, r.URL.Query().Get("after"), shownNames)
	if err != nil {
		return err
	}
	b := struct {
		catalogKind
		Names []users
		More  string // the address of those after; empty for none
		May   string
	}{catalogKind: k, May: p.may(k.Kind)}
	for _, c := range names {
		b.Names = append(b.Names, d.users(k, c))
	}
	if n := len(names); n == shownNames {
		b.More = "?after=" + names[n-1].Newest.GetName()
	}
	d.show(w, p, http.StatusOK, "catalog", b)
	return nil
}

// documentBody is one revision of a name.
type documentBody struct {
	catalogKind
	users
	File       *recordv1.CatalogFile
	Doubts     []doubt.Doubt
	Listing    *listing     // nil beside another revision
	Against    uint32       // the revision that it is held against; 0 for none
	Difference []sheet.Line // none where both say the same
	MoreLines  int          // of those, how many are left out
	Revisions  []*recordv1.CatalogFile
	Older      string // the address of older revisions
	May        string // why this person adds none; empty where they may
}

// How many a page lists.
const shownNames, shownRevisions = 100, 20

// document shows a revision with what is wrong or doubtful beside each line, or what differs from another.
func (d *Desk) document(w http.ResponseWriter, r *http.Request) error {
	k, err := kindAt(r)
	if err != nil {
		return err
	}
	name := r.PathValue("name")
	p := d.base(r, name)
	of, err := d.client.CataloguedAs(k.Kind, name)
	if err != nil {
		return err
	}
	b := documentBody{catalogKind: k, users: d.users(k, *of), Against: uint32(numberIn(r, "against")), May: p.may(k.Kind)}
	var file []byte
	if b.File, file, err = d.client.Document(r.Context(), k.Kind, name, uint32(numberIn(r, "revision"))); err != nil {
		return err
	}
	if b.Against != 0 {
		_, was, err := d.client.Document(r.Context(), k.Kind, name, b.Against)
		if err != nil {
			return err
		}
		b.Difference = sheet.Difference(string(was), string(file))
		b.MoreLines = max(0, len(b.Difference)-listedLines)
		b.Difference = b.Difference[:len(b.Difference)-b.MoreLines]
	} else {
		if b.Doubts, err = d.client.DoubtsOf(r.Context(), k.Kind, name, file); err != nil {
			return err
		}
		b.Listing = list(r, string(file), b.Doubts)
	}
	before := uint32(numberIn(r, "before"))
	if b.Revisions, err = d.client.Revisions(k.Kind, name, before, shownRevisions); err != nil {
		return err
	}
	if n := len(b.Revisions); n > 0 && b.Revisions[n-1].GetRevision() > 1 {
		b.Older = turned(r, "before", int(b.Revisions[n-1].GetRevision()))
	}
	d.show(w, p, http.StatusOK, "document", b)
	return nil
}

// documentFile sends a revision as it was added.
func (d *Desk) documentFile(w http.ResponseWriter, r *http.Request) error {
	k, err := kindAt(r)
	if err != nil {
		return err
	}
	f, file, err := d.client.Document(r.Context(), k.Kind, r.PathValue("name"), uint32(numberIn(r, "revision")))
	if err != nil {
		return err
	}
	attach(w, fmt.Sprintf("%s.%d.yaml", f.GetName(), f.GetRevision()))
	_, _ = w.Write(file)
	return nil
}

// listing is a stretch of a text, line by line.
type listing struct {
	Lines         []listed
	Of            int
	Before, After string // the addresses of the stretches around it; empty for none
}

type listed struct {
	Number int
	Text   string
	Doubts []doubt.Doubt
}

// listedLines is how many lines a page shows at once.
const listedLines = 2000

// list cuts a text into lines, from the one that is asked for, with what is doubtful beside each; what is about no line stands at the first.
func list(r *http.Request, text string, doubts []doubt.Doubt) *listing {
	lines := strings.Split(strings.TrimSuffix(strings.ReplaceAll(text, "\r\n", "\n"), "\n"), "\n")
	from := min(numberIn(r, "from"), len(lines)-1)
	from -= from % listedLines
	out := &listing{Of: len(lines)}
	beside := map[int][]doubt.Doubt{}
	for _, d := range doubts {
		beside[max(1, d.Line)] = append(beside[max(1, d.Line)], d)
	}
	for i := from; i < min(from+listedLines, len(lines)); i++ {
		out.Lines = append(out.Lines, listed{i + 1, lines[i], beside[i+1]})
	}
	if from > 0 {
		out.Before = turned(r, "from", from-listedLines)
	}
	if from+listedLines < len(lines) {
		out.After = turned(r, "from", from+listedLines)
	}
	return out
}

// raisedBy are the alarms that an entry raised, as a note says them.
func (d *Desk) raisedBy(entry uint32, said string) note {
	n := note{Text: said}
	alarms, err := d.client.AlarmsNow(0)
	for _, a := range alarms {
		if err == nil && a.Entry == uint64(entry) {
			n.Text, n.Bad = n.Text+" "+sentence(a.Says)+".", true
		}
	}
	return n
}

// subAt names a submission.
func subAt(job, n uint32) string {
	return record.Name{Job: job, Part: record.ASubmission, N: n}.String()
}
