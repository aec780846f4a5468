package server

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"pgregory.net/rapid"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// withFile is an action that brings a file of some size: a note, sealed and signed.
func (b *bench) withFile(size int) (data, env []byte, openings []*recordv1.Opening) {
	b.Helper()
	data = make([]byte, size)
	_, _ = rand.Read(data)
	a, o := b.note(1, "the boost gauge, filmed", data)
	return data, b.seal("technician", b.filled(a, o...)), o
}

// TestWhatIsBrought: each way to send something else than what was wanted is refused, and leaves
// nothing.
func TestWhatIsBrought(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	data, env, o := b.withFile(1000)
	sha := hashOf(data)
	whole := &servicev1.BlobPart{Sha256: sha, Size: 1000, Data: data}
	begun := &servicev1.BlobPart{Sha256: sha, Size: 1000, Data: data[:10]}
	for name, c := range map[string]struct {
		send   func(s *bringing)
		reason string
	}{
		"the end":            {func(s *bringing) { _ = s.CloseSend() }, "wrong-size"},
		"the end, half way":  {func(s *bringing) { s.part(begun); _ = s.CloseSend() }, "wrong-size"},
		"the action again":   {func(s *bringing) { s.action(env, o...) }, "no-part"},
		"nothing in it":      {func(s *bringing) { _ = s.Send(&servicev1.AdmitRequest{}) }, "no-part"},
		"another blob":       {func(s *bringing) { s.part(&servicev1.BlobPart{Sha256: hashOf(nil), Size: 1000, Data: data}) }, "not-wanted"},
		"no name":            {func(s *bringing) { s.part(&servicev1.BlobPart{Size: 1000, Data: data}) }, "not-wanted"},
		"a path":             {func(s *bringing) { s.part(&servicev1.BlobPart{Sha256: "../" + sha[3:], Size: 1000, Data: data}) }, "not-wanted"},
		"named again":        {func(s *bringing) { s.part(begun); s.part(whole) }, "not-wanted"},
		"a part of nothing":  {func(s *bringing) { s.part(begun); s.part(&servicev1.BlobPart{}) }, "not-wanted"},
		"no size":            {func(s *bringing) { s.part(&servicev1.BlobPart{Sha256: sha, Data: data}) }, "bad-size"},
		"too large":          {func(s *bringing) { s.part(&servicev1.BlobPart{Sha256: sha, Size: maxBlob + 1, Data: data}) }, "bad-size"},
		"more than 63 bits":  {func(s *bringing) { s.part(&servicev1.BlobPart{Sha256: sha, Size: 1 << 63, Data: data}) }, "bad-size"},
		"more than declared": {func(s *bringing) { s.part(&servicev1.BlobPart{Sha256: sha, Size: 999, Data: data}) }, "wrong-size"},
		"more, later":        {func(s *bringing) { s.part(begun); s.part(&servicev1.BlobPart{Data: data}) }, "wrong-size"},
		"other bytes": {func(s *bringing) {
			s.part(&servicev1.BlobPart{Sha256: sha, Size: 1000, Data: bytes.Repeat([]byte("x"), 1000)})
		}, "wrong-hash"},
	} {
		t.Run(name, func(t *testing.T) {
			s := begin(t, b.as("technician"))
			s.action(env, o...)
			if m, err := s.Recv(); err != nil || len(m.GetWanted().GetSha256()) != 1 || m.GetWanted().GetSha256()[0] != sha {
				t.Fatalf("wanted: %v %v", m, err)
			}
			c.send(s)
			_, err := s.Recv()
			wantFault(t, err, codes.InvalidArgument, c.reason)
			b.quiet()
		})
	}
	if b.size() != 6 {
		t.Errorf("%d entries, want 6", b.size())
	}
	b.leavesNothing()
	if _, err := b.bring("technician", env, o...); err != nil {
		t.Errorf("all of it: %v", err)
	}
	// What is there is not wanted again.
	again, o := b.note(1, "the same film", data)
	_, wanted, err := bring(t, b.as("technician"), nil, b.seal("technician", b.filled(again, o...)), o...)
	if err != nil || len(wanted) != 0 {
		t.Errorf("wanted %q (%v), want nothing", wanted, err)
	}
}

// TestLostAtEveryStep: whoever goes away at any step, and comes again with the same bytes, finds the
// action there once; what was lost before it was whole left nothing.
func TestLostAtEveryStep(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	steps := []string{"before the action", "after the action", "after what is wanted", "half way", "after all of it", "after the answer"}
	for n, step := range steps {
		t.Run(step, func(t *testing.T) {
			data, env, o := b.withFile(600_000)
			before := b.size()
			s := begin(t, b.as("technician"))
			do := []func(){
				func() { s.action(env, o...) },
				func() { _, _ = s.Recv() },
				func() { s.part(&servicev1.BlobPart{Sha256: hashOf(data), Size: 600_000, Data: data[:chunkBytes]}) },
				func() { s.part(&servicev1.BlobPart{Data: data[chunkBytes:]}) },
				func() { _, _ = s.Recv() },
			}
			for _, next := range do[:n] {
				next()
			}
			s.cancel()
			b.quiet()
			if n < 4 && b.size() != before {
				t.Errorf("%d entries, want %d", b.size(), before)
			}
			b.leavesNothing()
			a, err := b.bring("technician", env, o...)
			if err != nil || a.GetIndex() != before || b.size() != before+1 {
				t.Errorf("again: entry %d of %d (%v), want %d", a.GetIndex(), b.size(), err, before)
			}
		})
	}
	b.leavesNothing()
}

// TestRefusedBeforeAnythingIsAsked: each refusal of an envelope and its openings comes before a blob
// is asked for.
func TestRefusedBeforeAnythingIsAsked(t *testing.T) {
	b := newBench(t)
	b.enrol("second lead", "lead")
	good, o := b.openJob("AB 12 CD")
	env := b.seal("technician", b.filled(good, o...))
	broken := bytes.Clone(env)
	broken[len(broken)/2] ^= 1
	long := bytes.Repeat([]byte("x"), signoff.MaxEnvelope+1)
	stranger, err := signoff.Seal(b.carry(retireAction("technician")), testKey("stranger"))
	if err != nil {
		t.Fatal(err)
	}
	other := signoff.NewOpening("plate", "EF 34 GH", rand.Reader)
	changed := &recordv1.Opening{Commitment: o[0].Commitment, Field: "plate", Salt: o[0].Salt, Text: "AB 12 CE"}
	blank, blankO := b.openJob("...")
	for name, c := range map[string]struct {
		as       string
		env      []byte
		openings []*recordv1.Opening
		code     codes.Code
		reason   string
	}{
		"nothing":              {"technician", nil, o, codes.InvalidArgument, "bad-envelope"},
		"too long":             {"technician", long, o, codes.InvalidArgument, "bad-envelope"},
		"broken":               {"technician", broken, o, codes.InvalidArgument, "bad-envelope"},
		"a stranger's":         {"lead", stranger, nil, codes.PermissionDenied, "unknown-key"},
		"somebody else's":      {"second lead", env, o, codes.PermissionDenied, "not-the-signer"},
		"no openings":          {"technician", env, nil, codes.InvalidArgument, "opening"},
		"one is missing":       {"technician", env, o[:1], codes.InvalidArgument, "opening"},
		"one twice":            {"technician", env, append(o[:2:2], o[0]), codes.InvalidArgument, "opening"},
		"another's":            {"technician", env, append(o[:2:2], other), codes.InvalidArgument, "opening"},
		"another text":         {"technician", env, []*recordv1.Opening{changed, o[1]}, codes.InvalidArgument, "opening"},
		"a plate that is none": {"technician", b.seal("technician", b.carry(blank)), blankO, codes.InvalidArgument, "bad-value"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := b.bring(c.as, c.env, c.openings...)
			wantFault(t, err, c.code, c.reason)
		})
	}
	s := begin(t, b.as("technician"))
	_ = s.CloseSend()
	_, err = s.Recv()
	wantFault(t, err, codes.InvalidArgument, "bad-envelope")
	s = begin(t, b.as("technician"))
	s.part(&servicev1.BlobPart{})
	_, err = s.Recv()
	wantFault(t, err, codes.InvalidArgument, "bad-envelope")
	b.leavesNothing()
}

// TestForgedSignature: an envelope whose signature is not of the key that it names.
func TestForgedSignature(t *testing.T) {
	w := newWorkshop(t)
	env := w.seal("lead", w.carry(retireAction("nobody")))
	at := bytes.Index(env, []byte(`"sig":"`)) + len(`"sig":"`)
	env[at] = map[bool]byte{true: 'B', false: 'A'}[env[at] == 'A']
	_, err := w.bring("lead", env)
	wantFault(t, err, codes.InvalidArgument, record.ReasonBadSignature)
}

// TestWrongClaims: what an action says about bytes is computed again.
func TestWrongClaims(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	a, o := b.read(1, demoFile(t, "asfound.bin"))
	b.filled(a, o...).GetRead().GetCheck().Verdict = "danger"
	_, err := b.bring("technician", b.seal("technician", a), o...)
	wantFault(t, err, codes.FailedPrecondition, claims.ReasonClaim)
	b.quiet()
	b.leavesNothing()
}

// TestDamagedBlobIsMended: bytes that are damaged in the store are not served, and are whole again
// once an action brought them again.
func TestDamagedBlobIsMended(t *testing.T) {
	b := newBench(t)
	for _, plate := range []string{"AB 12 CD", "EF 34 GH"} {
		open, o := b.openJob(plate)
		b.do("technician", open, o)
	}
	film := bytes.Repeat([]byte("film "), 1000)
	for job := range uint32(2) {
		b.damage(func(tx store.WriteTx) error {
			if job == 0 {
				return nil
			}
			return tx.PutBlob(hashOf(film), []byte("damaged"))
		})
		a, o := b.note(job+1, "the boost gauge, filmed", film)
		if job == 1 {
			_, err := download(t, servicev1.NewBlobsClient(b.as("lead")), hashOf(film))
			wantFault(t, err, codes.DataLoss, "damaged")
			if !strings.Contains(err.Error(), hashOf(film)) {
				t.Errorf("it does not say which: %v", err)
			}
		}
		b.do("technician", a, o)
	}
	if got, err := download(t, servicev1.NewBlobsClient(b.as("lead")), hashOf(film)); err != nil || !bytes.Equal(got, film) {
		t.Errorf("the file is not whole again: %v", err)
	}
}

// TestErasedMeanwhile: bytes that were there when an action came, and were erased before it went in,
// are not missed in the record.
func TestErasedMeanwhile(t *testing.T) {
	b := newBench(t)
	for _, plate := range []string{"AB 12 CD", "EF 34 GH"} {
		open, o := b.openJob(plate)
		b.do("technician", open, o)
	}
	film := []byte("what the camera in the footwell saw")
	first, o := b.note(1, "the film", film)
	b.do("technician", first, o)
	second, o := b.note(2, "the film of the other car", film)
	a := b.arrived("technician", b.seal("technician", b.filled(second, o...)), o...)
	b.closeAndErase(1, false)
	b.srv.core.commit([]*arrival{a}) // handed over before it was erased
	if r := <-a.answer; !errors.Is(r.err, errMoved) {
		t.Errorf("it went in: %v", r.err)
	}
	_, err := b.srv.core.admit(within(t), a)
	wantFault(t, toStatus(err).Err(), codes.Aborted, "busy")
	if _, err := b.bring("technician", a.signed.Envelope, o...); err != nil {
		t.Errorf("again, with the bytes: %v", err)
	}
	b.leavesNothing()
}

// TestReceiveAnything: whatever parts come, a blob is taken only if they are exactly it, nothing is
// read past its end, and what is not taken holds no room.
func TestReceiveAnything(t *testing.T) {
	sp, err := openSpool(t.TempDir()+"/spool", usualBounds().spooled)
	if err != nil {
		t.Fatal(err)
	}
	data := []byte("0123456789")
	sha := hashOf(data)
	rapid.Check(t, func(t *rapid.T) {
		pieces := rapid.SliceOfN(rapid.SampledFrom([]string{"0123456789", "01234", "56789", "", "x", "012"}), 0, 4).Draw(t, "pieces")
		names := rapid.SliceOfN(rapid.SampledFrom([]string{"", "", "", sha}), len(pieces), len(pieces)).Draw(t, "names")
		size := rapid.SampledFrom([]uint64{10, 10, 10, 9, 11, 0}).Draw(t, "size")
		n := 0
		b, err := sp.receive("somebody", func() (*servicev1.AdmitRequest, error) {
			if n == len(pieces) {
				return nil, io.EOF
			}
			p := &servicev1.BlobPart{Sha256: names[n], Data: []byte(pieces[n])}
			if n == 0 {
				p.Sha256, p.Size = sha, size
			}
			n++
			return &servicev1.AdmitRequest{Content: &servicev1.AdmitRequest_Part{Part: p}}, nil
		}, sha)
		sent := strings.Join(pieces[:n], "")
		if err != nil {
			if sent == string(data) && size == 10 && strings.Join(names[min(1, len(names)):n], "") == "" && !containsEmpty(pieces[min(1, len(pieces)):n]) {
				t.Fatalf("refused: %v", err)
			}
			if sp.held.total() != 0 {
				t.Fatal("it holds room")
			}
			return
		}
		defer b.close()
		got, err := b.read()
		if err != nil || sent != string(data) || sha256.Sum256(got) != sha256.Sum256(data) {
			t.Fatalf("took %q as %q (%v)", sent, got, err)
		}
	})
}

func containsEmpty(list []string) bool {
	for _, s := range list {
		if s == "" {
			return true
		}
	}
	return false
}

// unreadable is an engine that cannot say what is in documents of a kind.
type unreadable struct {
	store.Engine
	kind string
}

func (u unreadable) View(fn func(store.ReadTx) error) error {
	return u.Engine.View(func(tx store.ReadTx) error { return fn(unread{tx, u.kind}) })
}

type unread struct {
	store.ReadTx
	kind string
}

func (u unread) Document(kind, key string) ([]byte, error) {
	if kind == u.kind {
		return nil, store.ErrAway
	}
	return u.ReadTx.Document(kind, key)
}

// TestUnreadIsNoRefusal: whoever brings what is right is not told that they are unknown, or that it is wrong, where the
// database does not say what is there.
func TestUnreadIsNoRefusal(t *testing.T) {
	b := newSmallBench(t)
	b.smallJob(1)
	var j *recordv1.Job
	b.look(func(s *record.State) { j, _ = s.Job(1) })
	d := &recordv1.JobDetails{Plate: &recordv1.Sealed{Commitment: j.GetPlate().GetCommitment()}, Frame: &recordv1.Sealed{Commitment: j.GetFrame().GetCommitment()}, Limits: j.GetLimits()}
	env := b.seal("technician", b.filled(&recordv1.Action{Body: &recordv1.Action_Amend{Amend: &recordv1.AmendJob{Job: 1, Details: d}}}))
	engine, away := b.srv.core.engine, 0
	for _, kind := range strings.Fields("head genesis person key request job newest opening file plate frame sealed") {
		b.srv.core.engine = unreadable{engine, kind}
		first, _, err := b.srv.core.open(&arrival{}, env, signoff.Fingerprint(publicOf(b.keys["technician"])))
		if err != nil {
			wantFault(t, toStatus(err).Err(), codes.Unavailable, "away")
			away++
		} else if first != nil || kind == "key" || kind == "opening" || kind == "person" {
			t.Errorf("%s is not asked for: %v", kind, first)
		}
	}
	b.srv.core.engine = engine
	if away < 6 {
		t.Errorf("%d kinds were asked for", away)
	}
	if _, err := b.bring("technician", env); err != nil {
		t.Error(err)
	}
}
