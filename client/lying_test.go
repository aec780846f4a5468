package client

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"fmt"
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
	"witnessmark/tables/compare"
)

type history = []*recordv1.Told

// flip alters one bit of one blob.
func flip(sum string) lie {
	return lie{blob: func(s string, b []byte) []byte {
		if s == sum {
			b[len(b)/2] ^= 1
		}
		return b
	}}
}

// shows is a lie about what the ledger holds.
func shows(change func(h history) history) lie { return lie{history: change} }

// without leaves one entry out of the history.
func without(i int) lie { return shows(func(h history) history { return slices.Delete(h, i, i+1) }) }

// upTo is the ledger as it was n entries ago.
func upTo(n int) lie { return shows(func(h history) history { return h[:len(h)-n] }) }

// texts alters the openings of the job's first entry.
func texts(change func(o []*recordv1.Opening) []*recordv1.Opening) func(*world) lie {
	return func(w *world) lie {
		at := int(w.job().GetOpened().GetEntry())
		return shows(func(h history) history {
			h[at].Openings = change(h[at].Openings)
			return h
		})
	}
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
		{"other bytes for the image", func(w *world) lie { return flip(w.sub().GetImage().GetSha256()) }, false, Distrust, "bytes of image"},
		{"other bytes for the read", func(w *world) lie { return flip(w.sub().GetJudgement().GetBaseSha256()) }, false, Distrust, "bytes of read as found"},
		{"other limits", func(w *world) lie { return flip(w.sub().GetJudgement().GetLimits().GetSha256()) }, true, Distrust, "bytes of limits"},
		{"another definition", func(w *world) lie { return flip(w.sub().GetJudgement().GetDefinition().GetSha256()) }, true, Distrust, "bytes of definition"},
		{"a person nobody enrolled", intruder, false, Distrust, "no such key"},
		{"another author", otherAuthor, true, Distrust, "against the rules"},
		{"a retirement left out", leftOut(func(w *world) { w.must(w.lead.Retire(ctx, "second", true)) }), true, Distrust, "against the rules"},
		{"a recall left out", leftOut(func(w *world) { w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip")) }), true, Distrust, "against the rules"},
		{"newer limits left out", leftOut(func(w *world) { w.document(Limits, strings.ReplaceAll(testLimits, "max: 60", "max: 20")) }), true, Distrust, "against the rules"},
		{"two entries in another order", swapped, true, Distrust, "against the rules"},
		{"an older head", func(w *world) lie { return upTo(2) }, false, Distrust, "older ledger"},
		{"no ledger at all", func(w *world) lie { return shows(func(history) history { return nil }) }, false, Distrust, "older ledger"},
		{"a fork of the same size", fork, false, Distrust, "two roots"},
		{"a fork that is longer", longFork, false, Distrust, "fork"},
		{"a checkpoint by another key", otherKey, false, Distrust, "checkpoint does not verify"},
		{"entries that are not the checkpoint's", otherEntries, false, Distrust, "not those of its checkpoint"},
		{"a text kept back", texts(func([]*recordv1.Opening) []*recordv1.Opening { return nil }), true, Distrust, "keeps back texts"},
		{"another text", texts(func(o []*recordv1.Opening) []*recordv1.Opening { o[0].Text = "HC 19"; return o }), true, Distrust, "against the rules"},
		{"a text twice", texts(func(o []*recordv1.Opening) []*recordv1.Opening { return append(o, o[0]) }), true, Distrust, "against the rules"},
		{"an index that is not the entry's", func(*world) lie {
			return lie{admitted: func(a *servicev1.Admitted) *servicev1.Admitted { a.Index--; return a }}
		}, false, Distrust, "does not hold it"},
		{"an index far away", func(*world) lie {
			return lie{admitted: func(a *servicev1.Admitted) *servicev1.Admitted { a.Index += 1 << 40; return a }}
		}, false, Distrust, "does not hold it"},
		{"no entry at all", func(*world) lie {
			return lie{admitted: func(a *servicev1.Admitted) *servicev1.Admitted { return nil }}
		}, false, Distrust, "does not hold it"},
		{"bytes wanted that are another action's", func(w *world) lie {
			return lie{wanted: func(list []string) []string { return append(list, w.sub().GetImage().GetSha256()) }}
		}, false, Distrust, "wants bytes"},
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
			// The truth is taken again afterwards, as if nothing had been said.
			if c.kind == Distrust && c.name != "a person nobody enrolled" {
				w.fake.tell(lie{})
				w.must(nil, tech.Sync(ctx))
				w.must(tech.VerifyLedger(ctx, false))
			}
		})
	}
}

// The same world without a lie lets the file out: the lies above are what is refused.
func TestTruthfulServer(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.login("fresh", "tech")))
}

// A lie in the middle of a long catching up: what was committed on the way is not kept either.
func TestLieAfterManyParts(t *testing.T) {
	w := newWorld(t)
	w.must(nil, w.tech.Sync(ctx))
	before := w.tech.Head()
	w.many(3 * gathered)
	w.fake.tell(shows(func(h history) history {
		h[len(h)-1] = h[len(h)-2]
		return h
	}))
	w.refusedAs(w.tech.Sync(ctx), Distrust, "entry 3")
	if now := w.tech.Head(); now.Size != before.Size || now.Root != before.Root {
		t.Errorf("the head went from %d to %d", before.Size, now.Size)
	}
	w.fake.tell(lie{})
	w.must(w.tech.VerifyLedger(ctx, false))
}

// many adds jobs behind the clients' backs, quickly.
func (w *world) many(n int) {
	w.Helper()
	w.must(nil, w.tech.Sync(ctx))
	var details *recordv1.OpenJob
	w.must(nil, w.tech.View(func(s *record.State) error {
		def, _ := s.Newest(Definitions, "bench")
		lim, _ := s.Newest(Limits, "bench-98")
		details = &recordv1.OpenJob{Definition: &recordv1.Revision{Name: "bench", Sha256: def.GetSha256()},
			Details: &recordv1.JobDetails{Limits: &recordv1.Revision{Name: "bench-98", Sha256: lim.GetSha256()}}}
		return nil
	}))
	a := &recordv1.Action{Body: &recordv1.Action_Job{Job: details}}
	w.must(nil, w.tech.complete(a))
	w.must(nil, w.fake.update(func(s *record.State) error {
		for range n {
			var d deed
			details.Details.Plate = d.seal("plate", "HC 18")
			a.RequestId += "x"
			if len(a.RequestId) > 100 {
				w.must(nil, w.tech.complete(a))
			}
			envelope, err := signoff.Seal(a, w.tech.signer)
			if err != nil {
				return err
			}
			if _, err := s.Admit(entryOf(envelope), d.openings); err != nil {
				return err
			}
			w.fake.told = append(w.fake.told, &recordv1.Told{Entry: entryOf(envelope), Openings: d.openings})
		}
		return nil
	}))
}

func (w *world) job() (job *recordv1.Job) {
	_ = w.fake.View(func(s *record.State) error { job, _ = s.Job(1); return nil })
	return job
}

func (w *world) sub() *recordv1.Submission { return w.job().GetSubmissions()[0] }

// raw seals an action as a person would and admits it without asking anybody.
func (w *world) raw(c *Client, a *recordv1.Action) {
	w.Helper()
	w.must(nil, c.Sync(ctx))
	w.must(nil, c.complete(a))
	envelope, err := signoff.Seal(a, c.signer)
	w.must(nil, err)
	w.fake.add(envelope)
}

func intruder(w *world) lie {
	w.newKey("intruder")
	signer, err := LoadSigner(w.path("intruder"), nil)
	w.must(nil, err)
	a := &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "friend", Roles: []string{"lead"},
		PublicKey: signoff.FormatPublicKey(signer.Public().(ed25519.PublicKey))}}}
	w.must(nil, w.lead.complete(a))
	envelope, err := signoff.Seal(a, signer)
	w.must(nil, err)
	w.fake.add(envelope)
	return lie{}
}

// otherAuthor gives the submission's signature another key id: the lead's instead of the calibrator's.
func otherAuthor(w *world) lie {
	at := int(w.sub().GetSubmitted().GetEntry())
	return shows(func(h history) history {
		envelope, _, err := record.EnvelopeOf(h[at].Entry)
		w.must(nil, err)
		h[at].Entry = entryOf([]byte(strings.Replace(string(envelope), string(signoff.Fingerprint(w.cal.Key())), string(signoff.Fingerprint(w.lead.Key())), 1)))
		return h
	})
}

// swapped shows the submission and its sign-off the wrong way round.
func swapped(w *world) lie {
	a, b := w.sub().GetSubmitted().GetEntry(), w.sub().GetSigned().GetEntry()
	return shows(func(h history) history {
		h[a], h[b] = h[b], h[a]
		return h
	})
}

// leftOut does something that the server then hides; a later entry shows that its signer had seen it.
func leftOut(what func(*world)) func(*world) lie {
	return func(w *world) lie {
		w.newKey("second")
		w.must(w.lead.Enrol(ctx, "second", []string{"lead"}, w.path("second.pub")))
		at := len(w.fake.told)
		what(w)
		w.newKey("later")
		w.must(w.lead.Enrol(ctx, "later", []string{"technician"}, w.path("later.pub")))
		return without(at)
	}
}

// fork has the technician, who has seen the sign-off last, find another entry in its place.
func fork(w *world) lie {
	w.newKey("later")
	before := len(w.fake.told)
	w.must(w.lead.Enrol(ctx, "later", []string{"technician"}, w.path("later.pub")))
	return shows(func(h history) history { return append(h[:before-1], h[before]) })
}

func longFork(w *world) lie {
	f := fork(w)
	return shows(func(h history) history {
		h = f.history(h)
		return append(h, h[len(h)-1])
	})
}

func otherKey(w *world) lie {
	w.newKey("other")
	k, err := LoadSigner(w.path("other"), nil)
	w.must(nil, err)
	return lie{note: func([]byte) []byte {
		return (&fake{genesis: w.fake.genesis, key: asEd25519(w, k)}).sign(w.fake.told)
	}}
}

// otherEntries signs a checkpoint over another last entry than the one that it shows.
func otherEntries(w *world) lie {
	w.newKey("later")
	w.must(w.lead.Enrol(ctx, "later", []string{"technician"}, w.path("later.pub")))
	return lie{note: func([]byte) []byte {
		told := slices.Clone(w.fake.told)
		told[len(told)-1] = &recordv1.Told{Entry: []byte("something else")}
		return w.fake.sign(told)
	}}
}

// unknownKind is an entry as a newer version may make one, rightly signed by the lead.
func unknownKind(w *world) lie {
	w.must(nil, w.lead.Sync(ctx))
	a := &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: 1, Submission: 1}}}
	w.must(nil, w.lead.complete(a))
	envelope, err := signoff.Seal(a, w.lead.signer)
	w.must(nil, err)
	var e dsse.Envelope
	w.must(nil, json.Unmarshal(envelope, &e))
	payload, err := base64.StdEncoding.DecodeString(e.Payload)
	w.must(nil, err)
	payload = bytes.Replace(payload, []byte(`"withdraw"`), []byte(`"hand_over"`), 1)
	sig, err := w.lead.signer.Sign(nil, dsse.PAE(e.PayloadType, payload), crypto.Hash(0))
	w.must(nil, err)
	e.Payload, e.Signatures[0].Sig = base64.StdEncoding.EncodeToString(payload), base64.StdEncoding.EncodeToString(sig)
	envelope, err = json.Marshal(e)
	w.must(nil, err)
	w.fake.add(envelope)
	return lie{}
}

// A colluding calibrator signs a false report, and the server admits it: who signs finds out, and so
// does who collects where the lead's client was made to sign all the same.
func TestFalseReport(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\xf0") // danger: 240 deg
	sub := w.sub()
	j := proto.CloneOf(sub.GetJudgement())
	kept, err := proto.Marshal(&calibrationv1.Report{Semantics: compare.Semantics, Verdict: "clear", Candidate: &calibrationv1.ImageRef{Sha256: sub.GetImage().GetSha256()}})
	w.must(nil, err)
	j.Verdict, j.Warnings, j.ReportSha256 = "clear", nil, HashHex(kept)
	w.fake.blobs[j.ReportSha256] = kept
	w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: sub.GetImage(), Judgement: j}}})
	w.must(nil, w.lead.Sync(ctx))
	_, err = w.lead.Review(ctx, 1, 2)
	w.refusedAs(err, Distrust, "cannot be made again")
	w.raw(w.lead, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{Job: 1, Submission: 2,
		ImageSha256: sub.GetImage().GetSha256(), Judgement: j}}})
	w.refusedAs(w.collect(w.tech), Distrust, "cannot be made again")
	w.nothingWritten()
	_, err = w.tech.VerifyLedger(ctx, true)
	w.refusedAs(err, Distrust, "says of its bytes what is not so")
}

// A report by a later number of the rules is no forgery.
func TestNewerSemanticsIsUpgrade(t *testing.T) {
	w := newWorld(t).released()
	sub := w.sub()
	r := &calibrationv1.Report{}
	w.must(nil, proto.Unmarshal(w.fake.blobs[sub.GetJudgement().GetReportSha256()], r))
	r.Semantics++
	kept, err := proto.Marshal(r)
	w.must(nil, err)
	j := proto.CloneOf(sub.GetJudgement())
	j.ReportSha256 = HashHex(kept)
	w.fake.blobs[j.ReportSha256] = kept
	w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: sub.GetImage(), Judgement: j}}})
	w.must(nil, w.lead.Sync(ctx))
	_, err = w.lead.Review(ctx, 1, 2)
	w.refusedAs(err, Upgrade, fmt.Sprintf("rules of comparing number %d", compare.Semantics+1))
}

// The author's own sign-off, admitted by a server that was taken over.
func TestAuthorsOwnSignOff(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x0e")
	sub := w.sub()
	w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{Job: 1, Submission: 1,
		ImageSha256: sub.GetImage().GetSha256(), Judgement: sub.GetJudgement()}}})
	w.refusedAs(w.collect(w.tech), Distrust, "may not sign their own")
	w.nothingWritten()
}

// A server with another key than the pinned one is not spoken to.
func TestServersKeyIsPinned(t *testing.T) {
	w := newWorld(t).released()
	other := startFake(t, w.lead.Key(), false)
	config := w.tech.own.config
	config.Server = other.addr
	w.must(nil, w.tech.own.home.writeJSON(configFile, config))
	c, err := Open(w.tech.own.home, nil)
	w.must(nil, err)
	defer c.Close()
	w.refusedAs(w.collect(c), Distrust, "the one you pinned")
	w.nothingWritten()
}

// Somebody in between, without the server's key, passes everything on: a new client is not fooled
// either, since the genesis names another key than that of its connection.
func TestSomebodyInBetween(t *testing.T) {
	w := newWorld(t).released()
	w.newKey("between")
	k, err := LoadSigner(w.path("between"), nil)
	w.must(nil, err)
	genuine := w.fake.addr
	w.fake.addr = w.fake.listen(t, asEd25519(w, k))
	_, err = w.tryLogin("fresh", "tech")
	w.refusedAs(err, Distrust, "not the one that the genesis names")
	if FileExists(w.path("home-fresh/config.json")) {
		t.Error("the login was kept")
	}
	w.fake.addr = genuine
	w.must(w.tryLogin("fresh", "tech"))
}

// Who has seen nothing cannot tell a fork, or an older ledger, from the genuine one; with a colleague's head
// they can, whatever has come since.
func TestHeadToStartFrom(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.lead.Sync(ctx))
	other := &recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 1, Outcome: "cancelled", Because: "the car did not come"}}}
	w.must(nil, w.lead.complete(other))
	envelope, err := signoff.Seal(other, w.lead.signer)
	w.must(nil, err)
	forked := shows(func(h history) history { return append(h[:len(h)-1], &recordv1.Told{Entry: entryOf(envelope)}) })
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
	w.must(nil, w.tech.Sync(ctx))
	h := w.tech.Head()
	seen := fmt.Sprintf("%d:%s", h.Size, h.Root)
	for name, l := range map[string]lie{"forked": forked, "older": upTo(2)} {
		w.fake.tell(l)
		_, err := w.loginSeen(name, "tech", seen)
		w.refusedAs(err, Distrust, "not the one whose head you were given, "+seen)
		if FileExists(w.path("home-" + name + "/config.json")) {
			t.Errorf("%s: the login was kept", name)
		}
		w.must(w.tryLogin(name, "tech"))
	}
	w.fake.tell(lie{})
	w.must(w.loginSeen("fresh", "tech", seen))
	for _, bad := range []string{"7", "7:", "0:" + h.Root, "-1:" + h.Root, "7:" + h.Root[1:], seen + "0", strings.ToUpper(seen)} {
		_, err := w.loginSeen("fresh", "tech", bad)
		w.refusedAs(err, Usage, "allowed: SIZE:ROOT")
	}
}

// The rules of a car that is told apart, and of limits that changed since.
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
	_, err = w.tech.Collect(ctx, Collecting{Job: 1, Submission: 2, Out: w.path("out.bin"), Frame: frame})
	w.refusedAs(err, Usage, "no submission 2")
	w.document(Limits, strings.ReplaceAll(testLimits, "max: 60", "max: 20"))
	w.refusedAs(w.collect(w.tech), Refused, "needs a new sign-off")
	w.nothingWritten()
}
