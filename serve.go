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
	"slices"

	"evenhand/api"
	"evenhand/internal/clinic"
	"evenhand/internal/demo"
	"evenhand/internal/keeping"
	"evenhand/internal/office"
	"evenhand/internal/ops"
	"evenhand/web"
)

// address says where to listen, and by which names browsers may reach it.
type address struct {
	Listen string   `help:"Address to listen on." default:"127.0.0.1:8484" placeholder:"HOST:PORT" env:"EVENHAND_LISTEN"`
	URL    string   `help:"Address by which phones and tablets reach this machine, for links and QR codes; found out if left out." placeholder:"URL" env:"EVENHAND_URL"`
	Host   []string `help:"Name by which browsers reach this machine, besides its own name and its addresses." placeholder:"NAME" env:"EVENHAND_HOST"`
	carriage
}

type serveCmd struct {
	DB string `help:"Database file; made if there is none." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	address
	Backups keeping.Plan `embed:"" prefix:"backup-"`
}

// Run serves until the context ends.
func (c *serveCmd) Run(ctx context.Context, w *world) error {
	o, err := w.openAll(ctx, c.DB)
	if err != nil {
		return err
	}
	return errors.Join(w.serve(ctx, o, c.address, showing{backups: c.Backups}), o.store.Close())
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
	o, err := w.openAll(ctx, file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, o.store.Close()) }()
	cl := o.clinic
	cl.MarkDemo()
	today := cl.Today()
	s := demo.Squad(cl.Protocol(), c.Seed, today)
	if err := cl.Seed(ctx, clinic.LocalAdministrator, s.Teams, s.Seasons, s.Athletes, s.Memberships, s.Consents, s.Records); err != nil {
		return err
	}
	if err := seedCourse(ctx, cl, &s); err != nil {
		return err
	}
	day, err := w.demoDay(ctx, cl, &s, today)
	if err != nil {
		return err
	}
	return w.serve(ctx, o, c.address, showing{demo: true, day: day})
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
	demo    bool
	day     string // its id; empty: none
	backups keeping.Plan
}

// serve prints the address once it accepts connections.
func (w *world) serve(ctx context.Context, o *opened, at address, what showing) error {
	if at.LogFormat != "auto" {
		w.log = newLog(at.LogFormat, w.errs)
	}
	keeper, err := keeping.Start(ctx, *w.keeps(), o.store, what.backups)
	if err != nil {
		return err
	}
	defer keeper.Close()
	l, err := w.listen(ctx, &at, o.file)
	if err != nil {
		return err
	}
	ready := &readiness{store: o.store, file: o.file, log: w.log}
	counters := ops.New(programVersion(), ready.sources())
	as := serving{demo: what.demo, visited: what.demo && l.alone(), base: l.base, hosts: at.Host, trust: l.trusted(), ready: ready.check, begin: countWith(counters)}
	h, trust, err := w.handlers(o, &as)
	if err == nil {
		err = w.announce(l, what.day)
	}
	if err == nil && !as.visited {
		err = w.announceSetup(ctx, o.office, l.base)
	}
	if err != nil {
		return errors.Join(err, l.close())
	}
	return w.carry(ctx, l, h, trust, counters.Handler(), func() { ready.ending.Store(true) })
}

// reach is the address by which other devices reach what listens at l.
func (a *address) reach(l net.Addr) string {
	return web.ReachableBase(l.String(), interfaceIPs(), a.URL)
}

// interfaceIPs are the addresses of this machine; without them requests tell.
func interfaceIPs() (ips []net.IP) {
	if list, err := net.InterfaceAddrs(); err == nil {
		for _, x := range list {
			if n, ok := x.(*net.IPNet); ok {
				ips = append(ips, n.IP)
			}
		}
	}
	return ips
}

// announceSetup prints the link by which the first administrator is made, as long as there is none.
func (w *world) announceSetup(ctx context.Context, o *office.Office, base string) error {
	secret, needed, err := o.Setup(ctx)
	if err != nil || !needed {
		return err
	}
	_, err = fmt.Fprintf(w.out, "first administrator: %s/setup/%s (works once, for a day)\n", base, secret)
	return err
}

// announce prints where the program serves, and where the day in progress is.
func (w *world) announce(l *lines, day string) error {
	at := l.scheme() + "://" + l.main.Addr().String()
	_, err := fmt.Fprintf(w.out, "evenhand serves at %s\n", at)
	if err == nil && day != "" {
		_, err = fmt.Fprintf(w.out, "screening day in progress: %s/days/%s\n", at, day)
	}
	return errors.Join(err, w.announceLines(l))
}

// serving says how what is on file is served.
type serving struct {
	demo    bool
	visited bool   // whoever comes may look: invented data, and only this machine can come
	base    string // the address by which other devices reach this machine
	hosts   []string
	trust   *web.Trust
	ready   func(context.Context) error // nil: nobody asks
	begin   func() func(web.Seen)       // nil: nobody counts
}

// countWith counts requests by counters.
func countWith(counters *ops.Metrics) func() func(web.Seen) {
	return func() func(web.Seen) {
		end := counters.Begin()
		return func(s web.Seen) { end(s.Route, s.Method, s.Status, s.Took) }
	}
}

// handlers are all of the program, and the one page for devices that do not trust it yet.
func (w *world) handlers(o *opened, as *serving) (all, trust http.Handler, err error) {
	if all, err = w.handler(o, as); err != nil || as.trust == nil {
		return all, nil, err
	}
	r := web.NewRouter(w.common(as))
	return all, r, web.RegisterTrust(r, o.clinic, w.options(o, as))
}

// handler puts API and pages on one router.
func (w *world) handler(o *opened, as *serving) (http.Handler, error) {
	r := web.NewRouter(w.common(as))
	if as.ready != nil {
		web.RegisterHealth(r, as.ready)
	}
	door := &web.Door{Office: o.office, Now: w.now}
	if as.visited {
		door.Visitor = web.DemoVisitor
	}
	r.Use(door.Admit)
	if err := web.Register(r, o.clinic, w.options(o, as)); err != nil {
		return nil, err
	}
	api.Register(r, o.clinic, programVersion(), w.log)
	return r, nil
}

func (w *world) options(o *opened, as *serving) web.Options {
	return web.Options{Office: o.office, Demo: as.demo, Version: programVersion(), Log: w.log,
		Base: func(*http.Request) string { return as.base }, Trust: as.trust}
}

func (w *world) common(as *serving) web.RouterOptions {
	hosts := slices.Clip(as.hosts)
	if name, err := os.Hostname(); err == nil {
		hosts = append(hosts, name, name+".local")
	}
	if at, err := url.Parse(as.base); err == nil && at.Hostname() != "" {
		hosts = append(hosts, at.Hostname())
	}
	return web.RouterOptions{Hosts: hosts, NewID: w.newID, Log: w.log, Begin: as.begin}
}
