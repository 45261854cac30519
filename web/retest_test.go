package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
	"evenhand/internal/stat"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

const twiceTeam = "team-twice"

// twice adds a team of which twelve athletes were read twice on the shoulder, with an error much larger
// than the published one, so that switching changes verdicts.
func (p *place) twice() string {
	p.t.Helper()
	who, ctx := clinic.LocalAdministrator, p.t.Context()
	_, err := p.clinic.PutTeam(ctx, who, screen.Team{ID: twiceTeam, Name: "Twice", Sport: "baseball"}, 0)
	p.must(err)
	off := []float64{9, -14, 3, 12, -6, 15, -11, 4, -2, 8, -13, 6}
	for i := range 12 {
		a := p.scenario.Athletes[0]
		a.ID, a.Name, a.ExternalID, a.Revision = fmt.Sprintf("twice-%d", i), fmt.Sprintf("Thrower %d", i), "", 0
		_, err := p.clinic.PutAthlete(ctx, who, a, twiceTeam, 0)
		p.must(err)
		s := screen.Screen{ID: fmt.Sprintf("twice-screen-%d", i), Athlete: a.ID, Team: twiceTeam, On: "2026-03-02", Kind: screen.Preseason}
		_, err = p.clinic.PutScreen(ctx, who, s, 0)
		p.must(err)
		var entries []clinic.Entry
		for j, m := range []string{"shoulder_internal_rotation", "shoulder_external_rotation"} {
			for k, side := range []screen.Side{screen.Left, screen.Right} {
				for turn := range 2 {
					v := []float64{55, 100}[j] + float64(i%5) + float64(turn)*off[(i+k+j)%12]
					entries = append(entries, clinic.Entry{Reading: screen.Reading{ID: fmt.Sprint(s.ID, m, side, turn), Screen: s.ID, Measure: m, Side: side,
						Trials: []float64{v, v + 1}, Examiner: []string{"KD", "MO"}[turn*(i%2)]}})
				}
			}
		}
		_, err = p.clinic.SaveReadings(ctx, who, s.ID, entries)
		p.must(err)
	}
	return "/teams/" + twiceTeam
}

func TestRetestPages(t *testing.T) {
	p := newPlace(t, Options{})
	demo, team := "/teams/"+p.scenario.Teams[0].ID, p.twice()
	for path, parts := range map[string][]string{
		demo + "/retest": {"athletes were measured again", "Measure by measure", "Hip internal rotation", "Keep this study", "Read again"},
		team + "/retest": {"12 athletes", "Shoulder internal rotation", "2 Mar 2026", "Keep it and use its errors", "verdicts would be another one", "measure=shoulder_internal_rotation"},
		team + "/retest?measure=shoulder_internal_rotation": {"Where the error comes from", "Examiners, by name", "includes 0 says nothing", "Intraclass correlations", "ICC(3,k)", "charts/agreement/shoulder_internal_rotation", "Second reading less first", "all measures"},
		team + "/retest?from=2026-03-01&to=2026-03-09":      {"12 athletes", "1 Mar 2026 to 9 Mar 2026"},
		team + "/retest?from=2026-01-01":                    {"Nobody was measured twice", "every 5th", "Set up a screening day", "2 Mar 2026, 12 athletes"},
		"/teams/" + emptyTeam + "/retest":                   {"Nobody was measured twice", "The published errors are in use, as they were from the start."},
		team + "/retest/file":                               {"Volunteers will do", "trial1"},
		team:                                                {"How well do we measure?", team + "/retest"},
	} {
		body := p.get(path, http.StatusOK)
		wants(t, strings.ReplaceAll(body, "&#43;", "+"), append(parts, "<h1>", "</html>")...)
		wantsNot(t, body, "ZgotmplZ", "&lt;no value&gt;", "%!", "NaN", "<nil>", "&lt;nil&gt;")
	}
	p.get(team+"/retest?measure=none", http.StatusNotFound)
	p.get(team+"/retest?study=none", http.StatusNotFound)
	p.get("/teams/none/retest", http.StatusNotFound)
	p.get("/teams/none/retest/file", http.StatusNotFound)
	body := p.get(team+"/retest?from=2026-03-09&to=2026-03-01", http.StatusUnprocessableEntity)
	wants(t, body, "before it begins", `id="fault-to"`, "2 Mar 2026, 12 athletes")
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

var hiddenID = regexp.MustCompile(`name="id" value="([^"]+)"`)

func TestStudyIsKeptAndUsed(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.twice()
	athlete := "/athletes/twice-0"
	wantsNot(t, p.get(athlete, http.StatusOK), "own measurement errors")
	id := hiddenID.FindStringSubmatch(p.get(team+"/retest", http.StatusOK))[1]
	form := url.Values{"do": {"use"}, "id": {id}, "from": {"2026-03-02"}, "to": {"2026-03-02"}, "why": {"  "}}
	w := p.post(team+"/retest", form)
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), "Nothing was changed", `id="fault-name"`, "The name is missing", `value="`+id+`"`)
	form.Set("name", `Spring "26"`)
	w = p.post(team+"/retest", form)
	wants(t, w.Body.String(), `id="fault-why"`, "The reason is missing", "Spring &#34;26&#34;")
	form.Set("why", "twelve read again")
	for range 2 { // a form that is sent twice is one study
		if w = p.post(team+"/retest", form); w.Code != http.StatusSeeOther || w.Header().Get("Location") != team+"/retest?study="+id+"#use" {
			t.Fatalf("%d %s\n%s", w.Code, w.Header().Get("Location"), clipped(w.Body.String()))
		}
	}
	body := p.get(team+"/retest?study="+id, http.StatusOK)
	wants(t, body, "The study “Spring &#34;26&#34;”, kept on 10 Mar 2026", "in use since 10 Mar 2026, switched on by local administrator: twelve read again.",
		"These are the errors of the study shown", "1 switch so far", "in use, shown here")
	wantsNot(t, body, "Keep this study", "Use its errors")
	wants(t, p.get(team+"/retest?study="+id+"&measure=shoulder_internal_rotation", http.StatusOK), "charts/agreement/shoulder_internal_rotation?study="+id)
	wants(t, p.get(athlete, http.StatusOK), "Scored with the squad&#39;s own measurement errors, switched on by local administrator on 10 Mar 2026.")
	wants(t, p.get(team+"/retest", http.StatusOK), "Back to the published errors", "Keep this study")

	back := url.Values{"do": {"published"}, "study": {id}, "why": {""}}
	w = p.post(team+"/retest", back)
	wants(t, w.Body.String(), `id="back"`, "The reason is missing")
	back.Set("why", "to compare")
	if w = p.post(team+"/retest", back); w.Code != http.StatusSeeOther || w.Header().Get("Location") != team+"/retest#use" {
		t.Fatalf("%d %s", w.Code, w.Header().Get("Location"))
	}
	wants(t, p.get(team+"/retest?study="+id, http.StatusOK), "The published errors are in use again since 10 Mar 2026", "to compare", "Use the errors of this study", "2 switches so far")
	wantsNot(t, p.get(athlete, http.StatusOK), "own measurement errors")
	if w = p.post(team+"/retest", url.Values{"do": {"switch"}, "study": {id}, "why": {"again"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("%d", w.Code)
	}
	wants(t, p.get(team+"/retest", http.StatusOK), "3 switches so far")
	if w = p.post(team+"/retest", url.Values{"do": {"nothing known"}}); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("%d", w.Code)
	}
	p.get("/teams/"+emptyTeam+"/retest?study="+id, http.StatusNotFound)
}

func TestStudyThatCannotBeUsed(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.twice()
	few := p.clinic
	kept, err := few.KeepStudy(p.t.Context(), clinic.LocalAdministrator, twiceTeam, clinic.StudyToKeep{ID: "good", Name: "Good"})
	p.must(err)
	full, err := few.StudyKept(p.t.Context(), clinic.LocalAdministrator, kept.ID)
	p.must(err)
	old := full.KeptStudy
	old.ID, old.Hash, old.Protocol, old.Name = "old", "0", "evenhand-default 0.1", "Old"
	p.must(p.store.Write(p.t.Context(), func(tx *store.Tx) error {
		_, err := tx.PutStudy(old)
		if err == nil {
			_, err = tx.PutErrorSwitch(screen.ErrorSwitch{ID: "sw", Team: twiceTeam, Study: "old", By: "somebody", Why: "then"})
		}
		return err
	}))
	body := p.get(team+"/retest", http.StatusOK)
	wants(t, body, "do not fit the protocol any more", "It was made by the protocol evenhand-default 0.1, so scores use the published errors.")
	body = p.get(team+"/retest?study=old", http.StatusOK)
	wantsNot(t, body, "Use its errors")
	w := p.post(team+"/retest", url.Values{"do": {"switch"}, "study": {"old"}, "why": {"w"}})
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), "does not fit the protocol in use")
}

func TestRetestFromAFile(t *testing.T) {
	p := newPlace(t, Options{MaxUpload: 1 << 20})
	team := p.twice()
	path := team + "/retest/file"
	readings, err := p.clinic.RetestReadings(p.t.Context(), clinic.LocalAdministrator, twiceTeam, "", "")
	p.must(err)
	var file strings.Builder
	file.WriteString("athlete;measure;side;examiner;day;trial1;trial2\n")
	for _, r := range readings {
		fmt.Fprintf(&file, "Vol <%s>;%s;%s;%s;%s;%s\n", r.Athlete, r.Measure, r.Side, r.Examiner, r.Occasion, strings.ReplaceAll(fmt.Sprintf("%g;%g.5", r.Trials[0], r.Trials[1]), ".", ","))
	}
	bad := strings.Replace(file.String(), "shoulder_internal_rotation", "sholder_internal_rotation", 1)
	wants(t, p.upload(path, []byte(bad), http.StatusUnprocessableEntity), "Row 2, column measure: unknown measure", "shoulder_internal_rotation&#34;?</li>", "Nothing was changed")
	wants(t, p.upload(path, []byte(strings.Join(strings.Split(file.String(), "\n")[:2], "\n")), http.StatusUnprocessableEntity), "No side was read twice")
	p.upload(path, make([]byte, 2<<20), http.StatusRequestEntityTooLarge)
	if w := p.post(path, url.Values{}); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("nothing given: %d", w.Code)
	}
	body := p.upload(path, []byte(file.String()), http.StatusOK)
	wants(t, body, "12 athletes", "The file has a decimal comma", "its 96 readings", "Each in full", "All pairs of readings", "Vol &lt;twice-0&gt;", "Keep it and use its errors")
	wantsNot(t, body, "data-chart", "NaN", "&lt;nil&gt;")

	again := regexp.MustCompile(`(?s)name="text" value="([^"]+)"`).FindStringSubmatch(body)[1]
	again = strings.NewReplacer("&lt;", "<", "&gt;", ">", "&#43;", "+").Replace(again)
	form := url.Values{"text": {strings.ReplaceAll(again, "\n", "\r\n")}, "id": {hiddenID.FindStringSubmatch(body)[1]}, "do": {"keep"}}
	w := p.post(path, form)
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), "The name is missing", "Vol &lt;twice-0&gt;")
	form.Set("name", "Volunteers")
	if w = p.post(path, form); w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, clipped(w.Body.String()))
	}
	wants(t, p.get(strings.TrimSuffix(w.Header().Get("Location"), "#use"), http.StatusOK), "The study “Volunteers”", "readings of a file", "Use its errors")
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

// A study with holes in it, as one that was kept by an earlier version, is shown without one.
func TestMeasuresInWords(t *testing.T) {
	p := newPlace(t, Options{})
	s, err := newServer(p.clinic, Options{})
	p.must(err)
	sd, neg := 2.345, -0.1
	m := &study.Measure{Measure: "grip_strength", Name: "Grip", Unit: "kg", Scale: "log", Same: 3, Days: 1, SEMSame: &sd, DiffSE: &sd,
		Components: []study.Component{{ID: "athlete", Name: "Athletes"}, {ID: "placing", Name: "Placed anew", SD: &sd, DF: 7.4, Published: 2, Pooled: 0}},
		ICC:        []stat.ICC{{Name: "ICC(2,1)", Value: neg, Note: "no interval"}},
		Kappa:      &study.Kappa{Kappas: stat.Kappas{Observed: 0.5, Chance: 0.25, Note: "all alike"}, Pairs: 4, Words: "4 pairs."}}
	v := s.retestMeasure(m, nil)
	if got := v.Numbers[1].Value; got != "2.3\u00a0%" {
		t.Errorf("SEM %q", got)
	}
	if got := v.Components; got[0].DF != "–" || got[0].SD != "–" || got[1].DF != "7" || got[1].Published != "2.0\u00a0%" {
		t.Errorf("%+v", got)
	}
	if got := v.ICC[0]; got.Value != "−0.10" || got.Interval != "–" || got.Means == "" {
		t.Errorf("%+v", got)
	}
	if len(v.Kappa) != 2 || v.Kappa[1].Value != "50 in 100" || v.Agreement != nil || v.Examiners != nil {
		t.Errorf("%+v", v)
	}
	if got := repeatsWords(m); got != "3 same examiner, 1 another day" {
		t.Errorf("%q", got)
	}
	for x, want := range map[float64]string{0: "0", 0.0123: "0.012", 0.5: "0.50", 9.96: "10", 12.34: "12", 345: "345", math.Inf(1): "0"} {
		if got := twoDigits(x); got != want {
			t.Errorf("%v: %q, want %q", x, got, want)
		}
	}
}
