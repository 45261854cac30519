package transport

import (
	"bytes"
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// lookEvery is how often, at most, what a certificate is made from is looked at.
const lookEvery = 30 * time.Second

// Certificates gives the certificate in use, and takes up a new one without a restart.
type Certificates struct {
	now   func() time.Time
	log   *slog.Logger
	state func() string // of what the certificate is made from; another one asks for load
	load  func() (*tls.Certificate, error)

	current atomic.Pointer[tls.Certificate]
	mu      sync.Mutex
	looked  time.Time
	seen    string
}

func newCertificates(now func() time.Time, log *slog.Logger, state func() string, load func() (*tls.Certificate, error)) (*Certificates, error) {
	c := &Certificates{now: now, log: log, state: state, load: load}
	c.seen, c.looked = state(), now()
	cert, err := load()
	if err != nil {
		return nil, err
	}
	c.current.Store(cert)
	return c, nil
}

// FromFiles gives the certificate of two PEM files. When one of them changes they are read again; as
// long as they do not fit together, the last ones that did are used.
func FromFiles(cert, key string, now func() time.Time, log *slog.Logger) (*Certificates, error) {
	state := func() string { return stamp(cert) + stamp(key) }
	return newCertificates(now, log, state, func() (*tls.Certificate, error) {
		pair, err := tls.LoadX509KeyPair(cert, key)
		if err != nil {
			return nil, fmt.Errorf("certificate %s with key %s: %w", cert, key, err)
		}
		return &pair, nil
	})
}

// stamp changes when a file does, also when a link is pointed at another file.
func stamp(file string) string {
	i, err := os.Stat(file)
	if err != nil {
		return "missing;"
	}
	return fmt.Sprintf("%d %d;", i.ModTime().UnixNano(), i.Size())
}

// Get is for tls.Config.GetCertificate. It looks for a new certificate now and then.
func (c *Certificates) Get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	if c.mu.TryLock() { // whoever comes while another one looks takes the certificate at hand
		if now := c.now(); now.Sub(c.looked) >= lookEvery || now.Before(c.looked) {
			c.looked = now
			if state := c.state(); state != c.seen {
				c.renew(state)
			}
		}
		c.mu.Unlock()
	}
	return c.current.Load(), nil
}

// Reload looks for a new certificate at once.
func (c *Certificates) Reload() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.renew(c.state())
}

func (c *Certificates) renew(state string) {
	cert, err := c.load()
	if err != nil {
		c.log.Warn("the new certificate cannot be used; the one before is still in use", "error", err.Error())
		return
	}
	c.seen = state
	if before := c.current.Swap(cert); bytes.Equal(before.Leaf.Raw, cert.Leaf.Raw) {
		return
	}
	c.log.Info("a new certificate is in use", "until", cert.Leaf.NotAfter.UTC().Format(time.DateOnly))
}
