package store

import (
	"errors"
	"fmt"
	"testing"

	"evenhand/internal/screen"
)

func guardians(id, athlete string, on screen.Date) screen.Consent {
	return screen.Consent{ID: id, Athlete: athlete, Purpose: screen.ForScreening, On: on, Version: "v", GivenBy: screen.ByGuardian, Giver: "G", ByID: "u", ByName: "U"}
}

func TestConsents(t *testing.T) {
	s := squad(t)
	c := guardians("c1", "A", "2026-01-02")
	write(t, s, func(tx *Tx) error {
		for _, x := range []screen.Consent{guardians("c2", "A", "2026-01-03"), c} {
			if added, err := tx.PutConsent(x); err != nil || !added {
				return errors.Join(err, fmt.Errorf("added: %v", added))
			}
		}
		again := c
		again.ByName = "somebody else"
		added, err := tx.PutConsent(again)
		if added {
			t.Error("the same consent twice is two")
		}
		return err
	})
	read(t, s, func(tx *Tx) error {
		list, err := tx.Consents("A")
		if len(list) != 2 || list[0].ID != "c1" || list[0].ByName != "U" || list[0].Recorded != start {
			t.Errorf("%+v", list)
		}
		of, err2 := tx.ConsentsOf([]string{"A", "A", "B"})
		if len(of) != 1 || len(of["A"]) != 2 || of["A"][0] != list[0] {
			t.Errorf("%+v", of)
		}
		return errors.Join(err, err2)
	})
	other := c
	other.On = "2026-01-04"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { _, err := tx.PutConsent(other); return err })
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { _, err := tx.PutConsent(guardians("c3", "B", "2026-01-02")); return err })
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { _, err := tx.PutConsent(guardians("", "A", "2026-01-02")); return err })
	c.WithdrawnOn, c.Why, c.WithdrawnBy = "2026-02-01", "asked for", "U"
	for range 2 { // the second time nothing changes
		write(t, s, func(tx *Tx) error { return tx.WithdrawConsent(c) })
	}
	read(t, s, func(tx *Tx) error {
		got, err := tx.Consent("c1")
		if got.WithdrawnOn != "2026-02-01" || got.Withdrawn != start || got.Why != "asked for" {
			t.Errorf("%+v", got)
		}
		return err
	})
	c.Why = "another reason"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return tx.WithdrawConsent(c) })
	c.Why = ""
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { return tx.WithdrawConsent(c) })
	c.ID, c.Why = "none", "x"
	writeFails(t, s, screen.NotFound, func(tx *Tx) error { return tx.WithdrawConsent(c) })
}

func TestConsentTexts(t *testing.T) {
	s := newStore(t)
	x := screen.ConsentText{ID: "t1", Purpose: screen.ForCoach, Version: "1", Body: "words", ByID: "u"}
	for range 2 {
		write(t, s, func(tx *Tx) error { _, err := tx.PutConsentText(x); return err })
	}
	same := x
	same.ID = "t2"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { _, err := tx.PutConsentText(same); return err })
	same.Purpose = screen.ForPhotographs
	write(t, s, func(tx *Tx) error { _, err := tx.PutConsentText(same); return err })
	x.Body = "other words"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { _, err := tx.PutConsentText(x); return err })
	read(t, s, func(tx *Tx) error {
		list, err := tx.ConsentTexts(screen.ForCoach)
		if len(list) != 1 || list[0].Body != "words" || list[0].Made != start {
			t.Errorf("%+v", list)
		}
		return err
	})
}

func TestSettingsHoldsAndErasures(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error {
		return errors.Join(tx.PutSetting("x", 7, "u"), tx.PutSetting("x", 8, "u"), tx.PutRetentionHold("A", "why", "u"), tx.PutRetentionHold("A", "why else", "u"),
			tx.AddErasure(Erasure{ID: "e1", ByID: "u", ByName: "U", Why: "w", Counts: map[string]int{"screens": 2}}))
	})
	read(t, s, func(tx *Tx) error {
		n := 1
		found, err := tx.Setting("x", &n)
		none, err2 := tx.Setting("y", &n)
		holds, err3 := tx.RetentionHolds([]string{"A", "B"})
		list, err4 := tx.Erasures()
		if !found || none || n != 8 || len(holds) != 1 || holds["A"].Why != "why else" || len(list) != 1 || list[0].Counts["screens"] != 2 || list[0].At != start {
			t.Errorf("%v %v %d %+v %+v", found, none, n, holds, list)
		}
		last, err5 := tx.LastDays([]string{"A", "B"})
		if l := last["A"]; l.Screen != "2026-02-10" || l.Newest() != "2026-02-10" || !l.Member || last["B"] != (LastDays{}) {
			t.Errorf("%+v", last)
		}
		return errors.Join(err, err2, err3, err4, err5)
	})
	writeFails(t, s, screen.Invalid, func(tx *Tx) error { return tx.PutRetentionHold("B", "why", "u") })
	writeFails(t, s, screen.NotFound, func(tx *Tx) error { _, err := tx.EraseAthlete("B", nil); return err })
	write(t, s, func(tx *Tx) error { return tx.PutRetentionHold("A", "", "u") })
	record(t, s, "S")
	write(t, s, func(tx *Tx) error { _, err := tx.EraseAthlete("A", nil); return err })
	s.Forget()
	if len(s.cache.byID) != 0 || s.cache.order.Len() != 0 {
		t.Error("a record is still in memory")
	}
}
