package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Every finding of an athlete's page leads to a page that says how it was worked out, and back.
func TestEveryFindingLeadsToItsArithmetic(t *testing.T) {
	p := newPlace(t, Options{})
	worked := regexp.MustCompile(`class="worked" href="([^"]+)"`)
	last := p.scenario.Records[len(p.scenario.Records)-1].Screen
	for _, athlete := range []string{last.Athlete, switchHitter} {
		body := p.get("/athletes/"+athlete, http.StatusOK)
		links := worked.FindAllStringSubmatch(body, -1)
		if len(links) < 10 {
			t.Fatalf("%d links for %s", len(links), athlete)
		}
		for _, l := range links {
			page := p.get(strings.ReplaceAll(l[1], "&amp;", "&"), http.StatusOK)
			wants(t, page, "<h1>How this was worked out</h1>", "1. ", "The verdict</h2>", "What would change it", "in 100", "Back to the finding", "A screen is not a diagnosis")
			wantsNot(t, page, "ZgotmplZ", "&lt;no value&gt;", "%!", "NaN", "<script>", "<style", "risk of")
			back := regexp.MustCompile(`href="[^"]+#(finding-[^"]+)">Back`).FindStringSubmatch(page)
			if back == nil || !strings.Contains(body, `id="`+back[1]+`"`) {
				t.Errorf("%s: the way back leads to no finding: %v", l[1], back)
			}
		}
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

// The page shows the numbers that the score has, and a rule of two conditions leads to both.
func TestExplainPage(t *testing.T) {
	p := newPlace(t, Options{})
	for i := range p.scenario.Records {
		rec := &p.scenario.Records[i]
		a, err := p.clinic.Score(t.Context(), clinic.LocalAdministrator, rec.Screen.ID)
		p.must(err)
		for k := range a.Report.Findings {
			f := &a.Report.Findings[k]
			if f.Rule != "rotation_loss_with_arc_loss" {
				continue
			}
			page := p.get("/screens/"+rec.Screen.ID+"/findings/"+f.Rule, http.StatusOK)
			wants(t, page, score.OutOf100(f.P), score.OutOf100(f.PMeasured), string(f.Verdict), "/findings/internal_rotation_loss", "/findings/total_arc_loss", rec.Athlete.Name)
			return
		}
	}
	t.Fatal("the demo has no finding of two conditions")
}

func TestExaminersAreText(t *testing.T) {
	p := newPlace(t, Options{})
	id := "screen-hostile"
	_, err := p.clinic.PutScreen(t.Context(), clinic.LocalAdministrator, screen.Screen{ID: id, Athlete: nobodyYet, Team: p.scenario.Teams[0].ID, On: "2026-03-01", Kind: screen.Preseason, Examiner: hostile}, 0)
	p.must(err)
	var entries []clinic.Entry
	for i, side := range []screen.Side{screen.Left, screen.Right} {
		entries = append(entries, clinic.Entry{Sign: "as_written", Reading: screen.Reading{ID: "h" + string(side), Screen: id, Measure: "shoulder_internal_rotation",
			Side: side, Trials: []float64{50 + float64(5*i), 51}, Examiner: hostile}})
	}
	_, err = p.clinic.SaveReadings(t.Context(), clinic.LocalAdministrator, id, entries)
	p.must(err)
	page := p.get("/screens/"+id+"/findings/internal_rotation_loss", http.StatusOK)
	wants(t, page, "by &lt;img src=x onerror=")
	wantsNot(t, page, "<img")
}

func TestNoSuchArithmetic(t *testing.T) {
	p := newPlace(t, Options{})
	for _, path := range []string{"/screens/none/findings/internal_rotation_loss", "/screens/" + switchScreen + "/findings/none", "/screens/" + switchScreen + "/findings/stance_time_short?side=up"} {
		wants(t, p.get(path, http.StatusNotFound), "<h1>Not found</h1>")
	}
}
