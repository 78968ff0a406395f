package process

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

// authority signs certificates for a test.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	pool *x509.CertPool
	pem  []byte
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{}
	a.key, _ = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &a.key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	a.cert, _ = x509.ParseCertificate(der)
	a.pem = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	a.pool = x509.NewCertPool()
	a.pool.AddCert(a.cert)
	return a
}

// issue makes a certificate for the loopback address with this serial number.
func (a *authority) issue(t *testing.T, serial int64) (certPEM, keyPEM []byte) {
	t.Helper()
	key, _ := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	der, err := x509.CreateCertificate(rand.Reader, &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "test"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}, a.cert, &key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})
}

func put(t *testing.T, path string, text []byte) {
	t.Helper()
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestTLS(t *testing.T) {
	a, dir := newAuthority(t), t.TempDir()
	certFile, keyFile := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	certPEM, keyPEM := a.issue(t, 100)
	put(t, certFile, certPEM)
	put(t, keyFile, keyPEM)
	s := start(t, &stubs{}, func(c *config.Config) { c.TLS.Cert, c.TLS.Key = certFile, keyFile })

	serial := func(address string) int64 {
		c, err := tls.Dial("tcp", address, &tls.Config{RootCAs: a.pool, NextProtos: []string{"h2"}})
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		state := c.ConnectionState()
		if state.Version != tls.VersionTLS13 {
			t.Errorf("version %x", state.Version)
		}
		return state.PeerCertificates[0].SerialNumber.Int64()
	}
	for _, address := range []string{s.GRPCAddress(), s.HTTPAddress()} {
		if got := serial(address); got != 100 {
			t.Errorf("certificate %d", got)
		}
		if c, err := tls.Dial("tcp", address, &tls.Config{RootCAs: a.pool, MaxVersion: tls.VersionTLS12}); err == nil {
			c.Close()
			t.Error("TLS 1.2 is taken")
		}
	}

	conn, err := grpc.NewClient(s.GRPCAddress(), grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{RootCAs: a.pool})))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := pb.NewStudioServiceClient(conn).ListStudios(t.Context(), nil); status.Code(err) != codes.Unimplemented {
		t.Errorf("over gRPC: %v", err)
	}
	web := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: a.pool}, ForceAttemptHTTP2: true}}
	resp, err := web.Get("https://" + s.HTTPAddress() + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusOK || resp.ProtoMajor != 2 || resp.Header.Get("Strict-Transport-Security") == "" {
		t.Errorf("over HTTP: %d, %s, %v", resp.StatusCode, resp.Proto, resp.Header)
	}

	// A new certificate is taken up while serving; one that cannot be read leaves the old one.
	put(t, certFile, []byte("half written"))
	until := func(what string, done func() bool) {
		t.Helper()
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		for !done() {
			select {
			case <-ctx.Done():
				t.Fatal(what)
			case <-time.After(20 * time.Millisecond):
			}
		}
	}
	until("the log does not say that the certificate is bad", func() bool { serial(s.HTTPAddress()); return strings.Contains(s.log.String(), "cannot be read again") })
	if got := serial(s.GRPCAddress()); got != 100 {
		t.Errorf("certificate %d", got)
	}
	certPEM, keyPEM = a.issue(t, 200)
	put(t, keyFile, keyPEM)
	put(t, certFile, certPEM)
	until("the new certificate is not taken up", func() bool { return serial(s.GRPCAddress()) == 200 && serial(s.HTTPAddress()) == 200 })
}

func TestMutualTLS(t *testing.T) {
	a, strangers, dir := newAuthority(t), newAuthority(t), t.TempDir()
	certPEM, keyPEM := a.issue(t, 1)
	for name, text := range map[string][]byte{"cert.pem": certPEM, "key.pem": keyPEM, "ca.pem": a.pem} {
		put(t, filepath.Join(dir, name), text)
	}
	s := start(t, &stubs{}, func(c *config.Config) {
		c.TLS = config.TLS{Cert: filepath.Join(dir, "cert.pem"), Key: filepath.Join(dir, "key.pem"), ClientCA: filepath.Join(dir, "ca.pem")}
	})
	for who, x := range map[string]struct {
		by   *authority
		want bool
	}{"of the authority": {a, true}, "of another one": {strangers, false}, "none": {nil, false}} {
		c := &tls.Config{RootCAs: a.pool}
		if x.by != nil {
			certPEM, keyPEM := x.by.issue(t, 2)
			pair, err := tls.X509KeyPair(certPEM, keyPEM)
			if err != nil {
				t.Fatal(err)
			}
			// Given whatever the server asks for, as one who tries would.
			c.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &pair, nil }
		}
		conn, err := grpc.NewClient(s.GRPCAddress(), grpc.WithTransportCredentials(credentials.NewTLS(c)))
		if err != nil {
			t.Fatal(err)
		}
		_, err = pb.NewStudioServiceClient(conn).ListStudios(t.Context(), nil)
		if got := status.Code(err) == codes.Unimplemented; got != x.want {
			t.Errorf("a client certificate %s: %v", who, err)
		}
		conn.Close()
		web := &http.Client{Transport: &http.Transport{TLSClientConfig: c}}
		resp, err := web.Get("https://" + s.HTTPAddress() + "/healthz")
		if err == nil {
			resp.Body.Close()
		}
		if got := err == nil; got != x.want {
			t.Errorf("a client certificate %s over HTTP: %v", who, err)
		}
		web.CloseIdleConnections()
	}
}
