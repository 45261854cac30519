package transport

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

var madeOn = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

func open(t *testing.T, dir string, c *clock, names ...string) *Authority {
	t.Helper()
	a, err := OpenAuthority(dir, NamesOf(names...), c.now, silent)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func certificates(t *testing.T, a *Authority, names *Names) *Certificates {
	t.Helper()
	c, err := a.Certificates(func() Names { return *names })
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func current(t *testing.T, c *Certificates) *x509.Certificate {
	t.Helper()
	x, err := c.Get(nil)
	if err != nil {
		t.Fatal(err)
	}
	return x.Leaf
}

// What a browser does with the certificate, done by Go's own verifier.
func TestAuthorityVouchesForThisMachine(t *testing.T) {
	dir, c := filepath.Join(t.TempDir(), "tls"), &clock{t: madeOn}
	a := open(t, dir, c, "Gym-Laptop", "screen.example.org", "203.0.113.4")
	names := NamesOf("localhost", "127.0.0.1", "::1", "Gym-Laptop", "gym-laptop.local", "screen.example.org", "192.168.7.9", "203.0.113.4",
		"elsewhere.example.net", "198.51.100.7", "not a name")
	leaf := current(t, certificates(t, a, &names))
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(a.PEM()) {
		t.Fatal("the public file has no certificate")
	}
	verify := func(cert *x509.Certificate, host string) error {
		_, err := cert.Verify(x509.VerifyOptions{Roots: roots, DNSName: host, CurrentTime: c.now()})
		return err
	}
	for _, host := range []string{"localhost", "127.0.0.1", "::1", "gym-laptop", "gym-laptop.local", "screen.example.org", "192.168.7.9", "203.0.113.4"} {
		if err := verify(leaf, host); err != nil {
			t.Errorf("%s: %v", host, err)
		}
	}
	for _, host := range []string{"elsewhere.example.net", "198.51.100.7", "example.org"} {
		if verify(leaf, host) == nil {
			t.Errorf("%s is vouched for", host)
		}
	}
	if got := a.Covers(names); !slices.Equal(got, []string{"elsewhere.example.net", "198.51.100.7"}) {
		t.Errorf("outside: %v", got)
	}
	// Who stole the key could sign this, and nobody who checks the constraint takes it.
	for _, host := range []string{"elsewhere.example.net", "198.51.100.7"} {
		n := NamesOf(host)
		stolen, err := a.sign(filepath.Join(t.TempDir(), "x"), &x509.Certificate{NotBefore: madeOn, NotAfter: madeOn.AddDate(0, 0, 9),
			ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, DNSNames: n.DNS, IPAddresses: n.netIPs()}, &a.pair)
		if err != nil {
			t.Fatal(err)
		}
		if err := verify(stolen.Leaf, host); err == nil || !strings.Contains(err.Error(), "not permitted") {
			t.Errorf("a certificate for %s: %v", host, err)
		}
	}
	if days := leaf.NotAfter.Sub(madeOn).Hours() / 24; days > 398 {
		t.Errorf("holds for %v days", days)
	}
	if ca := a.pair.Leaf; !ca.PermittedDNSDomainsCritical || !ca.MaxPathLenZero || ca.NotAfter != madeOn.AddDate(10, 0, 0) {
		t.Errorf("%+v", ca)
	}
}

func TestAuthorityFiles(t *testing.T) {
	dir, c := filepath.Join(t.TempDir(), "tls"), &clock{t: madeOn}
	a := open(t, dir, c)
	names := NamesOf("localhost")
	certificates(t, a, &names)
	for name, mode := range map[string]os.FileMode{"": 0o700, authorityFile: 0o600, serverFile: 0o600, PublicFile: 0o644} {
		i, err := os.Stat(filepath.Join(dir, name))
		if err != nil || i.Mode().Perm() != mode {
			t.Errorf("%q: %v %v", name, i, err)
		}
	}
	public, err := os.ReadFile(filepath.Join(dir, PublicFile))
	if err != nil || bytes.Contains(public, []byte("KEY")) || !bytes.Equal(public, a.PEM()) {
		t.Errorf("the public file: %s %v", public, err)
	}
	block, rest := pem.Decode(a.PEM())
	if block.Type != "CERTIFICATE" || len(rest) > 0 || len(a.Fingerprint()) != 95 {
		t.Errorf("%s, %d bytes more, %s", block.Type, len(rest), a.Fingerprint())
	}
	if b := open(t, dir, c); b.Fingerprint() != a.Fingerprint() {
		t.Error("a second start made another authority")
	}
	if err := os.Chmod(filepath.Join(dir, authorityFile), 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir, Names{}, c.now, silent); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a key that others may read: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, authorityFile), []byte("nonsense"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir, Names{}, c.now, silent); err == nil {
		t.Error("a broken file was replaced, and with it what devices trust")
	}
}

func TestCertificateIsMadeAnew(t *testing.T) {
	dir, c := filepath.Join(t.TempDir(), "tls"), &clock{t: madeOn}
	a := open(t, dir, c)
	names := NamesOf("localhost", "192.168.7.9")
	all := certificates(t, a, &names)
	first := current(t, all)
	if again := current(t, certificates(t, open(t, dir, c), &names)); !again.Equal(first) {
		t.Error("a second start made another certificate")
	}
	names = NamesOf("localhost", "192.168.7.12") // the gym's router gave another address
	c.pass(lookEvery - 1)
	if !current(t, all).Equal(first) {
		t.Error("looked too often")
	}
	c.pass(1)
	second := current(t, all)
	if second.VerifyHostname("192.168.7.12") != nil || second.VerifyHostname("192.168.7.9") == nil {
		t.Errorf("for %v", second.IPAddresses)
	}
	c.pass((leafDays-renewDays)*24*time.Hour - 2*time.Minute)
	if !current(t, all).Equal(second) {
		t.Error("made anew before it was due")
	}
	c.pass(2 * time.Minute)
	third := current(t, all)
	if third.Equal(second) || !third.NotAfter.After(second.NotAfter) {
		t.Error("not made anew thirty days before its end")
	}
	c.pass(lookEvery)
	if !current(t, all).Equal(third) {
		t.Error("made anew twice")
	}
	c.pass(9 * 365 * 24 * time.Hour)
	last := current(t, all)
	if last.NotAfter.After(a.Until()) {
		t.Errorf("holds until %v, longer than its authority", last.NotAfter)
	}
	c.pass(365 * 24 * time.Hour)
	if _, err := OpenAuthority(dir, Names{}, c.now, silent); err == nil || !strings.Contains(err.Error(), "ended on 2036-03-10") {
		t.Errorf("an authority that ended: %v", err)
	}
}

// Renewed files are taken up without a restart; files that do not fit together leave the old ones in use.
func TestFilesAreReadAgain(t *testing.T) {
	c := &clock{t: madeOn}
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	put := func(file string, data []byte, second int) {
		t.Helper()
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(file, time.Time{}, madeOn.Add(time.Duration(second)*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	made := func() []byte {
		a := open(t, filepath.Join(t.TempDir(), "tls"), c)
		data, err := os.ReadFile(filepath.Join(a.dir, authorityFile))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	one, two := made(), made()
	put(cert, one, 1)
	put(key, one, 1)
	log, said := logged()
	all, err := FromFiles(cert, key, c.now, log)
	if err != nil {
		t.Fatal(err)
	}
	first := current(t, all)
	put(cert, two, 2) // the key comes a moment later
	c.pass(time.Minute)
	if !current(t, all).Equal(first) || !strings.Contains(said.String(), "still in use") {
		t.Errorf("half a change was used: %s", said)
	}
	put(key, two, 2)
	c.pass(time.Minute)
	second := current(t, all)
	if second.Equal(first) {
		t.Error("the change was not noticed")
	}
	put(cert, one, 3)
	put(key, one, 3)
	all.Reload()
	if !current(t, all).Equal(first) {
		t.Error("not read again when told to")
	}
	if _, err := FromFiles(cert, filepath.Join(dir, "none.pem"), c.now, silent); err == nil || !strings.Contains(err.Error(), "none.pem") {
		t.Errorf("a missing key: %v", err)
	}
}

// TLS 1.2 or newer, and HTTP/2.
func TestTLSVersions(t *testing.T) {
	c := &clock{t: madeOn}
	a := open(t, filepath.Join(t.TempDir(), "tls"), c)
	names := NamesOf("localhost")
	h := newHall()
	end := serve(t, &Server{Listener: h, Handler: http.HandlerFunc(hello), Certificate: certificates(t, a, &names).Get})
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(a.PEM())
	for version, want := range map[uint16]bool{tls.VersionTLS10: false, tls.VersionTLS11: false, tls.VersionTLS12: true, tls.VersionTLS13: true} {
		conn := h.dial("192.168.7.9:1")
		x := tls.Client(conn, &tls.Config{RootCAs: roots, ServerName: "localhost", MinVersion: tls.VersionTLS10, MaxVersion: version, Time: c.now, NextProtos: []string{"h2"}})
		err := x.HandshakeContext(t.Context())
		if (err == nil) != want {
			t.Errorf("%s: %v", tls.VersionName(version), err)
		}
		if err == nil && x.ConnectionState().NegotiatedProtocol != "h2" {
			t.Errorf("%s: protocol %q", tls.VersionName(version), x.ConnectionState().NegotiatedProtocol)
		}
		_ = conn.Close()
	}
	if err := end(); err != nil {
		t.Error(err)
	}
}

func TestMachineHasNames(t *testing.T) {
	n := Machine()
	if !slices.Contains(n.DNS, "localhost") || len(n.IPs) < 2 {
		t.Errorf("%+v", n)
	}
}
