package client

import (
	"crypto/ed25519"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// weakKeys are the 14 ways of 32 bytes to say a point of small order, 8 of them in its own encoding: the list that
// K. Chalkias, F. Garillot and V. Nikolaenko give in "Taming the many EdDSAs" (2020), from memory; that there are no
// others is computed where keys are read.
var weakKeys = []string{
	"0100000000000000000000000000000000000000000000000000000000000000",
	"ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
	"0000000000000000000000000000000000000000000000000000000000000000",
	"0000000000000000000000000000000000000000000000000000000000000080",
	"26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
	"26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85",
	"c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
	"c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa",
	"0100000000000000000000000000000000000000000000000000000000000080",
	"ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
	"edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
	"edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
	"eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
	"eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
	// No point of small order, and none at all: y = 2 is on no point of the curve; y = p + 4 says y = 4 in another way.
	"0200000000000000000000000000000000000000000000000000000000000000",
	"f1ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
}

var forItsPoint = regexp.MustCompile("a point of small order|a point in another encoding|no point of the curve|the server's key is no Ed25519 key")

// proofOf is a proof of a genesis and what follows it, which nobody collected anything by.
func (w *world) proofOf(g *recordv1.Genesis) error {
	entry, sum := record.NewGenesis(g)
	list, err := proto.Marshal(&recordv1.ProvenList{Entries: []*recordv1.Proven{{Entry: entry}}})
	w.must(nil, err)
	files := make([][]byte, len(proofFiles))
	files[proofEntries] = list
	files[proofCheckpoint] = (&fake{key: w.fake.key, genesis: sum}).sign([]*recordv1.Told{{Entry: entry}})
	raw, err := pack(files)
	w.must(nil, err)
	_, err = VerifyProof(&Home{Dir: w.path("nobody")}, w.write("weak.zip", raw), fingerprintOf(sum))
	return err
}

// named has the server sign for another genesis.
func (f *fake) named(genesis string) {
	f.mu.Lock()
	f.genesis = genesis
	f.mu.Unlock()
}

// Wherever a key comes in, one with which anybody can sign is refused, in one line that says why.
func TestWeakKeys(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	genesis := func(change func(*recordv1.Genesis)) *recordv1.Genesis {
		var e recordv1.Entry
		w.must(nil, proto.Unmarshal(w.fake.told[0].GetEntry(), &e))
		change(e.GetGenesis())
		return e.GetGenesis()
	}
	before := len(w.fake.told)
	for _, text := range weakKeys {
		weak, err := hex.DecodeString(text)
		w.must(nil, err)
		line := signoff.FormatPublicKey(weak)
		file := w.write("weak.pub", []byte(line+"\n"))
		shown := func(change func(*recordv1.Genesis)) error { // at login
			entry, sum := record.NewGenesis(genesis(change))
			was := w.fake.genesis
			w.fake.named(sum)
			defer w.fake.named(was)
			w.fake.tell(shows(func(h history) history { h[0].Entry = entry; return h }))
			defer w.fake.tell(lie{})
			c, err := Login(ctx, &Home{Dir: w.path("weak-home")}, w.fake.addr, w.path("tech"), nil, func(string) error { return nil }, "")
			if err == nil {
				c.Close()
			}
			return err
		}
		for name, way := range map[string]func() error{
			"enrolled by a lead": func() error { _, err := w.lead.Enrol(ctx, "weak", []string{"technician"}, file); return err },
			"enrolled past the client's reading": func() error {
				_, err := w.lead.actOnPerson(ctx, "weak", &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{Name: "weak", Roles: []string{"technician"}, PublicKey: line}}})
				return err
			},
			"one's own, in an agent": func() error { _, err := LoadSigner(file, nil); return err },
			"a server's, in its handshake": func() error {
				return (&link{}).verify(&road{}, tls.ConnectionState{PeerCertificates: []*x509.Certificate{{PublicKey: ed25519.PublicKey(weak)}}})
			},
			"a server's, at login":         func() error { return shown(func(g *recordv1.Genesis) { g.ServerKey = line }) },
			"a lead's, at login":           func() error { return shown(func(g *recordv1.Genesis) { g.LeadKey = line }) },
			"a server's, pinned":           func() error { _, err := (Config{ServerKey: line}).serverKey(); return err },
			"a server's, in a proof":       func() error { return w.proofOf(genesis(func(g *recordv1.Genesis) { g.ServerKey = line })) },
			"a lead's, in a proof":         func() error { return w.proofOf(genesis(func(g *recordv1.Genesis) { g.LeadKey = line })) },
			"somebody's, later in a proof": func() error { return (&judge{}).enrol("weak", []string{"lead"}, line) },
		} {
			err := way()
			if err == nil || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s, %s: %v", name, text, err)
			} else if !forItsPoint.MatchString(err.Error()) {
				t.Errorf("%s, %s: refused for another reason: %v", name, text, err)
			}
		}
	}
	if now := len(w.fake.told); now != before {
		t.Errorf("%d entries more", now-before)
	}
}

// A key that is a link is the file that it leads to: that is what others must not read.
func TestKeyThatIsALink(t *testing.T) {
	dir := t.TempDir()
	key, link := filepath.Join(dir, "key"), filepath.Join(dir, "link")
	if _, err := NewKey(key, "", nil); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(key, link); err != nil {
		t.Skip("no symbolic links here:", err)
	}
	if _, err := LoadSigner(link, nil); err != nil {
		t.Error(err)
	}
	if err := os.Chmod(key, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadSigner(link, nil); KindOf(err) != Usage || TryOf(err) != "chmod 600 "+link {
		t.Errorf("%v; try: %s", err, TryOf(err))
	}
	if _, err := NewKey(link, "", nil); KindOf(err) != Usage {
		t.Errorf("a key was written through a link: %v", err)
	}
}
