package record

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// oracle is a slow judge of its own: for each question it reads the list of entries from the first on, and
// looks at nothing else.
type oracle struct {
	genesis *recordv1.Genesis
	facts   []fact
	inside  map[string]covered // by the hash of a submission's entry, which says all that came before
}

// newOracle has read all of a history.
func newOracle(t tb, h *history) *oracle {
	o := &oracle{inside: map[string]covered{}}
	for _, told := range h.told {
		o.add(t, told.GetEntry())
	}
	return o
}

type fact struct {
	i    uint32
	key  string // id
	hash string // of the leaf
	*recordv1.Action
}

// add reads an entry by the standard library and protojson alone.
func (o *oracle) add(t tb, entry []byte) {
	e := &recordv1.Entry{}
	if err := proto.Unmarshal(entry, e); err != nil {
		t.Fatalf("entry: %v", err)
	}
	if o.genesis == nil {
		o.genesis = e.GetGenesis()
		return
	}
	var env struct {
		PayloadType string
		Payload     []byte
		Signatures  []struct{ KeyID string }
	}
	err := json.Unmarshal(e.GetEnvelope(), &env)
	if strings.Contains(env.PayloadType, "in-toto") {
		var st struct{ Predicate json.RawMessage }
		err = json.Unmarshal(env.Payload, &st)
		env.Payload = st.Predicate
	}
	f := fact{i: uint32(len(o.facts) + 1), Action: &recordv1.Action{}, hash: fmt.Sprintf("%x", sha256.Sum256(append([]byte{0}, entry...)))}
	if err == nil {
		err = protojson.Unmarshal(env.Payload, f.Action)
	}
	if err != nil {
		t.Fatalf("envelope: %v", err)
	}
	f.key = env.Signatures[0].KeyID
	o.facts = append(o.facts, f)
}

// keyID is how ssh-keygen names a key: the SHA-256 of its base64 part, in base64.
func keyID(line string) string {
	raw, _ := base64.StdEncoding.DecodeString(strings.Fields(line)[1])
	sum := sha256.Sum256(raw)
	return "SHA256:" + base64.RawStdEncoding.EncodeToString(sum[:])
}

type somebody struct {
	name, key string
	roles     []string
}

// people are those who could sign before entry n.
func (o *oracle) people(n uint32) map[string]somebody {
	out := map[string]somebody{o.genesis.GetLeadName(): {o.genesis.GetLeadName(), keyID(o.genesis.GetLeadKey()), []string{"lead"}}}
	for _, f := range o.facts {
		if e := f.GetEnrol(); e != nil && f.i < n {
			out[e.GetName()] = somebody{e.GetName(), keyID(e.GetPublicKey()), e.GetRoles()}
		} else if r := f.GetRetire(); r != nil && f.i < n {
			delete(out, r.GetName())
		}
	}
	return out
}

func (o *oracle) who(f fact) somebody {
	for _, p := range o.people(f.i) {
		if p.key == f.key {
			return p
		}
	}
	return somebody{}
}

func (o *oracle) jobs() (n uint32) {
	for _, f := range o.facts {
		if f.GetJob() != nil {
			n++
		}
	}
	return n
}

// details is what was last said of a job, by which entry, which car that was, and its definition.
func (o *oracle) details(job uint32) (d *recordv1.JobDetails, by, car uint32, definition string) {
	jobs, cars := uint32(0), uint32(0)
	for _, f := range o.facts {
		said := f.GetJob().GetDetails()
		n := f.GetAmend().GetJob()
		if said != nil {
			jobs++
			n = jobs
		} else if said = f.GetAmend().GetDetails(); said == nil {
			continue
		}
		named := said.GetCar()
		if named == 0 {
			cars++
			named = cars
		}
		if n == job {
			d, by, car = said, f.i, named
			definition += f.GetJob().GetDefinition().GetName()
		}
	}
	return d, by, car, definition
}

// readOf is a read that was not voided.
type readOf struct {
	fact
	number uint32
}

func (o *oracle) reads(job uint32) (out []readOf) {
	n := uint32(0)
	for _, f := range o.facts {
		if r := f.GetRead(); r.GetJob() == job && r != nil {
			n++
			out = append(out, readOf{f, n})
		} else if v := f.GetVoid(); v.GetJob() == job && v != nil {
			out = slices.DeleteFunc(out, func(r readOf) bool { return r.number == v.GetRead() })
		}
	}
	return out
}

func (o *oracle) car(job uint32) uint32 {
	_, by, car, _ := o.details(job)
	for _, r := range o.reads(job) {
		if r.i > by {
			car = r.GetRead().GetCar()
		}
	}
	return car
}

func (o *oracle) closed(job uint32) (out bool) {
	for _, f := range o.facts {
		out = f.GetClose().GetJob() == job || out && f.GetReopen().GetJob() != job
	}
	return out
}

// newest is the file that is the newest revision of a name.
func (o *oracle) newest(limits bool, name string) (sha string) {
	for _, f := range o.facts {
		r := f.GetDefinition().GetRevision()
		if limits {
			r = f.GetLimits().GetRevision()
		}
		if r.GetName() == name && r != nil {
			sha = r.GetSha256()
		}
	}
	return sha
}

// story is a submission and what became of it.
type story struct {
	submitted, signed fact
	state             string
	key               string // of who said the newest yes
	by                uint32 // the corridor that released it
	everCollected     bool
	worse             uint32 // the entry that judged it worse, until signed or returned
}

// rests are the keys that it rests on: who said the newest yes, and where that was a corridor's, who submitted it.
func (s story) rests() []string {
	if s.by != 0 && s.signed.Action == nil {
		return []string{s.key, s.submitted.key}
	}
	return []string{s.key}
}

func (o *oracle) story(job, n uint32) (s story) {
	count, collected := uint32(0), false
	var again []fact // newer ones of the same author
	for _, f := range o.facts {
		out := s.state == "released" || s.state == "in car"
		ours := func(j, sub uint32) bool { return count >= n && j == job && sub == n }
		switch {
		case f.GetSubmission() != nil && f.GetSubmission().GetJob() == job:
			if count++; count == n {
				s = story{submitted: f, state: "waiting"}
				if s.by, _ = o.coveredBy(f); s.by != 0 {
					s.state, s.key = "released", o.corridors(job)[s.by-1].by.key
				}
			} else if count > n && o.who(f).name == o.who(s.submitted).name {
				again = append(again, f)
				if s.state == "waiting" {
					s.state = "replaced"
				}
			}
		case f.GetSignOff() != nil && ours(f.GetSignOff().GetJob(), f.GetSignOff().GetSubmission()):
			covered := out && s.by != 0 && s.signed.Action == nil && // by the corridor already
				slices.Index(severities, f.GetSignOff().GetJudgement().GetVerdict()) <= slices.Index(severities, s.submitted.GetSubmission().GetJudgement().GetVerdict())
			s.signed, s.key, s.worse, collected = f, f.key, 0, collected && covered
			if s.state != "in car" {
				s.state = "released"
			}
		case f.GetReturn() != nil && ours(f.GetReturn().GetJob(), f.GetReturn().GetSubmission()):
			s.state, s.worse = "returned", 0
		case f.GetWithdraw() != nil && ours(f.GetWithdraw().GetJob(), f.GetWithdraw().GetSubmission()):
			s.state = "withdrawn"
		case f.GetCollect() != nil && ours(f.GetCollect().GetJob(), f.GetCollect().GetSubmission()):
			collected, s.everCollected = true, true
		case f.GetCorridorClose().GetKeep() != 0 && f.GetCorridorClose().GetJob() == job && f.GetCorridorClose().GetCorridor() == s.by && s.by != 0:
			if out && s.signed.Action == nil && f.GetCorridorClose().GetKeep() != n {
				s.state = "replaced"
			}
		case f.GetReadBack().GetMatches() && f.GetReadBack().GetJob() == job && out:
			s.state = "released"
			if f.GetReadBack().GetSubmission() == n {
				s.state = "in car"
			}
		case f.GetRetire().GetCompromised() && out && !collected && slices.Contains(s.rests(), o.people(f.i)[f.GetRetire().GetName()].key):
			s.state = "waiting"
			if len(again) > 0 {
				s.state = "replaced"
			}
		}
		for _, w := range append(f.GetLimits().GetJudgedWorse(), f.GetDefinition().GetJudgedWorse()...) {
			if ours(w.GetJob(), w.GetSubmission()) {
				s.worse = f.i
			}
		}
	}
	return s
}

func (o *oracle) stories(job uint32) (out []story) {
	for _, f := range o.facts {
		if f.GetSubmission() != nil && f.GetSubmission().GetJob() == job {
			out = append(out, o.story(job, uint32(len(out)+1)))
		}
	}
	return out
}

var severities = []string{"clear", "notice", "caution", "warning", "danger"}

// mayCollect says whether a collect of somebody, well formed and of this ledger, is right after all these entries.
func (o *oracle) mayCollect(f fact) bool {
	c := f.GetCollect()
	who := o.who(f)
	erased := slices.ContainsFunc(o.facts, func(f fact) bool { return f.GetErase().GetJob() == c.GetJob() && f.GetErase() != nil })
	if !slices.Contains(who.roles, "technician") && !slices.Contains(who.roles, "lead") || c.GetJob() < 1 || c.GetJob() > o.jobs() || o.closed(c.GetJob()) || erased {
		return false
	}
	reads := o.reads(c.GetJob())
	if len(reads) == 0 {
		return false
	}
	found := reads[0]
	if c.GetSubmission() == 0 {
		return c.GetImageSha256() == found.GetRead().GetImage().GetSha256() && c.GetJudgement() == nil && f.GetActsOn() == found.hash
	}
	s := o.story(c.GetJob(), c.GetSubmission())
	said, _, _, definition := o.details(c.GetJob())
	now, then, yes := c.GetJudgement(), s.signed.GetSignOff().GetJudgement(), s.signed
	if s.by != 0 && s.signed.Action == nil {
		then, yes = s.submitted.GetSubmission().GetJudgement(), s.submitted
	}
	covered := slices.Index(severities, now.GetVerdict()) <= slices.Index(severities, then.GetVerdict())
	for _, w := range now.GetWarnings() {
		covered = covered && slices.Contains(then.GetWarnings(), w)
	}
	return (s.state == "released" || s.state == "in car") && covered && f.GetActsOn() == yes.hash &&
		c.GetImageSha256() == s.submitted.GetSubmission().GetImage().GetSha256() &&
		now.GetDefinition().GetName() == definition && now.GetDefinition().GetSha256() == o.newest(false, definition) &&
		now.GetLimits().GetName() == said.GetLimits().GetName() && now.GetLimits().GetSha256() == o.newest(true, said.GetLimits().GetName()) &&
		now.GetFuel() == said.GetFuel() && fmt.Sprint(now.GetNumbers()) == fmt.Sprint(said.GetNumbers()) &&
		now.GetBaseSha256() == found.GetRead().GetImage().GetSha256()
}

// imageOf is what was written by the name of a submission; 0 is the read as found.
func (o *oracle) imageOf(job, sub uint32) string {
	if sub == 0 {
		return o.reads(job)[0].GetRead().GetImage().GetSha256()
	}
	return o.story(job, sub).submitted.GetSubmission().GetImage().GetSha256()
}

// inCar walks a car's reads and read-backs in the order of the ledger.
func (o *oracle) inCar(car uint32) (in string) {
	in = "never read"
	known, image, by := false, "", 0
	for _, f := range o.facts {
		b := f.GetReadBack()
		r := f.GetRead()
		switch {
		case r != nil && o.car(r.GetJob()) == car && slices.ContainsFunc(o.reads(r.GetJob()), func(r readOf) bool { return r.i == f.i }):
			sub := uint32(0)
			if last := r.GetLastKnown(); last.GetSame() && last.GetJob() == r.GetJob() {
				sub = last.GetSubmission()
			}
			image, by = r.GetImage().GetSha256(), int(f.i)
			in, known = fmt.Sprintf("%d.%d %.8s read, by %d", r.GetJob(), sub, image, f.i), true
		case b == nil || o.car(b.GetJob()) != car:
		case b.GetMatches():
			image, by = o.imageOf(b.GetJob(), b.GetSubmission()), int(f.i)
			in, known = fmt.Sprintf("%d.%d %.8s read-back, by %d", b.GetJob(), b.GetSubmission(), image, f.i), true
		case b.GetImage() != nil:
			in, known = fmt.Sprintf("unknown, by %d", f.i), false
		case known:
			image, by = o.imageOf(b.GetJob(), b.GetSubmission()), int(f.i)
			in = fmt.Sprintf("%d.%d %.8s written, not read back, by %d", b.GetJob(), b.GetSubmission(), image, f.i)
		}
	}
	if known && !o.kept(image) {
		return fmt.Sprintf("unknown, by %d", by)
	}
	return in
}

// kept says whether an image that some job brought is still there: erasing takes from a job what it brought, or a
// note's files alone, and the image goes with the last job that has it.
func (o *oracle) kept(image string) (there bool) {
	noted, brought := map[uint32]bool{}, map[uint32]bool{}
	for _, f := range o.facts {
		for _, n := range f.GetNote().GetFiles() {
			if n.GetSha256() == image {
				noted[f.GetNote().GetJob()] = true
			}
		}
		if slices.Contains([]string{f.GetRead().GetImage().GetSha256(), f.GetSubmission().GetImage().GetSha256(), f.GetReadBack().GetImage().GetSha256()}, image) {
			brought[f.GetRead().GetJob()+f.GetSubmission().GetJob()+f.GetReadBack().GetJob()] = true
			there = true
		}
		if e := f.GetErase(); e != nil {
			if e.GetImages() {
				delete(brought, e.GetJob())
			}
			delete(noted, e.GetJob())
			there = there && len(noted)+len(brought) > 0
		}
	}
	return there
}

// alarms are raised and ended one entry after the other, as the rules for them say.
func (o *oracle) alarms() (out []string) {
	on := map[string]uint32{} // "job alarm about": the entry that raised it
	backs, runs, reads := map[uint32]int{}, map[uint32]int{}, map[uint32]int{}
	taken := map[string]bool{} // collected, and nothing else of that car was written since
	end := func(alarm string, of func(job uint32, about string) bool) {
		for key := range on {
			var job uint32
			var name, about string
			fmt.Sscan(key, &job, &name, &about)
			if name == alarm && of(job, about) {
				delete(on, key)
			}
		}
	}
	for _, f := range o.facts {
		if r := f.GetRead(); r != nil {
			reads[r.GetJob()]++
			about := fmt.Sprintf("%d.read%d", r.GetJob(), reads[r.GetJob()])
			if slices.ContainsFunc(o.reads(r.GetJob()), func(r readOf) bool { return r.i == f.i }) {
				end(ReadbackDiffers, func(job uint32, _ string) bool { return o.car(job) == o.car(r.GetJob()) })
				if r.GetLastKnown() != nil && !r.GetLastKnown().GetSame() {
					on[fmt.Sprint(r.GetJob(), " ", ChangedSince, " ", about)] = f.i
				}
			}
		}
		if c := f.GetCollect(); c != nil {
			taken[fmt.Sprintf("%d.%d", c.GetJob(), c.GetSubmission())] = true
			about := fmt.Sprintf("%d.%d", c.GetJob(), c.GetSubmission())
			if c.GetSubmission() == 0 {
				about = fmt.Sprintf("%d.read%d", c.GetJob(), o.reads(c.GetJob())[0].number)
			}
			end(NotReadBack, func(job uint32, _ string) bool { return job == c.GetJob() })
			on[fmt.Sprint(c.GetJob(), " ", NotReadBack, " ", about)] = f.i
		}
		if b := f.GetReadBack(); b != nil {
			backs[b.GetJob()]++
			sub := fmt.Sprintf("%d.%d", b.GetJob(), b.GetSubmission())
			end(NotReadBack, func(job uint32, _ string) bool { return job == b.GetJob() })
			if b.GetMatches() {
				end(ReadbackDiffers, func(job uint32, _ string) bool { return o.car(job) == o.car(b.GetJob()) })
			} else if b.GetImage() != nil {
				end(ReadbackDiffers, func(job uint32, _ string) bool { return job == b.GetJob() })
				on[fmt.Sprintf("%d %s %d.back%d", b.GetJob(), ReadbackDiffers, b.GetJob(), backs[b.GetJob()])] = f.i
			}
			if b.GetMatches() || b.GetImage() == nil {
				end(Recalled, func(job uint32, about string) bool { return o.car(job) == o.car(b.GetJob()) && about != sub })
				for other := range taken {
					if job, _ := dotted(other); o.car(job) == o.car(b.GetJob()) && other != sub {
						delete(taken, other)
					}
				}
			}
		}
		if r := f.GetReturn(); r != nil {
			if about := fmt.Sprintf("%d.%d", r.GetJob(), r.GetSubmission()); taken[about] {
				on[fmt.Sprint(r.GetJob(), " ", Recalled, " ", about)] = f.i
			}
		}
		if r := f.GetRun(); r != nil {
			if runs[r.GetJob()]++; r.GetDanger() {
				on[fmt.Sprintf("%d %s %d.run%d", r.GetJob(), RunDanger, r.GetJob(), runs[r.GetJob()])] = f.i
			}
		}
		if s := f.GetSettle(); s != nil {
			delete(on, fmt.Sprint(s.GetJob(), " ", s.GetAlarm(), " ", s.GetAbout()))
		}
	}
	for job := uint32(1); job <= o.jobs(); job++ {
		for i, s := range o.stories(job) {
			if s.worse > 0 && (s.state == "waiting" || s.state == "released" || s.state == "in car") {
				on[fmt.Sprintf("%d %s %d.%d", job, OlderLimits, job, i+1)] = s.worse
			}
		}
	}
	for job := uint32(1); job <= o.jobs(); job++ {
		maps.Copy(on, o.alone(job, taken))
	}
	for key, since := range on {
		out = append(out, fmt.Sprint(key, " since ", since))
	}
	sort.Strings(out)
	return out
}
