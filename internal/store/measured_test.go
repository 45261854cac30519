package store

import (
	"testing"

	"evenhand/internal/screen"
)

// What a score rests on is the same, in the same order, as in the whole record: corrected and withdrawn
// readings are left out, and nothing else that was entered is there.
func TestEachMeasured(t *testing.T) {
	s := league(t)
	write(t, s, func(tx *Tx) error {
		list := readings("X", 5)
		list[0].Examiner, list[0].Step, list[1].Trials = "KD", 2.5, []float64{1, -2.25, 3}
		if _, err := tx.PutScreen(screenOn("X", "A3", "T", "2026-03-01"), 0); err != nil {
			return err
		}
		if _, err := tx.PutReadings("X", list, nil); err != nil {
			return err
		}
		fixed := list[2]
		fixed.ID, fixed.Why, fixed.Trials = "fixed", "typo", []float64{41}
		if _, err := tx.CorrectReading(list[2].ID, fixed, nil); err != nil {
			return err
		}
		if _, err := tx.WithdrawReading(list[3].ID, "another athlete"); err != nil {
			return err
		}
		return second(tx.PutSymptoms("X", []screen.Symptom{{ID: "Y", Screen: "X", Symptom: "tiredness"}}))
	})
	whole, measured := map[string]*screen.Record{}, 0
	read(t, s, func(tx *Tx) error {
		return tx.EachRecord("", func(rec *screen.Record) error { whole[rec.Screen.ID] = rec; return nil })
	})
	read(t, s, func(tx *Tx) error {
		return tx.EachMeasured("", func(rec *screen.Record) error {
			measured++
			want := *whole[rec.Screen.ID]
			want.Readings = []screen.Reading{}
			for _, r := range whole[rec.Screen.ID].Current() {
				want.Readings = append(want.Readings, screen.Reading{Measure: r.Measure, Side: r.Side, Trials: r.Trials, Examiner: r.Examiner, Step: r.Step})
			}
			want.NotDone, want.Checklist, want.Symptoms = nil, nil, nil
			equal(t, rec.Screen.ID, *rec, want)
			return nil
		})
	})
	if measured != len(whole) || len(whole["X"].Symptoms) != 1 || len(whole["X"].Readings) != 6 {
		t.Errorf("%d of %d records; %+v", measured, len(whole), whole["X"])
	}
}
