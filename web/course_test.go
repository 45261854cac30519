package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// often is an athlete with so many visits, two weeks apart, the last one on the day of the tests. The
// throwing side lags behind in every measure, less and less.
func (p *place) often(visits int, kind screen.Kind, only ...string) string {
	p.t.Helper()
	ctx, who, team := context.Background(), clinic.LocalAdministrator, p.scenario.Teams[0].ID
	a := p.scenario.Athletes[0]
	a.ID, a.Name, a.ExternalID, a.Revision = fmt.Sprintf("often-%d", visits), "Often Seen", "", 0
	a.Hands = []screen.HandSince{{Hand: screen.RightHand}}
	_, err := p.clinic.PutAthlete(ctx, who, a, team, 0)
	p.must(err)
	for i := range visits {
		s := screen.Screen{ID: fmt.Sprintf("%s-%d", a.ID, i), Athlete: a.ID, Team: team, On: screen.Date("2026-03-10").AddDays(-14 * (visits - 1 - i)), Kind: kind}
		if i == 0 {
			s.Kind = screen.Preseason
		}
		_, err := p.clinic.PutScreen(ctx, who, s, 0)
		p.must(err)
		_, err = p.clinic.SaveReadings(ctx, who, s.ID, p.lagging(s.ID, i, only))
		p.must(err)
	}
	return a.ID
}

func (p *place) lagging(id string, visit int, only []string) (out []clinic.Entry) {
	protocol := p.clinic.Protocol()
	for i := range protocol.Measures {
		m := &protocol.Measures[i]
		if m.Derived != nil || len(m.Typical) < 2 || len(only) > 0 && !slices.Contains(only, m.ID) {
			continue
		}
		mid, width := (m.Typical[0]+m.Typical[1])/2, m.Typical[1]-m.Typical[0]
		lag := 0.45 * width * math.Exp(-float64(visit)/100) // most measures stay open: the longest page
		if m.Worse == "higher" {
			lag = -lag
		}
		for k, side := range []screen.Side{screen.Right, screen.Left} {
			v := mid - lag*float64(1-k) + 0.02*width*math.Sin(float64(3*visit+i+k))
			if m.Scale == screen.Count || m.Scale == screen.Category {
				v = math.Floor(mid)
			}
			if !m.Paired {
				if k > 0 {
					continue
				}
				side = screen.NoSide
			}
			r := screen.Reading{ID: fmt.Sprintf("%s-%s-%s", id, m.ID, side), Measure: m.ID, Side: side, Examiner: "k", Trials: []float64{v, v}}
			out = append(out, clinic.Entry{Reading: r, Sign: "as_written"})
		}
	}
	return out
}

// The course page with every measure of 50 visits: reading, scoring, trends, words, tables.
func BenchmarkCourse50(b *testing.B) {
	p := newPlace(b, Options{})
	id := p.often(50, screen.InSeason)
	body := p.get("/athletes/"+id+"/course", http.StatusOK)
	for b.Loop() {
		p.get("/athletes/"+id+"/course", http.StatusOK)
	}
	b.ReportMetric(float64(len(body))/1e3, "kB")
	b.ReportMetric(float64(strings.Count(body, `<article class="finding course"`)), "sections")
}

// rehab are the demo's athletes in rehabilitation.
func (p *place) rehab() (out []string) {
	p.t.Helper()
	for i := range p.scenario.Records {
		if s := &p.scenario.Records[i].Screen; s.Kind == screen.Rehab && !slices.Contains(out, s.Athlete) {
			out = append(out, s.Athlete)
		}
	}
	return out
}

func (p *place) event(athlete string, e screen.Event) {
	p.t.Helper()
	e.Athlete = athlete
	_, _, err := p.clinic.PutEvent(context.Background(), clinic.LocalAdministrator, e)
	p.must(err)
}

// screened adds a screen with the shoulder's rotation on both sides.
func (p *place) screened(athlete, id string, on screen.Date, kind screen.Kind, right, left float64) {
	p.t.Helper()
	ctx, who := context.Background(), clinic.LocalAdministrator
	_, err := p.clinic.PutScreen(ctx, who, screen.Screen{ID: id, Athlete: athlete, Team: p.scenario.Teams[0].ID, On: on, Kind: kind}, 0)
	p.must(err)
	var entries []clinic.Entry
	for _, x := range []struct {
		measure string
		side    screen.Side
		v       float64
	}{{"shoulder_internal_rotation", screen.Right, right}, {"shoulder_internal_rotation", screen.Left, left},
		{"shoulder_external_rotation", screen.Right, 100}, {"shoulder_external_rotation", screen.Left, 100}} {
		entries = append(entries, clinic.Entry{Reading: screen.Reading{ID: id + x.measure + string(x.side), Measure: x.measure, Side: x.side, Examiner: "k", Trials: []float64{x.v, x.v}}})
	}
	_, err = p.clinic.SaveReadings(ctx, who, id, entries)
	p.must(err)
}

func (p *place) newcomer(id string) string {
	p.t.Helper()
	a := p.scenario.Athletes[0]
	a.ID, a.Name, a.ExternalID, a.Revision = id, "New Comer", "", 0
	a.Hands = []screen.HandSince{{Hand: screen.RightHand}}
	_, err := p.clinic.PutAthlete(context.Background(), clinic.LocalAdministrator, a, p.scenario.Teams[0].ID, 0)
	p.must(err)
	return id
}

// coursePageOf is the page, which must be whole and plain.
func (p *place) coursePageOf(athlete, query string) string {
	p.t.Helper()
	body := p.get("/athletes/"+athlete+"/course"+query, http.StatusOK)
	wants(p.t, body, "<h1>Course of ", "Injuries, exercises and clearances", "A screen is not a diagnosis", "</html>")
	wantsNot(p.t, body, "ZgotmplZ", "&lt;no value&gt;", "%!", "NaN", "Inf", "<script>", "<style", "risk of", "..")
	return body
}

// What the page says of a measure is what its course says.
func TestCoursePageOfRehab(t *testing.T) {
	p := newPlace(t, Options{Demo: true})
	for _, id := range p.rehab() {
		body := p.coursePageOf(id, "")
		v, err := p.clinic.Course(t.Context(), clinic.LocalAdministrator, id)
		p.must(err)
		followed := 0
		for i := range v.Measures {
			m := &v.Measures[i]
			section := strings.Contains(body, `id="course-`+m.Rule+map[bool]string{true: "-" + string(m.Side), false: ""}[m.Side != ""]+`"`)
			if open := m.State != score.StateClear && m.State != score.StateShown; section != open {
				t.Errorf("%s is %s, shown as a section: %v", m.Rule, m.State, section)
			} else if open {
				followed++
				wants(t, body, "/api/v1/athletes/"+id+"/charts/course/"+m.Rule)
				for _, c := range []*score.Change{m.SinceBaseline, m.SinceLast} {
					if c != nil {
						wants(t, body, c.Lines(p.clinic.Scorer(), m)[0])
					}
				}
			}
		}
		if followed == 0 {
			t.Errorf("nothing is followed of %s", id)
		}
		wants(t, body, "When to screen again", "Enter it", "rehab visit", `href="/athletes/`+id+`"`)
		wants(t, p.get("/athletes/"+id, http.StatusOK), `href="/athletes/`+id+`/course"`)
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestCourseOfEveryDemoAthlete(t *testing.T) {
	p := newPlace(t, Options{Demo: true})
	for i := range p.scenario.Athletes {
		p.coursePageOf(p.scenario.Athletes[i].ID, "")
	}
	p.coursePageOf(switchHitter, "")
}

func TestCourseOddCases(t *testing.T) {
	p := newPlace(t, Options{})
	body := p.coursePageOf(nobodyYet, "")
	wants(t, body, "Not screened yet: there is no course.", "&lt;img", "None is on file.")
	wantsNot(t, body, "When to screen again", "chart.js", "<figure")

	one := p.newcomer("one")
	p.screened(one, "one-1", "2026-03-01", screen.Preseason, 30, 60)
	body = p.coursePageOf(one, "")
	wants(t, body, "Followed", "Very likely a true deficit", "1 Mar 2026", "A deficit is read once more on another day")
	wantsNot(t, body, "Since the baseline", "Since the visit before")

	p.screened(one, "one-2", "2026-03-01", screen.Preseason, 30, 60) // the same day: still one visit
	body = p.coursePageOf(one, "")
	wantsNot(t, body, "Since the baseline", "Since the visit before")
	if n := strings.Count(body, `/athletes/one?screen=`); n != 1 {
		t.Errorf("two screens of a day are %d visits", n)
	}

	same := p.newcomer("same")
	for i := range 5 {
		p.screened(same, fmt.Sprintf("same-%d", i), screen.Date("2026-01-05").AddDays(14*i), screen.InSeason, 40, 60)
	}
	wants(t, p.coursePageOf(same, ""), "No preseason screen without a referral sign has this measure", "no change")

	early := p.newcomer("early") // visits before the baseline
	for i, k := range []screen.Kind{screen.InSeason, screen.InSeason, screen.Preseason, screen.InSeason} {
		p.screened(early, fmt.Sprintf("early-%d", i), screen.Date("2025-11-05").AddDays(28*i), k, 30+float64(i), 60)
	}
	wants(t, p.coursePageOf(early, ""), "Since the baseline, the visit before, 31 Dec 2025: from 28° to 27°", "the last preseason screen without a referral sign, 31 Dec 2025")
	p.get("/athletes/none/course", http.StatusNotFound)
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestCourseOfManyVisits(t *testing.T) {
	p := newPlace(t, Options{})
	id := p.often(70, screen.InSeason, "shoulder_internal_rotation", "shoulder_external_rotation")
	body := p.coursePageOf(id, "?rule=internal_rotation_loss")
	wants(t, body, "The table has the newest visits of 70.", "70 visits, the newest on 10 Mar 2026")
	start := strings.Index(body, `id="course-internal_rotation_loss"`)
	section := body[start : start+strings.Index(body[start:], "</article>")]
	if n := strings.Count(section, `<th scope="row">`); n != tableRows {
		t.Errorf("%d rows in the table", n)
	}
	wants(t, section, `<th scope="row">10 Mar 2026</th>`)
}

func TestCourseOfOneRule(t *testing.T) {
	p := newPlace(t, Options{})
	id := p.rehab()[0]
	v, err := p.clinic.Course(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	i := slices.IndexFunc(v.Measures, func(m score.MeasureCourse) bool { return m.State == score.StateClear && m.Side == "" })
	k := slices.IndexFunc(v.Measures, func(m score.MeasureCourse) bool { return m.Side == screen.Left && m.State == score.StateShown })
	if i < 0 || k < 0 {
		t.Fatal("no measure that is clear, or none on one side")
	}
	clear, sided := v.Measures[i].Rule, v.Measures[k].Rule
	wantsNot(t, p.coursePageOf(id, ""), `id="course-`+clear+`"`, "Asked for")
	wants(t, p.coursePageOf(id, "?rule="+clear), `id="course-`+clear+`"`, "Asked for", `aria-current="true"`)
	wants(t, p.coursePageOf(id, "?rule="+sided+"&side=left"), `id="course-`+sided+`-left"`, "charts/course/"+sided+"?side=left")
	last := "" // of those that are followed, the one that stands last: asked for, it stands first
	for _, x := range strings.Split(p.coursePageOf(id, ""), `<article class="finding course" id="course-`)[1:] {
		last, _, _ = strings.Cut(x, `"`)
	}
	rule, side, _ := strings.Cut(last, "-")
	body := p.coursePageOf(id, "?rule="+rule+"&side="+side)
	first, _, _ := strings.Cut(strings.Split(body, `<article class="finding course" id="course-`)[1], `"`)
	if first != last {
		t.Errorf("asked for %s, %s stands first", last, first)
	}
	wants(t, p.get("/athletes/"+id+"/course?rule=none", http.StatusNotFound), "Not found")
}

func TestEventForm(t *testing.T) {
	p := newPlace(t, Options{})
	id := p.rehab()[0]
	address := "/athletes/" + id + "/course/events"
	w := p.post(address, url.Values{"id": {"e1"}, "kind": {"clearance"}, "on": {"2026-03-11"}, "link": {"shoulder"}, "side": {"left"}, "note": {""}})
	body := w.Body.String()
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("status %d", w.Code)
	}
	wants(t, body, "Not saved.", "is in the future", "does not say who gave it", `id="fault-event-on"`, `id="fault-event-note"`, `value="2026-03-11"`,
		`<option value="clearance" selected>`, `<option value="shoulder" selected>`, `<option value="left" selected>`, `name="id" value="e1"`)
	ok := url.Values{"id": {"e1"}, "kind": {"injury"}, "on": {"2026-02-20"}, "link": {"shoulder"}, "side": {"left"}, "note": {hostile}}
	for range 2 { // a form sent twice is one event
		if w := p.post(address, ok); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/athletes/"+id+"/course#events" {
			t.Fatalf("status %d to %s", w.Code, w.Header().Get("Location"))
		}
	}
	body = p.coursePageOf(id, "")
	wants(t, body, "20 Feb 2026: Injury", "&lt;img src=x", "On hold: an injury is on file, and no clearance since.", "A licensed clinician says when to go on")
	if strings.Count(body, "20 Feb 2026: Injury") != 1 {
		t.Error("the event is listed twice")
	}
	ok.Set("on", "2026-02-21")
	if w := p.post(address, ok); w.Code != http.StatusConflict {
		t.Errorf("the same id with another day: %d", w.Code)
	}
	if w := p.post("/athletes/none/course/events", url.Values{"id": {"e7"}, "kind": {"injury"}, "on": {"2026-02-20"}}); w.Code != http.StatusNotFound {
		t.Errorf("an unknown athlete: %d", w.Code)
	}
	if w := p.do(http.MethodGet, address, nil); w.Code != http.StatusSeeOther {
		t.Errorf("the address of the form by itself: %d", w.Code)
	}
	if w := p.do(http.MethodPost, address, strings.NewReader(ok.Encode()), "Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "cross-site"); w.Code != http.StatusForbidden {
		t.Errorf("from a stranger: %d", w.Code)
	}
}

func TestWithdrawEventForm(t *testing.T) {
	p := newPlace(t, Options{})
	ids := p.rehab()
	p.event(ids[0], screen.Event{ID: "e1", On: "2026-02-20", Kind: screen.EventInjury})
	address := "/athletes/" + ids[0] + "/course/events/e1/withdraw"
	w := p.post(address, url.Values{"why": {"  "}})
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("status %d", w.Code)
	}
	wants(t, w.Body.String(), `id="fault-why-e1"`, "The reason is missing", `<details class="screenonly" open>`)
	if w := p.post("/athletes/"+ids[1]+"/course/events/e1/withdraw", url.Values{"why": {"x"}}); w.Code != http.StatusNotFound {
		t.Errorf("another athlete's event: %d", w.Code)
	}
	if w := p.post(address, url.Values{"why": {"another athlete"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("status %d", w.Code)
	}
	body := p.coursePageOf(ids[0], "")
	wants(t, body, "<del><b>20 Feb 2026: Injury</b></del> Taken back: another athlete")
	wantsNot(t, body, "On hold")
}

// A measure that several rules look at is listed once.
func TestDueListsAMeasureOnce(t *testing.T) {
	p := newPlace(t, Options{})
	s, err := newServer(p.clinic, Options{})
	p.must(err)
	why := "The same reason."
	v := s.dueView(&score.Due{On: "2026-04-01", Why: why + " 2 more measures are due later.", Measures: []score.DueMeasure{
		{Rule: "a", Name: "A", Measure: "hip_internal_rotation", Trials: 2, On: "2026-04-01", Why: why},
		{Rule: "b", Name: "B", Measure: "hip_internal_rotation", Trials: 2, On: "2026-04-02", Why: why},
		{Rule: "c", Name: "C", Measure: "shoulder_flexion", Trials: 1, On: "2026-04-03", Why: "by then"},
	}})
	want := []dueLine{{"Hip internal rotation", "2 trials on each side", ""}, {"Shoulder flexion", "1 trial on each side, from 3 Apr 2026", "By then."}}
	if !slices.Equal(v.Measures, want) {
		t.Errorf("%+v", v.Measures)
	}
}

func TestCourseNeeds(t *testing.T) {
	p := newPlace(t, Options{})
	sore := p.referred()
	body := p.coursePageOf(sore, "")
	wants(t, body, "needs urgent", "no clearance since. Stop throwing and see a licensed clinician.", "A licensed clinician says when to go on")
	p.event(sore, screen.Event{ID: "c1", On: "2026-03-10", Kind: screen.EventClearance, Note: "Dr A. Example"})
	wantsNot(t, p.coursePageOf(sore, ""), "needs urgent")

	fine := p.newcomer("fine")
	p.screened(fine, "fine-1", "2026-03-01", screen.Preseason, 60, 60)
	wants(t, p.coursePageOf(fine, ""), "Nothing needs to be followed.", "Nothing is followed, so no date is proposed.")

	late := p.newcomer("late")
	p.screened(late, "late-1", "2025-06-01", screen.Preseason, 30, 60)
	wants(t, p.coursePageOf(late, ""), "Screen again: it was due on ", ", overdue")

	done := p.newcomer("done")
	for i, v := range []float64{30, 60, 61} {
		p.screened(done, fmt.Sprintf("done-%d", i), screen.Date("2026-01-05").AddDays(28*i), []screen.Kind{screen.Preseason, screen.InSeason, screen.InSeason}[i], v, 60)
	}
	wants(t, p.coursePageOf(done, ""), "Nothing is open: ", "Target met")

	once := p.newcomer("once")
	p.screened(once, "once-1", "2026-01-05", screen.Preseason, 30, 60)
	p.screened(once, "once-2", "2026-03-08", screen.InSeason, 60, 60)
	wants(t, p.coursePageOf(once, ""), "met once: a second look on another day decides.", "Met once: confirm it.")
}
