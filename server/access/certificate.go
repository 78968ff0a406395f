package access

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// NewTLS returns the settings of TLS 1.3 with the certificate of the files, which are read again when they change.
// With a clientCA, clients have to show a certificate of one of these authorities.
func NewTLS(certFile, keyFile, clientCA string, log *slog.Logger) (*tls.Config, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile, log: log}
	if _, err := c.current(); err != nil {
		return nil, fmt.Errorf("the certificate cannot be used: %w; check tls-cert and tls-key", err)
	}
	config := &tls.Config{
		MinVersion:     tls.VersionTLS13,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return c.current() },
	}
	if clientCA != "" {
		text, err := os.ReadFile(clientCA)
		if err != nil {
			return nil, fmt.Errorf("the authorities of clients cannot be read: %w; check tls-client-ca", err)
		}
		config.ClientCAs = x509.NewCertPool()
		if !config.ClientCAs.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("%s has no certificate in PEM; check tls-client-ca", clientCA)
		}
		config.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return config, nil
}

// certificate is that of the two files, as they are now.
type certificate struct {
	certFile, keyFile string
	log               *slog.Logger

	mu      sync.Mutex
	checked time.Time
	stamp   [2]fileStamp
	pair    *tls.Certificate
}

type fileStamp struct {
	changed time.Time
	size    int64
}

// current returns the certificate, or the last good one while the files cannot be used: they are often
// replaced one after the other.
func (c *certificate) current() (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.pair != nil && time.Since(c.checked) < recheck {
		return c.pair, nil
	}
	c.checked = time.Now()
	if err := c.read(); err != nil {
		if c.pair == nil {
			return nil, err
		}
		c.log.Error("the certificate cannot be read again; the former one stays", slog.Any("error", err))
	}
	return c.pair, nil
}

func (c *certificate) read() error {
	var stamp [2]fileStamp
	for i, name := range []string{c.certFile, c.keyFile} {
		info, err := os.Stat(name)
		if err != nil {
			return err
		}
		stamp[i] = fileStamp{info.ModTime(), info.Size()}
	}
	if c.pair != nil && stamp == c.stamp {
		return nil
	}
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	if err != nil {
		return err
	}
	if c.pair != nil {
		c.log.Info("the certificate was read again", slog.Time("not_after", pair.Leaf.NotAfter))
	} else if time.Now().After(pair.Leaf.NotAfter) {
		return errors.New("it has expired")
	}
	c.pair, c.stamp = &pair, stamp
	return nil
}
