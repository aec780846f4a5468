package desk

import (
	"fmt"
	"net/http"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// peopleBody is who is enrolled and, for a lead, how somebody else comes to be.
type peopleBody struct {
	Here, Gone []*recordv1.Person
	May        bool   // invite, enrol and retire
	Line       string // the invitation
	OnlyHere   bool   // it leads whoever is at another machine to their own
	Address    field  // where else the server is reached
	Theirs     field  // where the line of somebody who joins is put
}

func (d *Desk) people(w http.ResponseWriter, r *http.Request) error {
	return d.showPeople(w, r, "", nil)
}

// showPeople is the page of people; wrong is why a line that was put there is refused.
func (d *Desk) showPeople(w http.ResponseWriter, r *http.Request, line string, wrong error) error {
	p := d.base(r, "People")
	p.Live = true
	all, err := d.client.People()
	if err != nil {
		return err
	}
	b := peopleBody{May: p.may("enrol") == "", Theirs: field{Kind: "text", Name: "line", Label: "The line that they sent you", Value: line, Must: true}}
	for _, one := range all {
		if one.GetRetired() {
			b.Gone = append(b.Gone, one)
		} else {
			b.Here = append(b.Here, one)
		}
	}
	if wrong != nil {
		b.Theirs.Wrong = d.plain(wrong)
	}
	if b.May {
		if err := d.invites(r, &b); err != nil && wrong == nil {
			wrong = err
			b.Address.Wrong = d.plain(err)
		}
	}
	if wrong != nil {
		p.Title = "Not done: " + p.Title
	}
	d.show(w, p, statusOf(r, wrong), "people", b)
	return nil
}

// invites fills in the invitation, at the addresses that were typed or those that others are likely to reach.
func (d *Desk) invites(r *http.Request, b *peopleBody) error {
	typed := client.SplitList(said(r, "address"))
	b.Address = field{Kind: "line", Name: "address", Label: "Where others reach the server", Value: strings.Join(typed, ","), Hint: "HOST:PORT, or several with commas."}
	i, err := d.client.Invite(typed...)
	if err != nil {
		return err
	}
	if here := i.OnlyHere(); len(typed) == 0 && len(here) == len(i.Addresses) {
		if from := client.FromElsewhere(r.Context(), here[0]); len(from) > 0 {
			if i, err = d.client.Invite(from...); err != nil {
				return err
			}
		}
	}
	b.Line, b.OnlyHere = i.String(), len(i.OnlyHere()) > 0
	if !b.OnlyHere {
		b.Address.Value = strings.Join(i.Addresses, ",")
	}
	return nil
}

// enrolBody is whom a lead is about to enrol.
type enrolBody struct {
	*client.Introduced
	Name, Line string
	Roles      field
	Not        string
}

// enrol shows who introduces themselves, before the passphrase is asked for; once it is given, they are enrolled.
func (d *Desk) enrol(w http.ResponseWriter, r *http.Request) error {
	line := said(r, "line")
	i, err := client.ParseIntroduction(line)
	if err != nil {
		return d.showPeople(w, r, line, err)
	}
	who, err := d.client.Introduced(i)
	if err != nil {
		return err
	}
	asked := i.Roles
	var problem error
	if r.Method == http.MethodPost {
		i.Roles = r.PostForm["role"]
		if problem = d.confirmed(r, fmt.Sprintf("enrol %s (%s) with %s", i.Name, strings.Join(i.Roles, ", "), who.KeyID)); problem == nil {
			_, problem = d.client.EnrolIntroduced(r.Context(), i)
		}
		if problem == nil {
			d.away(w, r, "/people", note{Text: fmt.Sprintf("You enrolled %s (%s). Their page goes on by itself.", i.Name, strings.Join(i.Roles, ", "))})
			return nil
		}
	}
	p := d.base(r, "Enrol "+i.Name)
	b := enrolBody{Introduced: who, Name: i.Name, Line: line, Not: p.may("enrol"),
		Roles: field{Kind: "ticks", Name: "role", Label: "Roles", Options: rolesOffered, Chosen: i.Roles, Hint: "They asked for: " + strings.Join(asked, ", ") + ". What is ticked here counts."}}
	d.show(w, p.refused(d, problem), statusOf(r, problem), "enrol", b)
	return nil
}

// rolesOffered are the roles, and what each is for.
var rolesOffered = [][2]string{
	{"technician", "opens jobs, reads cars, collects what is released, reads back"},
	{"calibrator", "submits modified images, signs what others submitted"},
	{"lead", "signs warnings, adds definitions and limits, enrols and retires people"},
}

type retireBody struct {
	*client.Ending
	Compromised field
	Not         string
}

// retire says what it ends that somebody leaves, and has it signed.
func (d *Desk) retire(w http.ResponseWriter, r *http.Request) (err error) {
	name, compromised := said(r, "name"), said(r, "compromised") != ""
	ends, err := d.client.Retiring(name)
	if err != nil {
		return err
	}
	var problem error
	if r.Method == http.MethodPost {
		what := "retire " + name
		if compromised {
			what += ", whose key may be in other hands"
		}
		if problem = d.confirmed(r, what); problem == nil {
			_, problem = d.client.Retire(r.Context(), name, compromised)
		}
		if problem == nil {
			d.away(w, r, "/people", note{Text: "You retired " + name + "."})
			return nil
		}
	}
	p := d.base(r, "Retire "+name)
	b := retireBody{Ending: ends, Not: p.may("retire"), Compromised: field{Kind: "tick", Name: "compromised", Label: "Their key may be in other hands", Value: said(r, "compromised")}}
	if ends.Person.GetRetired() {
		b.Not = name + " is retired already."
	}
	if len(ends.Void) > 0 {
		b.Compromised.Hint = "Then these releases, which rest on their key and nobody has collected, wait again: " + strings.Join(ends.Void, ", ") + ". Otherwise they can still be collected."
	}
	d.show(w, p.refused(d, problem), statusOf(r, problem), "retire", b)
	return nil
}
