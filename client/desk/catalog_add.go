package desk

import (
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/doubt"
	"witnessmark/tables/severity"
)

// adding is a file on its way into the catalogue: its text stands in the page, and nowhere else, until a lead says yes to it.
type adding struct {
	catalogKind
	File       string // its name, which what is said of it calls it
	Text       string
	Doubts     []remark
	MoreDoubts int           // of those, how many are left out
	Faults     int           // of those, how many keep it from being used
	Looked     client.Looked // what adding it would come to; no name where that is not known
	Becomes    string        // that, to be agreed to
	Since      string        // the address of what others added since the text was shown; empty for nothing
	Why        string        // why it is not known
	Worse      []worse
	WorseIs    string // Worse, to be agreed to
	May        string // why this person may not add it; empty where they may
	Said       []string
	More       int    // of what is said, what is left out
	SaidOf     string // what it is said about
	Declared   *client.ImportedFile
	Image      string  // the file that was read by it; empty for none
	ImageWhy   string  // why that could not be read
	Typed      string  // yes where somebody changed the text in the page, so that it is nowhere else
	Ask        []field // of a page that proposes: what it is asked
	Definition string  // and for which definition
}

// mostSaid is how much a page shows of what is said of a text, and of what an import left out.
const mostSaid = 200

// add takes a file, or the text that it became, and shows what is to be said of it; with a yes it adds it.
func (d *Desk) add(w http.ResponseWriter, r *http.Request) error {
	k, err := kindAt(r)
	if err != nil {
		return err
	}
	if r.Method != http.MethodPost {
		return d.addFrom(w, r, k)
	}
	f := &filling{Request: r, desk: d, files: map[string]string{}}
	drop, err := f.receive(w)
	defer drop()
	a := &adding{catalogKind: k, Image: f.files["image"]}
	if err == nil && a.Image != "" {
		err = wrongFile(a.Image, "image")
	}
	if err == nil {
		err = f.text(a)
	}
	if err != nil {
		p := d.base(r, "Add "+strings.ToLower(k.Heading))
		d.show(w, p.refused(d, err), statusOf(r, err), "add", f.adding(p, k))
		return nil
	}
	if f.value("do") != "add" {
		return d.adding(w, r, a, nil)
	}
	added, err := f.added(a)
	if err != nil {
		return d.adding(w, r, a, err)
	}
	d.away(w, r, k.At(added.GetName()), d.raisedBy(added.GetAdded().GetEntry(), fmt.Sprintf("You added %s %s, revision %d.", k.Kind, added.GetName(), added.GetRevision())))
	return nil
}

// addFrom shows the form that takes a file, or a revision that is there, to be changed.
func (d *Desk) addFrom(w http.ResponseWriter, r *http.Request, k catalogKind) error {
	name := r.URL.Query().Get("from")
	if name == "" {
		p := d.base(r, "Add "+strings.ToLower(k.Heading))
		d.show(w, p, http.StatusOK, "add", (&filling{Request: r, desk: d}).adding(p, k))
		return nil
	}
	_, file, err := d.client.Document(r.Context(), k.Kind, name, uint32(numberIn(r, "revision")))
	if err != nil {
		return err
	}
	return d.adding(w, r, &adding{catalogKind: k, File: name + ".yaml", Text: string(file)}, nil)
}

// adding shows a text with what is to be said of it, and why it was not added, if somebody wanted that.
func (d *Desk) adding(w http.ResponseWriter, r *http.Request, a *adding, problem error) error {
	if err := d.look(r, a); err != nil {
		return err
	}
	p := d.base(r, fmt.Sprintf("Add %s: %s", a.Kind, a.File))
	a.May = p.may(a.Kind)
	d.show(w, p.refused(d, problem), statusOf(r, problem), "adding", a)
	return nil
}

// added is the revision that the text became, if the person said yes to it, and to what it judges worse by now.
func (f *filling) added(a *adding) (*recordv1.CatalogFile, error) {
	d, file := f.desk, []byte(a.Text)
	doubts, err := d.client.DoubtsOf(f.Context(), a.Kind, a.File, file)
	if err != nil {
		return nil, err
	}
	if doubt.Worst(doubts) == severity.Danger {
		return nil, &client.Error{Kind: client.Usage, Text: "nothing was added: " + a.File + " cannot be used as it is"}
	}
	is, err := d.client.UnchangedFile(f.Context(), a.Kind, a.File, file)
	if err != nil {
		return nil, err
	}
	if is != nil {
		return nil, &client.Error{Kind: client.Usage, Text: fmt.Sprintf("nothing was added: %s %s is revision %d already, byte for byte", a.Kind, is.GetName(), is.GetRevision())}
	}
	if err := d.confirmed(f.Request, fmt.Sprintf("add %s %s, %d bytes, %s", a.Kind, a.File, len(file), short(client.HashHex(file)))); err != nil {
		return nil, err
	}
	return d.client.AddFile(f.Context(), a.Kind, a.File, file, func(l client.Looked) error {
		switch shown := f.value("becomes"); {
		case shown != "" && shown != becomes(l):
			return &client.Error{Kind: client.Refused, Text: "nothing was added: it would become " + becomes(l) + " by now, and you were shown " + shown}
		case worseSaid(l.Worse) != f.value("worse"):
			return &client.Error{Kind: client.Refused, Text: "nothing was added: it judges others worse than you were shown", Try: "Look at which, below, and say yes to that."}
		}
		return nil
	})
}
