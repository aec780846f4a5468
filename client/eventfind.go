package client

import (
	"bytes"
	"encoding/base64"
	"iter"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// EventFilter is which entries are looked for; what is left out asks for nothing.
type EventFilter struct {
	Kind string
	Who  string // part of a name
	// About is a job and all that is of it (7, and not 70), something of a job (7.2), a person, a file, or part of a plate.
	About  string
	Before uint64 // entries below this one; 0 is all
}

// What FindEvents looks at before it goes no further. An entry that is opened counts for more, since its signature is verified.
const (
	mostLooked = 3200
	openedIs   = 16
	fewJobs    = 50 // of so many the entries are looked up; those of more are met on the way
)

// FindEvents are the newest of the entries that are looked for, at most so many; further, where it is not 0, is Before of
// what follows. What it looks at is bounded: entries of a seldom kind may be further down though none was found.
func (c *Client) FindEvents(f EventFilter, most int) (found []Event, further uint64, err error) {
	err = c.own.view(func(tx store.ReadTx) error {
		l := looker{EventFilter: f, s: record.Read(tx), owners: map[string]bool{}}
		if name, err := record.ParseName(strings.ToLower(f.About)); err == nil && name.Job <= l.s.Head().GetJobs() {
			l.job = name.Job
		}
		looked, before := 0, l.s.Size()
		if f.Before != 0 {
			before = min(before, f.Before)
		}
		listed, known := l.listed()
		for i := range downwards(before, listed, known) {
			if looked >= mostLooked || len(found) == most {
				further = i + 1
				break
			}
			entry, err := tx.Entry(i)
			if err != nil {
				return err
			}
			if looked++; !known && !l.mayBe(entry) {
				continue
			}
			looked += openedIs
			if e := eventOf(l.s, i, entry); l.has(e) {
				found = append(found, e)
			}
		}
		return l.s.Err()
	})
	return found, further, err
}

// downwards are the entries below one, newest first: all, or those that are listed where they are known.
func downwards(before uint64, listed []uint64, known bool) iter.Seq[uint64] {
	slices.Sort(listed)
	return func(yield func(uint64) bool) {
		if !known {
			for i := before; i > 0 && yield(i-1); i-- {
			}
			return
		}
		for _, i := range slices.Backward(slices.Compact(listed)) {
			if i < before && !yield(i) {
				return
			}
		}
	}
}

// looker is a filter in front of a ledger.
type looker struct {
	EventFilter
	s      *record.State
	job    uint32          // that About names; 0 for none
	owners map[string]bool // whether the owner of a key is looked for
}

// has says whether an entry is looked for.
func (l looker) has(e Event) bool {
	return (l.Kind == "" || e.Kind == l.Kind) && contains(e.Person, l.Who) && (l.About == "" || l.isAbout(e))
}

func (l looker) isAbout(e Event) bool {
	if strings.EqualFold(e.About, l.About) || strings.HasPrefix(strings.ToLower(e.About), strings.ToLower(l.About)+".") {
		return true
	}
	plate := record.NormalPlate(l.About)
	return l.job == 0 && plate != "" && strings.Contains(record.NormalPlate(e.Plate), plate)
}

func contains(text, part string) bool {
	return strings.Contains(strings.ToLower(text), strings.ToLower(part))
}

// listed are entries among which all are that are looked for, where the documents name them and they are few.
func (l looker) listed() (out []uint64, known bool) {
	if l.Kind == "" && l.About == "" {
		return nil, false
	}
	may := func(kinds ...string) bool { return l.Kind == "" || slices.Contains(kinds, l.Kind) }
	if may("genesis", "enrol", "retire") {
		out = l.s.AboutPeople()
	}
	for _, kind := range []string{Definitions, Limits} {
		if may(kind) {
			l.s.Revisions(kind, "", 0, func(r *recordv1.CatalogFile) bool { out = append(out, uint64(r.GetAdded().GetEntry())); return true })
		}
	}
	if len(out) > 0 && l.Kind != "" { // it is a kind that is about no job
		return out, true
	}
	jobs := []uint32{l.job}
	if l.job == 0 {
		jobs = l.s.Find(record.Query{Words: record.Words(l.About)})
	}
	if l.About == "" || len(jobs) > fewJobs {
		return nil, false
	}
	cars := map[uint32]bool{}
	for _, n := range jobs {
		j, _ := l.s.Listed(n)
		if car := j.GetCar(); !cars[car] {
			cars[car] = true
			for _, e := range l.s.CarHistory(car).GetEvents() {
				out = append(out, uint64(e.GetEvent().GetEntry()))
			}
		}
	}
	return out, true
}

// mayBe says of an entry, without opening it, that it is not looked for; what that does not tell may be.
func (l looker) mayBe(entry []byte) bool {
	envelope, _, err := record.EnvelopeOf(entry)
	if err != nil || envelope == nil {
		return true
	}
	if id, ok := textOf(envelope, `"keyid":"`); ok && l.Who != "" {
		if _, known := l.owners[string(id)]; !known {
			l.owners[string(id)] = contains(l.s.OwnerOf(signoff.KeyID(id)), l.Who)
		}
		if !l.owners[string(id)] {
			return false
		}
	}
	payload, ok := textOf(envelope, `"payload":"`)
	if !ok || l.Kind == "" {
		return true
	}
	text, err := base64.StdEncoding.AppendDecode(nil, payload)
	// Where letters may be written as escapes, a name cannot be looked for.
	return err != nil || bytes.IndexByte(text, '\\') >= 0 || bytes.Contains(text, []byte(`"`+l.Kind+`"`))
}

// textOf is the text behind a name in JSON, up to its end.
func textOf(b []byte, name string) (text []byte, ok bool) {
	_, rest, ok := bytes.Cut(b, []byte(name))
	text, _, ended := bytes.Cut(rest, []byte(`"`))
	return text, ok && ended
}
