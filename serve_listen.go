package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"

	"evenhand/internal/transport"
	"evenhand/web"
)

// carriage says how requests are carried: encrypted or not, past which proxies, and what is told of them.
type carriage struct {
	TLSCert       string   `name:"tls-cert" help:"Certificate in PEM; with --tls-key. Both are read again when they change, and on SIGHUP." placeholder:"FILE" env:"EVENHAND_TLS_CERT" and:"tls"`
	TLSKey        string   `name:"tls-key" help:"Key of the certificate." placeholder:"FILE" env:"EVENHAND_TLS_KEY" and:"tls"`
	TLSLocal      bool     `name:"tls-local" help:"Encrypt by a certificate of an authority of this machine's own, kept in the folder evenhand-tls beside the database. Each device is told once to trust it: see the page /trust." env:"EVENHAND_TLS_LOCAL"`
	TrustListen   string   `help:"With --tls-local: a second address, not encrypted, that serves nothing but the page /trust." placeholder:"HOST:PORT" env:"EVENHAND_TRUST_LISTEN"`
	Proxy         []string `help:"Address or network of a reverse proxy whose X-Forwarded-For and X-Forwarded-Proto are believed." placeholder:"ADDRESS" env:"EVENHAND_PROXY"`
	MetricsListen string   `help:"Address that shows counters for Prometheus, such as 127.0.0.1:9464; off if left out." placeholder:"HOST:PORT" env:"EVENHAND_METRICS_LISTEN"`
	LogFormat     string   `help:"Form of the log: text, json, or auto, which is text on a terminal." enum:"auto,text,json" default:"auto" env:"EVENHAND_LOG_FORMAT"`
}

// AfterApply refuses what does not go together, before anything is opened.
func (c *carriage) AfterApply() error {
	switch {
	case c.TLSLocal && c.TLSCert != "":
		return errors.New("--tls-local makes a certificate by itself: leave out --tls-cert and --tls-key, or --tls-local")
	case c.TrustListen != "" && !c.TLSLocal:
		return errors.New("--trust-listen tells devices how to trust the certificate of --tls-local: give both, or neither")
	}
	return nil
}

// lines are what the program listens with.
type lines struct {
	main, trust, metrics net.Listener // the latter two may be nil
	certificates         *transport.Certificates
	authority            *transport.Authority // nil without --tls-local
	proxies              transport.Proxies
	base                 string // the address by which other devices reach it
}

// secure says whether the connection to this program itself is encrypted.
func (l *lines) secure() bool { return l.certificates != nil }

func (l *lines) scheme() string {
	if l.secure() {
		return "https"
	}
	return "http"
}

// alone says that nobody but this machine reaches the program, also not through a proxy.
func (l *lines) alone() bool { return loopback(l.main.Addr()) && len(l.proxies) == 0 }

// loopback says of an address that only its own machine can reach it.
func loopback(at net.Addr) bool {
	tcp, ok := at.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

func (l *lines) close() error {
	var errs []error
	for _, x := range []net.Listener{l.main, l.trust, l.metrics} {
		if x != nil {
			errs = append(errs, x.Close())
		}
	}
	return errors.Join(errs...)
}

// listen opens all that the flags ask for. The authority lies in a folder beside the database.
func (w *world) listen(ctx context.Context, at *address, db string) (_ *lines, err error) {
	l := &lines{}
	if l.proxies, err = transport.ParseProxies(at.Proxy); err != nil {
		return nil, err
	}
	if err := w.certify(at, filepath.Join(filepath.Dir(db), "evenhand-tls"), l); err != nil {
		return nil, err
	}
	open := func(address, flag string) net.Listener {
		if address == "" || err != nil {
			return nil
		}
		x, e := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
		if e != nil {
			err = fmt.Errorf("%w; choose another address with %s", e, flag)
			return nil
		}
		return x
	}
	for _, x := range []struct {
		at     *net.Listener
		listen string
		flag   string
	}{{&l.main, at.Listen, "--listen"}, {&l.trust, at.TrustListen, "--trust-listen"}, {&l.metrics, at.MetricsListen, "--metrics-listen"}} {
		if opened := open(x.listen, x.flag); opened != nil {
			*x.at = opened
		}
	}
	if err != nil {
		return nil, errors.Join(err, l.close())
	}
	l.base = at.reach(l.main.Addr())
	if at.URL == "" && l.secure() {
		l.base = strings.Replace(l.base, "http://", "https://", 1)
	}
	w.warn(l)
	return l, nil
}

// certify makes or reads the certificate, if there is to be one.
func (w *world) certify(at *address, dir string, l *lines) (err error) {
	if at.TLSCert != "" {
		l.certificates, err = transport.FromFiles(at.TLSCert, at.TLSKey, w.now, w.log)
		return err
	}
	if !at.TLSLocal {
		return nil
	}
	named := append([]string{}, at.Host...)
	if u, err := url.Parse(at.URL); err == nil && u.Hostname() != "" {
		named = append(named, u.Hostname())
	}
	asked := transport.NamesOf(named...)
	first := transport.NamesOf(append(transport.Machine().DNS, named...)...)
	if l.authority, err = transport.OpenAuthority(dir, first, w.now, w.log); err != nil {
		return err
	}
	if outside := l.authority.Covers(asked); len(outside) > 0 {
		return fmt.Errorf("the local authority in %s was made before %s was named, and may not vouch for it: leave the name out, or move the folder away, start again, and trust the new authority on each device",
			dir, strings.Join(outside, ", "))
	}
	l.certificates, err = l.authority.Certificates(func() transport.Names { return transport.Machine().With(asked) })
	return err
}

func (w *world) warn(l *lines) {
	if !l.secure() && !loopback(l.main.Addr()) && len(l.proxies) == 0 {
		w.log.Warn("other machines can reach this address, and what is sent is not encrypted: names and health data can be read on the way. Use --tls-local, or --tls-cert and --tls-key")
	}
	if l.metrics != nil && !loopback(l.metrics.Addr()) {
		w.log.Warn("other machines can read the counters, which ask nobody to sign in")
	}
}

// announceLines prints where else the program listens, and what a device compares before it trusts it.
func (w *world) announceLines(l *lines) error {
	var b strings.Builder
	if l.authority != nil {
		at := l.scheme() + "://" + l.main.Addr().String()
		if l.base != "" {
			at = l.base
		}
		if l.trust != nil {
			at = "http://" + l.trust.Addr().String()
			if base := web.ReachableBase(l.trust.Addr().String(), interfaceIPs(), ""); base != "" {
				at = base
			}
		}
		fmt.Fprintf(&b, "local authority, SHA-256: %s\nhow to trust it on a device: %s/trust\n", l.authority.Fingerprint(), at)
	}
	if l.metrics != nil {
		fmt.Fprintf(&b, "counters: http://%s/metrics\n", l.metrics.Addr())
	}
	if b.Len() == 0 {
		return nil
	}
	_, err := io.WriteString(w.out, b.String())
	return err
}

// trust is what the page /trust shows; nil without a local authority.
func (l *lines) trusted() *web.Trust {
	if l.authority == nil {
		return nil
	}
	return &web.Trust{Certificate: l.authority.PEM(), Fingerprint: l.authority.Fingerprint(),
		Until: l.authority.Until().UTC().Format(time.DateOnly), Base: l.base}
}

// carry serves all that is listened to until the context ends or one of them fails. stopping is called
// when the end begins.
func (w *world) carry(ctx context.Context, l *lines, main, trust, metrics http.Handler, stopping func()) error {
	if l.secure() {
		hup := make(chan os.Signal, 1)
		signal.Notify(hup, syscall.SIGHUP)
		defer signal.Stop(hup)
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		go func() {
			for {
				select {
				case <-hup:
					l.certificates.Reload()
				case <-ctx.Done():
					return
				}
			}
		}()
	}
	g, ctx := errgroup.WithContext(ctx)
	serve := func(s transport.Server) {
		if s.Listener == nil {
			return
		}
		s.Limits, s.Log = transport.Usual, w.log
		g.Go(func() error { return s.Serve(ctx) })
	}
	first := transport.Server{Listener: l.main, Handler: l.proxies.Behind(main), Stopping: stopping}
	if l.secure() {
		first.Certificate = l.certificates.Get
	}
	serve(first)
	serve(transport.Server{Listener: l.trust, Handler: transport.Proxies(nil).Behind(trust)})
	serve(transport.Server{Listener: l.metrics, Handler: metrics})
	return g.Wait()
}
