// Package gate stands between the use cases and the store. Every use case says what it does and with
// whose records; the gate finds out whose they are, lets the person in or not, and writes the audit.
// Nothing reaches the store past it.
package gate

import (
	"context"
	"errors"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Gate guards one store. It may be used by many goroutines.
type Gate struct {
	store *store.Store
	now   func() time.Time
	seen  seen
}

// New guards st. now is its only clock.
func New(st *store.Store, now func() time.Time) *Gate { return &Gate{store: st, now: now} }

// Today is the calendar day in the clinic's own zone.
func (g *Gate) Today() screen.Date { return screen.DateOf(g.now()) }

// Read runs fn in a reading transaction if who may do a to all that is named. That somebody looked is
// on record before Read returns nil; the same look by the same person within a minute is one entry.
// Returns NotFound for records that who has nothing to do with, as if they did not exist, Forbidden for
// those that who knows of, or fn's error.
func (g *Gate) Read(ctx context.Context, who access.Person, a access.Action, about About, fn func(*store.Tx) error) error {
	var first access.Subject
	err := g.store.Read(ctx, func(tx *store.Tx) error {
		subjects, err := g.decide(tx, &who, a, about)
		if len(subjects) > 0 {
			first = subjects[0]
		}
		if err != nil {
			return err
		}
		return fn(tx)
	})
	if note := g.look(ctx, &who, a, &first, err); note != nil {
		return note
	}
	return err
}

// look puts on record that somebody looked, or was not let in.
func (g *Gate) look(ctx context.Context, who *access.Person, a access.Action, about *access.Subject, err error) error {
	outcome := access.Done
	switch {
	case errors.As(err, new(*denied)):
		outcome = access.Refused
	case err != nil || !a.Personal():
		return nil
	}
	e := g.entry(ctx, who, a, about, outcome)
	if !g.seen.first(&e, g.now()) {
		return nil
	}
	note := g.store.Write(ctx, func(tx *store.Tx) error { return tx.AppendAudit(e) })
	if note != nil {
		g.seen.forget(&e)
	}
	return note
}

// Write runs fn in a writing transaction if who may do a to all that is named. What was done is on
// record in the same transaction. Errors are those of Read.
func (g *Gate) Write(ctx context.Context, who access.Person, a access.Action, about About, fn func(*store.Tx) error) error {
	var first access.Subject
	err := g.store.Write(ctx, func(tx *store.Tx) error {
		subjects, err := g.decide(tx, &who, a, about)
		if len(subjects) > 0 {
			first = subjects[0]
		}
		if err != nil {
			return err
		}
		if err := fn(tx); err != nil {
			return err
		}
		return tx.AppendAudit(g.entry(ctx, &who, a, &first, access.Done))
	})
	if errors.As(err, new(*denied)) {
		return errors.Join(err, g.look(ctx, &who, a, &first, err))
	}
	return err
}

// ReadAny runs fn in a reading transaction for a list of teams or of what belongs to them. fn asks may
// of each and shows only those of which it is true.
func (g *Gate) ReadAny(ctx context.Context, who access.Person, a access.Action, fn func(tx *store.Tx, may func(team string) bool) error) error {
	if who.Anonymous() {
		return Deny(&who)
	}
	return g.store.Read(ctx, func(tx *store.Tx) error {
		return fn(tx, func(team string) bool { return who.May(a, &access.Subject{Teams: []string{team}}) })
	})
}

// Enter notes something in the audit that needs no permission, such as signing in, within tx.
func (g *Gate) Enter(ctx context.Context, tx *store.Tx, who access.Person, a access.Action, about access.Subject, outcome access.Outcome) error {
	return tx.AppendAudit(g.entry(ctx, &who, a, &about, outcome))
}

// Store is what the gate guards, for what is nobody's record: sessions, links, backups.
func (g *Gate) Store() *store.Store { return g.store }

func (g *Gate) entry(ctx context.Context, who *access.Person, a access.Action, about *access.Subject, outcome access.Outcome) access.Entry {
	r := access.RequestOf(ctx)
	e := access.Entry{At: g.now(), Who: who.ID, Name: who.Name, Action: a, Outcome: outcome, Kind: about.Kind, Subject: about.ID, Via: r.Via, Request: r.ID}
	switch {
	case who.Token != "":
		e.Who = who.ID + " by token " + who.Token
	case e.Who == "" && who.Station != "":
		e.Who, e.Name = who.Link, "station link"
	case e.Who == "" && who.Athlete != "":
		e.Who, e.Name = who.Link, "athlete or guardian"
	case e.Who == "":
		e.Who, e.Name = "unknown", "nobody signed in"
	}
	for _, t := range about.Teams {
		if e.Team == "" || who.May(a, &access.Subject{Teams: []string{t}}) && !who.May(a, &access.Subject{Teams: []string{e.Team}}) {
			e.Team = t
		}
	}
	return e
}

// decide finds out whose records it is about and whether who is let in. Where one of several subjects is
// not there, those before it are decided first, as they are where it is there.
func (g *Gate) decide(tx *store.Tx, who *access.Person, a access.Action, about About) ([]access.Subject, error) {
	subjects, absent := about(tx, g.Today())
	if absent != nil && who.Anonymous() { // whether there is such a record is nobody's business
		return subjects, Deny(who)
	}
	for i := range subjects {
		if absent != nil && i == len(subjects)-1 {
			break
		}
		if err := let(who, a, &subjects[i]); err != nil {
			return subjects, err
		}
	}
	if absent == nil && len(subjects) == 0 { // about nobody's records is nobody's to do
		return nil, Deny(who)
	}
	return subjects, absent
}

// let lets who do a with s, or says why not.
func let(who *access.Person, a access.Action, s *access.Subject) error {
	if s.Needs != "" {
		a = s.Needs
	}
	switch {
	case who.May(a, s):
		return nil
	case !who.Anonymous() && !s.Every && !who.Knows(s):
		return &denied{missing(s.Kind)}
	}
	return Deny(who)
}

// denied is the problem of somebody who was not let in.
type denied struct{ problem *screen.Problem }

func (d *denied) Error() string { return d.problem.Error() }
func (d *denied) Unwrap() error { return d.problem }

// Deny is the error of somebody who is not let in.
func Deny(who *access.Person) error {
	if who.Anonymous() {
		return &denied{&screen.Problem{Code: screen.Unknown, Text: "nobody is signed in", Want: "sign in"}}
	}
	return &denied{&screen.Problem{Code: screen.Forbidden, Text: "you may not do this with your role", Want: "ask an administrator of this evenhand"}}
}
