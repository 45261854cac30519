package store

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenhand/internal/screen"
)

// drawn makes values of the record at random; zeros and empty texts are as likely as others.
type drawn struct{ *rapid.T }

func (d drawn) text(what string) string {
	return rapid.OneOf(rapid.Just(""), rapid.Just("0"), rapid.String()).
		Filter(func(s string) bool { return !strings.Contains(s, unit) }).Draw(d.T, what)
}

func (d drawn) number(what string) float64 {
	return rapid.OneOf(rapid.Just(0.0), rapid.Float64()).Draw(d.T, what)
}

// time is a moment in whole microseconds, as stored, or the zero time.
func (d drawn) time(what string) time.Time {
	us := rapid.Int64Range(-1e15, 4e15).Draw(d.T, what)
	return instant(us)
}

func (d drawn) date(what string) screen.Date {
	if rapid.Bool().Draw(d.T, what+" given") {
		return screen.Date("2000-01-01").AddDays(rapid.IntRange(0, 20000).Draw(d.T, what))
	}
	return ""
}

func pick[T any](d drawn, what string, values ...T) T {
	return rapid.SampledFrom(values).Draw(d.T, what)
}

func (d drawn) texts(what string) []string {
	if rapid.Bool().Draw(d.T, what+" given") {
		return rapid.SliceOfN(rapid.String(), 1, 4).Draw(d.T, what)
	}
	return nil
}

func (d drawn) team(id string) screen.Team {
	return screen.Team{ID: id, Name: d.text("name"), Sport: d.text("sport")}
}

func (d drawn) athlete(id string) screen.Athlete {
	a := screen.Athlete{ID: id, Name: d.text("name"), Born: d.date("born"), Sex: pick(d, "sex", screen.Male, screen.Female, ""),
		Sport: d.text("sport"), Positions: d.texts("positions"), Level: pick(d, "level", append(screen.Levels(), "")...),
		Hands: []screen.HandSince{}, HeightCM: d.number("height"), MassKG: d.number("mass"), ExternalID: d.text("external id")}
	from := screen.Date("")
	for range rapid.IntRange(0, 3).Draw(d.T, "hands") {
		a.Hands = append(a.Hands, screen.HandSince{Hand: pick(d, "hand", screen.LeftHand, screen.RightHand, screen.BothHands, ""), From: from})
		from = screen.Date("2010-01-01").AddDays(len(a.Hands) * 400)
	}
	return a
}

func (d drawn) screen(id, athlete, team string) screen.Screen {
	yes, no := true, false
	return screen.Screen{ID: id, Athlete: athlete, Team: team, On: d.date("on"), Kind: pick(d, "kind", screen.Preseason, screen.Rehab, ""),
		Examiner: d.text("examiner"), Protocol: d.text("protocol"), ThrewIn48h: pick(d, "threw", nil, &yes, &no), Note: d.text("note")}
}

func (d drawn) reading(id, screenID string) screen.Reading {
	r := screen.Reading{ID: id, Screen: screenID, Measure: d.text("measure"), Side: pick(d, "side", screen.Left, screen.NoSide, ""),
		Examiner: d.text("examiner"), Instrument: d.text("instrument"), Position: d.text("position"), Device: d.text("device"),
		Taken: d.time("taken"), Step: d.number("step"), Entered: d.time("entered"), EnteredBy: d.text("entered by"), Why: d.text("why")}
	for range rapid.IntRange(0, 4).Draw(d.T, "trials") {
		r.Trials = append(r.Trials, d.number("trial"))
	}
	if r.Entered.IsZero() {
		r.Entered = start // the store's clock
	}
	return r
}

// same fails unless got is want to the last field.
func same(t *rapid.T, what string, got, want any) {
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("%s\n got %+v\nwant %+v", what, got, want)
	}
}

// must ends the test on an error.
func must(t *rapid.T, err error) {
	if err != nil {
		t.Fatal(err)
	}
}

// ids are ids that no other draw in the test has.
func counter() func(kind string) string {
	n := 0
	return func(kind string) string { n++; return fmt.Sprintf("%s%d", kind, n) }
}

func TestRoundTripTeam(t *testing.T) {
	s, next := newStore(t), counter()
	rapid.Check(t, func(rt *rapid.T) {
		d, id := drawn{rt}, next("T")
		for revision := range 2 { // created, then written over
			want := d.team(id)
			put := want
			must(rt, s.Write(t.Context(), func(tx *Tx) error { _, err := tx.PutTeam(&put, revision); return err }))
			must(rt, s.Read(t.Context(), func(tx *Tx) error {
				got, err := tx.Team(id)
				same(rt, "what the put gave back", put, got)
				got.Revision, got.Changed = 0, time.Time{}
				same(rt, "team", got, want)
				return err
			}))
			if put.Revision == revision { // the second draw was the same as the first
				return
			}
		}
	})
}

func TestRoundTripSeasonAndMembership(t *testing.T) {
	s, next := squad(t), counter()
	rapid.Check(t, func(rt *rapid.T) {
		d, teamID := drawn{rt}, next("T")
		season := screen.Season{ID: next("S"), Team: teamID, Name: d.text("name"), From: d.date("from"), To: d.date("to")}
		m := screen.Membership{ID: next("M"), Team: teamID, Athlete: "A", Season: pick(d, "season", "", season.ID), From: d.date("from"), To: d.date("to")}
		must(rt, s.Write(t.Context(), func(tx *Tx) error {
			must(rt, second(tx.PutTeam(team(teamID), 0)))
			must(rt, second(tx.PutSeason(season, 0)))
			return second(tx.PutMembership(m, 0))
		}))
		must(rt, s.Read(t.Context(), func(tx *Tx) error {
			seasons, err := tx.Seasons(teamID)
			must(rt, err)
			same(rt, "seasons", seasons, []screen.Season{season})
			members, err := tx.Members(teamID)
			same(rt, "members", members, []screen.Membership{m})
			return err
		}))
	})
}

// second is the error of a put.
func second[T any](_ T, err error) error { return err }

func TestRoundTripAthlete(t *testing.T) {
	s, next := newStore(t), counter()
	rapid.Check(t, func(rt *rapid.T) {
		d, id := drawn{rt}, next("A")
		for revision := range 2 {
			want := d.athlete(id)
			put := want
			must(rt, s.Write(t.Context(), func(tx *Tx) error { return second(tx.PutAthlete(&put, revision)) }))
			must(rt, s.Read(t.Context(), func(tx *Tx) error {
				got, err := tx.Athlete(id)
				same(rt, "what the put gave back", put, got)
				got.Revision, got.Changed = 0, time.Time{}
				same(rt, "athlete", got, want)
				return err
			}))
			if put.Revision == revision {
				return
			}
		}
	})
}

func TestRoundTripScreen(t *testing.T) {
	s, next := squad(t), counter()
	rapid.Check(t, func(rt *rapid.T) {
		d, id := drawn{rt}, next("S")
		for revision := range 2 {
			want := d.screen(id, "A", "T")
			put := want
			must(rt, s.Write(t.Context(), func(tx *Tx) error { return second(tx.PutScreen(&put, revision)) }))
			must(rt, s.Read(t.Context(), func(tx *Tx) error {
				got, err := tx.Screen(id)
				same(rt, "what the put gave back", put, got)
				got.Revision, got.Changed = 0, time.Time{}
				same(rt, "screen", got, want)
				return err
			}))
			if put.Revision == revision {
				return
			}
		}
	})
}

// TestRoundTripReading reads readings back by both ways there are: one by its id, all in a record.
func TestRoundTripReading(t *testing.T) {
	s, next := squad(t), counter()
	rapid.Check(t, func(rt *rapid.T) {
		d, id := drawn{rt}, next("S")
		want := []screen.Reading{d.reading(next("R"), id), d.reading(next("R"), id)}
		sent := append([]screen.Reading(nil), want...)
		must(rt, s.Write(t.Context(), func(tx *Tx) error {
			must(rt, second(tx.PutScreen(screenOn(id, "A", "T", "2026-02-11"), 0)))
			return second(tx.PutReadings(id, sent, nil))
		}))
		same(rt, "what was sent", sent, want)
		must(rt, s.Read(t.Context(), func(tx *Tx) error {
			got, err := tx.Reading(want[0].ID)
			must(rt, err)
			same(rt, "reading", got, want[0])
			rec, err := tx.Record(id)
			must(rt, err)
			same(rt, "readings", rec.Readings, want)
			return nil
		}))
	})
}

func TestRoundTripEntries(t *testing.T) {
	s, next := squad(t), counter()
	rapid.Check(t, func(rt *rapid.T) {
		d, id := drawn{rt}, next("S")
		n := screen.NotDone{ID: next("N"), Screen: id, Measure: d.text("measure"), Side: pick(d, "side", screen.Left, ""),
			Reason: pick(d, "reason", append(screen.Reasons(), "")...), Entered: d.time("entered")}
		a := screen.ChecklistAnswer{ID: next("C"), Screen: id, Item: d.text("item"), Answer: pick(d, "answer", screen.Met, ""),
			Examiner: d.text("examiner"), Entered: d.time("entered")}
		y := screen.Symptom{ID: next("Y"), Screen: id, Symptom: d.text("symptom"), Side: pick(d, "side", screen.Right, ""),
			Note: d.text("note"), Entered: d.time("entered"), Withdrawn: d.text("withdrawn")}
		must(rt, s.Write(t.Context(), func(tx *Tx) error {
			must(rt, second(tx.PutScreen(screenOn(id, "A", "T", "2026-02-11"), 0)))
			must(rt, second(tx.PutNotDone(id, []screen.NotDone{n})))
			must(rt, second(tx.PutChecklist(id, []screen.ChecklistAnswer{a})))
			return second(tx.PutSymptoms(id, []screen.Symptom{y}))
		}))
		for _, at := range []*time.Time{&n.Entered, &a.Entered, &y.Entered} {
			if at.IsZero() {
				*at = start
			}
		}
		must(rt, s.Read(t.Context(), func(tx *Tx) error {
			rec, err := tx.Record(id)
			must(rt, err)
			same(rt, "not done", rec.NotDone, []screen.NotDone{n})
			same(rt, "checklist", rec.Checklist, []screen.ChecklistAnswer{a})
			same(rt, "symptoms", rec.Symptoms, []screen.Symptom{y})
			got, err := tx.Symptom(y.ID)
			same(rt, "symptom", got, y)
			return err
		}))
	})
}

// TestRoundTripTrials is the text of trials alone, for every number there is but NaN.
func TestRoundTripTrials(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		want := rapid.SliceOfN(rapid.Float64(), 1, 6).Draw(rt, "trials")
		got, err := parseTrials(trialsText(want))
		must(rt, err)
		same(rt, trialsText(want), got, want)
	})
	if _, err := parseTrials("1  2"); err == nil {
		t.Error("an empty number was taken")
	}
}
