package client

import (
	"archive/zip"
	"bytes"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// filesOf is files as small as a proof's parts may be, without some of those that may be left out.
func filesOf(without ...int) [][]byte {
	files := make([][]byte, len(proofFiles))
	for i := range files {
		if !slices.Contains(without, i) {
			files[i] = []byte(proofFiles[i].name)
		}
	}
	return files
}

// The layout is a format of its own: names, order, storing and time stay as they are.
func TestProofLayout(t *testing.T) {
	for _, c := range []struct {
		without []int
		names   string
	}{
		{[]int{proofStart, proofCorridor}, "image.bin definition.yaml limits.yaml report.pb openings.pb entries.pb checkpoint.txt"},
		{[]int{proofCorridor}, "image.bin start.bin definition.yaml limits.yaml report.pb openings.pb entries.pb checkpoint.txt"},
		{nil, "image.bin start.bin definition.yaml corridor.yaml limits.yaml report.pb openings.pb entries.pb checkpoint.txt"},
	} {
		proofIsLaidOut(t, filesOf(c.without...), c.names)
	}
}

func proofIsLaidOut(t *testing.T, files [][]byte, want string) {
	t.Helper()
	b, err := pack(files)
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range z.File {
		names = append(names, f.Name)
		if f.Method != zip.Store || f.Modified.Year() != 1980 {
			t.Errorf("%s: method %d, time %v", f.Name, f.Method, f.Modified)
		}
	}
	if got := strings.Join(names, " "); got != want {
		t.Errorf("%s, want %s", got, want)
	}
	again, err := unpack("proof", b)
	if err != nil || !slices.EqualFunc(again, files, func(a, b []byte) bool { return (a == nil) == (b == nil) && bytes.Equal(a, b) }) {
		t.Errorf("%s came back as %q, %v", want, again, err)
	}
}

func TestUnpackRefuses(t *testing.T) {
	odd := func(change func(z *zip.Writer)) []byte {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		change(z)
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	add := func(z *zip.Writer, name string, method uint16, content string) {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: proofTime})
		if err == nil {
			_, err = w.Write([]byte(content))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	whole, err := pack(filesOf())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, words string
		zip         []byte
	}{
		{"too few", "it has 1 files, and definition.yaml is not among them", odd(func(z *zip.Writer) { add(z, "image.bin", zip.Store, "") })},
		{"too many", `it has 10 files, "more.txt" after the last one`, odd(func(z *zip.Writer) {
			for _, f := range proofFiles {
				add(z, f.name, zip.Store, "")
			}
			add(z, "more.txt", zip.Store, "")
		})},
		{"one twice", "must be definition.yaml", odd(func(z *zip.Writer) {
			for _, name := range []string{"image.bin", "start.bin", "start.bin"} {
				add(z, name, zip.Store, "")
			}
		})},
		{"another order", "must be image.bin", odd(func(z *zip.Writer) {
			for i := range proofFiles {
				add(z, proofFiles[(i+1)%len(proofFiles)].name, zip.Store, "")
			}
		})},
		{"a way out of the folder", "must be image.bin", odd(func(z *zip.Writer) {
			add(z, "../image.bin", zip.Store, "")
			for _, f := range proofFiles[1:] {
				add(z, f.name, zip.Store, "")
			}
		})},
		{"packed", "stored as they are", odd(func(z *zip.Writer) {
			for _, f := range proofFiles {
				add(z, f.name, zip.Deflate, strings.Repeat("a", 1000))
			}
		})},
		{"a comment", "changed after it was made", odd(func(z *zip.Writer) {
			for _, f := range proofFiles {
				add(z, f.name, zip.Store, f.name)
			}
			if err := z.SetComment("and more"); err != nil {
				t.Fatal(err)
			}
		})},
		{"bytes before it", "changed after it was made", append([]byte("#!/bin/sh\n"), whole...)},
		{"no zip", "not a proof", []byte("hello")},
	} {
		if _, err := unpack("p", c.zip); err == nil || !strings.Contains(err.Error(), c.words) || KindOf(err) != Distrust {
			t.Errorf("%s: %v; want %q", c.name, err, c.words)
		}
	}
}

// A proof stands on its own, and only on the ledger that the person pinned; what their own copy knows
// against it counts.
func TestProof(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	path := w.path("out.bin.proof.zip")
	nobody := &Home{Dir: w.path("nobody")}
	_, err := VerifyProof(nobody, path, "")
	w.refusedAs(err, Usage, "no ledger is pinned")
	v, err := VerifyProof(nobody, path, w.tech.Fingerprint())
	w.must(nil, err)
	if v.Known != nil || v.Job.GetPlate().GetText() != "HC 18" || v.Submission.GetSigned().GetPerson() != "lead" || v.Submission.GetSubmitted().GetPerson() != "cal" {
		t.Errorf("a stranger sees %v", v)
	}
	if v, err = VerifyProof(w.tech.own.home, path, ""); err != nil || v.Known.Size != uint64(len(w.fake.told)) {
		t.Errorf("%v, %v", v, err)
	}
	if v, err = VerifyProof(w.cal.own.home, path, ""); err != nil || v.Known != nil {
		t.Errorf("by a copy that does not reach the collection: %v, %v", v, err)
	}
	_, err = VerifyProof(nobody, path, signoff.HashFingerprint([32]byte{}))
	w.refusedAs(err, Distrust, "and yours is")
	stranger := newWorld(t)
	_, err = VerifyProof(stranger.tech.own.home, path, "")
	w.refusedAs(err, Distrust, "and yours is")
	w.submit("\x0a\x0b\x0c\x1f")
	w.sign(2)
	w.must(nil, w.tech.Sync(ctx))
	if v, err = VerifyProof(w.tech.own.home, path, ""); err != nil || v.Newer.GetNumber() != 2 {
		t.Errorf("with a newer release: %v, %v", v, err)
	}
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
	_, err = VerifyProof(w.tech.own.home, path, "")
	w.must(nil, err) // the technician has not heard of it
	w.must(nil, w.tech.Sync(ctx))
	_, err = VerifyProof(w.tech.own.home, path, "")
	w.refusedAs(err, Distrust, "recalled by lead: a slip")
}

// A key that is known to be compromised vouches for nothing, in the proof or in the copy.
func TestProofOfACompromisedKey(t *testing.T) {
	w := newWorld(t)
	w.newKey("second")
	w.must(w.lead.Enrol(ctx, "second", []string{"lead"}, w.path("second.pub")))
	second := w.login("second", "second")
	w.submit("\x0a\x0b\x0c\x0e")
	r, err := second.Review(ctx, 1, 1)
	if err != nil {
		w.must(nil, second.Sync(ctx))
		r, err = second.Review(ctx, 1, 1)
	}
	w.must(nil, err)
	w.must(second.SignOff(ctx, r, nil, nil))
	w.must(nil, w.collect(w.tech))
	path := w.path("out.bin.proof.zip")
	w.must(w.lead.Retire(ctx, "second", true))
	w.must(nil, w.tech.Sync(ctx))
	_, err = VerifyProof(w.tech.own.home, path, "")
	w.refusedAs(err, Distrust, "compromised since")
	w.must(w.tech.Collect(ctx, Collecting{Job: 1, Submission: 1, Out: w.path("again.bin"), Frame: frame}))
	_, err = VerifyProof(&Home{Dir: w.path("nobody")}, w.path("again.bin.proof.zip"), w.tech.Fingerprint())
	w.refusedAs(err, Distrust, "compromised since")
}

// Every byte of a proof matters: no flipped bit verifies.
func TestProofBits(t *testing.T) {
	signed := newWorld(t).released()
	signed.must(nil, signed.collect(signed.tech))
	for _, w := range []*world{signed, newWorld(t).onRollingRoad()} {
		w.proofBits(t)
	}
}

func (w *world) proofBits(t *testing.T) {
	t.Helper()
	whole, err := os.ReadFile(w.path("out.bin.proof.zip"))
	w.must(nil, err)
	files, err := unpack("proof", whole)
	w.must(nil, err)
	again, err := pack(files)
	w.must(nil, err)
	if string(again) != string(whole) {
		t.Error("the same files do not make the same proof")
	}
	nobody := &Home{Dir: w.path("nobody")}
	fingerprint := w.tech.Fingerprint()
	verify := func(raw []byte) error {
		_, err := VerifyProof(nobody, w.write("flipped.zip", raw), fingerprint)
		return err
	}
	w.must(nil, verify(whole))
	flipAll := func(what string, b []byte, step int, check func([]byte) error) {
		for i := 0; i < len(b); i += step {
			b[i] ^= 1 << (i % 8)
			if check(b) == nil {
				t.Errorf("%s: bit %d of byte %d does not matter", what, i%8, i)
			}
			b[i] ^= 1 << (i % 8)
		}
	}
	flipAll("zip", slices.Clone(whole), 101, verify)
	// And with the zip's own sums made right, inside each of its files.
	for i := range files {
		flipAll(proofFiles[i].name, files[i], 1+len(files[i])/64, func([]byte) error {
			raw, err := pack(files)
			w.must(nil, err)
			return verify(raw)
		})
	}
}

// forged makes a proof of other entries, in a tree of their own that the server's genuine key signed:
// what a server that was taken over could make.
func (w *world) forged(t *testing.T, change func([]*recordv1.Proven) []*recordv1.Proven) error {
	t.Helper()
	whole, err := os.ReadFile(w.path("out.bin.proof.zip"))
	w.must(nil, err)
	files, err := unpack("proof", whole)
	w.must(nil, err)
	var list recordv1.ProvenList
	w.must(nil, proto.Unmarshal(files[proofEntries], &list))
	list.Entries = change(list.GetEntries())
	var told []*recordv1.Told
	var hashes tree
	for i, p := range list.GetEntries() {
		_, stored, _, err := ledger.Append(hashes, uint64(i), p.GetEntry())
		w.must(nil, err)
		hashes = append(hashes, stored...)
		told = append(told, &recordv1.Told{Entry: p.GetEntry()})
	}
	for i, p := range list.GetEntries() {
		p.Index = uint64(i)
		p.Inclusion, err = ledger.ProveInclusion(hashes, uint64(i), uint64(len(told)))
		w.must(nil, err)
	}
	files[proofEntries], err = proto.Marshal(&list)
	w.must(nil, err)
	files[proofCheckpoint] = w.fake.sign(told)
	raw, err := pack(files)
	w.must(nil, err)
	_, err = VerifyProof(&Home{Dir: w.path("nobody")}, w.write("forged.zip", raw), w.tech.Fingerprint())
	return err
}

// The judge of a proof follows few entries, and those by the rules: a server that was taken over, and
// signs any tree, still needs the people's own signatures for everything that it shows.
func TestForgedProofs(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	kindOf := func(p *recordv1.Proven) (kind string) {
		w.must(nil, w.fake.View(func(s *record.State) error {
			envelope, _, _ := record.EnvelopeOf(p.GetEntry())
			if signed, err := s.Open(envelope); err == nil {
				kind = signed.Kind
			}
			return nil
		}))
		return kind
	}
	drop := func(kind string) func([]*recordv1.Proven) []*recordv1.Proven {
		return func(list []*recordv1.Proven) []*recordv1.Proven {
			n := len(list)
			list = slices.DeleteFunc(list, func(p *recordv1.Proven) bool { return kindOf(p) == kind })
			if len(list) == n {
				t.Fatalf("no entry of kind %s", kind)
			}
			return list
		}
	}
	collected := func(signOff []byte, j *recordv1.Judgement) []byte { // the entry of a collection by a sign-off
		leaf := ledger.LeafHash(signOff)
		envelope, err := signoff.Seal(&recordv1.Action{
			Genesis: w.fake.genesis, RequestId: "y", Time: now(), Seen: &recordv1.Seen{Size: 1, Root: strings.Repeat("0", 64)}, ActsOn: fmt.Sprintf("%x", leaf[:]),
			Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{Job: 1, Submission: 1, ImageSha256: w.sub().GetImage().GetSha256(), Judgement: j}},
		}, w.tech.signer)
		w.must(nil, err)
		return entryOf(envelope)
	}
	judged := func(change func(*recordv1.Judgement)) func([]*recordv1.Proven) []*recordv1.Proven { // and collected so
		return func(list []*recordv1.Proven) []*recordv1.Proven {
			j := proto.CloneOf(w.sub().GetSignOff().GetJudgement())
			change(j)
			at := slices.IndexFunc(list, func(p *recordv1.Proven) bool { return kindOf(p) == "sign_off" })
			list[len(list)-1].Entry = collected(list[at].GetEntry(), j)
			return list
		}
	}
	sealed := func(c *Client, a *recordv1.Action) func([]*recordv1.Proven) []*recordv1.Proven {
		return func(list []*recordv1.Proven) []*recordv1.Proven {
			a.Genesis, a.RequestId, a.Time, a.Seen = w.fake.genesis, "x", now(), &recordv1.Seen{Size: 1, Root: strings.Repeat("0", 64)}
			at := slices.IndexFunc(list, func(p *recordv1.Proven) bool { return kindOf(p) == "sign_off" })
			leaf := ledger.LeafHash(list[at-1].GetEntry())
			a.ActsOn = fmt.Sprintf("%x", leaf[:])
			envelope, err := signoff.Seal(a, c.signer)
			w.must(nil, err)
			entry := entryOf(envelope)
			if a.GetSignOff() == nil { // before what it should prevent
				return slices.Insert(list, at, &recordv1.Proven{Entry: entry})
			}
			list[at].Entry = entry
			list[len(list)-1].Entry = collected(entry, w.sub().GetSignOff().GetJudgement())
			return list
		}
	}
	signs := func(change func(*recordv1.SignOff)) *recordv1.Action {
		so := proto.CloneOf(w.sub().GetSignOff())
		change(so)
		return &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: so}}
	}
	w.newKey("stranger")
	stranger, err := LoadSigner(w.path("stranger"), nil)
	w.must(nil, err)
	for _, c := range []struct {
		name, words string
		change      func([]*recordv1.Proven) []*recordv1.Proven
	}{
		{"as it is", "", func(l []*recordv1.Proven) []*recordv1.Proven { return l }},
		{"signed off again, rightly", "", sealed(w.lead, signs(func(*recordv1.SignOff) {}))},
		{"no enrolment", "no such key", drop("enrol")},
		{"no job", "not opened", drop("job")},
		{"no read", "read as found", drop("read")},
		{"no submission", "not in the proof", drop("submission")},
		{"no sign-off", "another sign-off than the newest", drop("sign_off")},
		{"no collection", "no collection", drop("collect")},
		{"no limits", "no entry that added bench-98", drop("limits")},
		{"no definition", "no entry that added bench", drop("definition")},
		{"signed by its author", "may not sign their own", sealed(w.cal, signs(func(*recordv1.SignOff) {}))},
		{"signed by its author, who says so", "may not sign their own", sealed(w.cal, signs(func(s *recordv1.SignOff) { s.ByAuthor, s.Reason = true, "why not" }))},
		{"signed by a technician", "technician; this needs a", sealed(w.tech, signs(func(*recordv1.SignOff) {}))},
		{"signed by a stranger", "no such key", sealed(&Client{signer: stranger}, signs(func(*recordv1.SignOff) {}))},
		{"no reason for a warning", "a reason is missing", sealed(w.lead, signs(func(s *recordv1.SignOff) { s.Because = nil }))},
		{"danger", "danger, which nobody signs", sealed(w.lead, signs(func(s *recordv1.SignOff) { s.Judgement.Verdict = "danger" }))},
		{"signed as less than was collected", "does not cover", sealed(w.lead, signs(func(s *recordv1.SignOff) { s.Judgement.Verdict, s.Judgement.Warnings, s.Because = "caution", nil, nil }))},
		{"another image", "another image", sealed(w.lead, signs(func(s *recordv1.SignOff) { s.ImageSha256 = w.job().GetReads()[0].GetImage().GetSha256() }))},
		{"another report", "report.pb is not the one", judged(func(j *recordv1.Judgement) { j.ReportSha256 = j.GetBaseSha256() })},
		{"a report on less", "not about its images", judged(func(j *recordv1.Judgement) { j.AsFoundSha256 = strings.Repeat("ab", 32) })},
		{"another job", "about job 2", sealed(w.lead, signs(func(s *recordv1.SignOff) { s.Job = 2 }))},
		{"returned before", "was returned", func(l []*recordv1.Proven) []*recordv1.Proven {
			l = sealed(w.lead, &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: 1, Submission: 1, ImageSha256: w.sub().GetImage().GetSha256(), Reason: "no"}}})(l)
			n := len(l) // between sign-off and collection
			l[n-3], l[n-2] = l[n-2], l[n-3]
			return l
		}},
		{"retired before", "could sign nothing any more", sealed(w.lead, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: "tech"}}})},
	} {
		err := w.forged(t, c.change)
		if c.words == "" {
			w.must(nil, err)
			continue
		}
		if err == nil || KindOf(err) != Distrust || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: kind %d, %v; want %q", c.name, KindOf(err), err, c.words)
		}
	}
}

// What a proof holds is what its release needs: a longer ledger makes it longer by hashes alone.
func TestProofDoesNotGrow(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	first, err := os.Stat(w.path("out.bin.proof.zip"))
	w.must(nil, err)
	w.many(500)
	w.must(w.tech.Collect(ctx, Collecting{Job: 1, Submission: 1, Out: w.path("again.bin"), Frame: frame}))
	again, err := os.Stat(w.path("again.bin.proof.zip"))
	w.must(nil, err)
	// One more collection, and at most 9 more hashes for each of some 12 entries.
	if grown := again.Size() - first.Size(); grown > 3000+12*9*40 {
		t.Errorf("it grew by %d bytes", grown)
	}
}

// A proof of a ledger that a newer version wrote on is neither right nor wrong.
func TestProofOfNewerVersion(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	unknownKind(w)
	err := w.forged(t, func(list []*recordv1.Proven) []*recordv1.Proven {
		return append(list, &recordv1.Proven{Entry: w.fake.told[len(w.fake.told)-1].GetEntry()})
	})
	w.refusedAs(err, Upgrade, "does not know")
}

func FuzzUnpack(f *testing.F) {
	whole, err := pack(make([][]byte, len(proofFiles)))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add([]byte("PK\x05\x06"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := unpack("proof", b)
		if err != nil {
			return
		}
		if again, err := pack(got); err != nil || !bytes.Equal(again, b) {
			t.Error("what was unpacked does not pack to the same bytes")
		}
		o := &opened{name: "proof"}
		if o.parse(b) == nil {
			_ = o.follow()
		}
	})
}
