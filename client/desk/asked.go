package desk

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"witnessmark/store/signoff"
)

// asked is a form whose refusals stand beside what they are about. What was typed stays, but for what is secret.
type asked struct {
	desk   *Desk
	r      *http.Request
	Fields []field
	bad    error
	above  error // a refusal that stands beside no field
}

// asks is a form, filled with what was said in it.
func (d *Desk) asks(r *http.Request, fields ...field) *asked {
	a := &asked{desk: d, r: r, Fields: fields}
	for i := range fields {
		f := &fields[i]
		if r.Method == http.MethodPost && f.Kind != "secret" {
			f.Value, f.Chosen = said(r, f.Name), r.PostForm[f.Name]
		}
	}
	return a
}

func (a *asked) value(name string) string { return said(a.r, name) }

// must has stand beside each field that needs something, and has nothing, that it does; what is secret says so itself.
func (a *asked) must() {
	for _, f := range a.Fields {
		if f.Must && f.Kind != "secret" && f.Value == "" {
			a.wrong(f.Name, errors.New("this is needed"))
		}
	}
}

// Often and Seldom are the fields that are seen at once, and those that are folded away.
func (a *asked) Often() (out []field)  { return a.those(false) }
func (a *asked) Seldom() (out []field) { return a.those(true) }

func (a *asked) those(seldom bool) (out []field) {
	for _, f := range a.Fields {
		if f.Seldom == seldom {
			out = append(out, f)
		}
	}
	return out
}

// Open says whether what is folded away has to be seen.
func (a *asked) Open() bool {
	return slices.ContainsFunc(a.Seldom(), func(f field) bool { return f.Wrong != "" })
}

// secret is a passphrase as it was typed.
func (a *asked) secret(name string) []byte { return []byte(a.r.PostFormValue(name)) }

// passphrase is what was typed, for a key that has one.
func (a *asked) passphrase(string) ([]byte, error) {
	if typed := a.secret("passphrase"); len(typed) > 0 {
		return typed, nil
	}
	return nil, errors.New("nothing was typed")
}

// wrong has a refusal stand beside a field; the first of a field counts.
func (a *asked) wrong(name string, err error) {
	if err == nil {
		return
	}
	a.bad = err
	i := slices.IndexFunc(a.Fields, func(f field) bool { return f.Name == name })
	if f := &a.Fields[max(0, i)]; f.Wrong == "" {
		f.Wrong = a.desk.plain(err)
	}
}

// beside has a refusal stand beside the field whose value it names, or above all of them.
func (a *asked) beside(err error, names ...string) {
	if errors.Is(err, signoff.ErrPassphrase) {
		a.wrong("passphrase", err)
		return
	}
	for _, name := range names {
		if said := a.value(name); said != "" && err != nil && strings.Contains(err.Error(), said) {
			a.wrong(name, err)
			return
		}
	}
	a.bad, a.above = err, err
}

// show is the page with the form in it.
func (a *asked) show(w http.ResponseWriter, title, name string) {
	p := page{Title: title}
	if a.bad != nil {
		p.Title = "Not done: " + title
	}
	if a.above != nil {
		p.Problem, p.Try = a.desk.plain(a.above), try(a.above)
	}
	a.desk.show(w, p, statusOf(a.r, a.bad), name, a)
}
