package signoff

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"strings"

	"filippo.io/edwards25519"
	"golang.org/x/crypto/ssh"
)

// maxKeyFile bounds a key file; an Ed25519 one has some hundred bytes.
const maxKeyFile = 64 << 10

const fingerprintPrefix = "SHA256:"

// Fingerprint is the key's id.
func Fingerprint(key ed25519.PublicKey) KeyID {
	return KeyID(HashFingerprint(sha256.Sum256(wireKey(key))))
}

// HashFingerprint is the same form of a hash, such as that of a genesis.
func HashFingerprint(sum [32]byte) string {
	return fingerprintPrefix + base64.RawStdEncoding.EncodeToString(sum[:])
}

// ParseFingerprint reads the SHA256:… form of a hash, the one spelling that HashFingerprint has.
func ParseFingerprint(text string) ([32]byte, error) {
	raw, err := base64.RawStdEncoding.Strict().DecodeString(strings.TrimPrefix(text, fingerprintPrefix))
	if err != nil || len(raw) != 32 || HashFingerprint([32]byte(raw)) != text {
		return [32]byte{}, fmt.Errorf("fingerprint %q: SHA256: and 43 base64 characters are allowed: %w", clip(text), ErrForm)
	}
	return [32]byte(raw), nil
}

func validFingerprint(text string) bool {
	_, err := ParseFingerprint(text)
	return err == nil
}

// wireKey is the SSH wire form: the algorithm's name and the key, each behind its length.
func wireKey(key ed25519.PublicKey) []byte {
	return ssh.Marshal(struct {
		Name string
		Key  []byte
	}{ssh.KeyAlgoED25519, key})
}

// ParsePublicKey reads one OpenSSH public key line; anything but ssh-ed25519 is refused in one
// line that begins with name. A comment is allowed, options before the key are not.
func ParsePublicKey(name string, line []byte) (ed25519.PublicKey, error) {
	if len(line) > maxKeyFile {
		return nil, keyError(name, "%d bytes, at most %d are allowed", len(line), maxKeyFile)
	}
	text := strings.TrimRight(string(line), "\r\n")
	if strings.ContainsAny(text, "\r\n") {
		return nil, keyError(name, "more than one line, one public key is allowed")
	}
	fields := strings.Fields(text)
	if len(fields) < 2 {
		return nil, keyError(name, "no public key, one line \"ssh-ed25519 …\" is allowed")
	}
	if fields[0] != ssh.KeyAlgoED25519 {
		return nil, keyError(name, "%s", wrongType(fields[0]))
	}
	raw, err := strictBase64(fields[1])
	if err != nil {
		return nil, keyError(name, "its key is not base64")
	}
	parsed, err := ssh.ParsePublicKey(raw)
	if err != nil {
		return nil, keyError(name, "%v", err)
	}
	key, ok := cryptoKey(parsed)
	if !ok {
		return nil, keyError(name, "%s", wrongType(parsed.Type()))
	}
	if err := CheckPoint(key); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return key, nil
}

// CheckPoint refuses what is no key: a point that is not on the curve, not in its one encoding, or of
// small order, by which one signature fits many texts. It is ErrKey.
func CheckPoint(key ed25519.PublicKey) error {
	point, err := new(edwards25519.Point).SetBytes(key)
	switch {
	case err != nil:
		return fmt.Errorf("no point of the curve: %w", ErrKey)
	case !bytes.Equal(point.Bytes(), key):
		return fmt.Errorf("a point in another encoding than its own: %w", ErrKey)
	case point.MultByCofactor(point).Equal(edwards25519.NewIdentityPoint()) == 1:
		return fmt.Errorf("a point of small order: %w", ErrKey)
	}
	return nil
}

func cryptoKey(key ssh.PublicKey) (ed25519.PublicKey, bool) {
	holder, ok := key.(ssh.CryptoPublicKey)
	if !ok || key.Type() != ssh.KeyAlgoED25519 {
		return nil, false
	}
	out, ok := holder.CryptoPublicKey().(ed25519.PublicKey)
	return out, ok && len(out) == ed25519.PublicKeySize
}

func wrongType(kind string) string {
	if strings.HasPrefix(kind, "sk-") {
		return fmt.Sprintf("a key of type %q is held by a security key, which cannot do TLS; make one with ssh-keygen -t ed25519", clip(kind))
	}
	return fmt.Sprintf("a key of type %q, only ssh-ed25519 is allowed", clip(kind))
}

func keyError(name, format string, args ...any) error {
	return fmt.Errorf("%s: %s: %w", name, fmt.Sprintf(format, args...), ErrKey)
}

// FormatPublicKey is the OpenSSH line without a comment and without a line end.
func FormatPublicKey(key ed25519.PublicKey) string {
	return ssh.KeyAlgoED25519 + " " + base64.StdEncoding.EncodeToString(wireKey(key))
}

// ParsePrivateKey reads an OpenSSH private key; passphrase is asked only if the file has one.
// A passphrase that does not open it is ErrPassphrase, any other fault ErrKey. No error holds key material.
func ParsePrivateKey(name string, file []byte, passphrase func() ([]byte, error)) (ed25519.PrivateKey, error) {
	if len(file) > maxKeyFile {
		return nil, keyError(name, "%d bytes, at most %d are allowed", len(file), maxKeyFile)
	}
	raw, err := ssh.ParseRawPrivateKey(file)
	var missing *ssh.PassphraseMissingError
	if errors.As(err, &missing) {
		raw, err = decrypt(name, file, passphrase)
		if errors.Is(err, ErrPassphrase) {
			return nil, err
		}
	}
	if err != nil {
		return nil, keyError(name, "no ssh-ed25519 private key (%v); make one with ssh-keygen -t ed25519", err)
	}
	if held, ok := raw.(*ed25519.PrivateKey); ok {
		raw = *held
	}
	key, ok := raw.(ed25519.PrivateKey)
	if !ok {
		return nil, keyError(name, "a private key of another type (%T), only ssh-ed25519 is allowed", raw)
	}
	// The file says both halves; the public one that follows from the other is always a usable point.
	if !ed25519.NewKeyFromSeed(key.Seed()).Equal(key) {
		return nil, keyError(name, "its public half is not that of its private half")
	}
	return key, nil
}

func decrypt(name string, file []byte, passphrase func() ([]byte, error)) (any, error) {
	if passphrase == nil {
		return nil, fmt.Errorf("%s: the key has a passphrase and nobody can be asked for it: %w", name, ErrPassphrase)
	}
	secret, err := passphrase()
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", name, ErrPassphrase, err)
	}
	raw, err := ssh.ParseRawPrivateKeyWithPassphrase(file, secret)
	if errors.Is(err, x509.IncorrectPasswordError) {
		return nil, fmt.Errorf("%s: %w", name, ErrPassphrase)
	}
	return raw, err
}

// MarshalPrivateKey writes an OpenSSH private key, encrypted if there is a passphrase.
func MarshalPrivateKey(key ed25519.PrivateKey, comment string, passphrase []byte) ([]byte, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("private key of %d bytes, an Ed25519 one has %d: %w", len(key), ed25519.PrivateKeySize, ErrKey)
	}
	var block *pem.Block
	var err error
	if len(passphrase) > 0 {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(key, comment, passphrase)
	} else {
		block, err = ssh.MarshalPrivateKey(key, comment)
	}
	if err != nil {
		return nil, fmt.Errorf("private key: %w", err)
	}
	return pem.EncodeToMemory(block), nil
}
