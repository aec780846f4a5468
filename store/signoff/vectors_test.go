package signoff_test

import (
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"math/big"
	"testing"

	"github.com/secure-systems-lab/go-securesystemslib/dsse"
)

// RFC 8032, section 7.1 (recalled, then confirmed against Go's own crypto/ed25519 test input).
// They pin down that the keys here are pure Ed25519, with no prehash and no context.
var rfc8032 = []struct{ name, seed, public, message, signature string }{
	{
		"TEST 1", "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
		"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
		"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
	},
	{
		"TEST 2", "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
		"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
		"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
	},
	{
		"TEST 3", "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
		"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
		"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
	},
	{
		"TEST SHA(abc)", "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
		"ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
		"ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
		"dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
	},
}

func TestRFC8032(t *testing.T) {
	for _, v := range rfc8032 {
		key := ed25519.NewKeyFromSeed(unhex(t, v.seed))
		if hex.EncodeToString(public(key)) != v.public {
			t.Errorf("%s: public key %x", v.name, public(key))
		}
		sig, err := key.Sign(nil, unhex(t, v.message), crypto.Hash(0))
		if err != nil || hex.EncodeToString(sig) != v.signature {
			t.Errorf("%s: signature %x, %v", v.name, sig, err)
		}
	}
}

// secure-systems-lab/dsse, protocol.md, "Test Vectors", commit eebf7b59 (Apache-2.0).
const (
	dsseType    = "http://example.com/HelloWorld"
	dssePayload = "hello world"
	dssePAE     = "DSSEv1 29 http://example.com/HelloWorld 11 hello world"
	dsseX       = "46950820868899156662930047687818585632848591499744589407958293238635476079160"
	dsseY       = "5640078356564379163099075877009565129882514886557779369047442380624545832820"
	dsseSig     = "A3JqsQGtVsJ2O2xqrI5IcnXip5GToJ3F+FnZ+O88SjtR6rDAajabZKciJTfUiHqJPcIAriEGAHTVeCUjW2JIZA=="
	// Computed, not published: the same PAE under the key of RFC 8032, TEST 1.
	dsseEd25519 = "4DHX3Zn4qpBKvEj7maE8O9u9bjXEnPLLnyXVUJ2PXJR8DSLcL3QDpFvfJOj3pB/SPHsl6Jg4boxsMb6KvuYABw=="
)

func TestPAE(t *testing.T) {
	if got := string(dsse.PAE(dsseType, []byte(dssePayload))); got != dssePAE {
		t.Errorf("PAE %q, published %q", got, dssePAE)
	}
	if got := string(dsse.PAE("", nil)); got != "DSSEv1 0  0 " {
		t.Errorf("PAE of nothing is %q", got)
	}
	if got := base64.StdEncoding.EncodeToString(ed25519.Sign(testKey(t), []byte(dssePAE))); got != dsseEd25519 {
		t.Errorf("Ed25519 over the PAE is %s", got)
	}
}

type ecdsaVerifier struct{ key *ecdsa.PublicKey }

func (v ecdsaVerifier) Verify(_ context.Context, data, sig []byte) error {
	if len(sig) != 64 {
		return errors.New("not 64 bytes")
	}
	sum := sha256.Sum256(data)
	if !ecdsa.Verify(v.key, sum[:], new(big.Int).SetBytes(sig[:32]), new(big.Int).SetBytes(sig[32:])) {
		return errors.New("does not fit")
	}
	return nil
}
func (v ecdsaVerifier) KeyID() (string, error)   { return "published", nil }
func (v ecdsaVerifier) Public() crypto.PublicKey { return v.key }

// TestPublishedEnvelope has the library that this package takes its PAE from verify the published
// envelope, and refuse it with one letter changed.
func TestPublishedEnvelope(t *testing.T) {
	x, _ := new(big.Int).SetString(dsseX, 10)
	y, _ := new(big.Int).SetString(dsseY, 10)
	point := append(append([]byte{4}, x.FillBytes(make([]byte, 32))...), y.FillBytes(make([]byte, 32))...)
	key, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	if err != nil {
		t.Fatal(err)
	}
	verifier, err := dsse.NewEnvelopeVerifier(ecdsaVerifier{key})
	if err != nil {
		t.Fatal(err)
	}
	e := dsse.Envelope{PayloadType: dsseType, Payload: "aGVsbG8gd29ybGQ=", Signatures: []dsse.Signature{{KeyID: "published", Sig: dsseSig}}}
	if _, err := verifier.Verify(context.Background(), &e); err != nil {
		t.Error(err)
	}
	e.Payload = "aGVsbG8gd29ybGs="
	if _, err := verifier.Verify(context.Background(), &e); err == nil {
		t.Error("verified another payload")
	}
}
