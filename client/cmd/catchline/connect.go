package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"google.golang.org/grpc"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"github.com/catchline/catchline/client"
	"github.com/catchline/catchline/server/embedded"
	"github.com/catchline/catchline/testdata/demo"
)

// connection says where the service is.
type connection struct {
	Server   string `default:"127.0.0.1:7400" env:"CATCHLINE_SERVER" placeholder:"HOST:PORT" help:"gRPC address of the server. Default: ${default}."`
	Embedded bool   `help:"Run the service in this process instead of asking a server."`
	DB       string `name:"db" placeholder:"FILE" help:"With --embedded: the SQLite file, made if there is none. Default: a temporary one, gone at the end."`
	Demo     bool   `help:"With --embedded: load the invented demo studio unless it is there."`

	InStudio string        `name:"studio" default:"demo" env:"CATCHLINE_STUDIO" placeholder:"STUDIO" help:"Studio to work in. Default: ${default}."`
	Key      string        `env:"CATCHLINE_KEY" placeholder:"KEY" help:"Key to show to the server. Better in the environment or in a file, where others on this machine do not see it."`
	KeyFile  string        `placeholder:"FILE" help:"File with the key."`
	Wait     time.Duration `placeholder:"DURATION" help:"Wait for the server up to this long, such as 30s."`

	TLS            bool   `name:"tls" help:"Use TLS, with the authorities that this machine trusts."`
	TLSCA          string `name:"tls-ca" placeholder:"FILE" help:"Use TLS, and trust the authorities in this PEM file."`
	TLSCert        string `name:"tls-cert" placeholder:"FILE" help:"Certificate in PEM to show to the server (mutual TLS)."`
	TLSKey         string `name:"tls-key" placeholder:"FILE" help:"Its private key in PEM."`
	AllowPlaintext bool   `help:"Talk to other machines without TLS. Given up: whoever is on the way can read and change data, and take the key."`
}

// link is an open connection, or a service in this process.
type link struct {
	*client.Client
	service *embedded.Service
}

// client connects when it is first asked for.
func (a *app) client() (*client.Client, error) {
	if a.link != nil {
		return a.link.Client, nil
	}
	var err error
	if a.Connection.Embedded {
		a.link, err = a.embed()
	} else {
		a.link, err = a.dial()
	}
	if err != nil {
		a.link = nil
		return nil, err
	}
	return a.link.Client, nil
}

func (a *app) close() error {
	if a.link == nil {
		return nil
	}
	err := a.link.Client.Close()
	if a.link.service != nil {
		err = errors.Join(err, a.link.service.Close())
	}
	return err
}

func (a *app) embed() (*link, error) {
	service, err := embedded.Open(a, embedded.Options{File: a.Connection.DB})
	if err != nil {
		return nil, err
	}
	l := &link{client.Over(service.Conn()), service}
	if a.Connection.Demo {
		if err := demo.Seed(a, l.Client); err != nil {
			return nil, errors.Join(fmt.Errorf("the demo studio cannot be loaded: %w", err), service.Close())
		}
	}
	return l, nil
}

func (a *app) dial() (*link, error) {
	c := &a.Connection
	if c.DB != "" || c.Demo {
		return nil, faultf("--db and --demo go with --embedded: a server has its own settings for them.")
	}
	o := client.Options{Key: c.Key, PlaintextAnywhere: c.AllowPlaintext}
	if c.KeyFile != "" {
		if c.Key != "" {
			return nil, faultf("There is a key by --key or CATCHLINE_KEY and one by --key-file; give one of them.")
		}
		text, err := os.ReadFile(c.KeyFile)
		if err != nil {
			return nil, faultf("--key-file cannot be read: %v.", err)
		}
		o.Key = strings.TrimSpace(string(text))
	}
	var err error
	if o.TLS, err = c.tls(); err != nil {
		return nil, err
	}
	made, err := client.New(c.Server, o)
	if err != nil {
		return nil, faultf("%v. --tls, --tls-ca or --allow-plaintext decide that.", err)
	}
	l := &link{made, nil}
	if c.Wait > 0 {
		if err := waitFor(a, made, c.Wait); err != nil {
			return nil, errors.Join(err, made.Close())
		}
	}
	return l, nil
}

// tls is nil for a connection without it.
func (c *connection) tls() (*tls.Config, error) {
	if !c.TLS && c.TLSCA == "" && c.TLSCert == "" && c.TLSKey == "" {
		return nil, nil
	}
	t := &tls.Config{MinVersion: tls.VersionTLS12}
	if c.TLSCA != "" {
		text, err := os.ReadFile(c.TLSCA)
		if err != nil {
			return nil, faultf("--tls-ca cannot be read: %v.", err)
		}
		t.RootCAs = x509.NewCertPool()
		if !t.RootCAs.AppendCertsFromPEM(text) {
			return nil, faultf("--tls-ca is %s, which holds no certificate in PEM.", filepath.Base(c.TLSCA))
		}
	}
	if (c.TLSCert == "") != (c.TLSKey == "") {
		return nil, faultf("--tls-cert and --tls-key belong together: give both or neither.")
	}
	if c.TLSCert != "" {
		pair, err := tls.LoadX509KeyPair(c.TLSCert, c.TLSKey)
		if err != nil {
			return nil, faultf("--tls-cert and --tls-key cannot be used: %v.", err)
		}
		t.Certificates = []tls.Certificate{pair}
	}
	return t, nil
}

// waitFor waits until the server says that it serves.
func waitFor(ctx context.Context, c *client.Client, longest time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, longest)
	defer cancel()
	_, err := healthpb.NewHealthClient(c.Conn).Check(ctx, &healthpb.HealthCheckRequest{}, grpc.WaitForReady(true))
	return err
}
