package record

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/severity"
)

// Bounds of a corridor.
const (
	maxAuthors  = 100
	maxCorridor = 10000 // tables
	maxInJob    = 20000 // of all its corridors
	maxMaps     = 1000
)

var openCorridor = &kind{
	name: "corridor",
	// where it starts: the read as found, or the latest entry of a release
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		c := a.GetCorridor()
		if c.GetFrom() == 0 {
			_, r, err := s.jobAsFound("corridor.job", c.GetJob())
			return uint64(r.GetAdded().GetEntry()), err
		}
		sub, err := s.subAt("corridor", c.GetJob(), c.GetFrom())
		return uint64(sub.GetLatest()), err
	},
	decide: decideCorridor,
	apply: func(c *change) {
		o := c.action.GetCorridor()
		n := uint32(0)
		c.changeJob(o.GetJob(), func(j *recordv1.Job) {
			n = uint32(len(j.GetCorridors()) + 1)
			j.Corridors = append(j.Corridors, &recordv1.Corridor{
				Job: o.GetJob(), Number: n, Asked: o, Opened: c.event, SignedWith: c.keyID, State: open,
			})
		})
		words := ""
		if o.GetByAuthor() {
			words = " by one of its authors"
		}
		c.tell(o.GetJob(), o.GetFrom(), o.GetFromSha256(), "", "opened corridor %d%s, from %s", n, words, written(o.GetJob(), o.GetFrom()))
	},
}

func decideCorridor(d *decision) error {
	o := d.action.GetCorridor()
	j, _, err := d.jobAsFound("corridor.job", o.GetJob())
	if err != nil {
		return err
	}
	if c := OpenIn(j); c != nil {
		return refuse(ReasonState, "corridor.job", closed, "%s is open; close it first", CorridorName(c))
	}
	if err := d.start(j, o); err != nil {
		return err
	}
	if err := d.byNow("corridor", j, o); err != nil {
		return err
	}
	if err := d.authors(o); err != nil {
		return err
	}
	if err := checkRoom(j, o); err != nil {
		return err
	}
	return CheckCorridor(d.who, d.Genesis().GetOnePerson(), o)
}

// CheckCorridor holds a corridor to who may sign it, and to how much one may cover.
func CheckCorridor(who *recordv1.Person, onePerson bool, o *recordv1.OpenCorridor) error {
	if err := checkSigner(who, onePerson, o); err != nil {
		return err
	}
	if err := checkBounds(o.GetTables()); err != nil {
		return err
	}
	if n := o.GetMaps(); n < 1 || n > maxMaps {
		return badValue("corridor.maps", "1 to 1000", "is %d", n)
	}
	return checkOneOf("corridor.most", o.GetMost(), string(severity.Notice), string(severity.Caution))
}

// start wants a corridor to start from the read as found, or from a release that still stands as it was signed.
func (d *decision) start(j *recordv1.Job, o *recordv1.OpenCorridor) error {
	have := StartOf(j, o).GetSha256()
	if o.GetFrom() != 0 {
		sub, err := d.subAt("corridor", o.GetJob(), o.GetFrom())
		switch {
		case err != nil:
			return refuse(ReasonNotFound, "corridor.from", "", "corridor.from: job %d has no submission %d; allowed: 0 for the read as found, or a release", o.GetJob(), o.GetFrom())
		case !IsRelease(sub):
			return d.wrongState(sub, "corridor.from", "a release")
		case sub.GetJudgedWorse() != nil:
			return refuse(ReasonNewSignOff, "corridor.from", "", "%s is %s by a newer revision; sign it again first, or start from another", subName(sub), Verdict(sub))
		}
	}
	if o.GetFromSha256() != have {
		return refuse(ReasonOtherImage, "corridor.from_sha256", have, "corridor.from_sha256: is %q; allowed: the image of %s, %s",
			short(o.GetFromSha256()), written(o.GetJob(), o.GetFrom()), have)
	}
	return nil
}

// authors wants enrolled people who submit.
func (d *decision) authors(o *recordv1.OpenCorridor) error {
	const at = "corridor.authors"
	list := o.GetAuthors()
	if len(list) < 1 || len(list) > maxAuthors {
		return badValue(at, "1 to 100 people", "there are %d", len(list))
	}
	for i, name := range list {
		if i > 0 && name <= list[i-1] {
			return badValue(at, "sorted names, each once", "%q comes after %q", short(name), short(list[i-1]))
		}
		p, err := d.personNamed(at, name)
		if err != nil {
			return err
		}
		if p.GetRetired() {
			return refuse(ReasonRetired, at, "", "%s: %s was retired", at, name)
		}
		if err := CheckRole(p, submit.name); err != nil {
			return err
		}
	}
	return nil
}

// checkSigner lets an author sign in a one-person workshop alone, and with a reason.
func checkSigner(who *recordv1.Person, onePerson bool, o *recordv1.OpenCorridor) error {
	const at = "corridor.authors"
	own := contains(o.GetAuthors(), who.GetName())
	switch {
	case own && !onePerson:
		return refuse(ReasonAuthor, at, "somebody else", "%s: %s signs the corridor, and may not sign what they submit themselves; somebody else must", at, who.GetName())
	case own && !o.GetByAuthor():
		return refuse(ReasonAuthor, "corridor.by_author", "true", "corridor.by_author: %s is an author; allowed: true, since an author signs", who.GetName())
	case !own && o.GetByAuthor():
		return refuse(ReasonNotAuthor, "corridor.by_author", "false", "corridor.by_author: %s is no author of it; allowed: false", who.GetName())
	}
	if own || o.GetReason() != "" {
		return checkReason("corridor.reason", o.GetReason())
	}
	return nil
}

// checkRoom keeps what a job says of all its corridors within bounds: each of its entries writes that again.
func checkRoom(j *recordv1.Job, o *recordv1.OpenCorridor) error {
	n := len(o.GetTables())
	for _, c := range j.GetCorridors() {
		n += len(c.GetAsked().GetTables())
	}
	if n > maxInJob {
		return badValue("corridor.tables", "20000 in all corridors of a job", "with these there would be %d", n)
	}
	return nil
}

// checkBounds wants tables, each once, and of each how far it may go.
func checkBounds(tables []*recordv1.CorridorTable) error {
	const at = "corridor.tables"
	if len(tables) < 1 || len(tables) > maxCorridor {
		return badValue(at, "1 to 10000 tables", "there are %d", len(tables))
	}
	seen := map[string]bool{}
	for _, t := range tables {
		if err := checkLine(at+".table", t.GetTable(), maxShort); err != nil {
			return err
		}
		if seen[t.GetTable()] {
			return badValue(at, "each table once", "%s is there twice", t.GetTable())
		}
		seen[t.GetTable()] = true
		up, rises := decimal(t.GetUp())
		down, falls := decimal(t.GetDown())
		if !rises || !falls || up < 0 || down < 0 || up == 0 && down == 0 {
			return badValue(at, "decimal numbers from 0 to 1e12 in their shortest form, not both 0", "%s is %q up, %q down", t.GetTable(), short(t.GetUp()), short(t.GetDown()))
		}
		if err := checkText(at+".unit", t.GetUnit(), maxShort); err != nil {
			return err
		}
	}
	return nil
}
