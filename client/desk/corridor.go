package desk

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/corridor"
	"witnessmark/tables/definition"
)

// corridorDeed is as a card offers it; its form has pages of its own, since it is read before it is signed.
var corridorDeed = deed{path: "corridor", label: "Open a corridor", kind: "corridor", more: true,
	not: func(j *recordv1.Job) string {
		switch c := client.OpenOf(j); {
		case record.AsFound(j) == nil:
			return noRead
		case c != nil:
			return fmt.Sprintf("Corridor %d is open; close it first.", c.GetNumber())
		}
		return ""
	}}

var closeCorridorDeed = deed{path: "corridor-close", label: "Close the corridor", kind: "corridor_close", more: true,
	not: func(j *recordv1.Job) string {
		if client.OpenOf(j) == nil {
			return "No corridor is open."
		}
		return ""
	},
	says: func(j *recordv1.Job) string {
		return fmt.Sprintf("Corridor %d releases nothing more. The one that stays is read back before the car leaves, and a lead is asked for a sign-off of it by itself; "+
			"the corridor's other releases, unless somebody signed them, can be collected no more.", client.OpenOf(j).GetNumber())
	},
	fields: func(f *filling) []field {
		why := because("Anything to say about it")
		why.Must = false
		return []field{keepField(f.job), why}
	},
	do: func(f *filling) (string, string, error) {
		c, err := f.desk.client.CloseCorridor(f.Context(), f.job.GetNumber(), f.value("keep"), f.value("because"))
		return fmt.Sprintf("You closed corridor %d.", c.GetNumber()), roadAt(f.job), err
	}}

// keepField picks what stays of an open corridor's releases; what was collected last comes first.
func keepField(j *recordv1.Job) field {
	c := client.OpenOf(j)
	out := field{Kind: "pick", Name: "keep", Label: "Which one stays", Hint: "It is the one that was collected last; collect another first, if that is to stay."}
	var last string
	for _, one := range j.GetCollections() {
		last = ofJob(j.GetNumber(), one.GetSubmission())
	}
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if s.GetByCorridor() == c.GetNumber() && record.IsRelease(s) {
			words := client.Name(s) + " by " + s.GetSubmitted().GetPerson()
			if client.Name(s) == last {
				words += ", collected last"
				out.Value = last
			}
			out.Options = append(out.Options, [2]string{client.Name(s), words})
		}
	}
	if out.Value == "" {
		out.Options = slices.Insert(out.Options, 0, [2]string{"", "none is named"})
	} else {
		out.Options = append(out.Options, [2]string{"", "none is named"})
	}
	return out
}

type corridorBody struct {
	Job       *recordv1.Job
	Not       string
	Above     []field // what is asked before the tables
	Below     []field
	Tables    []boundRow
	TablesWhy string // why none can be shown
}

// boundRow is a table, and how far it may go as it was typed.
type boundRow struct {
	ID, Called, Unit, Up, Down string
	Changed                    bool // by the newest submission
}

// corridor is the form by which a lead draws a corridor up.
func (d *Desk) corridor(w http.ResponseWriter, r *http.Request) error {
	said := url.Values{"most": {"caution"}}
	if draft, ok := d.corridors.get(r.URL.Query().Get("draft")); ok {
		said = corridorSaid(draft.Corridor.GetAsked())
	}
	return d.showCorridor(w, r, said, nil)
}

func (d *Desk) showCorridor(w http.ResponseWriter, r *http.Request, said url.Values, problem error) error {
	p := d.base(r, corridorDeed.label)
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	b := corridorBody{Job: j, Not: corridorDeed.why(p, j)}
	if b.Not == "" {
		if b.Above, b.Below, err = d.corridorFields(p, j, said); err != nil {
			return err
		}
		if lay, err := d.client.JobLayout(r.Context(), j); err != nil {
			b.TablesWhy = d.plain(err)
		} else {
			b.Tables = d.boundRows(r, j, lay, said)
		}
	}
	d.show(w, p.refused(d, problem), statusOf(r, problem), "corridor", b)
	return nil
}

func (d *Desk) corridorFields(p page, j *recordv1.Job, said url.Values) (above, below []field, err error) {
	from := field{Kind: "pick", Name: "from", Label: "It starts from", Value: said.Get("from"), Options: [][2]string{{"", "the read as found"}}}
	for _, s := range slices.Backward(releases(j)) {
		from.Options = append(from.Options, [2]string{client.Name(s), client.Name(s) + " by " + s.GetSubmitted().GetPerson() + ", " + s.GetState()})
	}
	authors := field{Kind: "ticks", Name: "author", Label: "Whose maps it covers", Chosen: said["author"]}
	people, err := d.client.People()
	for _, one := range people {
		writes := slices.ContainsFunc(signoff.RolesOf("submission"), func(r recordv1.Role) bool { return slices.Contains(one.GetRoles(), signoff.RoleName(r)) })
		if writes && !one.GetRetired() && (one.GetName() != p.Me.GetName() || d.client.OnePerson()) {
			authors.Options = append(authors.Options, [2]string{one.GetName(), strings.Join(one.GetRoles(), ", ")})
		}
	}
	if len(authors.Options) == 1 {
		authors.Chosen = []string{authors.Options[0][0]}
	}
	why := because("Why, if there is something to say")
	why.Value, why.Must = said.Get("because"), false
	if d.client.OnePerson() {
		why.Label = "Why; needed where you are the author"
	}
	return []field{from, authors}, []field{
		{Kind: "pick", Name: "most", Label: "The worst verdict that it covers", Value: said.Get("most"), Options: [][2]string{{"caution", "caution"}, {"notice", "notice"}}, Hint: "It never covers a warning."},
		{Kind: "line", Name: "maps", Label: "How many maps it releases", Value: said.Get("maps"), Must: true, Hint: "1 to 1000."}, why}, err
}

// boundRows are the tables that hold numbers: those that the newest submission changed first, and then as the definition has them.
func (d *Desk) boundRows(r *http.Request, j *recordv1.Job, lay *definition.Layout, said url.Values) (out []boundRow) {
	changed := map[string]bool{}
	if list := j.GetSubmissions(); len(list) > 0 {
		rev, err := d.client.Review(r.Context(), j.GetNumber(), list[len(list)-1].GetNumber())
		if err != nil {
			d.log.Warn("which tables were changed last is not told", "error", err)
		} else {
			for _, t := range rev.Report.GetTables() {
				changed[t.GetId()] = true
			}
		}
	}
	for _, t := range lay.Tables {
		if corridor.Fits(lay, corridor.Bound{Table: t.ID}) == nil {
			unit := cmp.Or(t.Unit, t.UnitText)
			if unit == "1" { // a ratio has none
				unit = ""
			}
			out = append(out, boundRow{t.ID, view.Called(t), unit, said.Get("up:" + t.ID), said.Get("down:" + t.ID), changed[t.ID]})
		}
	}
	slices.SortStableFunc(out, func(a, b boundRow) int {
		switch {
		case a.Changed == b.Changed:
			return 0
		case a.Changed:
			return -1
		}
		return 1
	})
	return out
}

// corridorSaid is what would be typed for a corridor that was drawn up.
func corridorSaid(asked *recordv1.OpenCorridor) url.Values {
	v := url.Values{"author": asked.GetAuthors(), "most": {asked.GetMost()}, "maps": {strconv.Itoa(int(asked.GetMaps()))}, "because": {asked.GetReason()}}
	if asked.GetFrom() != 0 {
		v.Set("from", ofJob(asked.GetJob(), asked.GetFrom()))
	}
	for _, t := range asked.GetTables() {
		v.Set("up:"+t.GetTable(), t.GetUp())
		v.Set("down:"+t.GetTable(), t.GetDown())
	}
	return v
}

// manySaid is what was typed into a form of more fields than other forms may have: two for each table.
func manySaid(w http.ResponseWriter, r *http.Request) (url.Values, error) {
	r.Body = http.MaxBytesReader(w, r.Body, 16<<20)
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, err
	}
	said := url.Values{}
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return said, nil
		}
		if err != nil {
			return nil, err
		}
		text, err := io.ReadAll(part)
		if err != nil {
			return nil, err
		}
		said.Add(part.FormName(), strings.TrimSpace(strings.ReplaceAll(string(text), "\r\n", "\n")))
	}
}

// corridorPlan reads the form.
func corridorPlan(job uint32, said url.Values) (p client.CorridorPlan, err error) {
	count, err := strconv.ParseUint(said.Get("maps"), 10, 32)
	if err != nil {
		return p, &client.Error{Kind: client.Usage, Text: fmt.Sprintf("how many maps: %.40q is no number; allowed: 1 to 1000", said.Get("maps"))}
	}
	p = client.CorridorPlan{Job: job, From: said.Get("from"), Authors: said["author"], Most: said.Get("most"), Maps: uint32(count), Reason: said.Get("because")}
	ids := map[string]bool{}
	for key := range said {
		if side, id, is := strings.Cut(key, ":"); is && (side == "up" || side == "down") {
			ids[id] = true
		}
	}
	for _, id := range slices.Sorted(maps.Keys(ids)) {
		up, down := said.Get("up:"+id), said.Get("down:"+id)
		if up+down == "" {
			continue
		}
		for _, text := range []string{up, down} {
			if v, err := strconv.ParseFloat(cmp.Or(text, "0"), 64); err != nil || v < 0 {
				return p, &client.Error{Kind: client.Usage, Text: fmt.Sprintf("table %.60s: %.40q is no distance; allowed: a number of at least 0, such as 2.5", id, text)}
			}
		}
		p.Tables = append(p.Tables, id+"="+cmp.Or(up, "0")+":"+cmp.Or(down, "0"))
	}
	switch {
	case len(p.Authors) == 0:
		return p, &client.Error{Kind: client.Usage, Text: "tick whose maps it covers"}
	case len(p.Tables) == 0:
		return p, &client.Error{Kind: client.Usage, Text: "say of at least one table how far up or down it may go"}
	}
	return p, nil
}

// corridorDraft is a corridor in words, before its signature.
type corridorDraft struct {
	ID    string
	Job   *recordv1.Job
	Draft *client.CorridorDraft
	Rows  []spoken
	Means string
}

// spoken is a label and what is said beside it.
type spoken struct {
	Label string
	Lines []string
}

// draftCorridor draws a corridor up and shows what would be signed. Nothing is signed yet.
func (d *Desk) draftCorridor(w http.ResponseWriter, r *http.Request) error {
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	said, err := manySaid(w, r)
	if err != nil {
		return &client.Error{Kind: client.Usage, Text: "what was typed did not arrive whole", Err: err}
	}
	plan, err := corridorPlan(j.GetNumber(), said)
	var made *client.CorridorDraft
	if err == nil {
		made, err = d.client.DraftCorridor(r.Context(), plan)
	}
	if err != nil {
		return d.showCorridor(w, r, said, err)
	}
	return d.showCorridorDraft(w, r, d.corridors.put(made), made, nil)
}

func (d *Desk) showCorridorDraft(w http.ResponseWriter, r *http.Request, id string, made *client.CorridorDraft, problem error) error {
	p := d.base(r, fmt.Sprintf("Sign corridor %d of job %d", made.Corridor.GetNumber(), made.Corridor.GetJob()))
	j, err := d.client.Job(made.Corridor.GetJob())
	if err != nil {
		return err
	}
	rows, err := d.client.CorridorRows(j, made.Corridor)
	if err != nil {
		return err
	}
	b := corridorDraft{ID: id, Job: j, Draft: made, Means: strings.ReplaceAll(client.CorridorMeans, "\n", " ")}
	for _, row := range rows {
		if n := len(b.Rows); row[0] == "" && n > 0 {
			b.Rows[n-1].Lines = append(b.Rows[n-1].Lines, row[1:]...)
		} else {
			b.Rows = append(b.Rows, spoken{sentence(row[0]), row[1:]})
		}
	}
	d.show(w, p.refused(d, problem), statusOf(r, problem), "corridor-draft", b)
	return nil
}

// signCorridor signs a corridor that was drawn up, once the person confirmed it.
func (d *Desk) signCorridor(w http.ResponseWriter, r *http.Request) error {
	id := r.PostFormValue("draft")
	made, ok := d.corridors.get(id)
	if !ok {
		return &client.Error{Kind: client.Refused, Text: "this corridor is not here any more; it was signed, or is older than a quarter of an hour", Try: "go back to the form and draw it up again"}
	}
	c := made.Corridor
	what := fmt.Sprintf("open %s: %d maps of %s, at most %s; %s", client.CorridorName(c), c.GetAsked().GetMaps(),
		strings.Join(c.GetAsked().GetAuthors(), ", "), c.GetAsked().GetMost(), strings.Join(client.Bounds(c.GetAsked()), "; "))
	if err := d.confirmed(r, what); err != nil {
		return d.showCorridorDraft(w, r, id, made, err)
	}
	opened, err := d.client.SignCorridor(r.Context(), made)
	if err != nil {
		return d.showCorridorDraft(w, r, id, made, err)
	}
	d.corridors.drop(id)
	d.away(w, r, fmt.Sprintf("/job/%d", c.GetJob()), note{Text: fmt.Sprintf("You opened corridor %d. What lies inside it is a release when it is submitted.", opened.GetNumber())})
	return nil
}

// corridorLine is a corridor as a card and the rolling-road page show it.
type corridorLine struct {
	*recordv1.Corridor
	Stands string // how far it is used, and whether it still covers anything
	From   string
	Bounds []string
	More   int // tables that are left out
}

// mostBounds keeps a card readable.
const mostBounds = 12

func asCorridorLine(c *recordv1.Corridor) corridorLine {
	l := corridorLine{Corridor: c, Stands: client.CorridorState(c), From: "the read as found", Bounds: client.Bounds(c.GetAsked())}
	if n := c.GetAsked().GetFrom(); n != 0 {
		l.From = ofJob(c.GetJob(), n)
	}
	l.More = max(0, len(l.Bounds)-mostBounds)
	l.Bounds = l.Bounds[:len(l.Bounds)-l.More]
	return l
}

func corridorLines(j *recordv1.Job) (out []corridorLine) {
	for _, c := range j.GetCorridors() {
		out = append(out, asCorridorLine(c))
	}
	return out
}

// wayTo are the releases of a corridor up to the one that stays; of any other submission there is none.
func wayTo(rev *client.Review) (out []*recordv1.Submission) {
	c := record.CorridorOf(rev.Job, rev.Submission.GetByCorridor())
	if c.GetKept() != rev.Submission.GetNumber() {
		return nil
	}
	for _, s := range rev.Job.GetSubmissions()[:c.GetKept()] {
		if s.GetByCorridor() == c.GetNumber() {
			out = append(out, s)
		}
	}
	return out
}
