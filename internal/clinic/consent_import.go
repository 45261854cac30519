package clinic

import (
	"cmp"
	"fmt"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// ImportOptions are what is said of a file besides what stands in it.
type ImportOptions struct {
	MaxBytes int64          // largest file; 0: exchange.DefaultMaxBytes
	Consent  *ConsentInHand // who imports holds the consent for screening of everybody in the file; nil: does not say so
}

// ConsentInHand is the consent for screening of everybody in a file, held on paper.
type ConsentInHand struct {
	On      screen.Date
	GivenBy screen.Giver // empty: by the athlete where of age, else by a guardian
	Version string       // of the text; empty: the newest
}

// maxConsentFaults is how many athletes without a consent are told at once.
const maxConsentFaults = 100

// consents keeps the consents that a document brings and those that are held of everybody in it, and
// finds the records of athletes without one.
func (im *importer) consents(doc *exchange.Document) (err error) {
	if len(doc.Consents) > 0 || im.inHand != nil {
		if who := im.who; !who.May(access.ManageConsent, &access.Subject{Teams: []string{im.team}}) {
			return gate.Deny(&who)
		}
	}
	if im.majority, err = majority(im.tx); err != nil {
		return err
	}
	im.of = map[string][]screen.Consent{}
	var f screen.Faults
	for i := range doc.Consents {
		bad, err := im.consent(doc.Consents[i], fmt.Sprintf("consents[%d]", i))
		if err != nil {
			return fmt.Errorf("consents[%d]: %w", i, err)
		}
		f = append(f, bad...)
	}
	if im.inHand != nil {
		f = append(f, checkGiven(im.inHand.On, im.c.Today())...)
	}
	if err := f.Err(); err != nil {
		return err
	}
	return im.mayStore(doc)
}

// mayStore says of which records the athlete has no consent.
func (im *importer) mayStore(doc *exchange.Document) error {
	var f screen.Faults
	if im.inHand != nil {
		for i := range doc.Athletes {
			bad, err := im.holds(im.onRecord(doc.Athletes[i].ID), "", fmt.Sprintf("athletes[%d]", i))
			if err != nil {
				return err
			}
			f = append(f, bad...)
		}
	}
	for i := range doc.Records {
		if len(f) >= maxConsentFaults {
			break
		}
		where := fmt.Sprintf("screens[%d]", i)
		if i < len(doc.Places) {
			where = doc.Places[i]
		}
		bad, err := im.mayScreen(&doc.Records[i].Screen, where)
		if err != nil {
			return err
		}
		f = append(f, bad...)
	}
	return f.Err()
}

// onRecord is the id on record of an athlete of the document.
func (im *importer) onRecord(id string) string {
	if on, ok := im.athletes[id]; ok {
		return on
	}
	return id
}

// consentsOf are an athlete's consents, read once.
func (im *importer) consentsOf(athlete string) ([]screen.Consent, error) {
	if list, ok := im.of[athlete]; ok {
		return list, nil
	}
	list, err := im.tx.Consents(athlete)
	im.of[athlete] = list
	return list, err
}

// consent keeps a consent that the document brings. One that is on record with the same words is the
// same; a withdrawal is added to it.
func (im *importer) consent(x screen.Consent, where string) (screen.Faults, error) {
	x.Athlete = im.onRecord(x.Athlete)
	is, err := im.tx.IsMember(im.team, x.Athlete)
	if err != nil {
		return nil, err
	}
	if !is {
		return nil, invalid("let the athlete join the team first", "the athlete of the consent does not belong to the team")
	}
	a, err := im.tx.Athlete(x.Athlete)
	if err != nil {
		return nil, err
	}
	if bad := screen.CheckConsent(&x, &a, im.c.Today(), im.majority, where); len(bad) > 0 {
		return bad, nil
	}
	list, err := im.consentsOf(a.ID)
	if err != nil {
		return nil, err
	}
	x.ID = im.id("consent", x.ID)
	for i := range list {
		if y := &list[i]; y.Purpose == x.Purpose && y.On == x.On && y.Version == x.Version && y.GivenBy == x.GivenBy {
			x.ID = y.ID
			if x.WithdrawnOn == "" || y.WithdrawnOn != "" {
				im.out.Already++
				return nil, nil
			}
		}
	}
	return nil, im.putConsent(x)
}

func (im *importer) putConsent(x screen.Consent) error {
	now := im.c.now().UTC()
	x.Recorded, x.ByID, x.ByName = now, im.who.ID, im.who.Name
	if x.WithdrawnOn != "" {
		x.Withdrawn, x.WithdrawnBy, x.Why = now, im.who.Name, cmp.Or(x.Why, "no reason was given in the file")
	}
	delete(im.of, x.Athlete)
	_, err := im.tx.Consent(x.ID)
	switch {
	case err == nil:
		im.out.Already++
		return im.tx.WithdrawConsent(x)
	case !screen.IsCode(err, screen.NotFound):
		return err
	}
	im.out.Consents++
	_, err = im.tx.PutConsent(x)
	return err
}

// mayScreen finds out whether a screen of the document may be stored, with what is held in hand.
func (im *importer) mayScreen(s *screen.Screen, where string) (screen.Faults, error) {
	athlete := im.onRecord(s.Athlete)
	if im.inHand != nil {
		if bad, err := im.holds(athlete, s.On, where); err != nil || len(bad) > 0 {
			return bad, err
		}
	}
	list, err := im.consentsOf(athlete)
	if err != nil || im.c.mayScreen(list, s.On) {
		return nil, err
	}
	return screen.Faults{{Where: where, Problem: noConsent, Want: wantConsent}}, nil
}

// holds records the consent in hand for an athlete, unless there is one that holds today and on the day
// of the screen, if one is meant. A consent that was withdrawn after it was given is not brought back.
func (im *importer) holds(athlete string, on screen.Date, where string) (screen.Faults, error) {
	list, err := im.consentsOf(athlete)
	if err != nil || im.c.mayScreen(list, cmp.Or(on, im.c.Today())) {
		return nil, err
	}
	for i := range list {
		if x := &list[i]; x.Purpose == screen.ForScreening && x.WithdrawnOn >= im.inHand.On && x.WithdrawnOn != "" {
			return screen.Faults{{Where: where, Problem: fmt.Sprintf("the consent for screening was withdrawn on %s", x.WithdrawnOn), Want: "a new consent, recorded on the athlete's page"}}, nil
		}
	}
	a, err := im.tx.Athlete(athlete)
	if err != nil {
		return nil, err
	}
	return im.holdsOne(&a, where)
}

// holdsOne records the consent in hand for one athlete. Its id follows from the athlete and the day, so
// that the same import twice records one.
func (im *importer) holdsOne(a *screen.Athlete, where string) (screen.Faults, error) {
	x := screen.Consent{Athlete: a.ID, Purpose: screen.ForScreening, On: im.inHand.On, GivenBy: im.inHand.GivenBy, Version: im.inHand.Version}
	x.ID = im.id("consent", "in hand\x00"+a.ID+"\x00"+string(x.On))
	if x.GivenBy == "" {
		x.GivenBy = giverOf(a, x.On, im.majority)
	}
	if x.Version == "" {
		if _, err := im.c.versionOf(im.tx, &x); err != nil {
			return nil, err
		}
	}
	if bad := screen.CheckConsent(&x, a, im.c.Today(), im.majority, where); len(bad) > 0 {
		return bad, nil
	}
	return nil, im.putConsent(x)
}

// giverOf is who gives a consent on a day: the athlete where of age, else a guardian.
func giverOf(a *screen.Athlete, on screen.Date, majority int) screen.Giver {
	if a.OfAge(on, majority) {
		return screen.ByAthlete
	}
	return screen.ByGuardian
}

// addConsents adds the consents of athletes to a document, athlete by athlete.
func addConsents(tx *store.Tx, doc *exchange.Document, athletes []screen.Athlete) error {
	ids := make([]string, len(athletes))
	for i := range athletes {
		ids[i] = athletes[i].ID
	}
	of, err := tx.ConsentsOf(ids)
	for _, id := range ids {
		doc.Consents = append(doc.Consents, of[id]...)
	}
	return err
}

// seedConsents writes consents as they were given.
func seedConsents(tx *store.Tx, list []screen.Consent) error {
	for _, x := range list {
		x.WithdrawnOn, x.WithdrawnBy, x.Why = "", "", ""
		if _, err := tx.PutConsent(x); err != nil {
			return err
		}
	}
	return nil
}

// seedWithdrawals withdraws those that were.
func seedWithdrawals(tx *store.Tx, list []screen.Consent) error {
	for _, x := range list {
		if x.WithdrawnOn == "" {
			continue
		}
		if err := tx.WithdrawConsent(x); err != nil {
			return err
		}
	}
	return nil
}

// noteConsent says in the preview that a consent is recorded.
func (l *RosterLine) noteConsent() {
	if l.Consent == "" || l.Outcome != RosterNew && l.Outcome != RosterJoins && l.Outcome != RosterKnown {
		return
	}
	if l.Note != "" {
		l.Note += "; "
	}
	l.Note += "a consent for screening of " + string(l.Consent) + " is recorded"
}

// rosterConsent records the consent that a row of a roster has, unless one of that day holds already.
func (c *Clinic) rosterConsent(tx *store.Tx, who Person, team, athlete string, on screen.Date) error {
	if on == "" {
		return nil
	}
	if !who.May(access.ManageConsent, &access.Subject{Teams: []string{team}}) {
		return gate.Deny(&who)
	}
	purposes, err := notYet(tx, athlete, []screen.Purpose{screen.ForScreening}, on)
	if err != nil || len(purposes) == 0 {
		return err
	}
	a, err := tx.Athlete(athlete)
	if err != nil {
		return err
	}
	of, err := majority(tx)
	if err != nil {
		return err
	}
	_, err = c.recordConsent(tx, who, &a, &ConsentToRecord{Purposes: purposes, On: on, GivenBy: giverOf(&a, on, of)}, "consent_on")
	return err
}
