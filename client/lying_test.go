package client

import (
	"crypto"
	"encoding/base64"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/secure-systems-lab/go-securesystemslib/dsse"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// flip alters one bit of one blob.
func flip(sum string) lie {
	return lie{blob: func(s string, b []byte) []byte {
		if s == sum {
			b[len(b)/2] ^= 1
		}
		return b
	}}
}

// without leaves one entry out of the history.
func without(i int) lie {
	return lie{history: func(e [][]byte) [][]byte { return slices.Delete(e, i, i+1) }}
}

// upTo is the ledger as it was n entries ago.
func upTo(n int) lie {
	return lie{history: func(e [][]byte) [][]byte { return e[:len(e)-n] }}
}

// Each lie is told to a technician who has seen the release, or to one whose client is new; in both
// cases with the server's own key. Nothing may be written.
func TestLyingServer(t *testing.T) {
	for _, c := range []struct {
		name string
		// tell prepares the world and answers with the lie.
		tell  func(w *world) lie
		fresh bool
		kind  Kind
		words string
	}{
		{"other bytes for the image", func(w *world) lie { return flip(w.sub().Image.Sha256) }, false, Distrust, "bytes of 1.1"},
		{"other bytes for the original", func(w *world) lie { return flip(w.sub().BaseSha256) }, false, Distrust, "bytes of original"},
		{"other bytes for the report", func(w *world) lie { return flip(w.sub().Judgement.ReportSha256) }, false, Distrust, "bytes of report"},
		{"other limits", func(w *world) lie { return flip(w.sub().Judgement.Limits.Sha256) }, false, Distrust, "bytes of limits bench-98"},
		{"another definition", func(w *world) lie { return flip(w.sub().Judgement.Definition.Sha256) }, false, Distrust, "bytes of definition bench"},
		{"a person nobody enrolled", intruder, false, Distrust, "no such key"},
		{"another author", otherAuthor, true, Distrust, "against the rules"},
		{"a retirement left out", leftOut(func(w *world) { w.must(w.lead.Retire(ctx, "second", true)) }), true, Distrust, "against the rules"},
		{"a recall left out", leftOut(func(w *world) { w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip")) }), true, Distrust, "against the rules"},
		{"newer limits left out", leftOut(func(w *world) {
			w.must(w.lead.AddDocument(ctx, Limits, w.write("l2.yaml", []byte(strings.ReplaceAll(testLimits, "max: 60", "max: 20")))))
		}), true, Distrust, "against the rules"},
		{"an older head", func(w *world) lie { return upTo(2) }, false, Distrust, "older ledger"},
		{"a fork of the same size", fork, false, Distrust, "two roots"},
		{"a fork that is longer", longFork, false, Distrust, "fork"},
		{"a checkpoint by another key", otherKey, false, Distrust, "checkpoint does not verify"},
		{"entries that are not the checkpoint's", otherEntries, false, Distrust, "not those of its checkpoint"},
		{"an index that is not the entry's", func(*world) lie {
			return lie{admitted: func(a *servicev1.Admitted) *servicev1.Admitted { a.Index--; return a }}
		}, false, Distrust, "does not hold it"},
		{"no entry at all", func(*world) lie {
			return lie{admitted: func(a *servicev1.Admitted) *servicev1.Admitted { return nil }}
		}, false, Distrust, "does not hold it"},
		{"an entry of an unknown kind", unknownKind, false, Upgrade, "does not know"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWorld(t).released()
			w.must(nil, w.tech.Sync(ctx))
			w.fake.tell(c.tell(w))
			tech := w.tech
			if c.fresh {
				var err error
				if tech, err = w.tryLogin("fresh", "tech"); err != nil {
					w.refusedAs(err, c.kind, c.words)
					return
				}
			}
			w.refusedAs(w.collect(tech), c.kind, c.words)
			w.nothingWritten()
		})
	}
}

// The same world without a lie lets the file out: the lies above are what is refused.
func TestTruthfulServer(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.login("fresh", "tech")))
}

func (w *world) sub() *recordv1.Submission {
	s, ok := w.fake.state.Submission(1, 1)
	if !ok {
		w.Fatal("no submission")
	}
	return s
}

// raw seals an action as a person would and admits it without asking anybody.
func (w *world) raw(c *Client, a *recordv1.Action) {
	w.Helper()
	w.must(nil, c.Sync(ctx))
	_, err := c.complete(a)
	w.must(nil, err)
	envelope, err := signoff.Seal(a, c.signer)
	w.must(nil, err)
	w.fake.admit(entryOf(envelope))
}

func intruder(w *world) lie {
	w.newKey("intruder")
	signer, err := LoadSigner(w.path("intruder"), nil)
	w.must(nil, err)
	// The lead's view, another key.
	liar := &Client{config: w.lead.config, signer: signer, state: w.lead.state, head: w.lead.head}
	a := &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "friend", Roles: []string{"lead"},
		PublicKey: signoff.FormatPublicKey(liar.Key())}}}
	_, err = liar.complete(a)
	w.must(nil, err)
	envelope, err := signoff.Seal(a, signer)
	w.must(nil, err)
	w.fake.admit(entryOf(envelope))
	return lie{}
}

// otherAuthor gives the submission's signature another key id: the lead's instead of the calibrator's.
func otherAuthor(w *world) lie {
	at := int(w.sub().Submitted.Entry)
	return lie{history: func(e [][]byte) [][]byte {
		envelope, _, err := record.EnvelopeOf(e[at])
		w.must(nil, err)
		e[at] = entryOf([]byte(strings.Replace(string(envelope), signoff.Fingerprint(w.cal.Key()), signoff.Fingerprint(w.lead.Key()), 1)))
		return e
	}}
}

// leftOut does something that the server then hides; a later entry shows that its signer had seen it.
func leftOut(what func(*world)) func(*world) lie {
	return func(w *world) lie {
		w.newKey("second")
		w.must(w.lead.Enrol(ctx, "second", []string{"lead"}, w.path("second.pub")))
		at := len(w.fake.entries)
		what(w)
		w.newKey("later")
		w.must(w.lead.Enrol(ctx, "later", []string{"technician"}, w.path("later.pub")))
		return without(at)
	}
}

func fork(w *world) lie {
	w.newKey("later")
	before := len(w.fake.entries)
	w.must(w.lead.Enrol(ctx, "later", []string{"technician"}, w.path("later.pub")))
	other := w.fake.entries[before]
	w.fake.entries = w.fake.entries[:before]
	// The technician has seen the sign-off last; now another entry stands in its place.
	return lie{history: func(e [][]byte) [][]byte { return append(e[:before-1], other) }}
}

func longFork(w *world) lie {
	f := fork(w)
	return lie{history: func(e [][]byte) [][]byte {
		e = f.history(e)
		return append(e, e[len(e)-1])
	}}
}

func otherKey(w *world) lie {
	w.newKey("other")
	k, err := LoadSigner(w.path("other"), nil)
	w.must(nil, err)
	return lie{note: func([]byte) []byte {
		f := &fake{state: w.fake.state}
		f.key = asEd25519(w, k)
		return f.sign(w.fake.entries)
	}}
}

// otherEntries signs a checkpoint over one more entry than those that it shows the bytes of.
func otherEntries(w *world) lie {
	return lie{note: func([]byte) []byte {
		return w.fake.sign(append(slices.Clone(w.fake.entries), []byte("something else")))
	}, history: func(e [][]byte) [][]byte { return append(e, e[len(e)-1]) }}
}

// unknownKind is an entry as a newer version may make one, rightly signed by the lead.
func unknownKind(w *world) lie {
	w.must(nil, w.lead.Sync(ctx))
	a := &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: 1, Submission: 1}}}
	_, err := w.lead.complete(a)
	w.must(nil, err)
	envelope, err := signoff.Seal(a, w.lead.signer)
	w.must(nil, err)
	var e dsse.Envelope
	w.must(nil, json.Unmarshal(envelope, &e))
	payload, err := base64.StdEncoding.DecodeString(e.Payload)
	w.must(nil, err)
	payload = []byte(strings.Replace(string(payload), `"withdraw"`, `"hand_over"`, 1))
	sig, err := w.lead.signer.Sign(nil, dsse.PAE(e.PayloadType, payload), crypto.Hash(0))
	w.must(nil, err)
	e.Payload, e.Signatures[0].Sig = base64.StdEncoding.EncodeToString(payload), base64.StdEncoding.EncodeToString(sig)
	envelope, err = json.Marshal(e)
	w.must(nil, err)
	w.fake.admit(entryOf(envelope))
	return lie{}
}

// A colluding calibrator signs a false report, and the server admits it: who signs finds out, and so
// does who collects where the lead's client was made to sign all the same.
func TestFalseReport(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.cal.Sync(ctx))
	image := testImage("\x0a\x0b\x0c\xf0") // danger: 240 deg
	_, job, err := w.cal.job(1)
	w.must(nil, err)
	rules, err := w.cal.newestRules(ctx, w.cal.view(), job)
	w.must(nil, err)
	p, err := NewPicture("x", image, "", rules.Layout)
	w.must(nil, err)
	base := job.Reads[0].Image
	false1 := &calibrationv1.Report{Semantics: 1, Verdict: "clear", Candidate: &calibrationv1.ImageRef{Sha256: p.Image.Sha256, Size: p.Image.Size}}
	kept, judgement, err := judge(false1, rules)
	w.must(nil, err)
	w.must(w.cal.act(ctx, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: p.Image,
		BaseSha256: base.Sha256, Judgement: judgement, Note: "harmless"}}}, blob{"image", image}, blob{"report", kept}))
	w.must(nil, w.lead.Sync(ctx))
	_, err = w.lead.Review(ctx, 1, 1)
	w.refusedAs(err, Distrust, "cannot be made again")
	w.must(w.lead.act(ctx, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{Job: 1, Submission: 1,
		ImageSha256: p.Image.Sha256, BaseSha256: base.Sha256, Judgement: judgement}}}))
	w.refusedAs(w.collect(w.tech), Distrust, "cannot be made again")
	w.nothingWritten()
}

// A report by a later number of the rules is no forgery.
func TestNewerSemanticsIsUpgrade(t *testing.T) {
	w := newWorld(t).released()
	sum := w.sub().Judgement.ReportSha256
	var r calibrationv1.Report
	w.must(nil, proto.Unmarshal(w.fake.blobs[sum], &r))
	r.Semantics++
	kept, err := marshal(&r)
	w.must(nil, err)
	sub := w.sub()
	j := proto.CloneOf(sub.Judgement)
	j.ReportSha256 = HashHex(kept)
	w.fake.blobs[j.ReportSha256] = kept
	w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: sub.Image,
		BaseSha256: sub.BaseSha256, Judgement: j, Note: "by a newer version"}}})
	w.must(nil, w.lead.Sync(ctx))
	_, err = w.lead.Review(ctx, 1, 2)
	w.refusedAs(err, Upgrade, "rules number 2")
}

// The author's own sign-off, admitted by a server that was taken over.
func TestAuthorsOwnSignOff(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x0e")
	sub := w.sub()
	w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{Job: 1, Submission: 1,
		ImageSha256: sub.Image.Sha256, BaseSha256: sub.BaseSha256, Judgement: sub.Judgement}}})
	w.refusedAs(w.collect(w.tech), Distrust, "may not sign their own")
	w.nothingWritten()
}

// A server with another key than the pinned one is not spoken to.
func TestServersKeyIsPinned(t *testing.T) {
	w := newWorld(t).released()
	other := startFake(t, w.lead.Key(), false)
	config, err := w.tech.home.Config()
	w.must(nil, err)
	config.Server = other.addr
	w.must(nil, w.tech.home.saveConfig(config))
	c, err := Open(w.tech.home, nil)
	w.must(nil, err)
	defer c.Close()
	w.refusedAs(w.collect(c), Distrust, "the one you pinned")
	w.nothingWritten()
}

// Somebody in between, without the server's key, passes everything on: a new client is not fooled
// either, since the ledger's checkpoints are not signed by the key of its connection.
func TestSomebodyInBetween(t *testing.T) {
	w := newWorld(t).released()
	w.newKey("between")
	k, err := LoadSigner(w.path("between"), nil)
	w.must(nil, err)
	genuine := w.fake.addr
	w.fake.addr = w.fake.listen(t, asEd25519(w, k))
	_, err = w.tryLogin("fresh", "tech")
	w.refusedAs(err, Distrust, "checkpoint does not verify")
	if FileExists(w.path("home-fresh/config.json")) {
		t.Error("the login was kept")
	}
	w.fake.addr = genuine
	w.must(w.tryLogin("fresh", "tech"))
}

// The rules of a car that is told apart, and of a definition that changed since.
func TestCollectRefusals(t *testing.T) {
	w := newWorld(t).released()
	_, err := w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin")})
	w.refusedAs(err, Usage, "told apart")
	_, err = w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin"), Frame: "FRAME002"})
	w.refusedAs(err, Distrust, "not that of the file")
	other := testImage("\x0a\x0b\x0c\x0d")
	copy(other[0x10:], "FRAME009")
	_, err = w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin"), FreshRead: w.write("fresh.bin", other)})
	w.refusedAs(err, Distrust, "another car")
	w.must(w.lead.AddDocument(ctx, Limits, w.write("l2.yaml", []byte(strings.ReplaceAll(testLimits, "max: 60", "max: 20")))))
	w.refusedAs(w.collect(w.tech), Refused, "needs a new sign-off")
	w.nothingWritten()
}

// A bundle stands on its own, and only on the ledger that the person pinned.
func TestBundle(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	path := w.path("out.bin.bundle.zip")
	nobody := &Home{Dir: w.path("nobody")}
	_, err := VerifyBundle(nobody, path, "")
	w.refusedAs(err, Usage, "no ledger is pinned")
	_, err = VerifyBundle(nobody, path, w.tech.Fingerprint())
	w.must(nil, err)
	_, err = VerifyBundle(nobody, path, signoff.HashFingerprint([32]byte{}))
	w.refusedAs(err, Distrust, "and yours is")
	stranger := newWorld(t)
	_, err = VerifyBundle(stranger.tech.home, path, "")
	w.refusedAs(err, Distrust, "and yours is")
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
	_, err = VerifyBundle(w.tech.home, path, "")
	w.must(nil, err) // the technician has not heard of it
	w.must(nil, w.tech.Sync(ctx))
	_, err = VerifyBundle(w.tech.home, path, "")
	w.refusedAs(err, Distrust, "recalled")
}

// Every byte of a bundle matters: no flipped bit verifies.
func TestBundleBits(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	whole, err := os.ReadFile(w.path("out.bin.bundle.zip"))
	w.must(nil, err)
	files, err := unpack("bundle", whole)
	w.must(nil, err)
	again, err := pack(files)
	w.must(nil, err)
	if string(again) != string(whole) {
		t.Error("the same files do not make the same bundle")
	}
	flipAll := func(b []byte, step int, check func([]byte) error) {
		for i := 0; i < len(b); i += step {
			b[i] ^= 1 << (i % 8)
			if check(b) == nil {
				t.Errorf("bit %d of byte %d does not matter", i%8, i)
			}
			b[i] ^= 1 << (i % 8)
		}
	}
	verify := func(raw []byte) error {
		_, err := VerifyBundle(w.tech.home, w.write("flipped.zip", raw), "")
		return err
	}
	flipAll(slices.Clone(whole), 101, verify)
	// And with the zip's own sums made right, inside each of its files.
	for i := range files {
		flipAll(files[i], 1+len(files[i])/16, func([]byte) error {
			raw, err := pack(files)
			w.must(nil, err)
			return verify(raw)
		})
	}
}
