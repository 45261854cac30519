package transport

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math/big"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// How long certificates hold. Apple's systems take certificates of at most 825 days from authorities
// that the user added, and browsers 398 days from public ones: the shorter one suits all.
const (
	authorityYears = 10
	leafDays       = 397
	renewDays      = 30 // before the end
	clockSlack     = time.Hour
)

// The files of the folder. Each is replaced in one step.
const (
	authorityFile = "authority.pem" // certificate and key
	serverFile    = "server.pem"    // certificate and key
	// PublicFile is the certificate alone, to carry to other devices.
	PublicFile = "evenhand-ca.crt"
)

// Authority vouches for this machine in a network in which nobody else can. It may vouch for nothing
// but the names given when it was made, names in .local, and addresses that are not public: a stolen
// key is of no use against other sites.
type Authority struct {
	dir  string
	now  func() time.Time
	log  *slog.Logger
	pair tls.Certificate
}

// OpenAuthority opens the authority in a folder, and makes it at first use for names besides those that
// every local machine has.
func OpenAuthority(dir string, names Names, now func() time.Time, log *slog.Logger) (*Authority, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("folder of the local authority: %w", err)
	}
	a := &Authority{dir: dir, now: now, log: log}
	file := filepath.Join(dir, authorityFile)
	pair, err := readPair(file)
	if errors.Is(err, fs.ErrNotExist) {
		pair, err = a.make(file, names)
	}
	if err != nil {
		return nil, fmt.Errorf("local authority: %w", err)
	}
	a.pair = pair
	if !now().Before(pair.Leaf.NotAfter) || !pair.Leaf.IsCA {
		return nil, fmt.Errorf("the local authority in %s ended on %s: move the folder away, start again, and trust the new one on each device",
			dir, pair.Leaf.NotAfter.UTC().Format(time.DateOnly))
	}
	return a, replace(filepath.Join(dir, PublicFile), a.PEM(), 0o644)
}

// PEM is the certificate of the authority, without its key.
func (a *Authority) PEM() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.pair.Leaf.Raw})
}

// Fingerprint is SHA-256 of the authority's certificate, in pairs of digits, as devices show it.
func (a *Authority) Fingerprint() string {
	sum := sha256.Sum256(a.pair.Leaf.Raw)
	parts := make([]string, len(sum))
	for i, b := range sum {
		parts[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(parts, ":")
}

// Until is the day on which the authority ends.
func (a *Authority) Until() time.Time { return a.pair.Leaf.NotAfter }

// Covers reports which names the authority may not vouch for.
func (a *Authority) Covers(n Names) (outside []string) {
	ca := a.pair.Leaf
	for _, name := range n.DNS {
		if !slices.ContainsFunc(ca.PermittedDNSDomains, func(d string) bool { return name == d || strings.HasSuffix(name, "."+d) }) {
			outside = append(outside, name)
		}
	}
	for _, ip := range n.IPs {
		if !slices.ContainsFunc(ca.PermittedIPRanges, func(r *net.IPNet) bool { return r.Contains(ip.AsSlice()) }) {
			outside = append(outside, ip.String())
		}
	}
	return outside
}

// Certificates gives a certificate for the names that find tells, made anew when they change and before
// it ends. Names that the authority may not vouch for are left out.
func (a *Authority) Certificates(find func() Names) (*Certificates, error) {
	covered := func() Names {
		n := find().sorted()
		outside := a.Covers(n)
		n.DNS = slices.DeleteFunc(n.DNS, func(s string) bool { return slices.Contains(outside, s) })
		n.IPs = slices.DeleteFunc(n.IPs, func(ip netip.Addr) bool { return slices.Contains(outside, ip.String()) })
		return n
	}
	var due time.Time // when the certificate in use is to be made anew
	state := func() string {
		n := covered()
		if !due.IsZero() && !a.now().Before(due) {
			return "due " + n.key()
		}
		return n.key()
	}
	return newCertificates(a.now, a.log, state, func() (*tls.Certificate, error) {
		pair, err := a.leaf(covered())
		if err == nil {
			due = renewal(pair.Leaf)
		}
		return pair, err
	})
}

func renewal(c *x509.Certificate) time.Time { return c.NotAfter.AddDate(0, 0, -renewDays) }

// leaf is the certificate on file if it still serves, or else a new one.
func (a *Authority) leaf(n Names) (*tls.Certificate, error) {
	file := filepath.Join(a.dir, serverFile)
	pair, err := readPair(file)
	if err == nil && a.serves(pair.Leaf, &n) {
		return &pair, nil
	}
	if err != nil && errors.Is(err, errReadable) {
		return nil, err
	}
	now := a.now()
	until := now.AddDate(0, 0, leafDays)
	if end := a.pair.Leaf.NotAfter; end.Before(until) {
		until = end
	}
	pair, err = a.sign(file, &x509.Certificate{Subject: pkix.Name{CommonName: "evenhand server"}, NotBefore: now.Add(-clockSlack), NotAfter: until,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
		DNSNames: n.DNS, IPAddresses: n.netIPs()}, &a.pair)
	return &pair, err
}

func (a *Authority) serves(c *x509.Certificate, n *Names) bool {
	have := Names{DNS: slices.Clone(c.DNSNames)}
	for _, ip := range c.IPAddresses {
		at, _ := netip.AddrFromSlice(ip) // it was parsed as an address
		have.IPs = append(have.IPs, at.Unmap())
	}
	have = have.sorted()
	now := a.now()
	due := renewal(c)
	if c.NotAfter.Equal(a.pair.Leaf.NotAfter) {
		due = c.NotAfter // it cannot be made to last longer
	}
	return have.key() == n.key() && now.After(c.NotBefore) && now.Before(due) && c.CheckSignatureFrom(a.pair.Leaf) == nil
}

// make makes the authority.
func (a *Authority) make(file string, names Names) (tls.Certificate, error) {
	now := a.now()
	ca := &x509.Certificate{Subject: pkix.Name{CommonName: "evenhand local authority", Organization: []string{"evenhand on this machine, made " + now.UTC().Format(time.DateOnly)}},
		NotBefore: now.Add(-clockSlack), NotAfter: now.AddDate(authorityYears, 0, 0), IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: []string{"localhost", "local"}, PermittedIPRanges: slices.Clone(nearby)}
	for _, name := range names.DNS {
		if !slices.Contains(ca.PermittedDNSDomains, name) && !strings.HasSuffix(name, ".local") {
			ca.PermittedDNSDomains = append(ca.PermittedDNSDomains, name)
		}
	}
	for _, ip := range names.IPs {
		if !slices.ContainsFunc(ca.PermittedIPRanges, func(r *net.IPNet) bool { return r.Contains(ip.AsSlice()) }) {
			ca.PermittedIPRanges = append(ca.PermittedIPRanges, &net.IPNet{IP: ip.AsSlice(), Mask: net.CIDRMask(ip.BitLen(), ip.BitLen())})
		}
	}
	return a.sign(file, ca, nil)
}

// sign makes a key and a certificate for it, signed by by, nil for itself, and puts both into a file.
func (a *Authority) sign(file string, c *x509.Certificate, by *tls.Certificate) (none tls.Certificate, err error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return none, err
	}
	if c.SerialNumber, err = rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127)); err != nil {
		return none, err
	}
	parent, signer := c, any(key)
	if by != nil {
		parent, signer = by.Leaf, by.PrivateKey
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
	if err != nil {
		return none, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return none, err
	}
	var b bytes.Buffer
	err = errors.Join(pem.Encode(&b, &pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.Encode(&b, &pem.Block{Type: "PRIVATE KEY", Bytes: secret}))
	if err != nil {
		return none, err
	}
	if err := replace(file, b.Bytes(), 0o600); err != nil {
		return none, err
	}
	return tls.X509KeyPair(b.Bytes(), b.Bytes())
}

var errReadable = errors.New("others than its owner may read it, and it holds a key: take that right from them (chmod 600)")

func readPair(file string) (none tls.Certificate, err error) {
	info, err := os.Stat(file)
	if err != nil {
		return none, err
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return none, fmt.Errorf("%s: %w", file, errReadable)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return none, err
	}
	pair, err := tls.X509KeyPair(data, data)
	if err != nil {
		return none, fmt.Errorf("%s: %w", file, err)
	}
	return pair, nil
}

// replace puts a file in its place in one step.
func replace(file string, data []byte, mode fs.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(file), ".new-*") // only its owner may read it
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
