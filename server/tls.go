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

	"witnessmark/store/signoff"
)

// serverTLS is TLS 1.3 with the server's own key, and a client key asked of everybody. Who
// that key belongs to is asked at every call, not here, so that nothing has to be resumed.
func serverTLS(key ed25519.PrivateKey) (*tls.Config, error) {
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
			if len(cs.PeerCertificates) == 0 {
				return errors.New("no client certificate")
			}
			key, ok := cs.PeerCertificates[0].PublicKey.(ed25519.PublicKey)
			if !ok {
				return errors.New("the client certificate's key is not Ed25519")
			}
			return signoff.CheckPoint(key)
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
