package web

import (
	"context"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"path"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func TestEveryPageRenders(t *testing.T) {
	p := newPlace(t, Options{Demo: true, Version: "1.2.3"})
	team, last := p.scenario.Teams[0].ID, p.scenario.Records[len(p.scenario.Records)-1].Screen
	screenID, reading := p.aReading()
	pages := []struct {
		path  string
		wants []string
	}{
		{"/", []string{p.scenario.Teams[0].Name, "Add a team", "Demo: invented data", "evenhand 1.2.3"}},
		{"/teams/" + team, []string{"By expected deficits", "Not screened yet", "Seasons", "data-chart=\"/api/v1/teams/" + team + "/charts/heat\""}},
		{"/teams/" + emptyTeam, []string{"no athletes yet", "No season is named"}},
		{"/teams/" + team + "/distribution", []string{"in the squad", "90 % interval"}},
		{"/teams/" + team + "/distribution?measure=shoulder_total_arc&athlete=" + switchHitter, []string{"(marked)"}},
		{"/teams/" + emptyTeam + "/distribution", []string{"No measure of this squad"}},
		{"/athletes/" + last.Athlete, []string{"Findings by need", "Throwing side", "Source and what speaks against it", "in 100"}},
		{"/athletes/" + last.Athlete + "?screen=" + p.scenario.Records[0].Screen.ID, nil},
		{"/athletes/" + nobodyYet + "?team=" + team, []string{"Not screened yet", "&lt;img"}},
		{"/athletes/" + switchHitter, []string{"With both hands", "Right side", "sides are only compared"}},
		{"/athletes/" + p.referred(), []string{"Referral sign", "Stop throwing and see a licensed clinician", "needs urgent"}},
		{"/athletes/" + p.referred() + "/print", []string{"scored 10 Mar 2026", p.clinic.Protocol().NameAndVersion(), p.clinic.Protocol().Cautions[0]}},
		{"/athletes/" + nobodyYet + "/print", []string{"Not screened yet"}},
		{"/screens/" + screenID, []string{"Readings of", "Correct"}},
		{"/screens/" + screenID + "/readings/" + reading.ID + "/correct", []string{"Why it is corrected", "Trial 1"}},
		{"/protocol", []string{"What each threshold can do", "What speaks against it", "Sources", "Of 100 athletes with a true deficit"}},
		{"/teams/" + team + "/import", []string{"A file, JSON or CSV"}},
		{"/teams/new", []string{"Add the team"}},
		{"/teams/" + team + "/edit", []string{"Save"}},
		{"/athletes/new?team=" + team, []string{"Throwing hand"}},
		{"/athletes/" + last.Athlete + "/edit", []string{"day from which it holds"}},
	}
	for _, x := range pages {
		if strings.Contains(x.path, "?screen=") {
			x.path = "/athletes/" + p.scenario.Records[0].Screen.Athlete + "?screen=" + p.scenario.Records[0].Screen.ID
		}
		t.Run(x.path, func(t *testing.T) {
			body := p.get(x.path, http.StatusOK)
			wants(t, body, append(x.wants, "<h1>", "A screen is not a diagnosis", "</html>")...)
			wantsNot(t, body, "ZgotmplZ", "&lt;no value&gt;", "%!", "NaN", "<script>", "<style", "risk of", "onerror=\"alert")
		})
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestEveryTemplateBelongsToAPage(t *testing.T) {
	known := map[string]bool{"base.html": true}
	for _, p := range pages {
		if known[p.file()] {
			t.Errorf("%s is the template of two pages", p.file())
		}
		known[p.file()] = true
	}
	files, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !known[path.Base(f)] {
			t.Errorf("%s belongs to no page", f)
		}
	}
	if len(files) != len(known) {
		t.Errorf("%d templates for %d pages", len(files), len(known))
	}
}

func TestNamesAreText(t *testing.T) {
	p := newPlace(t, Options{})
	body := p.get("/teams/"+p.scenario.Teams[0].ID, http.StatusOK)
	wants(t, body, "&lt;img src=x onerror=")
	wantsNot(t, body, "<img")
}

func TestErrorPages(t *testing.T) {
	p := newPlace(t, Options{})
	for path, want := range map[string]string{
		"/teams/none": "Not found", "/athletes/none": "Not found", "/screens/none": "Not found", "/nothing": "Not found",
		"/athletes/" + switchHitter + "?screen=none": "Not found", "/screens/" + switchScreen + "/readings/none/correct": "Not found",
		"/athletes/" + nobodyYet + "?screen=" + switchScreen: "Not found", "/assets/none.css": "Not found",
	} {
		wants(t, p.get(path, http.StatusNotFound), "<h1>"+want+"</h1>", "To the teams")
	}
	if w := p.do(http.MethodGet, "/api/v1/none", nil); w.Code != http.StatusNotFound || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("an unknown address of the API: %d %s", w.Code, w.Header().Get("Content-Type"))
	}
	team := "/teams/" + p.scenario.Teams[0].ID
	p.who = access.Person{ID: "x"}
	wants(t, p.get(team, http.StatusNotFound), "Not found")
	p.who.Grants = []access.Grant{{Team: p.scenario.Teams[0].ID, Role: access.Helper}}
	wants(t, p.get(team+"/distribution", http.StatusForbidden), "Not allowed")
	p.who = access.Person{}
	if w := p.do(http.MethodGet, team+"?x=1", nil); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/sign-in?next="+url.QueryEscape(team+"?x=1") {
		t.Errorf("nobody is signed in: %d %s", w.Code, w.Header().Get("Location"))
	}
}

// What went wrong inside is in the log and not on the page.
func TestInternalErrorsAreNotShown(t *testing.T) {
	p := newPlace(t, Options{})
	p.must(p.store.Close())
	body := p.get("/", http.StatusInternalServerError)
	wants(t, body, "Not working", "Something went wrong inside evenhand")
	wantsNot(t, body, "database", "sql")
	wants(t, p.log.String(), "page failed")

	q := newPlace(t, Options{})
	s, err := newServer(q.clinic, Options{Log: slog.New(slog.NewTextHandler(q.log, nil))})
	q.must(err)
	q.router.GET("/panics", s.recover, func(*gin.Context) { panic("secret") })
	body = q.get("/panics", http.StatusInternalServerError)
	wants(t, body, "Not working")
	wantsNot(t, body+q.log.String(), "secret")
	wants(t, q.log.String(), "page panicked")
}

// The throwing side stands on the right of the drawing, for left-handers too.
func TestLadderIsMirrored(t *testing.T) {
	p := newPlace(t, Options{})
	seen := map[screen.Hand]bool{}
	for i := range p.scenario.Records {
		rec := &p.scenario.Records[i]
		rep := p.clinic.Scorer().Score(rec, scoreOptions)
		l := ladderOf(rep, p.clinic.Protocol())
		if want := "Throwing side (" + string(rep.Hand) + ")"; rep.Sides && l.Right != want {
			t.Fatalf("the right of the drawing is %q, want %q", l.Right, want)
		}
		if len(l.Rungs) != len(p.clinic.Protocol().Links) || l.Rungs[len(l.Rungs)-1].Name != p.clinic.Protocol().Links[0].Name {
			t.Fatal("the ground is not at the bottom")
		}
		for _, r := range l.Rungs {
			link := linkNamed(p.clinic.Protocol(), r.Name)
			worse := score.WorseSide(rep, link)
			if r.Measured && rep.Sides && (worse == screen.Side(rep.Hand)) != (r.OnRight > 0 && r.OnLeft == 0) {
				t.Errorf("%s: worse side %s of a %s-hander is drawn %d left, %d right", r.Name, worse, rep.Hand, r.OnLeft, r.OnRight)
			}
		}
		seen[rep.Hand] = true
	}
	if !seen[screen.LeftHand] || !seen[screen.RightHand] {
		t.Error("the demo has not both hands")
	}
}

func linkNamed(p *screen.Protocol, name string) string {
	for i := range p.Links {
		if p.Links[i].Name == name {
			return p.Links[i].ID
		}
	}
	return ""
}

// The triage of 60 athletes: reading, scoring, chart's table and page.
func BenchmarkTriage60(b *testing.B) {
	p := newPlace(b, Options{})
	team := bigTeam(b, p, 60)
	p.get("/teams/"+team, http.StatusOK)
	b.ResetTimer()
	for b.Loop() {
		p.get("/teams/"+team, http.StatusOK)
	}
}

func bigTeam(b *testing.B, p *place, n int) string {
	b.Helper()
	who, ctx, team := clinic.LocalAdministrator, context.Background(), "team-big"
	_, err := p.clinic.PutTeam(ctx, who, screen.Team{ID: team, Name: "Big", Sport: "baseball"}, 0)
	p.must(err)
	for i := range n {
		rec := p.scenario.Records[i%len(p.scenario.Records)]
		a := rec.Athlete
		a.ID, a.Name, a.ExternalID, a.Revision = fmt.Sprintf("big-%d", i), fmt.Sprintf("Athlete %d", i), "", 0
		_, err := p.clinic.PutAthlete(ctx, who, a, team, 0)
		p.must(err)
		s := rec.Screen
		s.ID, s.Team, s.Athlete, s.Revision = fmt.Sprintf("big-screen-%d", i), team, a.ID, 0
		_, err = p.clinic.PutScreen(ctx, who, s, 0)
		p.must(err)
		var entries []clinic.Entry
		for k, r := range rec.Current() {
			r.ID, r.Screen, r.Supersedes = fmt.Sprintf("big-%d-%d", i, k), s.ID, ""
			entries = append(entries, clinic.Entry{Reading: r, Sign: "as_written"})
		}
		_, err = p.clinic.SaveReadings(ctx, who, s.ID, entries)
		p.must(err)
	}
	return team
}

func TestSizesHaveNoSign(t *testing.T) {
	lower, higher := &screen.Measure{Worse: "lower", Step: 1}, &screen.Measure{Worse: "higher", Step: 1}
	for _, x := range []struct {
		value float64
		kind  string
		rule  screen.RuleKind
		m     *screen.Measure
		want  string
	}{
		{12, "signed", screen.SideDifference, lower, "12°"},
		{-5, "signed", screen.SideDifference, lower, "5° more"},
		{-5, "signed", screen.SideDifference, higher, "5° less"},
		{-5, "absolute", screen.SideDifference, lower, "5°"},
		{-5, "absolute", screen.Floor, lower, "−5°"},
	} {
		f := &score.Finding{Kind: x.kind, RuleKind: x.rule, Unit: "deg"}
		if got := sizeWords(x.value, f, x.m, x.m); got != x.want {
			t.Errorf("%v %s %s: %q, want %q", x.value, x.kind, x.rule, got, x.want)
		}
	}
}
