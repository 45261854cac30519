package store

import (
	"fmt"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// dayOf is a screening day with two stations, whose codes begin with the day's id.
func dayOf(id, team string, on screen.Date) *screen.Day {
	return &screen.Day{ID: id, Team: team, On: on, Kind: screen.Preseason, SideOrder: screen.ThrowingFirst, Every: 5,
		Stations: []screen.Station{
			{Code: id + "-one", Name: "Check-in", Steps: []screen.Step{{Kind: screen.StepCheckIn}}},
			{Code: id + "-two", Name: "Shoulder", Steps: []screen.Step{
				{Kind: screen.StepMeasure, Measure: "measure_00", Trials: 3}, {Kind: screen.StepChecklist}}},
		}}
}

// participant is number n of a day's list, athlete An, whose screen is named after both.
func participant(day string, n int) screen.Participant {
	return screen.Participant{Day: day, Athlete: fmt.Sprintf("A%d", n), Number: n, Code: fmt.Sprintf("%d-xyz", n),
		Screen: fmt.Sprintf("%s-S%d", day, n)}
}

// dayEntries are n entries of day D from the number given on, as a station sends them.
func dayEntries(from, n int) []screen.DayEntry {
	out := make([]screen.DayEntry, n)
	for i := range out {
		at := start.Add(time.Duration(from+i) * time.Second)
		out[i] = screen.DayEntry{Day: "D", ID: fmt.Sprintf("0198c0de-0000-7000-8000-%012d", from+i), Kind: screen.DayReading,
			Athlete: "A1", Screen: "D-S1", Station: "D-two", About: "measure_00", Side: screen.Left, Round: 1,
			Examiner: "Examiner", Device: "device-1", Taken: at, At: at, Received: at.Add(time.Second),
			Digest: "0123456789abcdef0123456789abcdef"}
	}
	return out
}

// dayStore is a store with team T, athletes A1 to A20, and day D of T with A1, A2 and A3 on its list.
func dayStore(t testing.TB) *Store {
	t.Helper()
	s := newStore(t)
	write(t, s, func(tx *Tx) error {
		if _, err := tx.PutTeam(team("T"), 0); err != nil {
			return err
		}
		for i := range 20 {
			if _, err := tx.PutAthlete(athlete(fmt.Sprintf("A%d", i+1)), 0); err != nil {
				return err
			}
		}
		if _, err := tx.PutDay(dayOf("D", "T", "2026-02-10"), 0); err != nil {
			return err
		}
		_, err := tx.PutParticipants("D", []screen.Participant{participant("D", 1), participant("D", 2), participant("D", 3)})
		return err
	})
	return s
}
