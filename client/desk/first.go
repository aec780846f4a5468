package desk

import (
	"slices"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// first is something that a workshop needs before it can work on a car.
type first struct {
	Done            bool
	Href, Does, Why string
}

// first are a lead's first steps, until all of them are done.
func (d *Desk) firstOf(p page) (out []first, err error) {
	if d.firsts.Load() || p.may("definition") != "" {
		return nil, nil
	}
	definitions, err := d.client.Documents(client.Definitions)
	if err != nil {
		return nil, err
	}
	limits, err := d.client.Documents(client.Limits)
	if err != nil {
		return nil, err
	}
	people, err := d.client.People()
	if err != nil {
		return nil, err
	}
	others := slices.ContainsFunc(people, func(one *recordv1.Person) bool { return one.GetName() != p.Me.GetName() })
	out = []first{
		{len(definitions) > 0, "/add/definition", "Add a definition", "where the tables are in a controller's image"},
		{len(limits) > 0, "/add/limits", "Add limits", "the rules that a modified image is judged by"},
	}
	if !d.client.OnePerson() {
		out = append(out, first{others, "/people#invite", "Invite the others", "technicians and calibrators; nobody signs what they submitted themselves"})
	}
	if !slices.ContainsFunc(out, func(f first) bool { return !f.Done }) {
		d.firsts.Store(true)
		return nil, nil
	}
	return out, nil
}
