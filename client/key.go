package client

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"io/fs"
	"math/big"
	"net"
	"os"
	"runtime"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"

	"witnessmark/store/signoff"
)

// Passphrase asks for the passphrase of a key file.
type Passphrase func(file string) ([]byte, error)

// LoadSigner opens a person's key: a private key file, or a public key whose private half
// ssh-agent holds.
func LoadSigner(path string, ask Passphrase) (crypto.Signer, error) {
	b, info, err := readBounded(path, MaxKeyFile)
	if err != nil {
		return nil, err
	}
	if bytes.Contains(b, []byte("PRIVATE KEY-----")) {
		if err := private(path, info); err != nil {
			return nil, err
		}
		key, err := signoff.ParsePrivateKey(path, b, func() ([]byte, error) {
			if ask == nil {
				return nil, errors.New("the key has a passphrase, and nobody is there to type it; ssh-agent can hold the key: --key " + path + ".pub")
			}
			return ask(path)
		})
		if err != nil {
			return nil, err
		}
		return key, nil
	}
	public, err := signoff.ParsePublicKey(path, b)
	if err != nil {
		return nil, err
	}
	return agentSigner(path, public)
}

// private refuses a key file that others can read. On Windows, where modes say nothing of that, it is not judged.
func private(path string, info fs.FileInfo) error {
	if runtime.GOOS != "windows" && info.Mode()&0o077 != 0 {
		return usage("chmod 600 "+path, "%s is a private key that others can read (mode %#o)", path, info.Mode().Perm())
	}
	return nil
}

func agentSigner(path string, public ed25519.PublicKey) (crypto.Signer, error) {
	conn, err := dialAgent()
	if err != nil {
		return nil, usage("start ssh-agent, or give the private key's file", "%s is a public key, and ssh-agent does not answer: %v", path, err)
	}
	a := agent.NewClient(conn)
	keys, err := a.List()
	if err != nil {
		return nil, err
	}
	want, err := ssh.NewPublicKey(public)
	if err != nil {
		return nil, err
	}
	for _, k := range keys {
		if bytes.Equal(k.Blob, want.Marshal()) {
			return &heldKey{agent: a, public: public, key: want}, nil
		}
	}
	return nil, usage("ssh-add the private key", "ssh-agent does not hold the private key of %s", path)
}

// dialAgent reaches ssh-agent by its socket; on Windows by its pipe.
func dialAgent() (io.ReadWriter, error) {
	sock := os.Getenv("SSH_AUTH_SOCK")
	if sock == "" && runtime.GOOS == "windows" {
		sock = `\\.\pipe\openssh-ssh-agent`
	}
	if sock == "" {
		return nil, errors.New("SSH_AUTH_SOCK is not set")
	}
	if strings.HasPrefix(sock, `\\.\pipe\`) {
		return os.OpenFile(sock, os.O_RDWR, 0)
	}
	return net.Dial("unix", sock)
}

// heldKey signs with a key that ssh-agent holds.
type heldKey struct {
	agent  agent.Agent
	public ed25519.PublicKey
	key    ssh.PublicKey
}

func (k *heldKey) Public() crypto.PublicKey { return k.public }

func (k *heldKey) Sign(_ io.Reader, message []byte, opts crypto.SignerOpts) ([]byte, error) {
	if opts.HashFunc() != 0 {
		return nil, errors.New("an Ed25519 key signs whole messages, not hashes")
	}
	sig, err := k.agent.Sign(k.key, message)
	if err != nil {
		return nil, err
	}
	if !ed25519.Verify(k.public, message, sig.Blob) {
		return nil, errors.New("ssh-agent gave a signature that does not verify")
	}
	return sig.Blob, nil
}

// NewKey makes a key pair: a private key in OpenSSH form at path, and path.pub beside it.
// Neither file may exist: a key that is gone signs nothing any more.
func NewKey(path, comment string, passphrase []byte) (ed25519.PublicKey, error) {
	private, public := Out{Path: path, Private: true}, Out{Path: path + ".pub"}
	for _, out := range []Out{private, public} {
		if FileExists(out.Path) {
			return nil, usage("another name", "%s is there already, and no key is written over", out.Path)
		}
	}
	key, secret, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	file, err := signoff.MarshalPrivateKey(secret, comment, passphrase)
	if err != nil {
		return nil, err
	}
	if err := private.Write(file); err != nil {
		return nil, err
	}
	line := signoff.FormatPublicKey(key)
	if comment != "" {
		line += " " + comment
	}
	if err := public.Write([]byte(line + "\n")); err != nil {
		return nil, errors.Join(err, os.Remove(path))
	}
	return key, nil
}

// Certificate is a self-signed one for TLS from a person's or a server's key, which is the identity: its
// dates mean nothing.
func Certificate(signer crypto.Signer) (tls.Certificate, error) {
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1),
		NotBefore:    time.Unix(0, 0),
		NotAfter:     time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC),
	}
	raw, err := x509.CreateCertificate(rand.Reader, template, template, signer.Public(), signer)
	return tls.Certificate{Certificate: [][]byte{raw}, PrivateKey: signer}, err
}
