// Package clinic holds the use cases that the API, the pages and the commands share: keep a roster,
// record readings, score a screen, triage a squad. Every use case takes the acting person, decides
// here whether that person may do it, and runs in one transaction. Errors that a user may see are
// screen.Faults (what is wrong with an input) or *screen.Problem; any other error is internal.
package clinic

import (
	"context"
	"time"

	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Clinic runs the use cases on one store by one protocol.
type Clinic struct {
	store  *store.Store
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
	return &Clinic{store: st, scorer: scorer, now: now, newID: newID}
}

// MarkDemo says that all data are invented, which stations then show. It is called before anything is
// served.
func (c *Clinic) MarkDemo() { c.demo = true }

// Protocol is the protocol in use.
func (c *Clinic) Protocol() *screen.Protocol { return c.scorer.Protocol() }

// Scorer scores by the protocol in use.
func (c *Clinic) Scorer() *score.Scorer { return c.scorer }

// Today is the calendar day in the clinic's own zone.
func (c *Clinic) Today() screen.Date { return screen.DateOf(c.now()) }

// NewID makes an id for a new record.
func (c *Clinic) NewID() string { return c.newID() }

// Person is who acts.
type Person struct {
	ID    string
	Name  string
	Admin bool
}

// LocalAdministrator acts at the command line, and in the browser until there are accounts.
var LocalAdministrator = Person{ID: "local", Name: "local administrator", Admin: true}

// action is what somebody wants to do; may is the one place where that is decided.
type action string

const (
	look   action = "look at"
	record action = "record"
	manage action = "manage"
)

// may decides whether who may do that with a team's records; an empty team means those of all teams.
func (c *Clinic) may(who Person, _ action, _ string) error {
	if who.Admin {
		return nil
	}
	return &screen.Problem{Code: screen.Forbidden, Text: "you may not do this", Want: "ask an administrator of this evenhand"}
}

// read runs fn if who may look at the team's records.
func (c *Clinic) read(ctx context.Context, who Person, team string, fn func(*store.Tx) error) error {
	if err := c.may(who, look, team); err != nil {
		return err
	}
	return c.store.Read(ctx, fn)
}

// write runs fn if who may do that with the team's records.
func (c *Clinic) write(ctx context.Context, who Person, what action, team string, fn func(*store.Tx) error) error {
	if err := c.may(who, what, team); err != nil {
		return err
	}
	return c.store.Write(ctx, fn)
}

// Page is part of a list that is read by key.
type Page = store.Page
