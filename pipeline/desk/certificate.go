package desk

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"offtype/pipeline/atomic"
)

// ownCertificate returns this computer's own certificate for its network address and the
// fingerprint to compare on the phone (SHA-256, pairs of hex digits). It is kept beside the
// harvests and made anew when the address changed or it is about to end.
func ownCertificate(dir string, ip net.IP, now time.Time) (tls.Certificate, string, error) {
	file := filepath.Join(dir, "phone.pem")
	if b, err := os.ReadFile(file); err == nil {
		if c, err := tls.X509KeyPair(b, b); err == nil {
			if x, err := x509.ParseCertificate(c.Certificate[0]); err == nil && x.VerifyHostname(ip.String()) == nil && now.Add(24*time.Hour).Before(x.NotAfter) && now.After(x.NotBefore) {
				return c, fingerprint(c.Certificate[0]), nil
			}
		}
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return tls.Certificate{}, "", err
	}
	t := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "offtype on this computer"}, NotBefore: now.Add(-time.Hour), NotAfter: now.AddDate(1, 0, 0),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, IPAddresses: []net.IP{ip}, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	k, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	b := append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: k})...)
	if err := atomic.WritePrivate(file, b); err != nil {
		return tls.Certificate{}, "", err
	}
	c, err := tls.X509KeyPair(b, b)
	return c, fingerprint(der), err
}

func fingerprint(der []byte) string {
	sum := sha256.Sum256(der)
	parts := make([]string, len(sum))
	for i, v := range sum {
		parts[i] = fmt.Sprintf("%02X", v)
	}
	return strings.Join(parts, ":")
}
