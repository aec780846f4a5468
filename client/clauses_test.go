package client

import (
	"crypto/ed25519"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/signoff"
)

// forgery is a proof that is about to be changed: by a server that was taken over, whose key signs any tree, and by
// people who sign what they should not.
type forgery struct {
	*world
	entries  []*recordv1.Proven
	openings *recordv1.OpeningList
	files    [][]byte
	key      ed25519.PrivateKey // signs the checkpoint
	after    func()             // what happens to entries once each has its place in the tree
}

// Places of the entries in the proof of a released world.
const (
	inGenesis = iota
	inTech
	inCal
	inDefinition
	inLimits
	inJob
	inRead
	inSubmission
	inSignOff
	inCollect
	inAll
)

func (w *world) forgery() *forgery { w.Helper(); return w.forgeryOf(inAll) }

// forgeryOf is of a proof with so many entries.
func (w *world) forgeryOf(entries int) *forgery {
	w.Helper()
	whole, err := os.ReadFile(w.path("out.bin.proof.zip"))
	w.must(nil, err)
	files, err := unpack("proof", whole)
	w.must(nil, err)
	f := &forgery{world: w, files: files, openings: &recordv1.OpeningList{}, key: w.fake.key, after: func() {}}
	var list recordv1.ProvenList
	w.must(nil, proto.Unmarshal(files[proofEntries], &list))
	w.must(nil, proto.Unmarshal(files[proofOpenings], f.openings))
	if f.entries = list.GetEntries(); len(f.entries) != entries {
		w.Fatalf("a proof of %d entries, want %d", len(f.entries), entries)
	}
	return f
}

// signed is the entry of an action that a person signed after another entry.
func (f *forgery) signed(c *Client, on int, a *recordv1.Action) *recordv1.Proven {
	f.Helper()
	leaf := ledger.LeafHash(f.entries[on].GetEntry())
	if a.Genesis == "" {
		a.Genesis = f.fake.genesis
	}
	a.Form, a.RequestId, a.Time = 0, fmt.Sprint("forged ", on), now()
	a.Seen, a.ActsOn = &recordv1.Seen{Size: 1, Root: strings.Repeat("0", 64)}, fmt.Sprintf("%x", leaf[:])
	envelope, err := signoff.Seal(a, c.signer)
	f.must(nil, err)
	return &recordv1.Proven{Entry: entryOf(envelope)}
}

func (f *forgery) insert(at int, c *Client, a *recordv1.Action) {
	f.entries = slices.Insert(f.entries, at, f.signed(c, at-1, a))
}

// signOff has the submission signed off otherwise, after another entry, and collected by that.
func (f *forgery) signOff(by *Client, on int, change func(*recordv1.SignOff)) {
	so := proto.CloneOf(f.sub().GetSignOff())
	change(so)
	f.entries[inSignOff] = f.signed(by, on, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: so}})
	f.collect(func(*recordv1.Collect) {})
}

// submission has the author say otherwise what they submitted.
func (f *forgery) submission(change func(*recordv1.Submit)) {
	s := &recordv1.Submit{Job: 1, Image: f.sub().GetImage(), Judgement: f.sub().GetJudgement()}
	change(s)
	f.entries[inSubmission] = f.signed(f.cal, inRead, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: s}})
}

// line is the public key of somebody new.
func (f *forgery) line() string {
	key, _, err := ed25519.GenerateKey(nil)
	f.must(nil, err)
	return signoff.FormatPublicKey(key)
}

func (f *forgery) drop(at int) { f.entries = slices.Delete(f.entries, at, at+1) }

// collect has the release collected otherwise, and by that judged otherwise.
func (f *forgery) collect(change func(*recordv1.Collect)) {
	c := &recordv1.Collect{Job: 1, Submission: 1, ImageSha256: f.sub().GetImage().GetSha256(), Judgement: proto.CloneOf(YesTo(f.job(), f.sub()).Judgement)}
	change(c)
	f.entries[len(f.entries)-1] = f.signed(f.tech, len(f.entries)-2, &recordv1.Action{Body: &recordv1.Action_Collect{Collect: c}})
}

// document puts another file into the proof, that a lead added and the collection names.
func (f *forgery) document(place int, file string) {
	sum := HashHex([]byte(file))
	rev := &recordv1.Revision{Name: "forged", Sha256: sum}
	add := &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: rev}}}
	if place == proofDefinition {
		add.Body = &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: rev}}
	}
	f.insert(inJob, f.lead, add)
	f.files[place] = []byte(file)
	f.collect(func(c *recordv1.Collect) {
		if place == proofDefinition {
			c.Judgement.Definition = rev
		} else {
			c.Judgement.Limits = rev
		}
	})
}

// report puts another report into the proof, and has it signed for.
func (f *forgery) report(change func(*calibrationv1.Report)) {
	r := &calibrationv1.Report{}
	f.must(nil, proto.Unmarshal(f.files[proofReport], r))
	change(r)
	raw, err := proto.Marshal(r)
	f.must(nil, err)
	f.reportFile(raw)
}

func (f *forgery) reportFile(raw []byte) {
	f.files[proofReport] = raw
	f.collect(func(c *recordv1.Collect) { c.Judgement.ReportSha256 = HashHex(raw) })
}

// verify makes the proof and has it checked, by who has a copy of the ledger or knows the fingerprint alone.
func (f *forgery) verify(home *Home) error {
	var told []*recordv1.Told
	for _, p := range f.entries {
		told = append(told, &recordv1.Told{Entry: p.GetEntry()})
	}
	hashes := treeOf(told)
	var err error
	for i, p := range f.entries {
		p.Index = uint64(i)
		p.Inclusion, err = ledger.ProveInclusion(hashes, uint64(i), uint64(len(told)))
		f.must(nil, err)
	}
	f.files[proofCheckpoint] = (&fake{key: f.key, genesis: f.fake.genesis}).sign(told)
	f.after()
	if string(f.files[proofEntries]) != "no entries" {
		f.files[proofEntries], err = proto.Marshal(&recordv1.ProvenList{Entries: f.entries})
		f.must(nil, err)
	}
	if string(f.files[proofOpenings]) != "no openings" {
		f.files[proofOpenings], err = proto.Marshal(f.openings)
		f.must(nil, err)
	}
	raw, err := pack(f.files)
	f.must(nil, err)
	_, err = VerifyProof(home, f.write("forged.zip", raw), f.tech.Fingerprint())
	return err
}

// clause is a proof and how it is refused.
type clause struct {
	words string // of the refusal; Kind is Distrust, but of "newer version". Empty: it verifies
	forge func(*forgery)
}

// clauses are the clauses of the verifier, each with a proof that it alone refuses: one that is left out lets a
// proof through, or has it refused for another reason.
var clauses = []clause{
	{"", func(*forgery) {}},
	// What kind of thing it is.
	{"entries.pb holds no entries", func(f *forgery) { f.files[proofEntries] = []byte("no entries") }},
	{"entries.pb holds no entries", func(f *forgery) { f.entries = nil; f.after = func() { f.files[proofCheckpoint] = nil } }},
	{"openings.pb holds no openings", func(f *forgery) { f.files[proofOpenings] = []byte("no openings") }},
	{"it is of the ledger .*, and yours is", func(f *forgery) { f.drop(inGenesis) }},
	// The tree.
	{"its checkpoint does not verify", func(f *forgery) { _, f.key, _ = ed25519.GenerateKey(nil) }},
	{"its checkpoint does not verify", func(f *forgery) { f.after = func() { f.files[proofCheckpoint][len(f.files[proofCheckpoint])/2] ^= 1 } }},
	{"not in their order", func(f *forgery) { f.after = func() { f.entries[inGenesis].Index = 1 } }},
	{"not in their order", func(f *forgery) { f.after = func() { f.entries[inCal].Index = inTech } }},
	{"not in their order", func(f *forgery) {
		f.after = func() { f.entries[inTech], f.entries[inCal] = f.entries[inCal], f.entries[inTech] }
	}},
	{"entry 3 is not in the ledger of its checkpoint", func(f *forgery) { f.after = func() { f.entries[inDefinition].Inclusion[0][0] ^= 1 } }},
	{"entry 3 is not in the ledger of its checkpoint", func(f *forgery) { f.after = func() { f.entries[inDefinition].Entry = f.entries[inLimits].Entry } }},
	{"entry 9 is not in the ledger of its checkpoint", func(f *forgery) { f.after = func() { f.entries[inCollect].Inclusion = nil } }},
	// Who said it.
	{"entry 6 does not stand: entry: ", func(f *forgery) { f.entries[inRead].Entry = []byte("no entry") }},
	{"entry 6 does not stand: envelope: ", func(f *forgery) { f.entries[inRead].Entry = f.entries[inGenesis].Entry }},
	{"entry 6 does not stand: .*signature does not fit", func(f *forgery) {
		e := f.entries[inRead].Entry
		at := strings.Index(string(e), `"sig":"`) + 12
		if e[at] == 'A' {
			e[at] = 'B'
		} else {
			e[at] = 'A'
		}
	}},
	{"no such key", func(f *forgery) { f.drop(inTech) }},
	{"entry 10 does not stand: it is of another ledger", func(f *forgery) {
		f.insert(inAll, f.tech, &recordv1.Action{Genesis: strings.Repeat("0", 64), Body: &recordv1.Action_Note{Note: &recordv1.AddNote{Job: 1}}})
	}},
	{"tech could sign nothing any more", func(f *forgery) {
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "tech"}}})
	}},
	{"tech could sign nothing any more", func(f *forgery) { // with the key that another one took the place of
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "tech", Roles: []string{"technician"}, PublicKey: f.line()}}})
	}},
	{"the key of tech is given to other", func(f *forgery) {
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "other", Roles: []string{"technician"}, PublicKey: signoff.FormatPublicKey(f.tech.Key())}}})
	}},
	{"cal was retired", func(f *forgery) {
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "cal"}}})
		f.insert(inCollect+1, f.lead, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "cal", Roles: []string{"lead"}, PublicKey: f.line()}}})
	}},
	{"it retires nobody", func(f *forgery) {
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "nobody"}}})
	}},
	{"cal is calibrator; this needs a", func(f *forgery) {
		f.insert(inCollect, f.cal, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "other", Roles: []string{"lead"}, PublicKey: f.line()}}})
	}},
	{`a key of type "ssh-rsa"`, func(f *forgery) {
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "other", Roles: []string{"lead"}, PublicKey: "ssh-rsa AAAA"}}})
	}},
	// What it is about.
	{"it opens a second job", func(f *forgery) { f.entries = slices.Insert(f.entries, inRead, proto.CloneOf(f.entries[inJob])) }},
	{"about a job that was not opened", func(f *forgery) { f.drop(inJob) }},
	{"it is about job 2, and the proof about job 1", func(f *forgery) {
		f.insert(inCollect, f.tech, &recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 2, Read: 1}}})
	}},
	{"it signs a submission 1 that is not in the proof", func(f *forgery) { f.drop(inSubmission) }},
	{"it signs another image than that of 1.1", func(f *forgery) {
		f.signOff(f.lead, inSubmission, func(s *recordv1.SignOff) { s.ImageSha256 = strings.Repeat("ab", 32) })
	}},
	{"it acts on an entry that is not in the proof", func(f *forgery) {
		f.signOff(f.lead, inLimits, func(*recordv1.SignOff) {})
		f.drop(inLimits)
	}},
	{"who may not sign their own", func(f *forgery) {
		f.signOff(f.cal, inSubmission, func(s *recordv1.SignOff) { s.ByAuthor, s.Reason = true, "mine" })
	}},
	{"it collects on another sign-off than the newest", func(f *forgery) {
		newest := f.entries[inCollect]
		f.signOff(f.lead, inRead, func(*recordv1.SignOff) {})
		f.entries[inCollect] = newest
	}},
	{"it collects what nobody signed, and a corridor did not release: the one that it names is not open", func(f *forgery) {
		f.submission(func(s *recordv1.Submit) { s.Corridor = &recordv1.InCorridor{Corridor: 1} })
		f.drop(inSignOff)
		f.collect(func(*recordv1.Collect) {})
	}},
	// What was collected.
	{"it ends with no collection of a release", func(f *forgery) { f.drop(inCollect) }},
	{"it ends with no collection of a release", func(f *forgery) {
		f.insert(inAll, f.tech, &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: 1}}})
	}},
	{"1.1 was returned before it was collected", func(f *forgery) {
		f.insert(inCollect, f.lead, &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: 1, Submission: 1, ImageSha256: f.sub().GetImage().GetSha256(), Reason: "no"}}})
	}},
	{"1.1 was withdrawn before it was collected", func(f *forgery) {
		f.insert(inCollect, f.cal, &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: 1, Submission: 1}}})
	}},
	{"another image was collected than that of 1.1", func(f *forgery) {
		f.collect(func(c *recordv1.Collect) { c.ImageSha256 = strings.Repeat("ab", 32) })
	}},
	{"was collected as a danger, which its sign-off does not cover", func(f *forgery) { f.collect(func(c *recordv1.Collect) { c.Judgement.Verdict = "danger" }) }},
	{"was collected as a warning, which its sign-off does not cover", func(f *forgery) {
		f.collect(func(c *recordv1.Collect) { c.Judgement.Warnings = append(c.Judgement.Warnings, "another:table") })
	}},
	{"not compared with its job's read as found", func(f *forgery) {
		f.collect(func(c *recordv1.Collect) { c.Judgement.BaseSha256 = strings.Repeat("ab", 32) })
	}},
	{"not compared with its job's read as found", func(f *forgery) { // which was voided
		f.insert(inSubmission, f.tech, &recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 1, Read: 1, Because: "a slip"}}})
	}},
	{"it holds files of a corridor that 1.1 does not need", func(f *forgery) { f.files[proofStart] = f.files[proofImage] }},
	{"it holds files of a corridor that 1.1 does not need", func(f *forgery) { f.files[proofCorridor] = f.files[proofDefinition] }},
	// By what it was judged.
	{"image.bin is not the one that was signed for", func(f *forgery) { f.files[proofImage][0x40]++ }},
	{"definition.yaml is not the one that was signed for", func(f *forgery) { f.files[proofDefinition] = append(f.files[proofDefinition], '\n') }},
	{"limits.yaml is not the one that was signed for", func(f *forgery) { f.files[proofLimits] = append(f.files[proofLimits], '\n') }},
	{"report.pb is not the one that was signed for", func(f *forgery) { f.files[proofReport] = nil }},
	{"it holds no entry that added bench$", func(f *forgery) { f.drop(inDefinition) }},
	{"it holds no entry that added bench-98", func(f *forgery) { f.drop(inLimits) }},
	{`definition.yaml:1: unknown field "colour"`, func(f *forgery) { f.document(proofDefinition, "colour: red\n") }},
	{`limits.yaml:1: unknown field "colour"`, func(f *forgery) { f.document(proofLimits, "colour: red\n") }},
	{"size: the image has 256 bytes", func(f *forgery) { // a definition of a smaller image
		f.document(proofDefinition, smaller(testDefinition))
	}},
	{"limits bench-98 do not apply to definition bench", func(f *forgery) {
		f.document(proofLimits, strings.ReplaceAll(testLimits, "applies_to: [bench]", "applies_to: [other]"))
	}},
	{"report.pb is not a report", func(f *forgery) { f.reportFile([]byte("no report")) }},
	{"its report is not about its images", func(f *forgery) { f.report(func(r *calibrationv1.Report) { r.Candidate.Sha256 = r.Base.Sha256 }) }},
	{"its report is not about its images", func(f *forgery) { f.report(func(r *calibrationv1.Report) { r.Base.Sha256 = r.Candidate.Sha256 }) }},
	{"its report is not about its images", func(f *forgery) { f.report(func(r *calibrationv1.Report) { r.Verdict = "clear" }) }},
	{"its report is not about its images", func(f *forgery) {
		f.report(func(r *calibrationv1.Report) { r.AsFound = &calibrationv1.ImageRef{Sha256: strings.Repeat("ab", 32)} })
	}},
	{"its report was made by rules number", func(f *forgery) { f.report(func(r *calibrationv1.Report) { r.Semantics++ }) }},
	// The texts about the car.
	{"opening of a plate: it is not that of commitment", func(f *forgery) { f.openings.Openings[0].Text = "HC 19" }},
	{"it opens a text that no entry of its job seals", func(f *forgery) {
		f.openings.Openings = append(f.openings.Openings, signoff.NewOpening("plate", "HC 19", strings.NewReader(strings.Repeat("salt", 8))))
	}},
}

// smaller is a definition of half of the image.
func smaller(definition string) string {
	return strings.NewReplacer("size: 0x100", "size: 0x80", "end: 0x100,", "end: 0x80,", "volatile:\n  - {start: 0xF0, end: 0x100, title: learned idle}\n", "").Replace(definition)
}

func TestClauses(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	said := w.refuses(inAll, clauses)
	road := newWorld(t).onRollingRoad()
	said = append(said, road.refuses(onAll, corridorClauses)...)
	// What the verifier's own copy knows against a proof.
	f := w.forgery()
	f.signOff(w.lead, inSubmission, func(*recordv1.SignOff) {})
	said = append(said, refused1(w, f.verify(w.tech.own.home), "entry 8 is not that of the ledger that you have seen"))
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
	w.must(nil, w.tech.Sync(ctx))
	said = append(said, refused1(w, w.forgery().verify(w.tech.own.home), "1.1 was recalled by lead: a slip"))
	t.Logf("%d clauses, %d refusals", len(clauses)+len(corridorClauses), len(said))
	for _, one := range refusalsIn(t, "verify.go", "judge.go", "verify_corridor.go", "judge_corridor.go") {
		if !slices.ContainsFunc(said, one.words.MatchString) && !elsewhere[one.text] {
			t.Errorf("%s: no proof is refused with %q", one.at, one.text)
		}
	}
}

// refuses has each proof of so many entries checked, and answers with what was said.
func (w *world) refuses(entries int, list []clause) (said []string) {
	w.Helper()
	nobody := &Home{Dir: w.path("nobody")}
	for i, c := range list {
		f := w.forgeryOf(entries)
		c.forge(f)
		err := f.verify(nobody)
		if c.words == "" {
			w.must(nil, err)
			continue
		}
		kind := Distrust
		if strings.Contains(c.words, "rules number") {
			kind = Upgrade
		}
		if err == nil || KindOf(err) != kind || !regexp.MustCompile(c.words).MatchString(err.Error()) || strings.Contains(err.Error(), "\n") {
			w.Errorf("%d, %s: kind %v, %v", i, c.words, KindOf(err), err)
			continue
		}
		said = append(said, err.Error())
	}
	return said
}

func refused1(w *world, err error, words string) string {
	w.Helper()
	w.refusedAs(err, Distrust, words)
	return fmt.Sprint(err)
}

// elsewhere are refusals that other tests have: of what no proof of this world can show.
var elsewhere = map[string]bool{
	"%s cannot be checked: no ledger is pinned to check it against":   true, // TestProof
	"%s was signed by %s, whose key was compromised since":            true, // TestProofOfACompromisedKey
	"%s holds an entry of a kind that this witnessmark does not know": true, // TestProofOfNewerVersion
	"its tree does not hold at entry %d: %w":                          true, // TestDamagedCopyOffline
	"%s is %s":                                                        true, // TestCorridorProofs
	"its first entry is no genesis":                                   true, // TestNoGenesis
}

type saying struct {
	at, text string
	words    *regexp.Regexp
}

// refusalsIn are the refusals that a file of the verifier can say: every text that is given to no, upgrade, usage,
// errors.New or fmt.Errorf.
func refusalsIn(t *testing.T, files ...string) (out []saying) {
	t.Helper()
	set := token.NewFileSet()
	for _, name := range files {
		file, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			called := ""
			switch f := call.Fun.(type) {
			case *ast.Ident:
				called = f.Name
			case *ast.SelectorExpr:
				called = f.Sel.Name
			}
			if !slices.Contains([]string{"no", "upgrade", "usage", "New", "Errorf"}, called) {
				return true
			}
			for _, arg := range call.Args {
				literal, ok := arg.(*ast.BasicLit)
				if !ok || literal.Kind != token.STRING {
					continue
				}
				text, err := strconv.Unquote(literal.Value)
				if err != nil {
					t.Fatal(err)
				}
				if strings.Contains(text, " ") && !strings.HasPrefix(text, "--") {
					words := regexp.MustCompile(regexp.MustCompile(`%[a-z]`).ReplaceAllString(regexp.QuoteMeta(text), ".*"))
					out = append(out, saying{set.Position(literal.Pos()).String(), text, words})
				}
			}
			return true
		})
	}
	if len(out) < 30 {
		t.Fatalf("only %d refusals were found", len(out))
	}
	return out
}

// A proof whose first entry is something else is none, even for who pinned that entry.
func TestNoGenesis(t *testing.T) {
	w := newWorld(t)
	entry := w.fake.told[1].GetEntry()
	list, err := proto.Marshal(&recordv1.ProvenList{Entries: []*recordv1.Proven{{Entry: entry}}})
	w.must(nil, err)
	files := make([][]byte, len(proofFiles))
	files[proofEntries] = list
	raw, err := pack(files)
	w.must(nil, err)
	_, err = VerifyProof(&Home{Dir: w.path("nobody")}, w.write("none.zip", raw), fingerprintOf(HashHex(entry)))
	w.refusedAs(err, Distrust, "its first entry is no genesis")
}
