package clinic

import (
	"context"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// consentSetting is the name under which ConsentSettings are kept.
const consentSetting = "consent"

// ConsentSettings are what the programme chose about consent.
type ConsentSettings struct {
	Majority int `json:"majority" doc:"age in years from which a person gives a consent without a guardian; local law decides"`
}

// The ages of majority that can be set. Assumed: around those that laws have.
const (
	leastMajority = 14
	mostMajority  = 21
)

// majority is the age from which a person gives a consent without a guardian.
func majority(tx *store.Tx) (int, error) {
	s := ConsentSettings{Majority: screen.DefaultMajority}
	_, err := tx.Setting(consentSetting, &s)
	return s.Majority, err
}

// needConsent refuses to store anything of a screen of the day on without a consent for screening that
// holds on that day and today: once it was withdrawn nothing more is stored.
func (c *Clinic) needConsent(tx *store.Tx, athlete string, on screen.Date) error {
	list, err := tx.Consents(athlete)
	if err != nil || c.mayScreen(list, on) {
		return err
	}
	return &screen.Problem{Code: screen.Invalid, Text: noConsent, Want: wantConsent}
}

const (
	noConsent   = "there is no consent for screening on record for this athlete"
	wantConsent = "record the consent of a guardian, or of the athlete if of age, then send it again"
)

// mayScreen reports whether consents allow a screen of the day on to be stored today.
func (c *Clinic) mayScreen(list []screen.Consent, on screen.Date) bool {
	return screen.ConsentOn(list, screen.ForScreening, on) != nil && screen.ConsentOn(list, screen.ForScreening, c.Today()) != nil
}

// needConsentAt is needConsent for a screen on record.
func (c *Clinic) needConsentAt(tx *store.Tx, screenID string) error {
	s, err := tx.Screen(screenID)
	if err != nil {
		return err
	}
	return c.needConsent(tx, s.Athlete, s.On)
}

// sharesWithCoach says of athletes whether there is a consent today to tell the coach whether they may
// throw and what to work on.
func (c *Clinic) sharesWithCoach(tx *store.Tx, athletes []string) (map[string]bool, error) {
	return c.consenting(tx, athletes, func(list []screen.Consent) bool {
		return screen.ConsentOn(list, screen.ForCoach, c.Today()) != nil
	})
}

// consenting says of athletes whether their consents are as asked for.
func (c *Clinic) consenting(tx *store.Tx, athletes []string, is func([]screen.Consent) bool) (map[string]bool, error) {
	of, err := tx.ConsentsOf(athletes)
	if err != nil {
		return nil, err
	}
	out := make(map[string]bool, len(athletes))
	for _, id := range athletes {
		out[id] = is(of[id])
	}
	return out, nil
}

// AthleteConsents are an athlete's consents, the newest of each purpose first.
type AthleteConsents struct {
	Athlete  screen.Athlete
	Majority int  // age from which a person gives a consent without a guardian
	OfAge    bool // today
	Purposes []PurposeConsents
	// MayExport says that who looks may have a copy of everything about the athlete.
	MayExport bool
}

// PurposeConsents are an athlete's consents to one purpose.
type PurposeConsents struct {
	Purpose screen.Purpose
	Now     *screen.Consent  // holds today; nil: none does
	All     []screen.Consent // the newest first, withdrawn ones included
	// Renew says that the athlete has come of age since a guardian gave the consent that holds.
	Renew bool
}

// Consents are the consents of an athlete. Returns NotFound.
func (c *Clinic) Consents(ctx context.Context, who Person, athlete string) (out AthleteConsents, err error) {
	err = c.read(ctx, who, access.ManageConsent, gate.Athlete(athlete), func(tx *store.Tx) error {
		if out, err = c.consentsOf(tx, athlete); err != nil {
			return err
		}
		teams, err := tx.TeamsOf(athlete, c.Today())
		out.MayExport = who.May(access.ExportAthlete, &access.Subject{Teams: teams, Athlete: athlete})
		return err
	})
	return out, err
}

func (c *Clinic) consentsOf(tx *store.Tx, athlete string) (out AthleteConsents, err error) {
	if out.Athlete, err = tx.Athlete(athlete); err != nil {
		return out, err
	}
	if out.Majority, err = majority(tx); err != nil {
		return out, err
	}
	list, err := tx.Consents(athlete)
	today := c.Today()
	out.OfAge = out.Athlete.OfAge(today, out.Majority)
	for _, p := range screen.Purposes() {
		x := PurposeConsents{Purpose: p, Now: screen.ConsentOn(list, p, today), All: []screen.Consent{}}
		for i := range list {
			if list[i].Purpose == p {
				x.All = append(x.All, list[i])
			}
		}
		slices.Reverse(x.All)
		x.Renew = out.OfAge && x.Now != nil && x.Now.GivenBy == screen.ByGuardian
		out.Purposes = append(out.Purposes, x)
	}
	return out, err
}

// ConsentToRecord is what somebody enters of consents on paper.
type ConsentToRecord struct {
	ID       string // made by whoever enters it, for one athlete and purpose; empty: made here
	Purposes []screen.Purpose
	On       screen.Date
	Version  string // of the text; empty: the newest of the purpose
	GivenBy  screen.Giver
	Giver    string
}

// RecordConsent records consents of one athlete, one for each purpose, all or none, and gives them as
// they are on record. The same consent sent twice is one. Returns Faults, NotFound, or Conflict.
func (c *Clinic) RecordConsent(ctx context.Context, who Person, athlete string, in ConsentToRecord) (out []screen.Consent, err error) {
	var days []string
	err = c.write(ctx, who, access.ManageConsent, gate.Athlete(athlete), func(tx *store.Tx) error {
		a, err := tx.Athlete(athlete)
		if err != nil {
			return err
		}
		if out, err = c.recordConsent(tx, who, &a, &in, ""); err != nil {
			return err
		}
		days, err = c.touchDays(tx, athlete)
		return err
	})
	c.tellAll(days, err)
	return out, err
}

// recordConsent records what was entered for one athlete. where is the place of the athlete in the
// input.
func (c *Clinic) recordConsent(tx *store.Tx, who Person, a *screen.Athlete, in *ConsentToRecord, where string) (out []screen.Consent, err error) {
	if len(in.Purposes) == 0 {
		return nil, screen.Faults{{Where: joined(where, "purposes"), Problem: "no purpose is named", Want: "screening, photographs or coach"}}
	}
	of, err := majority(tx)
	if err != nil {
		return nil, err
	}
	var f screen.Faults
	for i, p := range in.Purposes {
		x := screen.Consent{ID: in.ID, Athlete: a.ID, Purpose: p, On: in.On, Version: strings.TrimSpace(in.Version), GivenBy: in.GivenBy,
			Giver: strings.TrimSpace(in.Giver), Recorded: c.now().UTC(), ByID: who.ID, ByName: who.Name}
		if x.ID == "" || i > 0 {
			x.ID = c.newID()
		}
		known, err := c.versionOf(tx, &x)
		if err != nil {
			return nil, err
		}
		bad := screen.CheckConsent(&x, a, c.Today(), of, where)
		if len(bad) == 0 && !slices.Contains(known, x.Version) {
			bad.Add(joined(where, "version"), "one of: "+strings.Join(known, ", "), "there is no text %q for %s", x.Version, p.Words())
		}
		for _, b := range bad {
			if !slices.Contains(f, b) { // what is wrong with the day is told once, not for each purpose
				f = append(f, b)
			}
		}
		out = append(out, x)
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	for i := range out {
		if out[i], err = c.putConsent(tx, out[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (c *Clinic) putConsent(tx *store.Tx, x screen.Consent) (screen.Consent, error) {
	if _, err := tx.PutConsent(x); err != nil {
		return x, err
	}
	return tx.Consent(x.ID)
}

// versionOf fills in the newest version of the text where none is named, and gives those there are.
func (c *Clinic) versionOf(tx *store.Tx, x *screen.Consent) (known []string, err error) {
	list, err := consentTexts(tx, x.Purpose)
	for i := range list {
		known = append(known, list[i].Version)
	}
	if x.Version == "" && len(list) > 0 {
		x.Version = list[0].Version
	}
	return known, err
}

func joined(where, field string) string { return strings.TrimPrefix(where+"."+field, ".") }

// WithdrawConsent takes a consent back from a day on, with the reason, and with it every other consent
// of the athlete to the same purpose that still holds then: what is withdrawn is the purpose. Nothing
// that is on record is removed by it. Returns Faults, NotFound, or Conflict if it was withdrawn
// otherwise.
func (c *Clinic) WithdrawConsent(ctx context.Context, who Person, id string, on screen.Date, why string) (out screen.Consent, err error) {
	var days []string
	err = c.write(ctx, who, access.ManageConsent, aboutConsent(id), func(tx *store.Tx) error {
		if out, err = tx.Consent(id); err != nil {
			return err
		}
		if out, err = c.withdrawConsent(tx, who, out, on, strings.TrimSpace(why)); err != nil {
			return err
		}
		days, err = c.touchDays(tx, out.Athlete)
		return err
	})
	c.tellAll(days, err)
	return out, err
}

func (c *Clinic) withdrawConsent(tx *store.Tx, who Person, x screen.Consent, on screen.Date, why string) (screen.Consent, error) {
	if err := checkWithdrawal(&x, on, c.Today(), why).Err(); err != nil {
		return x, err
	}
	list, err := tx.Consents(x.Athlete)
	if err != nil {
		return x, err
	}
	for _, y := range list {
		same := y.Purpose == x.Purpose && y.On <= on && y.WithdrawnOn == ""
		if y.ID != x.ID && !same {
			continue
		}
		y.WithdrawnOn, y.Withdrawn, y.WithdrawnBy, y.Why = on, c.now().UTC(), who.Name, why
		if err := tx.WithdrawConsent(y); err != nil {
			return x, err
		}
	}
	return tx.Consent(x.ID)
}

func checkWithdrawal(x *screen.Consent, on, today screen.Date, why string) screen.Faults {
	var f screen.Faults
	if why == "" {
		f.Add("why", "say who asked for it", "the reason is missing")
	}
	screen.CheckText(why, screen.MaxNoteLen, "why", &f)
	switch {
	case !on.Valid():
		f.Add("on", "a day such as 2026-02-10", "%q is not a day", string(on))
	case on > today:
		f.Add("on", "a day up to today, "+string(today), "%s is in the future", on)
	case on < x.On:
		f.Add("on", "a day from "+string(x.On)+" on", "%s lies before the day on which it was given", on)
	}
	return f
}

// aboutConsent is a consent, and so the athlete who it is of.
func aboutConsent(id string) gate.About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		x, err := tx.Consent(id)
		if err != nil {
			return []access.Subject{{Kind: "consent", ID: id}}, err
		}
		out, err := gate.Athlete(x.Athlete)(tx, today)
		for i := range out {
			out[i].Kind, out[i].ID = "consent", id
		}
		return out, err
	}
}
