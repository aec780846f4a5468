package signoff_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/store/signoff"
)

func sshKeygen(t *testing.T, args ...string) string {
	t.Helper()
	path, err := exec.LookPath("ssh-keygen")
	if err != nil {
		t.Skip("ssh-keygen is not in PATH")
	}
	out, err := exec.Command(path, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("ssh-keygen %v: %v\n%s", args, err, out)
	}
	return string(out)
}

// TestKeysOfSSHKeygen reads what ssh-keygen made, with and without a passphrase.
func TestKeysOfSSHKeygen(t *testing.T) {
	for _, passphrase := range []string{"", "a larger compressor wheel"} {
		path := filepath.Join(t.TempDir(), "id")
		sshKeygen(t, "-q", "-t", "ed25519", "-N", passphrase, "-C", "lead's key", "-f", path)
		file, line := read(t, path), read(t, path+".pub")
		asked := 0
		key, err := signoff.ParsePrivateKey(path, file, func() ([]byte, error) { asked++; return []byte(passphrase), nil })
		if err != nil {
			t.Fatal(err)
		}
		if (asked == 1) != (passphrase != "") {
			t.Errorf("asked for a passphrase %d times", asked)
		}
		pub, err := signoff.ParsePublicKey(path+".pub", line)
		if err != nil || !pub.Equal(key.Public()) {
			t.Fatalf("public key %x, %v", pub, err)
		}
		if want := strings.Join(strings.Fields(string(line))[:2], " "); signoff.FormatPublicKey(pub) != want {
			t.Errorf("formatted %q, ssh-keygen %q", signoff.FormatPublicKey(pub), want)
		}
		if want := strings.Fields(sshKeygen(t, "-l", "-E", "sha256", "-f", path+".pub"))[1]; string(signoff.Fingerprint(pub)) != want {
			t.Errorf("fingerprint %q, ssh-keygen %q", signoff.Fingerprint(pub), want)
		}
	}
}

// TestSSHKeygenReadsOurs has ssh-keygen take the public half out of what MarshalPrivateKey wrote.
func TestSSHKeygenReadsOurs(t *testing.T) {
	for _, passphrase := range []string{"", "intercooler"} {
		file, err := signoff.MarshalPrivateKey(testKey(t), "server", []byte(passphrase))
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "id")
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		got := strings.Fields(sshKeygen(t, "-y", "-P", passphrase, "-f", path))
		if strings.Join(got[:2], " ") != signoff.FormatPublicKey(public(testKey(t))) {
			t.Errorf("ssh-keygen reads %v", got)
		}
		back, err := signoff.ParsePrivateKey(path, file, func() ([]byte, error) { return []byte(passphrase), nil })
		if err != nil || !back.Equal(testKey(t)) {
			t.Errorf("read back: %v", err)
		}
	}
}

func TestPassphrases(t *testing.T) {
	file, err := signoff.MarshalPrivateKey(testKey(t), "", []byte("right"))
	if err != nil {
		t.Fatal(err)
	}
	stopped := errors.New("stopped at the prompt")
	for name, ask := range map[string]func() ([]byte, error){
		"wrong":   func() ([]byte, error) { return []byte("wrong"), nil },
		"empty":   func() ([]byte, error) { return nil, nil },
		"nobody":  nil,
		"stopped": func() ([]byte, error) { return nil, stopped },
	} {
		_, err := signoff.ParsePrivateKey("id", file, ask)
		if name != "empty" && !errors.Is(err, signoff.ErrPassphrase) || err == nil || name == "stopped" && !errors.Is(err, stopped) {
			t.Errorf("%s: %v", name, err)
		}
		oneLine(t, err)
	}
}

// The sk- line is made up: the algorithm's name is what is refused, before the key is looked at.
func TestPublicKeyRefusals(t *testing.T) {
	good := signoff.FormatPublicKey(public(testKey(t)))
	for _, c := range []struct{ name, line, says string }{
		{"empty", "", "no public key"},
		{"one word", "ssh-ed25519", "no public key"},
		{"hardware", "sk-ssh-ed25519@openssh.com AAAA", "ssh-keygen -t ed25519"},
		{"rsa", "ssh-rsa AAAA", "only ssh-ed25519"},
		{"certificate", "ssh-ed25519-cert-v01@openssh.com AAAA", "only ssh-ed25519"},
		{"options", `from="*" ` + good, "only ssh-ed25519"},
		{"two lines", good + "\n" + good, "more than one line"},
		{"not base64", "ssh-ed25519 ????", "base64"},
		{"cut", good[:len(good)-8], "cut:"},
		{"no key in it", "ssh-ed25519 AAAA", "key"},
		{"long", good + strings.Repeat(" ", 1<<17), "at most"},
		{"another type inside", "ssh-ed25519 AAAAB3NzaC1yc2EAAAADAQABAAAAAQM=", "another type inside:"},
	} {
		_, err := signoff.ParsePublicKey(c.name, []byte(c.line))
		if !errors.Is(err, signoff.ErrKey) || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), c.name+": ") {
			t.Errorf("%s: %v", c.name, err)
		}
		oneLine(t, err)
	}
	for _, line := range []string{good, good + "\n", good + " a comment with words\r\n", "  " + good} {
		if key, err := signoff.ParsePublicKey("x", []byte(line)); err != nil || !key.Equal(public(testKey(t))) {
			t.Errorf("%q: %v", line, err)
		}
	}
}

func TestPrivateKeyRefusals(t *testing.T) {
	path := filepath.Join(t.TempDir(), "id")
	files := map[string][]byte{
		"empty":  nil,
		"text":   []byte("no key"),
		"public": []byte(signoff.FormatPublicKey(public(testKey(t)))),
		"long":   bytes.Repeat([]byte("x"), 1<<17),
	}
	if _, err := exec.LookPath("ssh-keygen"); err == nil {
		sshKeygen(t, "-q", "-t", "ecdsa", "-N", "", "-f", path)
		files["ecdsa"] = read(t, path)
	}
	for name, file := range files {
		_, err := signoff.ParsePrivateKey(name, file, nil)
		if !errors.Is(err, signoff.ErrKey) {
			t.Errorf("%s: %v", name, err)
		}
		oneLine(t, err)
	}
	if _, err := signoff.MarshalPrivateKey(testKey(t)[:32], "", nil); !errors.Is(err, signoff.ErrKey) {
		t.Errorf("half a key: %v", err)
	}
}

func TestFingerprints(t *testing.T) {
	// SHA-256 of nothing (FIPS 180-4), in the spelling of ssh-keygen: base64 without padding.
	sum := sha256.Sum256(nil)
	const want = "SHA256:47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU"
	if got := signoff.HashFingerprint(sum); got != want {
		t.Errorf("fingerprint %q", got)
	}
	if back, err := signoff.ParseFingerprint(want); err != nil || back != sum {
		t.Errorf("parsed %x, %v", back, err)
	}
	for _, bad := range []string{"", want[7:], want + "=", want[:20], "SHA256:" + want, strings.ToLower(want), want[:len(want)-1] + "V", want + "\n"} {
		if _, err := signoff.ParseFingerprint(bad); !errors.Is(err, signoff.ErrForm) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

func FuzzParseKeys(f *testing.F) {
	f.Add([]byte(signoff.FormatPublicKey(public(testKey(f)))))
	file, err := signoff.MarshalPrivateKey(testKey(f), "c", nil)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(file)
	f.Fuzz(func(t *testing.T, in []byte) {
		if key, err := signoff.ParsePublicKey("x", in); err == nil {
			back, err := signoff.ParsePublicKey("x", []byte(signoff.FormatPublicKey(key)))
			if err != nil || !back.Equal(key) {
				t.Fatalf("%q came back as %x, %v", in, back, err)
			}
		}
		if key, err := signoff.ParsePrivateKey("x", in, nil); err == nil && len(key) != ed25519.PrivateKeySize {
			t.Fatalf("a private key of %d bytes", len(key))
		}
	})
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
