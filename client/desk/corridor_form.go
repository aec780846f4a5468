package desk

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
	"witnessmark/tables/corridor"
	"witnessmark/tables/definition"
)

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
