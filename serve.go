package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"evenhand/api"
	"evenhand/internal/clinic"
	"evenhand/internal/demo"
	"evenhand/web"
)

// address says where to listen, and by which names browsers may reach it.
type address struct {
	Listen string   `help:"Address to listen on." default:"127.0.0.1:8484" placeholder:"HOST:PORT" env:"EVENHAND_LISTEN"`
	URL    string   `help:"Address by which phones and tablets reach this machine, for links and QR codes; found out if left out." placeholder:"URL" env:"EVENHAND_URL"`
	Host   []string `help:"Name by which browsers reach this machine, besides its own name and its addresses." placeholder:"NAME" env:"EVENHAND_HOST"`
}

type serveCmd struct {
	DB string `help:"Database file; made if there is none." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	address
}

// Run serves until the context ends.
func (c *serveCmd) Run(ctx context.Context, w *world) error {
	cl, closeStore, err := w.clinic(ctx, c.DB)
	if err != nil {
		return err
	}
	return errors.Join(w.serve(ctx, cl, c.address, showing{}), closeStore())
}

type demoCmd struct {
	File string `arg:"" optional:"" help:"New database file to keep; a temporary one if none is named." placeholder:"FILE"`
	Seed uint64 `help:"Seed of the invented squad." default:"1"`
	address
}

// Run serves the demo squad until the context ends, and removes a temporary file.
func (c *demoCmd) Run(ctx context.Context, w *world) (err error) {
	file := c.File
	if file == "" {
		dir, err := os.MkdirTemp("", "evenhand-demo-")
		if err != nil {
			return err
		}
		defer func() { _ = os.RemoveAll(dir) }() // a temporary folder that stays behind harms nobody
		file = filepath.Join(dir, "demo.db")
	} else if _, err := os.Stat(file); err == nil {
		return fmt.Errorf("%s is there already: name a new file, or serve it with `evenhand serve --db %s`", file, file)
	}
	cl, closeStore, err := w.clinic(ctx, file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeStore()) }()
	cl.MarkDemo()
	today := cl.Today()
	s := demo.Squad(cl.Protocol(), c.Seed, today)
	if err := cl.Seed(ctx, clinic.LocalAdministrator, s.Teams, s.Seasons, s.Athletes, s.Memberships, s.Records); err != nil {
		return err
	}
	if err := seedCourse(ctx, cl, &s); err != nil {
		return err
	}
	day, err := w.demoDay(ctx, cl, &s, today)
	if err != nil {
		return err
	}
	return w.serve(ctx, cl, c.address, showing{demo: true, day: day})
}

// seedCourse adds what stands beside the demo's screens: injuries, clearances, and what is usual in each
// team by its newest preseason screens.
func seedCourse(ctx context.Context, cl *clinic.Clinic, s *demo.Scenario) error {
	for i := range s.Events {
		if _, _, err := cl.PutEvent(ctx, clinic.LocalAdministrator, s.Events[i]); err != nil {
			return err
		}
	}
	for i := range s.Teams {
		on, ok := s.NewestPreseason(s.Teams[i].ID)
		if !ok {
			continue
		}
		if _, err := cl.WorkOutSquad(ctx, clinic.LocalAdministrator, s.Teams[i].ID, on); err != nil {
			return err
		}
	}
	return nil
}

// showing says what is served: a demo, and the screening day in progress that it opens on.
type showing struct {
	demo bool
	day  string // its id; empty: none
}

const (
	headerTimeout   = 10 * time.Second
	idleTimeout     = 2 * time.Minute
	shutdownTimeout = 5 * time.Second
)

// serve prints the address once it accepts connections.
func (w *world) serve(ctx context.Context, cl *clinic.Clinic, at address, what showing) error {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", at.Listen)
	if err != nil {
		return fmt.Errorf("%w; choose another address with --listen", err)
	}
	handler, err := w.handler(cl, what.demo, at.reach(l.Addr()), at.Host...)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	if host, _, err := net.SplitHostPort(at.Listen); err == nil && host != "127.0.0.1" && host != "localhost" && host != "::1" {
		w.log.Warn("this address can be reached by other machines, and there are no accounts yet: use it in a network that you trust")
	}
	srv := &http.Server{Handler: handler, ReadHeaderTimeout: headerTimeout, IdleTimeout: idleTimeout,
		BaseContext: func(net.Listener) context.Context { return ctx }}
	if err := w.announce(l.Addr(), what.day); err != nil {
		return errors.Join(err, l.Close())
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTimeout)
	defer cancel()
	if err := srv.Shutdown(stop); err != nil {
		return srv.Close()
	}
	return nil
}

// reach is the address by which other devices reach what listens at l.
func (a *address) reach(l net.Addr) string {
	var ips []net.IP
	if list, err := net.InterfaceAddrs(); err == nil { // without them the request tells
		for _, x := range list {
			if n, ok := x.(*net.IPNet); ok {
				ips = append(ips, n.IP)
			}
		}
	}
	return web.ReachableBase(l.String(), ips, a.URL)
}

// announce prints where the program serves, and where the day in progress is.
func (w *world) announce(at net.Addr, day string) error {
	_, err := fmt.Fprintf(w.out, "evenhand serves at http://%s\n", at)
	if err == nil && day != "" {
		_, err = fmt.Fprintf(w.out, "screening day in progress: http://%s/days/%s\n", at, day)
	}
	return err
}

// handler puts API and pages on one router.
func (w *world) handler(cl *clinic.Clinic, isDemo bool, base string, hosts ...string) (http.Handler, error) {
	if name, err := os.Hostname(); err == nil {
		hosts = append(hosts, name, name+".local")
	}
	if at, err := url.Parse(base); err == nil && at.Hostname() != "" {
		hosts = append(hosts, at.Hostname())
	}
	r := web.NewRouter(hosts...)
	opt := web.Options{Demo: isDemo, Version: programVersion(), Log: w.log, Base: func(*http.Request) string { return base }}
	if err := web.Register(r, cl, opt); err != nil {
		return nil, err
	}
	api.Register(r, cl, programVersion(), w.log)
	return r, nil
}
