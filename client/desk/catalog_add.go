package desk

import (
	"cmp"
	"fmt"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/doubt"
	"witnessmark/tables/imported"
	"witnessmark/tables/severity"
)

// adding is a file on its way into the catalogue: its text stands in the page, and nowhere else, until a lead says yes to it.
type adding struct {
	catalogKind
	File       string // its name, which what is said of it calls it
	Text       string
	Doubts     []remark
	Faults     int           // of those, how many keep it from being used
	Looked     client.Looked // what adding it would come to; no name where that is not known
	Why        string        // why it is not known
	Worse      []worse
	WorseIs    string // Worse, to be agreed to
	May        string // why this person may not add it; empty where they may
	Said       []string
	More       int    // of what is said, what is left out
	SaidOf     string // what it is said about
	Declared   *client.ImportedFile
	Typed      string  // yes where somebody changed the text in the page, so that it is nowhere else
	Ask        []field // of a page that proposes: what it is asked
	Definition string  // and for which definition
}

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

// mostSaid is how many lines of what an import left out a page shows.
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
	a := &adding{catalogKind: k}
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

// addBody is the form that takes a file.
type addBody struct {
	catalogKind
	Import      []field // how a description is read
	Definitions []field // that limits are proposed for
	May         string
}

func (f *filling) adding(p page, k catalogKind) addBody {
	b := addBody{catalogKind: k, May: p.may(k.Kind)}
	if k.Kind == client.Limits {
		b.Definitions = []field{{Kind: "pick", Name: "definition", Label: "Propose limits to start from, for the definition", Options: f.desk.names(client.Definitions)}}
		return b
	}
	b.Import = []field{
		{Kind: "pick", Name: "order", Label: "Byte order", Options: [][2]string{{"", "as the description says"}, {"big", "big"}, {"little", "little"}}},
		{Kind: "line", Name: "module", Label: "Module", Hint: "Where a description has several."},
		{Kind: "text", Name: "only", Label: "Only objects of these names, one a line", Hint: "With * and ? in them; what they need comes with them."},
		{Kind: "line", Name: "extension", Label: "Address extension", Hint: "Where it is not 0."},
	}
	for i := range b.Import {
		b.Import[i].Value = f.value(b.Import[i].Name)
	}
	return b
}

// text is what was sent: a file, an import of one, or what was typed.
func (f *filling) text(a *adding) error {
	path := f.files["file"]
	if path == "" {
		if f.FormValue("text") == "" {
			return &client.Error{Kind: client.Usage, Text: "choose a file first"}
		}
		a.File = fileName(cmp.Or(f.value("name"), a.Kind+".yaml"))
		a.Text = typedText(f.FormValue("text"))
		f.carried(a)
		return nil
	}
	a.File = filepath.Base(path)
	switch ending := strings.ToLower(filepath.Ext(path)); {
	case ending == ".yaml" || ending == ".yml":
	case a.Kind == client.Definitions && (ending == ".a2l" || ending == ".csv"):
		return f.imported(path, a)
	case a.Kind == client.Definitions:
		return &client.Error{Kind: client.Usage, Text: a.File + ": its ending does not say what it is; allowed are .yaml, .a2l and .csv"}
	default:
		return &client.Error{Kind: client.Usage, Text: a.File + ": its ending does not say what it is; allowed is .yaml"}
	}
	b, err := client.ReadBounded(path, client.MaxDocument)
	if err == nil && !utf8.Valid(b) {
		err = &client.Error{Kind: client.Usage, Text: a.File + " is not text"}
	}
	a.Text = typedText(string(b))
	return err
}

// carried is what a page said of the text when it was made, and says again.
func (f *filling) carried(a *adding) {
	a.Said, a.SaidOf, a.More, a.Typed = f.Form["said"], f.value("said-of"), int(f.number("more")), f.value("typed")
	if name := f.value("declared"); name != "" {
		a.Declared = &client.ImportedFile{Name: fileName(name), Bytes: []byte(typedText(f.FormValue("declared-text")))}
	}
}

// typedText is a text as files have it; forms end lines as networks do.
func typedText(s string) string { return strings.ReplaceAll(s, "\r\n", "\n") }

// imported makes the text out of a description.
func (f *filling) imported(path string, a *adding) error {
	extension, err := strconv.ParseInt(cmp.Or(f.value("extension"), "0"), 0, 64)
	if err != nil {
		return &client.Error{Kind: client.Usage, Text: fmt.Sprintf("address extension %.40q is no whole number", f.value("extension"))}
	}
	made, err := client.Import(path, client.Importing{Module: f.value("module"),
		Options: imported.Options{ByteOrder: f.value("order"), Extension: extension, Only: lines(f.value("only"))}})
	if err != nil {
		return err
	}
	a.File, a.Text = made.Files[0].Name, string(made.Files[0].Bytes)
	if len(made.Files) > 1 {
		a.Declared = &made.Files[1]
	}
	for _, s := range made.Said {
		a.Said = append(a.Said, f.desk.plain(fmt.Errorf("%s", s)))
	}
	a.SaidOf = fmt.Sprintf("What was left out of %s, or kept without something", filepath.Base(path))
	if a.Said == nil {
		a.Said = []string{"Nothing: all of it was imported."}
	}
	a.More = max(0, len(a.Said)-mostSaid)
	a.Said = a.Said[:len(a.Said)-a.More]
	return nil
}

// look finds out what is to be said of the text.
func (d *Desk) look(r *http.Request, a *adding) error {
	doubts, err := d.client.DoubtsOf(r.Context(), a.Kind, a.File, []byte(a.Text))
	if err != nil {
		return err
	}
	all := strings.Split(a.Text, "\n")
	for _, one := range doubts {
		m := remark{Doubt: one}
		if one.Line > 0 && one.Line <= len(all) {
			m.Quote = all[one.Line-1]
		}
		if a.Doubts = append(a.Doubts, m); one.Severity == severity.Danger {
			a.Faults++
		}
	}
	if a.Faults > 0 {
		return nil
	}
	if a.Looked, err = d.client.LookAtDocument(r.Context(), a.Kind, a.File, []byte(a.Text)); err != nil {
		a.Why, a.Looked.Name = d.plain(err), ""
		return nil
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

// worseSaid is what is agreed to.
func worseSaid(list []*recordv1.JudgedWorse) string {
	var out []string
	for _, one := range list {
		out = append(out, fmt.Sprint(subAt(one.GetJob(), one.GetSubmission()), " ", one.GetVerdict(), " ", one.GetWarnings()))
	}
	return strings.Join(out, "; ")
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
	return d.client.AddFile(f.Context(), a.Kind, a.File, file, func(list []*recordv1.JudgedWorse) error {
		if worseSaid(list) == f.value("worse") {
			return nil
		}
		return &client.Error{Kind: client.Refused, Text: "nothing was added: it judges others worse than you were shown", Try: "Look at which, below, and say yes to that."}
	})
}
