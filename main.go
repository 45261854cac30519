// Command evenhand stores and scores screens of overhead throwers. It parses a command and wires the
// parts; every rule lives below it.
package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"
	_ "time/tzdata" // a container or another system may not have the zones of the world

	"github.com/alecthomas/kong"
	"github.com/google/uuid"

	"evenhand/internal/clinic"
	"evenhand/internal/office"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// version is set when a release is built; otherwise the build's own stamp is used.
var version = ""

// cli lists the commands. Every flag can also be given in the environment, as EVENHAND_NAME.
type cli struct {
	Protocol string `help:"Protocol file that replaces or extends the shipped one." placeholder:"FILE" env:"EVENHAND_PROTOCOL" type:"existingfile"`

	Serve  serveCmd     `cmd:"" help:"Serve pages and API from a database file."`
	Demo   demoCmd      `cmd:"" help:"Serve an invented demo squad from a fresh file."`
	Score  scoreCmd     `cmd:"" help:"Score a file of athletes and screens; nothing is stored."`
	Import importCmd    `cmd:"" help:"Add a roster or screens to a team in a database file."`
	Export exportCmd    `cmd:"" help:"Write a team's records."`
	Recap  rescoreCmd   `cmd:"" name:"rescore" help:"Count the verdicts of all screens on file, and what another protocol would change; nothing is stored."`
	Backup backupCmd    `cmd:"" help:"Copy a database file while it is in use; the copy is checked, and may be encrypted."`
	Key    backupKeyCmd `cmd:"" name:"backup-key" help:"Make a key that opens encrypted copies, and print the recipient to encrypt to."`
	Rest   restoreCmd   `cmd:"" name:"restore" help:"Make a new database file from a copy, after it was checked."`
	Doctor doctorCmd    `cmd:"" help:"Look whether all is well with a database file; nothing is changed."`
	Audit  auditCmd     `cmd:"" help:"Check or export the audit."`
	Show   protocolCmd  `cmd:"" name:"protocol" help:"Show a protocol, or check one."`
	Health healthCmd    `cmd:"" help:"Ask a program that serves whether it is ready; for supervisors."`
	Vers   versionCmd   `cmd:"" name:"version" help:"Print version and protocol."`
}

// world is what a command gets from outside: streams, clock, ids.
type world struct {
	in       io.Reader
	out      io.Writer
	errs     io.Writer
	now      func() time.Time
	newID    func() string
	random   io.Reader // for secrets
	log      *slog.Logger
	protocol string
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	w := &world{in: os.Stdin, out: os.Stdout, errs: os.Stderr, now: time.Now, newID: newID, random: rand.Reader,
		log: newLog("auto", os.Stderr)}
	code := run(ctx, os.Args[1:], w)
	stop()
	os.Exit(code)
}

// newID is a UUID of version 7: ids sort by the time at which they were made.
func newID() string { return uuid.Must(uuid.NewV7()).String() }

// exitPanic carries kong's wish to end the program, after help for one, out of its parser.
type exitPanic int

// run parses args and runs the command. The exit codes: 0 done, 1 the input or the request is at
// fault, 2 the command was called wrongly.
func run(ctx context.Context, args []string, w *world) (code int) {
	defer func() {
		if e := recover(); e != nil {
			exit, ok := e.(exitPanic)
			if !ok {
				panic(e)
			}
			code = int(exit)
		}
	}()
	var c cli
	parser, err := kong.New(&c, kong.Name("evenhand"), kong.UsageOnError(), kong.Writers(w.out, w.errs),
		kong.Description("Screens of overhead throwers: side differences with the error of the measurement taken into account. A screen is not a diagnosis."),
		kong.Exit(func(code int) { panic(exitPanic(code)) }), kong.DefaultEnvars("EVENHAND"))
	if err != nil {
		w.complain("evenhand: " + err.Error())
		return 2
	}
	kctx, err := parser.Parse(args)
	if err != nil {
		w.complain("evenhand: " + err.Error())
		return 2
	}
	w.protocol = c.Protocol
	kctx.BindTo(ctx, (*context.Context)(nil))
	if err := kctx.Run(w); err != nil {
		w.complain(explain(err))
		return 1
	}
	return 0
}

// complain writes a line to the error stream; where that fails nobody can be told.
func (w *world) complain(line string) { _, _ = io.WriteString(w.errs, line+"\n") }

// explain is an error as its user should read it.
func explain(err error) string {
	var f screen.Faults
	if errors.As(err, &f) {
		return fmt.Sprintf("%d %s; nothing was changed:\n%s", len(f), map[bool]string{true: "fault", false: "faults"}[len(f) == 1], err)
	}
	return "evenhand: " + err.Error()
}

// scorer scores by the protocol that was asked for.
func (w *world) scorer() (*score.Scorer, error) {
	p, err := w.load(w.protocol)
	if err != nil {
		return nil, err
	}
	return score.New(p), nil
}

func (w *world) load(file string) (*screen.Protocol, error) {
	if file == "" {
		return screen.Default()
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // it was only read
	return screen.LoadProtocol(file, f)
}

// clinic opens a database file.
func (w *world) clinic(ctx context.Context, file string) (*clinic.Clinic, func() error, error) {
	o, err := w.openAll(ctx, file)
	if err != nil {
		return nil, nil, err
	}
	return o.clinic, o.store.Close, nil
}

// opened is a database file with the use cases that work on it.
type opened struct {
	file   string
	store  *store.Store
	clinic *clinic.Clinic
	office *office.Office
}

// openAll opens a database file.
func (w *world) openAll(ctx context.Context, file string) (*opened, error) {
	s, err := w.scorer()
	if err != nil {
		return nil, err
	}
	st, err := store.Open(ctx, file, store.Options{Now: w.now})
	if err != nil {
		return nil, err
	}
	return &opened{file, st, clinic.New(st, s, w.now, w.newID), office.New(st, office.Options{Now: w.now, NewID: w.newID, Random: w.random})}, nil
}

type versionCmd struct{}

// Run prints version and protocol.
func (versionCmd) Run(w *world) error {
	p, err := w.load(w.protocol)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.out, "evenhand %s\nprotocol %s, hash %s\n", programVersion(), p.NameAndVersion(), p.Hash)
	return err
}

func programVersion() string {
	if version != "" {
		return version
	}
	if b, ok := debug.ReadBuildInfo(); ok && b.Main.Version != "" && b.Main.Version != "(devel)" {
		return b.Main.Version
	}
	return "development"
}
