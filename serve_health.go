package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/http"
	"os"
	"strings"
	"time"
)

// healthCmd is for supervisors of containers, which have no other program to ask with.
type healthCmd struct {
	URL string `arg:"" optional:"" help:"Address of the program that serves." default:"http://127.0.0.1:8484"`
	CA  string `help:"Certificate of the local authority, evenhand-tls/evenhand-ca.crt, for an https address." placeholder:"FILE" type:"existingfile" env:"EVENHAND_HEALTH_CA"`
}

// Run fails if the program that serves is not there or not ready.
func (c *healthCmd) Run(ctx context.Context, w *world) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimRight(c.URL, "/")+"/health/ready", nil)
	if err != nil {
		return err
	}
	carrier := &http.Transport{}
	defer carrier.CloseIdleConnections()
	if c.CA != "" {
		data, err := os.ReadFile(c.CA)
		if err != nil {
			return err
		}
		roots := x509.NewCertPool()
		if !roots.AppendCertsFromPEM(data) {
			return fmt.Errorf("%s holds no certificate in PEM", c.CA)
		}
		carrier.TLSClientConfig = &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}
	}
	res, err := carrier.RoundTrip(req)
	if err != nil {
		return fmt.Errorf("nothing answers: %w", err)
	}
	_ = res.Body.Close() // what it says is in the status
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("not ready (status %d); the log of the program that serves says why", res.StatusCode)
	}
	_, err = fmt.Fprintln(w.out, "ready")
	return err
}
