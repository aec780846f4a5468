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
)

//go:embed pages/*.html assets/*
var embedded embed.FS

// page is what every page has.
type page struct {
	Title       string
	Me          *recordv1.Person // nil before somebody is in
	Roles       string
	Head        uint64
	Root        string
	Server      string
	Fingerprint string
	Checked     string
	Trouble     string // why the ledger could not be brought up to date
	Distrust    bool
	Live        bool   // the page renews itself when the ledger grows
	Note        string // what was just done
	Problem     string // what was refused
	Hint        string
	Says        string // how a signature is confirmed
	Typed       bool
	Body        any
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
	"name":  client.Name,
	"key":   client.Key,
	"short": short,
	"when":  when,
	"ofJob": ofJob,
	"kind":  func(s string) string { return strings.ReplaceAll(s, "_", "-") },
	"words": func(s ...string) []string { return s },
	"join":  func(s []string) string { return strings.Join(s, ", ") },
}

func short(sum string) string { return sum[:min(12, len(sum))] }

// when is a claimed time as people write it; what cannot be read is shown as it is.
func when(s string) string {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return s
	}
	return t.UTC().Format("2 Jan 2006, 15:04") + " UTC"
}

func ofJob(job, n uint32) string {
	if n == 0 {
		return fmt.Sprintf("the original of job %d", job)
	}
	return fmt.Sprintf("%d.%d", job, n)
}

// base is a page for somebody who is in, brought up to date first.
func (d *Desk) base(r *http.Request, title string) page {
	p := page{Title: title, Server: d.client.Server(), Fingerprint: d.client.Fingerprint(), Says: d.confirm.Says(), Typed: d.confirm.Typed()}
	if err := d.client.Sync(r.Context()); err != nil {
		p.Trouble, p.Distrust = err.Error(), client.KindOf(err) == client.Distrust
	}
	head := d.client.Head()
	p.Head, p.Root, p.Checked = head.Size, head.Root, time.Now().UTC().Format("15:04:05")+" UTC"
	if me, err := d.client.Me(); err == nil {
		p.Me, p.Roles = me, strings.Join(me.Roles, ", ")
	} else {
		p.Me, p.Trouble = new(recordv1.Person), err.Error()
	}
	if note, ok := d.notes.get(r.URL.Query().Get("note")); ok {
		p.Note = note
	}
	return p
}

func (p page) has(roles ...string) bool {
	return slices.ContainsFunc(roles, func(r string) bool { return slices.Contains(p.Me.GetRoles(), r) })
}

// show renders a page whole before a byte is sent.
func (d *Desk) show(w http.ResponseWriter, _ *http.Request, status int, name string, p page, body any) {
	p.Body = body
	var b bytes.Buffer
	if err := d.pages.byName[name].ExecuteTemplate(&b, "layout.html", p); err != nil {
		d.log.Error("a page could not be made", "page", name, "error", err)
		http.Error(w, "this page could not be made; the terminal that the desk was started from says why", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
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
		p.Problem, p.Hint = d.plain(err), hint(err)
		d.show(w, r, statusOf(r, err), "problem", p, r.URL.Path)
	}
}

// errAway is a page that is not there.
var errAway = errors.New("the desk has no such page")

func statusOf(r *http.Request, err error) int {
	var big *http.MaxBytesError
	switch k := client.KindOf(err); {
	case errors.As(err, &big):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, errAway) || k == client.Usage && r.Method == http.MethodGet:
		return http.StatusNotFound
	case k == client.Refused || k == client.Distrust:
		return http.StatusConflict
	case k == client.Failed && r.Method == http.MethodGet:
		return http.StatusBadGateway
	}
	return http.StatusUnprocessableEntity
}

// plain is an error as a sentence begins, without the desk's own folder in it.
func (d *Desk) plain(err error) string {
	s := uploadPath.ReplaceAllString(strings.ReplaceAll(err.Error(), d.dir, ""), "")
	first, _, _ := strings.Cut(s, " ")
	if r, n := utf8.DecodeRuneInString(s); strings.IndexFunc(first, func(r rune) bool { return !unicode.IsLower(r) }) < 0 {
		s = string(unicode.ToUpper(r)) + s[n:]
	}
	return s
}

// hint is what to do, unless that is to be typed into a terminal.
func hint(err error) string {
	s := client.HintOf(err)
	if strings.HasPrefix(s, "--") || strings.HasPrefix(s, "witnessmark ") {
		return ""
	}
	return s
}

// away leads on after something was done, with a note that says what.
func (d *Desk) away(w http.ResponseWriter, r *http.Request, path, note string) {
	http.Redirect(w, r, path+"?note="+d.notes.put(note), http.StatusSeeOther)
}
