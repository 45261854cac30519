// Package clinic holds the use cases that the API, the pages and the commands share: keep a roster,
// record readings, score a screen, triage a squad. Every use case takes the acting person, decides
// here whether that person may do it, and runs in one transaction. Errors that a user may see are
// screen.Faults (what is wrong with an input) or *screen.Problem; any other error is internal.
package clinic

import (
	"context"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Clinic runs the use cases on one store by one protocol.
type Clinic struct {
	gate   *gate.Gate
	scorer *score.Scorer
	now    func() time.Time
	newID  func() string
	demo   bool
	watch  watch
	logs   dayLogs
	kept   keptThings
}

// New makes a Clinic. now and newID are its only clock and its only source of ids.
func New(st *store.Store, scorer *score.Scorer, now func() time.Time, newID func() string) *Clinic {
	return &Clinic{gate: gate.New(st, now), scorer: scorer, now: now, newID: newID}
}

// MarkDemo says that all data are invented, which stations then show. It is called before anything is
// served.
func (c *Clinic) MarkDemo() { c.demo = true }

// Protocol is the protocol in use.
func (c *Clinic) Protocol() *screen.Protocol { return c.scorer.Protocol() }

// Scorer scores by the protocol in use.
func (c *Clinic) Scorer() *score.Scorer { return c.scorer }

// Today is the calendar day in the clinic's own zone.
func (c *Clinic) Today() screen.Date { return c.gate.Today() }

// NewID makes an id for a new record.
func (c *Clinic) NewID() string { return c.newID() }

// Person is who acts.
type Person = access.Person

// LocalAdministrator acts at the command line.
var LocalAdministrator = access.Local

// read runs fn if who may do that with all that is named. Nothing in this package reaches the store but
// by read, readAny and write: who acts, what is done and whose records it is about are said in each.
func (c *Clinic) read(ctx context.Context, who Person, a access.Action, about gate.About, fn func(*store.Tx) error) error {
	return c.gate.Read(ctx, who, a, about, fn)
}

// readAny runs fn with what says of a team whether who may do that there.
func (c *Clinic) readAny(ctx context.Context, who Person, a access.Action, fn func(tx *store.Tx, may func(team string) bool) error) error {
	return c.gate.ReadAny(ctx, who, a, fn)
}

// write runs fn, which may write, if who may do that with all that is named.
func (c *Clinic) write(ctx context.Context, who Person, a access.Action, about gate.About, fn func(*store.Tx) error) error {
	return c.gate.Write(ctx, who, a, about, fn)
}

// Page is part of a list that is read by key.
type Page = store.Page
