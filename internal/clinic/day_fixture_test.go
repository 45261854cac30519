package clinic

import (
	"context"
	"fmt"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// dayRig is a screening day with a check-in, a shoulder station and one for the checklist.
type dayRig struct {
	*Clinic
	t    testing.TB
	day  screen.Day
	n    int
	sent time.Time // by the device's clock
	dev  string
	by   string
}

const (
	irID = "shoulder_internal_rotation"
	erID = "shoulder_external_rotation"
)

// newDay lists n athletes, a01 left-handed, the others right-handed.
func newDay(t testing.TB, n int) *dayRig {
	t.Helper()
	return dayOn(t, open(t), n)
}

// dayOn is such a day in a clinic.
func dayOn(t testing.TB, c *Clinic, n int) *dayRig {
	t.Helper()
	ctx := context.Background()
	must[screen.Team](t)(c.PutTeam(ctx, boss, screen.Team{ID: "t1", Name: "Team", Sport: "baseball"}, 0))
	for i := range n {
		a := screen.Athlete{ID: fmt.Sprintf("a%02d", i+1), Name: fmt.Sprintf("Athlete %02d", i+1), Born: "2011-04-02", Sex: screen.Male, Sport: "baseball",
			Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
		if i == 0 {
			a.Hands[0].Hand = screen.LeftHand
		}
		must[screen.Athlete](t)(c.PutAthlete(ctx, boss, a, "t1", 0))
	}
	d := screen.Day{ID: "d1", Team: "t1", On: "2026-02-10", Kind: screen.Preseason, SideOrder: screen.ThrowingFirst, Every: 5, Stations: []screen.Station{
		{Code: "CHECK", Name: "Check-in", Steps: []screen.Step{{Kind: screen.StepCheckIn}}},
		{Code: "SHOULDER", Name: "Shoulder", Steps: []screen.Step{{Kind: screen.StepMeasure, Measure: irID}, {Kind: screen.StepMeasure, Measure: erID}}},
		{Code: "THROW", Name: "Throwing", Steps: []screen.Step{{Kind: screen.StepChecklist}}},
	}}
	d = must[screen.Day](t)(c.PutDay(ctx, boss, d, nil, 0))
	return &dayRig{Clinic: c, t: t, day: d, sent: c.now(), dev: "tablet-1", by: "KD"}
}

func (r *dayRig) entry(kind screen.DayEntryKind, athlete, about string) StationEntry {
	r.n++
	return StationEntry{ID: fmt.Sprintf("e%d", r.n), Kind: kind, Athlete: athlete, Examiner: r.by, Taken: r.sent, About: about, Side: screen.NoSide}
}

func (r *dayRig) reading(athlete, measure string, side screen.Side, trials ...float64) StationEntry {
	e := r.entry(screen.DayReading, athlete, measure)
	e.Side, e.Trials = side, trials
	return e
}

func (r *dayRig) save(code string, entries ...StationEntry) BatchResult {
	r.t.Helper()
	return must[BatchResult](r.t)(r.SaveEntries(context.Background(), boss, code, Batch{Sent: r.sent, Device: r.dev, Entries: entries}))
}

// added saves entries and wants all of them to be added.
func (r *dayRig) added(code string, entries ...StationEntry) BatchResult {
	r.t.Helper()
	out := r.save(code, entries...)
	for _, x := range out.Results {
		if x.Status != EntryAdded {
			r.t.Fatalf("%+v", x)
		}
	}
	return out
}

func (r *dayRig) board() Board {
	r.t.Helper()
	return must[Board](r.t)(r.Board(context.Background(), boss, "d1"))
}

func (r *dayRig) sheet(code string) StationSheet {
	r.t.Helper()
	return must[StationSheet](r.t)(r.Station(context.Background(), boss, code))
}

// athlete is how a station shows one.
func (r *dayRig) athlete(code string, number int) StationAthlete {
	r.t.Helper()
	for _, a := range r.sheet(code).Athletes {
		if a.Number == number {
			return a
		}
	}
	r.t.Fatalf("nobody has the number %d", number)
	return StationAthlete{}
}
