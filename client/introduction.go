package client

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Introduction is how somebody who joins makes themselves known to a lead. Nothing in it is secret; whose it is, the lead has to know.
type Introduction struct {
	Name  string
	Roles []string // technician, calibrator, lead
	Key   string   // the public key: ssh-ed25519 and base64
}

const introduction = "introduction"

// String is the introduction as the line that is sent to a lead.
func (i Introduction) String() string {
	return fmt.Sprintf("witnessmark %s %s %s %s", introduction, i.Key, strings.Join(i.Roles, ","), i.Name)
}

// ParseIntroduction reads the line, however mail broke it; a break inside a name is a blank of it. An error says which part is wrong.
func ParseIntroduction(text string) (i Introduction, err error) {
	p, err := paste(introduction, text)
	if err != nil {
		return i, err
	}
	kind, data := keyParts(make(ed25519.PublicKey, ed25519.PublicKeySize))
	word := p.word()
	if found, apart := p.take(len(kind)); found != kind || !apart {
		return i, p.wrong("%.40q is no kind of key; allowed: %s and a blank", word, kind)
	}
	word = p.word()
	found, apart := p.take(len(data))
	key, err := signoff.ParsePublicKey("the key", []byte(kind+" "+found))
	if err != nil || !apart {
		return i, p.wrong("%.80q is no key; allowed: %d characters of base64 that are one, and a blank", word, len(data))
	}
	i.Key = signoff.FormatPublicKey(key)
	word = p.word()
	found, apart = p.take(rolesAhead(p.left()))
	if i.Roles = strings.Split(found, ","); checkRoles(i.Roles) != nil || !apart {
		return i, p.wrong("%.40q stands where roles are; allowed: technician, calibrator and lead, with commas, and a blank", word)
	}
	i.Name = p.rest()
	if err := checkName(i.Name); err != nil {
		return i, p.wrong("%v", err)
	}
	return i, nil
}

// keyParts are the two words of an OpenSSH public key, which are as long for every key.
func keyParts(key ed25519.PublicKey) (kind, data string) {
	kind, data, _ = strings.Cut(signoff.FormatPublicKey(key), " ")
	return kind, data
}

// rolesAhead is how many bytes of roles with commas a text begins with.
func rolesAhead(text string) int {
	for at := 0; ; at++ {
		word := slices.IndexFunc(roleNames, func(name string) bool { return strings.HasPrefix(text[at:], name) })
		if word < 0 {
			return max(at-1, 0)
		}
		if at += len(roleNames[word]); !strings.HasPrefix(text[at:], ",") {
			return at
		}
	}
}

// roleNames are the roles that there are.
var roleNames = func() (names []string) {
	for n := range recordv1.Role_name {
		if r := recordv1.Role(n); r != recordv1.Role_ROLE_UNSPECIFIED {
			names = append(names, signoff.RoleName(r))
		}
	}
	return names
}()

func checkRoles(roles []string) error {
	if len(roles) == 0 {
		return usage("--role", "there is no role; allowed: technician, calibrator and lead")
	}
	for n, role := range roles {
		if _, err := signoff.ParseRole(role); err != nil {
			return usage("", "%v", err)
		}
		if slices.Contains(roles[:n], role) {
			return usage("", "the role %s stands there twice", role)
		}
	}
	return nil
}

// checkName refuses what is no name, and one that does not come through a line whole.
func checkName(name string) error {
	if err := signoff.CheckName(name); err != nil {
		return usage("", "%v", err)
	}
	if strings.Join(strings.Fields(name), " ") != name {
		return usage("", "name %q: two blanks after each other; allowed is one", name)
	}
	return nil
}

// Introduced is what a lead has to know before they enrol somebody by their introduction.
type Introduced struct {
	KeyID string
	// Alike are enrolled people whose name can be mistaken for this one.
	Alike []string
	// Before is who has that name now, whose key and roles these take the place of; nil for nobody.
	Before *recordv1.Person
}

// Introduced says whom an introduction would enrol.
func (c *Client) Introduced(i Introduction) (*Introduced, error) {
	key, err := signoff.ParsePublicKey("the key", []byte(i.Key))
	if err != nil {
		return nil, err
	}
	alike, err := c.Alike(i.Name)
	if err != nil {
		return nil, err
	}
	return look(c, func(s *record.State) (*Introduced, error) {
		who := &Introduced{KeyID: string(signoff.Fingerprint(key)), Alike: alike}
		if before, ok := s.Person(i.Name); ok {
			who.Before = before
		}
		return who, nil
	})
}

// EnrolIntroduced enrols somebody by their introduction.
func (c *Client) EnrolIntroduced(ctx context.Context, i Introduction) (*recordv1.Person, error) {
	return c.enrol(ctx, i.Name, i.Roles, i.Key)
}
