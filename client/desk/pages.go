package desk

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

//go:embed pages/*.html assets/*
var embedded embed.FS

// page is what every page has.
type page struct {
	Title       string
	Me          *recordv1.Person // nil before somebody is in
	Roles       string
	Head        client.Head
	Server      string
	Fingerprint string
	Away        bool     // the server was not reached: what is shown is as of Head.Contact
	Trouble     string   // why the ledger could not be brought up to date
	Distrust    bool     // it does not verify
	Unapplied   bool     // it holds what this program does not know
	Told        []string // what the client had to say of itself
	Waits       string   // how much waits for the person, alarms too; empty for nothing
	Broad       bool     // grids want the whole window
	Mute        bool     // this desk cannot sign
	Live        bool     // the page renews itself when the ledger grows
	Note        note     // what was just done
	Problem     string   // what was refused
	Try         string
	Says        string // how a signature is confirmed
	Typed       bool
	Body        any

	out *output // where it goes
}

// note is what was just done, and whether it raised an alarm.
type note struct {
	Text string
	Bad  bool
}

type pages struct{ byName map[string]*template.Template }

func loadPages() (*pages, error) {
	p := &pages{byName: map[string]*template.Template{}}
	layout, err := template.New("layout.html").Funcs(funcs).ParseFS(embedded, "pages/layout.html")
	if err != nil {
		return nil, err
	}
	files, err := embedded.ReadDir("pages")
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		if f.Name() == "layout.html" {
			continue
		}
		t, err := template.Must(layout.Clone()).ParseFS(embedded, "pages/"+f.Name())
		if err != nil {
			return nil, err
		}
		p.byName[strings.TrimSuffix(f.Name(), ".html")] = t
	}
	return p, nil
}

var funcs = template.FuncMap{
	"assets":   func() string { return assetsAt },
	"name":     client.Name,
	"key":      client.Key,
	"short":    short,
	"text":     text,
	"when":     when,
	"asOf":     func(t time.Time) string { return t.Local().Format("2 Jan 15:04") },
	"ofJob":    ofJob,
	"sentence": sentence,
	"count":    count,
	"day":      day,
	"page":     hrefOf,
	"side":     sideRow,
	"among":    func(list []string, s string) bool { return slices.Contains(list, s) },
	"kind":     func(s string) string { return strings.ReplaceAll(s, "_", "-") },
	"before":   func(n uint32) uint32 { return n - 1 },
	"words":    func(s ...string) []string { return s },
	"join":     func(s []string) string { return strings.Join(s, ", ") },
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func short(sum string) string { return sum[:min(12, len(sum))] }

// text is a sealed text as it is shown.
func text(t *recordv1.Text) string {
	if t.GetErased() {
		return "erased"
	}
	return t.GetText()
}

// when is a claimed time as people write it; what cannot be read is shown as it is.
func when(s string) string { return timeAs("2 Jan 2006, 15:04 UTC", s) }

func day(s string) string { return timeAs("2 Jan 2006", s) }

func timeAs(layout, s string) string {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return s
	}
	return t.UTC().Format(layout)
}

func ofJob(job, n uint32) string {
	if n == 0 {
		return fmt.Sprintf("the read as found of job %d", job)
	}
	return fmt.Sprintf("%d.%d", job, n)
}

// base is a page for somebody who is in, with what the ledger says now, or said last.
func (d *Desk) base(r *http.Request, title string) page {
	p := page{Title: title, Server: d.client.Server(), Fingerprint: d.client.Fingerprint(), Says: d.confirm.Says(), Typed: d.confirm.Typed(), Told: d.told.now()}
	_, p.Mute = d.confirm.(Never)
	if err := d.client.Look(r.Context()); err != nil {
		p.Trouble, p.Try, p.Distrust = sentence(err.Error()), client.TryOf(err), client.KindOf(err) == client.Distrust
	} else if _, reached := d.client.AsOf(); !reached {
		p.Away = true
	}
	p.Head = d.client.Head()
	me, err := d.client.Me()
	if err == nil {
		err = d.client.View(func(s *record.State) error { p.Unapplied, p.Waits = s.Unapplied(), waiting(s, me); return nil })
	}
	if p.Me, p.Roles = me, strings.Join(me.GetRoles(), ", "); err != nil {
		p.Me, p.Trouble = new(recordv1.Person), sentence(err.Error())
	}
	p.Note, _ = d.notes.get(r.URL.Query().Get("note"))
	return p
}

func (p page) has(roles ...string) bool {
	return slices.ContainsFunc(roles, func(r string) bool { return slices.Contains(p.Me.GetRoles(), r) })
}

// show renders a page; what a template makes before a pause is sent before what it makes after it.
func (d *Desk) show(w http.ResponseWriter, p page, status int, name string, body any) {
	p.Body, p.out = body, &output{to: w, status: status}
	err := d.pages.byName[name].ExecuteTemplate(p.out, "layout.html", p)
	if err == nil {
		p.out.send()
		return
	}
	d.log.Error("a page could not be made", "page", name, "error", err)
	const why = " could not be made; the terminal that the desk was started from says why"
	if !p.out.sent {
		http.Error(w, "this page"+why, http.StatusInternalServerError)
		return
	}
	p.out.Reset() // it ends anywhere; what was sent ends at a pause. A connection that is cut off here shows no notice in Chromium
	p.out.WriteString(`<div class="notice bad" role="alert"><p><strong>This page ends here.</strong> What follows` + why + ".</p></div>")
	p.out.send()
}

// output holds a page back up to its pauses.
type output struct {
	bytes.Buffer
	to     http.ResponseWriter
	status int
	sent   bool
}

func (o *output) send() {
	if !o.sent {
		o.sent = true
		o.to.Header().Set("Content-Type", "text/html; charset=utf-8")
		o.to.WriteHeader(o.status)
	}
	_, _ = o.WriteTo(o.to)
}

// Pause sends what there is of the page: a browser shows it while the rest is made.
func (p page) Pause() string {
	p.out.send()
	_ = http.NewResponseController(p.out.to).Flush()
	return ""
}

// handle turns an error into a page that says it in one line, and what to do.
func (d *Desk) handle(fn func(w http.ResponseWriter, r *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		err := fn(w, r)
		if err == nil {
			return
		}
		p := d.base(r, "This cannot be shown")
		if r.Method != http.MethodGet {
			p.Title = "This was not done"
		}
		p.Problem, p.Try = d.plain(err), try(err)
		d.show(w, p, statusOf(r, err), "problem", r.URL.Path)
	}
}

// errAway is a page that is not there.
var errAway = errors.New("the desk has no such page")

func statusOf(r *http.Request, err error) int {
	var big *http.MaxBytesError
	switch k := client.KindOf(err); {
	case err == nil:
		return http.StatusOK
	case errors.As(err, &big):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, errAway) || k == client.Usage && r.Method == http.MethodGet:
		return http.StatusNotFound
	case k == client.Refused || k == client.Distrust:
		return http.StatusConflict
	case (k == client.Failed || k == client.Away) && r.Method == http.MethodGet:
		return http.StatusBadGateway
	}
	return http.StatusUnprocessableEntity
}

// plain is an error as a sentence begins, without the desk's own folder in it.
func (d *Desk) plain(err error) string {
	return sentence(uploadPath.ReplaceAllString(strings.ReplaceAll(err.Error(), d.dir, ""), ""))
}

// sentence begins as a sentence does, unless it begins with a name.
func sentence(s string) string {
	first, _, _ := strings.Cut(s, " ")
	if r, n := utf8.DecodeRuneInString(s); strings.IndexFunc(first, func(r rune) bool { return !unicode.IsLower(r) }) < 0 {
		return string(unicode.ToUpper(r)) + s[n:]
	}
	return s
}

// try is what to do, unless that is to be typed into a terminal.
func try(err error) string {
	s := client.TryOf(err)
	if strings.HasPrefix(s, "--") || strings.HasPrefix(s, "witnessmark ") {
		return ""
	}
	return s
}

// away leads on after something was done, with a note that says what.
func (d *Desk) away(w http.ResponseWriter, r *http.Request, path string, n note) {
	http.Redirect(w, r, path+"?note="+d.notes.put(n), http.StatusSeeOther)
}
