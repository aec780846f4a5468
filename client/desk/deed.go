package desk

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// deed is something that a person does by filling in a form and signing: the form and what becomes
// of it, each kind said once. A job's card offers those of its job.
type deed struct {
	path, label string
	kind        string // of action: its roles say whose deed it is
	more        bool   // offered only where it can be done
	closed      bool   // a closed job takes it too
	not         func(j *recordv1.Job) string
	says        func(j *recordv1.Job) string
	fields      func(f *filling) []field
	check       func(f *filling) error // before anybody is asked to confirm
	do          func(f *filling) (note, to string, err error)
}

// field is one thing that a form asks.
type field struct {
	Kind              string // line, secret, text, day, pick, tick, ticks or file
	Name, Label, Hint string
	Value             string
	Options           [][2]string // of a pick or ticks: value and words
	Chosen            []string    // of ticks
	None              string      // what to do where there is nothing to pick
	Must              bool
	Seldom            bool   // folded away with its like
	Holds             string // of a file: image or text
	Wrong             string // why what was said is refused
}

// filling is a form on its way: what one person says in it.
type filling struct {
	*http.Request
	desk    *Desk
	job     *recordv1.Job     // nil where it is yet to be opened
	files   map[string]string // paths of what was sent, by field
	problem error             // why it was refused
}

func (f *filling) value(name string) string { return said(f.Request, name) }

// said is what was typed into a field; browsers end lines as networks do.
func said(r *http.Request, name string) string {
	return strings.TrimSpace(strings.ReplaceAll(r.FormValue(name), "\r\n", "\n"))
}

func (f *filling) number(name string) uint32 {
	n, _ := strconv.ParseUint(f.value(name), 10, 32) // what is no number is none that there is
	return uint32(n)
}

func (f *filling) format() image.Format { return image.Format(f.value("format")) }

// subject is what the deed is about, as people call it.
func (f *filling) subject() string {
	if f.job == nil {
		return f.value("plate")
	}
	name := record.Name{Job: f.job.GetNumber()}
	if n := f.number("submission"); n != 0 {
		name.Part, name.N = record.ASubmission, n
	}
	return fmt.Sprintf("%s, %s", name, text(f.job.GetPlate()))
}

// why says why a person may not do a deed, or not now; empty where they may.
func (o *deed) why(p page, j *recordv1.Job) string {
	if why := p.may(o.kind); why != "" {
		return why
	}
	if j.GetState() == "closed" && !o.closed {
		return "The job is closed; reopen it first."
	}
	if o.not != nil {
		return o.not(j)
	}
	return ""
}

// may says why a kind of action is not this person's to sign; empty where it is.
func (p page) may(kind string) string {
	var names []string
	for _, r := range signoff.RolesOf(kind) {
		if name := signoff.RoleName(r); p.has(name) {
			return ""
		} else {
			names = append(names, "a "+name+"'s")
		}
	}
	return fmt.Sprintf("This is %s to do; you are %s.", strings.Join(names, " or "), p.Roles)
}

type formBody struct {
	Job              *recordv1.Job
	Label, Says, Not string
	Fields           []field
}

// form shows a deed's form, and why its last filling was refused.
func (d *Desk) form(w http.ResponseWriter, o *deed, f *filling) (err error) {
	p := d.base(f.Request, o.label)
	if f.job != nil {
		p.Title = fmt.Sprintf("%s: job %d", o.label, f.job.GetNumber())
		if f.job, err = d.jobAt(f.Request); err != nil { // as it is by now
			return err
		}
	}
	b := formBody{Job: f.job, Label: o.label, Not: o.why(p, f.job)}
	if o.says != nil {
		b.Says = o.says(f.job)
	}
	if b.Not == "" {
		b.Fields = o.fields(f)
		for i, one := range b.Fields {
			if one.Kind == "pick" && len(one.Options) == 0 {
				b.Not = one.Label + ": there is none yet. " + one.None
			}
			if said := f.value(one.Name); said != "" || f.problem != nil { // what was emptied stays so
				b.Fields[i].Value = said
			}
			b.Fields[i].Chosen = f.Form[one.Name]
		}
	}
	d.show(w, p.refused(d, f.problem), statusOf(f.Request, f.problem), "form", b)
	return nil
}

// deed shows a deed's form, or takes it filled in: what is missing and what cannot be read is refused
// before anybody is asked to confirm.
func (d *Desk) deed(w http.ResponseWriter, r *http.Request) (err error) {
	o, f := &openDeed, &filling{Request: r, desk: d, files: map[string]string{}}
	if r.PathValue("job") != "" {
		i := slices.IndexFunc(deeds(), func(o *deed) bool { return o.path == r.PathValue("deed") })
		if i < 0 {
			return errAway
		}
		if f.job, err = d.jobAt(r); err != nil {
			return err
		}
		o = deeds()[i]
	}
	if r.Method != http.MethodPost {
		return d.form(w, o, f)
	}
	before := d.client.Head().Size
	drop, err := f.receive(w)
	defer drop()
	note, to := "", ""
	if err == nil {
		note, to, err = f.act(o)
	}
	if f.problem = err; err != nil {
		return d.form(w, o, f)
	}
	number := f.job.GetNumber()
	d.away(w, r, cmp.Or(to, fmt.Sprintf("/job/%d", number)), d.raised(number, before, note))
	return nil
}

func (f *filling) act(o *deed) (note, to string, err error) {
	for _, one := range o.fields(f) {
		switch {
		case one.Must && one.Kind == "file" && f.files[one.Name] == "":
			return "", "", &client.Error{Kind: client.Usage, Text: "choose a file first"}
		case one.Must && one.Kind != "file" && f.value(one.Name) == "":
			return "", "", &client.Error{Kind: client.Usage, Text: "say this too: " + one.Label}
		case one.Kind == "file" && f.files[one.Name] != "":
			if err := wrongFile(f.files[one.Name], one.Holds); err != nil {
				return "", "", err
			}
		}
	}
	if o.check != nil {
		if err := o.check(f); err != nil {
			return "", "", err
		}
	}
	what := fmt.Sprintf("%s: %s", o.label, f.subject())
	if because := f.value("because"); because != "" {
		what += ", because " + because
	}
	if err := f.desk.confirmed(f.Request, what); err != nil {
		return "", "", err
	}
	return o.do(f)
}

// deeds are all that can be done with a job, the likely first.
func deeds() []*deed {
	return []*deed{&readDeed, &submitDeed, &collectDeed, &asFoundDeed, &readbackDeed, &runDeed,
		&corridorDeed, &closeCorridorDeed, &noteDeed, &amendDeed, &voidDeed, &settleDeed, &closeDeed, &reopenDeed, &eraseDeed}
}

// raised is a note that also says which alarm a deed raised.
func (d *Desk) raised(job uint32, before uint64, text string) note {
	n := note{Text: text}
	if j, err := d.client.Job(job); err == nil {
		for _, a := range record.Due(j.GetAlarms(), time.Now()) {
			if uint64(a.GetSince().GetEntry()) >= before {
				n.Text, n.Bad = n.Text+" "+sentence(a.GetSays()), true
			}
		}
	}
	return n
}

// refused is the page with why something was not done.
func (p page) refused(d *Desk, problem error) page {
	if problem != nil {
		p.Problem, p.Try, p.Title = d.plain(problem), try(problem), "Not done: "+p.Title
	}
	return p
}

// because is the reason that many deeds want.
func because(label string) field {
	return field{Kind: "text", Name: "because", Label: label, Hint: "What you write here is signed, and stays in the ledger for ever.", Must: true}
}

func formatField(none string) field {
	return field{Kind: "pick", Name: "format", Label: "Kind of file", Options: [][2]string{{"", none}, {"raw", "raw binary"}, {"ihex", "Intel HEX"}, {"srec", "Motorola S-record"}}}
}

// subsField picks one of a job's submissions.
func subsField(label string, j *recordv1.Job, none string, among func(*recordv1.Submission) bool) field {
	out := field{Kind: "pick", Name: "submission", Label: label}
	if none != "" {
		out.Options = [][2]string{{"", none}}
	}
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if among(s) {
			out.Options = append(out.Options, [2]string{strconv.Itoa(int(s.GetNumber())), fmt.Sprintf("%s by %s, %s", client.Name(s), s.GetSubmitted().GetPerson(), s.GetState())})
		}
	}
	return out
}

// reasonIs says whether the rules refused for a reason.
func reasonIs(err error, reason string) bool {
	var r *record.Refusal
	return errors.As(err, &r) && r.Reason == reason
}
