package score

import (
	"testing"

	"evenhand/internal/demo"
	"evenhand/internal/screen"
)

// Every athlete of the demo squad, reflected left to right and throwing with the other hand, gets the
// same findings at every screen.
func TestDemoMirrored(t *testing.T) {
	s := defaultScorer(t)
	squad := demo.Squad(s.p, 1, "2026-11-25")
	seen := map[string]bool{}
	for i := range squad.Records {
		rec := &squad.Records[i]
		seen[rec.Athlete.ID] = true
		a, b := s.Score(rec, Options{}), s.Score(mirrored(rec), Options{})
		if err := sameFindings(a, b, true); err != nil {
			t.Errorf("%s on %s: %v", rec.Athlete.ExternalID, rec.Screen.On, err)
		}
	}
	if len(seen) != demo.Athletes {
		t.Errorf("%d athletes were screened, want %d", len(seen), demo.Athletes)
	}
}

// The demo squad's triage has all three groups, deficits and clears: it shows what the program can say.
func TestDemoIsTelling(t *testing.T) {
	s := defaultScorer(t)
	squad := demo.Squad(s.p, 1, "2026-11-25")
	newest := map[string]*screen.Record{}
	for i := range squad.Records {
		rec := &squad.Records[i]
		if old := newest[rec.Athlete.ID]; old == nil || old.Screen.On <= rec.Screen.On {
			newest[rec.Athlete.ID] = rec
		}
	}
	var reports []*Report
	verdicts := map[Verdict]int{}
	for _, rec := range newest {
		rep := s.Score(rec, Options{})
		reports = append(reports, rep)
		for i := range rep.Findings {
			if rep.Findings[i].Counted {
				verdicts[rep.Findings[i].Verdict]++
			}
		}
	}
	groups := map[string]int{}
	for _, r := range s.Triage(reports) {
		groups[r.Group]++
	}
	t.Logf("verdicts %v, groups %v", verdicts, groups)
	if groups[GroupReferral] != 3 || groups[GroupRanked] < 30 || groups[GroupMeasureFirst] == 0 || verdicts[Deficit] == 0 || verdicts[Clear] == 0 {
		t.Errorf("verdicts %v, groups %v", verdicts, groups)
	}
}
