package ledger

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"strings"

	formats "github.com/transparency-dev/formats/log"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// noteEd25519 is the algorithm byte of an Ed25519 key in a signed note.
const noteEd25519 = 1

// maxNote bounds a checkpoint: three lines and a few signatures.
const maxNote = 16 << 10

// SignCheckpoint makes the signed note. The note's key name is the origin, so that a
// checkpoint of one ledger never passes for another's, even under one key.
func SignCheckpoint(c Checkpoint, key ed25519.PrivateKey) ([]byte, error) {
	if c.Size > maxSize {
		return nil, fmt.Errorf("sign checkpoint: size %d: %w (at most %d)", c.Size, ErrSize, uint64(maxSize))
	}
	signer, err := noteSigner(c.Origin, key)
	if err != nil {
		return nil, fmt.Errorf("sign checkpoint: %w", err)
	}
	text := formats.Checkpoint{Origin: c.Origin, Size: c.Size, Hash: c.Root[:]}.Marshal()
	out, err := note.Sign(&note.Note{Text: string(text)}, signer)
	if err != nil {
		return nil, fmt.Errorf("sign checkpoint: %w", err)
	}
	return out, nil
}

// OpenCheckpoint verifies the note against the origin and the server's key. The note holds
// the three lines of a checkpoint and nothing more, each in its one decimal or base64 form.
// Its errors are ErrCheckpoint.
func OpenCheckpoint(signed []byte, origin string, key ed25519.PublicKey) (Checkpoint, error) {
	if len(signed) > maxNote {
		return Checkpoint{}, fmt.Errorf("%w: %d bytes, at most %d are allowed", ErrCheckpoint, len(signed), maxNote)
	}
	verifier, err := noteVerifier(origin, key)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrCheckpoint, err)
	}
	head, rest, opened, err := formats.ParseCheckpoint(signed, origin, verifier)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrCheckpoint, err)
	}
	switch {
	case len(rest) != 0:
		return Checkpoint{}, fmt.Errorf("%w: %d bytes follow the root, where nothing may", ErrCheckpoint, len(rest))
	case len(head.Hash) != tlog.HashSize:
		return Checkpoint{}, fmt.Errorf("%w: its root has %d bytes, not %d", ErrCheckpoint, len(head.Hash), tlog.HashSize)
	case head.Size > maxSize:
		return Checkpoint{}, fmt.Errorf("%w: size %d is above %d", ErrCheckpoint, head.Size, uint64(maxSize))
	case !bytes.Equal(head.Marshal(), []byte(opened.Text)):
		return Checkpoint{}, fmt.Errorf("%w: size or root is not written in its one form", ErrCheckpoint)
	}
	return Checkpoint{Origin: origin, Size: head.Size, Root: tlog.Hash(head.Hash)}, nil
}

// checkName refuses what cannot be a note's key name; x/mod checks the same only when it parses.
func checkName(origin string, keySize, want int) error {
	if origin == "" || strings.ContainsAny(origin, " +\t\r\n") {
		return fmt.Errorf("origin %q: it must not be empty, and hold no space and no plus sign", origin)
	}
	if keySize != want {
		return fmt.Errorf("key of %d bytes, an Ed25519 key has %d", keySize, want)
	}
	return nil
}

func noteVerifier(origin string, key ed25519.PublicKey) (note.Verifier, error) {
	if err := checkName(origin, len(key), ed25519.PublicKeySize); err != nil {
		return nil, err
	}
	text, err := note.NewEd25519VerifierKey(origin, key)
	if err != nil {
		return nil, err
	}
	return note.NewVerifier(text)
}

func noteSigner(origin string, key ed25519.PrivateKey) (note.Signer, error) {
	if err := checkName(origin, len(key), ed25519.PrivateKeySize); err != nil {
		return nil, err
	}
	public := key.Public().(ed25519.PublicKey)
	seed := append([]byte{noteEd25519}, key.Seed()...)
	return note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", origin, keyHash(origin, public), base64.StdEncoding.EncodeToString(seed)))
}

// keyHash is the key id of a signed note: the first four bytes of the hash of name, newline, algorithm and key.
func keyHash(name string, key ed25519.PublicKey) uint32 {
	h := sha256.New()
	h.Write([]byte(name))
	h.Write([]byte{'\n', noteEd25519})
	h.Write(key)
	return binary.BigEndian.Uint32(h.Sum(nil))
}
