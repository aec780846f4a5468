package record

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// The kinds of files in the catalogue; they are also the kinds of the actions that add them.
const (
	Definitions = "definition"
	Limits      = "limits"
)

var (
	addDefinition = catalogKind(Definitions)
	addLimits     = catalogKind(Limits)
)

func catalogKind(name string) *kind {
	return &kind{
		name: name,
		// the newest revision of that name; entry 0 for a new one
		target: func(s *State, a *recordv1.Action) (uint64, error) {
			newest, _ := s.Newest(name, addedRevision(a).GetName())
			return uint64(newest.GetAdded().GetEntry()), nil
		},
		decide: decideRevision,
		apply:  applyRevision,
		brings: func(a *recordv1.Action) []Brought {
			return []Brought{{SHA256: addedRevision(a).GetSha256(), What: ADocument}}
		},
	}
}

func addedRevision(a *recordv1.Action) *recordv1.Revision {
	if a.GetDefinition() != nil {
		return a.GetDefinition().GetRevision()
	}
	return a.GetLimits().GetRevision()
}

func judgedWorse(a *recordv1.Action) []*recordv1.JudgedWorse {
	if a.GetDefinition() != nil {
		return a.GetDefinition().GetJudgedWorse()
	}
	return a.GetLimits().GetJudgedWorse()
}

// decideRevision takes any file but the newest one again: one that was a revision before is a way
// back, and becomes the newest.
func decideRevision(d *decision) error {
	r, name := addedRevision(d.action), d.kind.name
	if err := checkDocumentName(name+".name", r.GetName()); err != nil {
		return err
	}
	if err := checkHash(name+".sha256", r.GetSha256()); err != nil {
		return err
	}
	if newest, ok := d.Newest(name, r.GetName()); ok && newest.GetSha256() == r.GetSha256() {
		return refuse(ReasonNoChange, name+".sha256", "", "%s: this file is revision %d of %s, the newest, already; allowed: another file", name, newest.GetRevision(), newest.GetName())
	}
	if old, ok := d.ByHash(name, r.GetSha256()); ok && old.GetName() != r.GetName() {
		return refuse(ReasonNameUsed, name+".name", old.GetName(), "%s: this file is %s already; allowed: that name", name, old.GetName())
	}
	for i, w := range judgedWorse(d.action) {
		sub, err := d.subAt(name+".judged_worse", w.GetJob(), w.GetSubmission())
		if err != nil {
			return err
		}
		if err := checkOutcome(name+".judged_worse", w.GetVerdict(), w.GetWarnings()); err != nil {
			return err
		}
		if prev := judgedWorse(d.action)[max(i-1, 0)]; i > 0 && (prev.GetJob() > w.GetJob() || prev.GetJob() == w.GetJob() && prev.GetSubmission() >= w.GetSubmission()) {
			return badValue(name+".judged_worse", "by job and submission, each once", "%s is out of order", subName(sub))
		}
	}
	return nil
}

func applyRevision(c *change) {
	r := addedRevision(c.action)
	newest, _ := c.Newest(c.event.GetKind(), r.GetName())
	before, _ := c.ByHash(c.event.GetKind(), r.GetSha256())
	c.putNewest(c.event.GetKind(), &recordv1.CatalogFile{
		Name: r.GetName(), Sha256: r.GetSha256(), Revision: newest.GetRevision() + 1, Added: c.event, Used: before.GetUsed(),
	})
	for _, w := range judgedWorse(c.action) {
		c.changeJob(w.GetJob(), func(j *recordv1.Job) {
			if sub := SubmissionOf(j, w.GetSubmission()); sub != nil {
				sub.JudgedWorse, sub.JudgedWorseBy = w, uint32(c.entry)
			}
		})
	}
}

// putNewest keeps the newest revision of a name, wherever it is looked for.
func (s *State) putNewest(kind string, file *recordv1.CatalogFile) {
	s.put(docRevision, join(kind, file.GetName(), file.GetRevision()), file)
	s.put(docNewest, join(kind, file.GetName()), file)
	s.put(docFile, join(kind, file.GetSha256()), file)
}

// Newest finds the newest revision of a name; kind is Definitions or Limits.
func (s *State) Newest(kind, name string) (*recordv1.CatalogFile, bool) {
	f := &recordv1.CatalogFile{}
	ok := s.get(docNewest, join(kind, name), f)
	return f, ok
}

// ByHash finds the newest revision with these bytes.
func (s *State) ByHash(kind, sha256 string) (*recordv1.CatalogFile, bool) {
	f := &recordv1.CatalogFile{}
	ok := s.get(docFile, join(kind, sha256), f)
	return f, ok
}

// Revision finds one revision of a name, from 1.
func (s *State) Revision(kind, name string, n uint32) (*recordv1.CatalogFile, bool) {
	f := &recordv1.CatalogFile{}
	ok := s.get(docRevision, join(kind, name, n), f)
	return f, ok
}

// Revisions are all revisions of a kind, by name and then oldest first, after one of a name.
func (s *State) Revisions(kind, afterName string, after uint32, fn func(*recordv1.CatalogFile) (more bool)) {
	from := ""
	if afterName != "" {
		from = join(kind, afterName, after) + "\x00"
	}
	s.scan(docRevision, under(kind), from, func(key string, value []byte) bool {
		f := &recordv1.CatalogFile{}
		return s.decode(docRevision, key, value, f) && fn(f)
	})
}

// newestAt wants r to be the newest revision of its name; name, where given, is the one it must have.
func (s *State) newestAt(at, kind, name string, r *recordv1.Revision) error {
	if name != "" && r.GetName() != name {
		return refuse(ReasonBadValue, at+".name", name, "%s.name: is %q; allowed: the job's, %s", at, short(r.GetName()), name)
	}
	f, ok := s.Newest(kind, r.GetName())
	if !ok {
		return refuse(ReasonNotFound, at+".name", "", "%s.name: there is no %s called %q", at, kind, short(r.GetName()))
	}
	if r.GetSha256() != f.GetSha256() {
		return refuse(ReasonOlderRevision, at+".sha256", f.GetSha256(),
			"%s.sha256: %q is not the newest revision of %s; allowed: revision %d, %s", at, short(r.GetSha256()), r.GetName(), f.GetRevision(), f.GetSha256())
	}
	return nil
}
