package server

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"math/big"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"

	"witnessmark/store/signoff"
)

// Why a handshake is refused.
var (
	errNoKey    = errors.New("the client shows no usable Ed25519 key")
	errStranger = errors.New("the client's key never was anybody's")
)

// serverTLS is TLS 1.3 with the server's own key, and a client key asked of everybody: one that never was
// anybody's ends here. Whose it is is asked again at every call, so that nothing has to be resumed.
func serverTLS(key ed25519.PrivateKey, known func(signoff.KeyID) bool) (*tls.Config, error) {
	cert, err := selfSigned(key)
	if err != nil {
		return nil, err
	}
	return &tls.Config{
		Certificates:           []tls.Certificate{cert},
		MinVersion:             tls.VersionTLS13,
		ClientAuth:             tls.RequireAnyClientCert,
		SessionTicketsDisabled: true,
		NextProtos:             []string{"h2"},
		VerifyConnection: func(cs tls.ConnectionState) error {
			key, err := keyOf(credentials.TLSInfo{State: cs})
			if err == nil {
				err = signoff.CheckPoint(key)
			}
			if err != nil {
				return fmt.Errorf("%w: %w", errNoKey, err)
			}
			if !known(signoff.Fingerprint(key)) {
				return errStranger
			}
			return nil
		},
	}, nil
}

// selfSigned makes the certificate that carries a key. Its names and dates mean nothing: whoever
// connects pins the key, or the certificate, which is the same whenever it is made.
func selfSigned(key ed25519.PrivateKey) (tls.Certificate, error) {
	serial := sha256.Sum256(key.Public().(ed25519.PublicKey))
	template := &x509.Certificate{
		SerialNumber: new(big.Int).SetBytes(serial[:15]),
		Subject:      pkix.Name{CommonName: "witnessmark"},
		DNSNames:     []string{"witnessmark"},
		NotBefore:    time.Unix(0, 0),
		NotAfter:     time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC), // RFC 5280: no well-defined end
		KeyUsage:     x509.KeyUsageDigitalSignature,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("certificate: %w", err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, nil
}

// keyOf is the Ed25519 key that a connection's client has shown.
func keyOf(info credentials.AuthInfo) (ed25519.PublicKey, error) {
	if former, ok := info.(formerInfo); ok {
		info = former.TLSInfo
	}
	if t, ok := info.(credentials.TLSInfo); ok && len(t.State.PeerCertificates) > 0 {
		if key, ok := t.State.PeerCertificates[0].PublicKey.(ed25519.PublicKey); ok {
			return key, nil
		}
	}
	return nil, &fault{code: codes.Unauthenticated, reason: "no-key", text: "the connection has no Ed25519 client key"}
}
