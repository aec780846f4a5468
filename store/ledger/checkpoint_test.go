package ledger_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store/ledger"
)

// rfc8032Key is the private key of RFC 8032, section 7.1, TEST 1: public, so of no use to anyone.
func rfc8032Key(t testing.TB) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(unhex(t, "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))
}

func goldenHead(t testing.TB) ledger.Checkpoint {
	return ledger.Checkpoint{
		Origin: ledger.Origin("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
		Size:   8,
		Root:   tlog.Hash(unhex(t, publishedRoots[8])),
	}
}

// TestGoldenCheckpoint freezes a note's bytes, and has another implementation of the pieces agree:
// the text line by line, the key id and signature by hand from the C2SP signed-note description.
func TestGoldenCheckpoint(t *testing.T) {
	key := rfc8032Key(t)
	cp := goldenHead(t)
	signed, err := ledger.SignCheckpoint(cp, key)
	if err != nil {
		t.Fatal(err)
	}
	text := cp.Origin + "\n8\n" + base64.StdEncoding.EncodeToString(cp.Root[:]) + "\n"
	id := sha256Sum(append([]byte(cp.Origin+"\n\x01"), key.Public().(ed25519.PublicKey)...))
	sig := append(id[:4:4], ed25519.Sign(key, []byte(text))...)
	want := text + "\n— " + cp.Origin + " " + base64.StdEncoding.EncodeToString(sig) + "\n"
	if string(signed) != want {
		t.Errorf("note\n%s\nwant\n%s", signed, want)
	}
	opened, err := ledger.OpenCheckpoint(signed, cp.Origin, key.Public().(ed25519.PublicKey))
	if err != nil || opened != cp {
		t.Errorf("opened %v, %v", opened, err)
	}
}

func TestEveryFlippedBitIsRefused(t *testing.T) {
	key := rfc8032Key(t)
	cp := goldenHead(t)
	signed, err := ledger.SignCheckpoint(cp, key)
	if err != nil {
		t.Fatal(err)
	}
	// The last character before "=\n" carries bits that base64 has no use for: the note library
	// ignores them, and neither text nor signature changes.
	unused := len(signed) - 3
	for i := range signed {
		for bit := range 8 {
			bad := bytes.Clone(signed)
			bad[i] ^= 1 << bit
			if got, err := ledger.OpenCheckpoint(bad, cp.Origin, key.Public().(ed25519.PublicKey)); !errors.Is(err, ledger.ErrCheckpoint) && (i != unused || got != cp) {
				t.Fatalf("byte %d bit %d: %v %v", i, bit, got, err)
			}
		}
	}
}

func TestCheckpointRefusals(t *testing.T) {
	key := rfc8032Key(t)
	public := key.Public().(ed25519.PublicKey)
	cp := goldenHead(t)
	root := base64.StdEncoding.EncodeToString(cp.Root[:])
	good, err := ledger.SignCheckpoint(cp, key)
	if err != nil {
		t.Fatal(err)
	}
	other := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, 32))
	for _, c := range []struct {
		name, origin string
		note         []byte
		key          ed25519.PublicKey
	}{
		{"another origin", ledger.Origin("00"), good, public},
		{"another key", cp.Origin, good, other.Public().(ed25519.PublicKey)},
		{"no key", cp.Origin, good, nil},
		{"origin with a space", "witness mark", good, public},
		{"empty", cp.Origin, nil, public},
		{"extension line", cp.Origin, signText(t, cp.Origin, key, cp.Origin+"\n8\n"+root+"\nmore\n"), public},
		{"size with a zero before it", cp.Origin, signText(t, cp.Origin, key, cp.Origin+"\n08\n"+root+"\n"), public},
		{"size too large", cp.Origin, signText(t, cp.Origin, key, cp.Origin+"\n9223372036854775808\n"+root+"\n"), public},
		{"short root", cp.Origin, signText(t, cp.Origin, key, cp.Origin+"\n8\nAAAA\n"), public},
		{"long", cp.Origin, append(bytes.Repeat([]byte("x\n"), 20000), good...), public},
	} {
		if _, err := ledger.OpenCheckpoint(c.note, c.origin, c.key); !errors.Is(err, ledger.ErrCheckpoint) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	bad := cp
	bad.Origin = "has space"
	if _, err := ledger.SignCheckpoint(bad, key); err == nil {
		t.Error("signed under a name with a space")
	}
	bad = cp
	bad.Size = 1 << 60
	if _, err := ledger.SignCheckpoint(bad, key); !errors.Is(err, ledger.ErrSize) {
		t.Errorf("signed a size beyond any ledger: %v", err)
	}
	if _, err := ledger.SignCheckpoint(cp, key[:31]); err == nil {
		t.Error("signed with half a key")
	}
}

// signText signs any text the way the server's key would, to reach what only a signer can make.
func signText(t *testing.T, origin string, key ed25519.PrivateKey, text string) []byte {
	t.Helper()
	public := key.Public().(ed25519.PublicKey)
	id := sha256Sum(append([]byte(origin+"\n\x01"), public...))
	signer, err := note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%x+%s", origin, id[:4], base64.StdEncoding.EncodeToString(append([]byte{1}, key.Seed()...))))
	if err != nil {
		t.Fatal(err)
	}
	out, err := note.Sign(&note.Note{Text: text}, signer)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func FuzzOpenCheckpoint(f *testing.F) {
	key := rfc8032Key(f)
	cp := goldenHead(f)
	good, err := ledger.SignCheckpoint(cp, key)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(strings.Replace(string(good), "\n8\n", "\n9\n", 1)))
	f.Add([]byte("\n\n\n\n"))
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := ledger.OpenCheckpoint(in, cp.Origin, key.Public().(ed25519.PublicKey))
		if err != nil {
			if !errors.Is(err, ledger.ErrCheckpoint) {
				t.Fatalf("error of another kind: %v", err)
			}
			return
		}
		// Whoever lacks the key cannot make another head, only the same one with more signatures.
		if got != cp {
			t.Fatalf("forged %v", got)
		}
	})
}

// FuzzInclusion: no proof makes the check panic or hang, whatever the sizes.
func FuzzInclusion(f *testing.F) {
	f.Add([]byte("x"), uint64(0), uint64(1))
	f.Add(make([]byte, 96), uint64(5), uint64(8))
	f.Add(make([]byte, 3200), uint64(1)<<62, uint64(1)<<63)
	f.Add(make([]byte, 1600), uint64(1)<<47-1, uint64(1)<<48)
	f.Fuzz(func(t *testing.T, raw []byte, a, b uint64) {
		var proof [][]byte
		for len(raw) > 32 {
			proof, raw = append(proof, raw[:32]), raw[32:]
		}
		if len(raw) > 0 {
			proof = append(proof, raw)
		}
		if ledger.CheckInclusion(proof, a, ledger.Checkpoint{Size: b}, tlog.Hash{1}) == nil {
			t.Fatal("a proof of a root of zeros")
		}
	})
}

func sha256Sum(b []byte) [32]byte { return sha256.Sum256(b) }
