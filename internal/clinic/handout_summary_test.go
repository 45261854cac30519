package clinic

import (
	"slices"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// A day of three: one with everything missing at one station and a doubt, one on hold, one not seen. The
// board's own words are shortened to those of narrow columns.
func TestDaySummaryPutsTheDayTogether(t *testing.T) {
	s := shipped(t)
	person := func(id string, number int) DayAthlete {
		a := DayAthlete{Participant: screen.Participant{Athlete: id, Number: number, Screen: "s" + id, Twice: number == 1}}
		a.Person.ID, a.Person.Name = id, "Name "+id
		return a
	}
	view := DayView{Team: screen.Team{Name: "Team"}, Athletes: []DayAthlete{person("a", 1), person("b", 2), person("c", 3)}}
	var reports []*score.Report
	for _, id := range []string{"a", "b"} {
		rec := thrower(screen.RightHand)
		rec.Athlete.ID, rec.Screen.ID = id, "s"+id
		both(rec, "elbow_extension", []float64{0, 0, 0}, []float64{-20, -20, -20})
		if id == "b" {
			both(rec, "trunk_rotation", []float64{60, 60, 60}, []float64{60, 60, 60})
			rec.Symptoms = []screen.Symptom{{ID: "x", Symptom: "fever_or_ill"}, {ID: "y", Symptom: "fever_or_ill", Side: screen.Left}}
		}
		reports = append(reports, s.Score(rec, score.Options{}))
	}
	board := Board{
		Stations: []BoardStation{{Station: screen.Station{Name: "Check-in"}}, {Station: screen.Station{Name: "Arm"}}},
		Rows: []BoardRow{
			{DayAthlete: view.Athletes[0], Cells: []BoardCell{{Missing: 1, Names: []string{"Check-in"}}, {Taken: 2, NotDone: 1, Others: "1 not done: pain", Missing: 3, Second: 1, SecondMissing: 2,
				Names: []string{"Elbow flexion, left", "Elbow flexion, right", "Grip strength, right"}}}},
			{DayAthlete: view.Athletes[1], Hold: true, Complete: true, Cells: []BoardCell{{Missing: 1, Names: []string{"Check-in"}}}},
			{DayAthlete: view.Athletes[2], Cells: []BoardCell{{Missing: 1, Names: []string{"Check-in"}}}},
		},
		Again: []DayQuestion{{Athlete: "a", Number: 1, Kind: "unsettled", Measure: "elbow_flexion"}, {Athlete: "a", Number: 1, Kind: "trials_apart", Measure: "grip_strength", Side: screen.Left},
			{Athlete: "gone", Kind: "unsettled", Measure: "elbow_flexion"}},
	}
	got := daySummary(s, &view, &board, reports)
	if got.Screened != 2 || got.Listed() != 3 || got.Complete != 0 || len(got.NotSeen) != 1 || got.NotSeen[0].Athlete != "c" {
		t.Errorf("%d of %d, %d complete, not seen %+v", got.Screened, got.Listed(), got.Complete, got.NotSeen)
	}
	if len(got.Holds) != 1 || !slices.Equal(got.Holds[0].Signs, []string{"Fever or feeling ill"}) {
		t.Errorf("on hold: %+v", got.Holds)
	}
	if len(got.Rows) != 2 || got.Rows[0].Athlete != "b" || got.Rows[0].Rank != 1 || !strings.HasPrefix(got.Rows[1].Why, "1 of 13 core") && !strings.Contains(got.Rows[1].Why, "measure first") {
		t.Errorf("triage: %+v", got.Rows)
	}
	// Two elbows of two are beyond threshold, and no trunk of the one measured.
	if want := []SummaryLink{{"Elbow", 2, 2}, {"Trunk", 0, 1}}; !slices.Equal(got.Links, want) {
		t.Errorf("links: %+v", got.Links)
	}
	if len(got.Missing) != 1 || !slices.Equal(got.Missing[0].What, []string{"all of Check-in", "Elbow flex.", "Grip right", "1 not done: pain"}) {
		t.Errorf("missing: %+v", got.Missing)
	}
	if len(got.Again) != 1 || !slices.Equal(got.Again[0].What, []string{"trials apart: Grip left", "not settled: Elbow flex."}) {
		t.Errorf("again: %+v", got.Again)
	}
	if len(got.Twice) != 1 || got.Twice[0].Words() != "1 taken a second time, 2 missing" {
		t.Errorf("twice: %+v", got.Twice)
	}
}

// A station that was not held is said once, not of everybody.
func TestDaySummaryShares(t *testing.T) {
	d := DaySummary{Missing: []SummaryMissing{{What: []string{"all of Mechanics"}}, {What: []string{"Grip", "all of Mechanics"}}}}
	d.shareMissing()
	if !slices.Equal(d.OfAll, []string{"all of Mechanics"}) || len(d.Missing) != 1 || !slices.Equal(d.Missing[0].What, []string{"Grip"}) {
		t.Errorf("%+v", d)
	}
	if got := fewOf([]string{"a", "b", "c", "d", "e", "f"}); got != "a, b, c, d and 2 more" {
		t.Error(got)
	}
}
