package client

import (
	"context"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Enrol adds a person, or gives one a new key.
func (c *Client) Enrol(ctx context.Context, name string, roles []string, keyFile string) (*recordv1.Person, error) {
	line, err := ReadBounded(keyFile, MaxKeyFile)
	if err != nil {
		return nil, err
	}
	key, err := signoff.ParsePublicKey(keyFile, line)
	if err != nil {
		return nil, err
	}
	return c.enrol(ctx, name, roles, signoff.FormatPublicKey(key))
}

func (c *Client) enrol(ctx context.Context, name string, roles []string, key string) (*recordv1.Person, error) {
	return c.actOnPerson(ctx, name, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: name, Roles: roles, PublicKey: key}}})
}

// Retire ends a person's part; compromised also voids the releases that rest on their key and that nobody has collected.
func (c *Client) Retire(ctx context.Context, name string, compromised bool) (*recordv1.Person, error) {
	return c.actOnPerson(ctx, name, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: name, Compromised: compromised}}})
}

// Ending is what retiring somebody ends.
type Ending struct {
	Person *recordv1.Person
	// Waiting are their submissions that go on waiting: others can still sign or return them.
	Waiting []string
	// Void are the releases that rest on their key, as signer or as author of what a corridor released, and that nobody has
	// collected: with a compromised key they wait again.
	Void []string
}

// Retiring is what retiring somebody would end.
func (c *Client) Retiring(name string) (*Ending, error) {
	return look(c, func(s *record.State) (*Ending, error) {
		p, ok := s.Person(name)
		if !ok {
			return nil, usage("witnessmark person list", "nobody called %q is enrolled", name)
		}
		e := &Ending{Person: p, Void: s.Voidable(p)}
		s.Waits(func(w record.Wait) bool {
			if w.Author == name && (w.What == record.ToSign || w.What == record.ToReturn) {
				e.Waiting = append(e.Waiting, w.Of.String())
			}
			return true
		})
		return e, nil
	})
}

func (c *Client) actOnPerson(ctx context.Context, name string, a *recordv1.Action) (*recordv1.Person, error) {
	if _, err := c.act(ctx, &deed{action: a}); err != nil {
		return nil, err
	}
	return look(c, func(s *record.State) (*recordv1.Person, error) { p, _ := s.Person(name); return p, nil })
}

// People is everybody there ever was, by name.
func (c *Client) People() ([]*recordv1.Person, error) {
	return look(c, func(s *record.State) ([]*recordv1.Person, error) { return s.People(), nil })
}

// Alike are enrolled people whose name can be mistaken for this one.
func (c *Client) Alike(name string) (names []string, err error) {
	people, err := c.People()
	for _, p := range people {
		if p.GetName() != name && signoff.LooksLike(p.GetName(), name) {
			names = append(names, p.GetName())
		}
	}
	return names, err
}

// SplitList reads a comma-separated list; empty parts are dropped.
func SplitList(s string) []string {
	parts := strings.Split(s, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return slices.DeleteFunc(parts, func(p string) bool { return p == "" })
}
