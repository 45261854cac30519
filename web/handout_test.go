package web

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// squadDay is a screening day on the date on which most of the demo's screens of a team were taken: they
// become those of the day.
func squadDay(p *place) clinic.DayView {
	p.t.Helper()
	ctx, who, team := p.t.Context(), clinic.LocalAdministrator, p.scenario.Teams[0].ID
	n, on := map[screen.Date]int{}, screen.Date("")
	for i := range p.scenario.Records {
		if s := &p.scenario.Records[i].Screen; s.Team == team {
			if n[s.On]++; n[s.On] >= n[on] { // of equals the latest: this season's
				on = s.On
			}
		}
	}
	d, err := p.clinic.PlanDay(ctx, who, team)
	p.must(err)
	d.On = on
	d, err = p.clinic.PutDay(ctx, who, d, nil, 0)
	p.must(err)
	view, err := p.clinic.Day(ctx, who, d.ID)
	p.must(err)
	return view
}

func handoutPath(v *clinic.DayView) string { return "/days/" + v.Day.ID + "/handouts" }

// sheetsOf are the sheets of a page.
func sheetsOf(body string) []string {
	return regexp.MustCompile(`(?s)<article class="handout .*?</article>`).FindAllString(body, -1)
}

func (p *place) makeHandouts(v *clinic.DayView) string {
	p.t.Helper()
	if w := p.post(handoutPath(v), url.Values{}); w.Code != http.StatusSeeOther || w.Header().Get("Location") != handoutPath(v) {
		p.t.Fatalf("%d %s", w.Code, w.Body)
	}
	return p.get(handoutPath(v), http.StatusOK)
}

func TestHandoutsAreMadeAndPrinted(t *testing.T) {
	p := newPlace(t, Options{Demo: true})
	v := squadDay(p)
	before := p.get(handoutPath(&v), http.StatusOK)
	wants(t, before, "No handout yet", "Make handouts", "have none yet", "&lt;img", "Nothing entered, nothing to print")
	wantsNot(t, before, "<article", "<img")
	body := p.makeHandouts(&v)
	all, err := p.clinic.Handouts(t.Context(), clinic.LocalAdministrator, v.Day.ID)
	p.must(err)
	sheets := sheetsOf(body)
	if len(sheets) != len(all.Sheets) || len(sheets) < 10 || len(all.Unmade) > 0 {
		t.Fatalf("%d sheets of %d handouts", len(sheets), len(all.Sheets))
	}
	wantsNot(t, body, "Make handouts", "Make them again", "Out of date", "<img", "%!", "NaN", "{side")
	stopped := 0
	for i, sheet := range sheets {
		wants(t, sheet, all.Sheets[i].Person.Name, "Demo: invented data", "A screen is not a diagnosis", p.clinic.Protocol().NameAndVersion(),
			"What was measured", "Screened on "+day(v.Day.On))
		said := strings.ReplaceAll(strings.ToLower(sheet), "not a diagnosis", "")
		wantsNot(t, said, "risk", "diagnos", "in 100).</b>")
		h3 := strings.Index(sheet, "<h3>")
		if len(all.Sheets[i].Text.Stop) > 0 {
			stopped++
			if !strings.HasPrefix(sheet[h3:], "<h3>Stop throwing and see a licensed clinician</h3>") {
				t.Errorf("the page of a referral sign begins with %.80s", sheet[h3:])
			}
		} else {
			wants(t, sheet, "What stands out", "What to do next", "When to see a doctor", "pain when you rest or at night")
		}
	}
	if stopped == 0 {
		t.Error("nobody of the day has a referral sign")
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestHandoutOfOneAthlete(t *testing.T) {
	p := newPlace(t, Options{})
	v := squadDay(p)
	p.makeHandouts(&v)
	var who clinic.DayAthlete
	for _, a := range v.Athletes {
		if a.Athlete == p.scenario.Records[0].Athlete.ID {
			who = a
		}
	}
	body := p.get(handoutPath(&v)+"?athlete="+who.Athlete, http.StatusOK)
	if len(sheetsOf(body)) != 1 {
		t.Errorf("%d sheets", len(sheetsOf(body)))
	}
	wants(t, body, "Handout of "+who.Person.Name, "All handouts of the day")
	wantsNot(t, body, "Demo: invented")
	body = p.get(handoutPath(&v)+"?athlete="+nobodyYet, http.StatusOK)
	wants(t, body, "Handout of &lt;img", "no entry")
	p.get(handoutPath(&v)+"?athlete=none", http.StatusNotFound)
	p.get("/days/none/handouts", http.StatusNotFound)
	p.get("/days/none/summary", http.StatusNotFound)
	if w := p.do(http.MethodPost, handoutPath(&v), strings.NewReader(""), "Sec-Fetch-Site", "cross-site"); w.Code != http.StatusForbidden {
		t.Errorf("a stranger's form: %d", w.Code)
	}
}

// A corrected reading leaves the sheet as it was, word for word, and the page says that it is out of date.
func TestHandoutsSayThatTheyAreOutOfDate(t *testing.T) {
	p := newPlace(t, Options{})
	v := squadDay(p)
	first := sheetsOf(p.makeHandouts(&v))
	rec := p.recordOf(&v)
	r := rec.Current()[0]
	_, err := p.clinic.Correct(t.Context(), clinic.LocalAdministrator, r.ID, clinic.Entry{Sign: "as_written",
		Reading: screen.Reading{ID: "corrected", Trials: []float64{r.Trials[0] + 1}, Why: "slip"}})
	p.must(err)
	body := p.get(handoutPath(&v), http.StatusOK)
	wants(t, body, "<h2>Out of date</h2>", "something was entered or corrected since", "Make them again", "1 is out of date.")
	if len(first) < 10 || len(sheetsOf(body)) != len(first) {
		t.Fatalf("%d sheets, then %d", len(first), len(sheetsOf(body)))
	}
	for i, sheet := range sheetsOf(body) {
		if sheet != first[i] {
			t.Error("a sheet changed")
		}
	}
	wantsNot(t, p.makeHandouts(&v), "Out of date", "Make them again")
}

// recordOf is the first record of a day's athletes.
func (p *place) recordOf(v *clinic.DayView) *screen.Record {
	p.t.Helper()
	for _, a := range v.Athletes {
		rec, err := p.clinic.Record(p.t.Context(), clinic.LocalAdministrator, a.Screen)
		if err == nil && len(rec.Current()) > 0 {
			return rec
		}
	}
	p.t.Fatal("nobody of the day was measured")
	return nil
}

// The numbers of the summary are counted anew from the records.
func TestDaySummary(t *testing.T) {
	p := newPlace(t, Options{})
	v := squadDay(p)
	body := p.get("/days/"+v.Day.ID+"/summary", http.StatusOK)
	screened, deficit, measured := 0, 0, 0
	for _, a := range v.Athletes {
		rec, err := p.clinic.Record(t.Context(), clinic.LocalAdministrator, a.Screen)
		if err != nil {
			continue
		}
		screened++
		wants(t, body, `href="/screens/`+rec.Screen.ID+`"`)
		for _, l := range p.clinic.Scorer().Score(rec, scoreOptions).Links {
			if l.Link == "shoulder" && l.P != nil {
				measured++
				if l.Verdict == "deficit" {
					deficit++
				}
			}
		}
	}
	wants(t, body, fmt.Sprintf("%d of %d athletes on the list screened", screened, len(v.Athletes)), "On hold", "Who needs attention first",
		fmt.Sprintf("<b>Shoulder</b>: %d of %d measured", deficit, measured), "What is missing", "Nothing entered", "&lt;img", "needs urgent",
		p.clinic.Protocol().NameAndVersion())
	wantsNot(t, body, "<img", "%!", "risk of")
	if !strings.Contains(body, "A screen is not a diagnosis") || p.log.Len() > 0 {
		t.Error("no caution, or an error: ", p.log)
	}
}

func TestSummaryOfAnEmptyDay(t *testing.T) {
	p := newPlace(t, Options{})
	d, err := p.clinic.PlanDay(t.Context(), clinic.LocalAdministrator, emptyTeam)
	p.must(err)
	d, err = p.clinic.PutDay(t.Context(), clinic.LocalAdministrator, d, nil, 0)
	p.must(err)
	wants(t, p.get("/days/"+d.ID+"/summary", http.StatusOK), "0 of 0 athletes", "Nobody was screened", "No link was measured")
	wants(t, p.get("/days/"+d.ID+"/handouts", http.StatusOK), "Nobody is on the list of this day")
}
