package signoff_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"slices"
	"strings"
	"testing"

	"filippo.io/edwards25519"

	"witnessmark/store/signoff"
)

// smallOrder computes the points whose order divides 8: what is left of any point once it is
// multiplied by the order of the subgroup that keys are made in.
func smallOrder(t *testing.T) []*edwards25519.Point {
	t.Helper()
	minusOne := edwards25519.NewScalar().Subtract(edwards25519.NewScalar(), unhexScalar(t, "01"))
	found := map[string]*edwards25519.Point{}
	for i := 0; len(found) < 8 && i < 1<<16; i++ {
		raw := make([]byte, 32)
		raw[0], raw[1] = byte(i), byte(i>>8)
		if p, err := new(edwards25519.Point).SetBytes(raw); err == nil {
			q := new(edwards25519.Point).ScalarMult(minusOne, p)
			q.Add(q, p)
			found[string(q.Bytes())] = q
		}
	}
	var out []*edwards25519.Point
	for _, p := range found {
		out = append(out, p)
	}
	return out
}

func unhexScalar(t *testing.T, s string) *edwards25519.Scalar {
	t.Helper()
	out, err := edwards25519.NewScalar().SetCanonicalBytes(append(unhex(t, s), make([]byte, 32-len(s)/2)...))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// encodings is every way of 32 bytes to say a field element below 2^255, with either sign bit.
func encodings(y []byte) [][]byte {
	out := [][]byte{y}
	if bytes.Equal(y[1:31], make([]byte, 30)) && y[31]&0x7f == 0 && y[0] < 19 { // y + p, that is y + 2^255 - 19, still fits
		more := bytes.Repeat([]byte{0xff}, 32)
		more[0], more[31] = 0xed+y[0], 0x7f
		out = append(out, more)
	}
	for _, e := range slices.Clone(out) {
		signed := bytes.Clone(e)
		signed[31] ^= 0x80
		out = append(out, signed)
	}
	return out
}

func TestSmallOrderPoints(t *testing.T) {
	points := smallOrder(t)
	if len(points) != 8 {
		t.Fatalf("%d points of small order, the curve has 8", len(points))
	}
	refused := map[string]bool{}
	for _, p := range points {
		for _, e := range encodings(p.Bytes()) {
			if _, err := new(edwards25519.Point).SetBytes(e); err != nil {
				continue // off the curve in this spelling; TestPointsOffTheCurve looks at those
			}
			refused[hex.EncodeToString(e)] = true
			if err := signoff.CheckPoint(e); !errors.Is(err, signoff.ErrKey) {
				t.Errorf("%x: %v", e, err)
			}
			_, err := signoff.ParsePublicKey("small", []byte(signoff.FormatPublicKey(e)))
			if !errors.Is(err, signoff.ErrKey) || !strings.HasPrefix(err.Error(), "small: a point ") {
				t.Errorf("%x parsed: %v", e, err)
			}
			oneLine(t, err)
		}
	}
	// The eight points' own encodings, and six more: y = 0 and y = 1 said as p and p + 1 with either sign,
	// y = 1 and y = -1 with the sign of an x that is 0.
	if len(refused) != 14 {
		t.Errorf("%d encodings of small order are refused, there are 14", len(refused))
	}
}

// TestOtherSpellings: fields elements from p on are no encodings, whatever the point.
func TestOtherSpellings(t *testing.T) {
	onCurve := 0
	for low := range 19 {
		y := make([]byte, 32)
		y[0] = byte(low)
		for _, e := range encodings(y)[1:] {
			if e[31]&0x7f != 0x7f {
				continue
			}
			if _, err := new(edwards25519.Point).SetBytes(e); err == nil {
				onCurve++
			}
			if err := signoff.CheckPoint(e); !errors.Is(err, signoff.ErrKey) {
				t.Errorf("%x: %v", e, err)
			}
		}
	}
	if onCurve < 10 {
		t.Errorf("only %d of them are points at all", onCurve)
	}
}

func TestPointsOffTheCurve(t *testing.T) {
	off := 0
	for low := range 64 {
		e := make([]byte, 32)
		e[0] = byte(low + 2)
		_, err := new(edwards25519.Point).SetBytes(e)
		if got := signoff.CheckPoint(e); (got == nil) != (err == nil) {
			t.Errorf("%x: %v, the library says %v", e, got, err)
		}
		if err != nil {
			off++
		}
	}
	if off < 16 || off > 48 {
		t.Errorf("%d of 64 are off the curve, about half should be", off)
	}
	for _, n := range []int{0, 31, 33, 64} {
		if err := signoff.CheckPoint(make([]byte, n)); !errors.Is(err, signoff.ErrKey) {
			t.Errorf("%d bytes: %v", n, err)
		}
	}
}

func TestGoodPoints(t *testing.T) {
	for range 200 {
		key, _, err := ed25519.GenerateKey(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		if err := signoff.CheckPoint(key); err != nil {
			t.Errorf("%x: %v", key, err)
		}
	}
}

// TestHalvesOfTwoKeys: a private key file whose public half is another's is refused.
func TestHalvesOfTwoKeys(t *testing.T) {
	file, err := signoff.MarshalPrivateKey(testKey(t), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(file)
	own := public(testKey(t))
	other := public(ed25519.NewKeyFromSeed(bytes.Repeat([]byte{9}, 32)))
	if n := bytes.Count(block.Bytes, own); n != 3 {
		t.Fatalf("the public half stands in the file %d times, 3 were expected", n)
	}
	for _, half := range [][]byte{other, make([]byte, 32)} {
		block.Bytes = bytes.ReplaceAll(block.Bytes, own, half)
		_, err = signoff.ParsePrivateKey("id", pem.EncodeToMemory(block), nil)
		if !errors.Is(err, signoff.ErrKey) || !strings.Contains(err.Error(), "public half") {
			t.Errorf("public half %x: %v", half, err)
		}
		own = half
	}
}
