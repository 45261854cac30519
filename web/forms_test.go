package web

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

var scoreOptions = score.Options{}

func TestAFormFromElsewhereIsRefused(t *testing.T) {
	p := newPlace(t, Options{})
	form := url.Values{"id": {"team-x"}, "name": {"X"}, "sport": {"baseball"}}.Encode()
	for name, x := range map[string]struct {
		headers []string
		status  int
	}{
		"no header":              {nil, http.StatusForbidden},
		"another site":           {[]string{"Sec-Fetch-Site", "cross-site"}, http.StatusForbidden},
		"another port":           {[]string{"Sec-Fetch-Site", "same-site"}, http.StatusForbidden},
		"another origin":         {[]string{"Origin", "http://stranger.test"}, http.StatusForbidden},
		"no origin":              {[]string{"Origin", "null"}, http.StatusForbidden},
		"site beats origin":      {[]string{"Sec-Fetch-Site", "cross-site", "Origin", "http://example.com"}, http.StatusForbidden},
		"our origin":             {[]string{"Origin", "http://example.com"}, http.StatusSeeOther},
		"our page":               {[]string{"Sec-Fetch-Site", "same-origin"}, http.StatusSeeOther},
		"origin on another port": {[]string{"Origin", "http://example.com:81"}, http.StatusForbidden},
	} {
		w := p.do(http.MethodPost, "/teams/new", strings.NewReader(form), append([]string{"Content-Type", "application/x-www-form-urlencoded"}, x.headers...)...)
		if w.Code != x.status {
			t.Errorf("%s: %d, want %d", name, w.Code, x.status)
		}
	}
}

func TestSecurityHeaders(t *testing.T) {
	p := newPlace(t, Options{})
	for _, path := range []string{"/", "/nothing", "/assets/style.css", "/protocol"} {
		h := p.do(http.MethodGet, path, nil).Header()
		if h.Get("Content-Security-Policy") != policy || h.Get("X-Content-Type-Options") != "nosniff" ||
			h.Get("Referrer-Policy") == "" || h.Get("Permissions-Policy") == "" {
			t.Errorf("%s: %v", path, h)
		}
	}
	if c := p.do(http.MethodGet, "/", nil).Header().Get("Cache-Control"); c != "no-store" {
		t.Errorf("pages are kept: %q", c)
	}
}

func TestKnownHosts(t *testing.T) {
	check := KnownHosts("gym.test")
	p := newPlace(t, Options{})
	p.router.GET("/known", check, func(c *gin.Context) { c.Status(http.StatusOK) })
	for host, status := range map[string]int{"127.0.0.1:8484": 200, "[::1]:80": 200, "localhost": 200, "GYM.test:1": 200, "192.168.1.4": 200,
		"stranger.test": 421, "127.0.0.1.stranger.test": 421, "": 421} {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/known", nil)
		r.Host = host
		w := httptest.NewRecorder()
		p.router.ServeHTTP(w, r)
		if w.Code != status {
			t.Errorf("%q: %d, want %d", host, w.Code, status)
		}
	}
}

func TestAssets(t *testing.T) {
	p := newPlace(t, Options{})
	a, err := loadAssets()
	p.must(err)
	for _, name := range []string{"style.css", "chart.js", "icon.svg", "echarts.js"} {
		w := p.do(http.MethodGet, a.url(name), nil)
		if w.Code != http.StatusOK || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
			t.Errorf("%s: %d %v", name, w.Code, w.Header())
		}
		tag := w.Header().Get("ETag")
		if w := p.do(http.MethodGet, "/assets/"+name, nil, "If-None-Match", tag); w.Code != http.StatusNotModified || w.Body.Len() > 0 {
			t.Errorf("%s with its tag: %d", name, w.Code)
		}
		z := p.do(http.MethodGet, a.url(name), nil, "Accept-Encoding", "gzip")
		if z.Header().Get("Content-Encoding") != "gzip" || z.Body.Len() >= w.Body.Len() {
			t.Errorf("%s is not compressed: %d of %d bytes", name, z.Body.Len(), w.Body.Len())
		}
	}
	old := p.do(http.MethodGet, "/assets/style.000000000000.css", nil)
	if old.Code != http.StatusOK || strings.Contains(old.Header().Get("Cache-Control"), "immutable") {
		t.Errorf("an older address: %d %v", old.Code, old.Header())
	}
	if css := len(a.byName["style.css"].data); css > 25_000 {
		t.Errorf("the style sheet has %d bytes", css)
	}
	if module := string(a.byName["chart.js"].data); !strings.Contains(module, a.url("echarts.js")) || strings.Contains(module, "import('./echarts.js')]") {
		t.Error("the module does not name the drawing script by its address")
	}
}

func TestCorrection(t *testing.T) {
	p := newPlace(t, Options{})
	id, r := p.aReading()
	path := "/screens/" + id + "/readings/" + r.ID + "/correct"
	form := func(trial, why string) url.Values {
		return url.Values{"id": {"correction-1"}, "trial1": {trial}, "why": {why}, "examiner": {"AB"}}
	}
	for _, x := range []struct{ trial, why, want string }{
		{"fast", "typing", "not a number"}, {"", "typing", "0 trials"}, {"4000", "typing", "Not saved"}, {"44", " ", "the reason is missing"},
	} {
		w := p.post(path, form(x.trial, x.why))
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", x, w.Code)
		}
		wants(t, strings.ToLower(w.Body.String()), strings.ToLower(x.want))
	}
	w := p.post(path, form("44,5", "typed <b>wrong</b>"))
	if w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	body := p.get("/screens/"+id, http.StatusOK)
	wants(t, body, "<del>", "Corrected: typed &lt;b&gt;wrong", "Corrects an earlier one: typed", "44.5", "1 was corrected and stands struck through")
	if w := p.post(path, form("44,5", "typed <b>wrong</b>")); w.Code != http.StatusSeeOther && w.Code != http.StatusConflict {
		t.Errorf("the same correction again: %d", w.Code)
	}
	second := form("45", "again")
	second.Set("id", "correction-2")
	if w := p.post(path, second); w.Code != http.StatusConflict {
		t.Errorf("a second correction of one reading: %d", w.Code)
	}
	wants(t, p.get(path, http.StatusOK), "corrected before")
}

// A measure with sign words is corrected by its word, or by the sign as the form says by default.
func TestCorrectionWithSignWords(t *testing.T) {
	p := newPlace(t, Options{})
	rec, err := p.clinic.Record(t.Context(), clinic.LocalAdministrator, switchScreen)
	p.must(err)
	for _, r := range rec.Current() {
		m := p.clinic.Protocol().Measure(r.Measure)
		if m.SignWords == nil || r.Side != screen.Left {
			continue
		}
		path := "/screens/" + switchScreen + "/readings/" + r.ID + "/correct"
		wants(t, p.get(path, http.StatusOK), `value="`+screen.AsWritten+`"`, m.SignWords.Negative)
		w := p.post(path, url.Values{"id": {"correction-3"}, "trial1": {"4"}, "sign": {m.SignWords.Negative}, "why": {"sign"}})
		if w.Code != http.StatusSeeOther {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		wants(t, p.get("/screens/"+switchScreen, http.StatusOK), "−4°")
		return
	}
	t.Fatal("no measure with sign words was read")
}

func TestAthleteForm(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.scenario.Teams[0].ID
	form := url.Values{"id": {"athlete-new"}, "revision": {"0"}, "team": {team}, "name": {"New One"}, "born": {"2011-04-02"}, "sex": {"female"},
		"hand": {"left"}, "sport": {"baseball"}, "level": {"youth"}, "positions": {"Pitcher, catcher"}, "height_cm": {"160,5"}}
	for range 2 { // sent twice it is one athlete
		if w := p.post("/athletes/new", form); w.Code != http.StatusSeeOther {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
	}
	a, err := p.clinic.Athlete(t.Context(), clinic.LocalAdministrator, "athlete-new")
	p.must(err)
	if a.HeightCM != 160.5 || len(a.Positions) != 2 || a.Positions[0] != "pitcher" || a.HandOn("2026-01-01") != screen.LeftHand {
		t.Errorf("%+v", a)
	}
	form.Set("revision", "1")
	form.Set("hand", "right")
	form.Set("hand_from", "2026-02-01")
	if w := p.post("/athletes/athlete-new/edit", form); w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	a, err = p.clinic.Athlete(t.Context(), clinic.LocalAdministrator, "athlete-new")
	p.must(err)
	if a.HandOn("2026-01-01") != screen.LeftHand || a.HandOn("2026-02-01") != screen.RightHand {
		t.Errorf("hands %v", a.Hands)
	}
	form.Set("name", "Changed at another place") // the revision is an old one now
	if w := p.post("/athletes/athlete-new/edit", form); w.Code != http.StatusConflict {
		t.Errorf("a stale form: %d", w.Code)
	}
	form.Set("born", "2031-01-01")
	form.Set("mass_kg", "heavy")
	w := p.post("/athletes/athlete-new/edit", form)
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), "not a number above 0", `value="heavy"`)
}

const roster = "name,born,sex,throws,sport,level\n"

func TestImport(t *testing.T) {
	p := newPlace(t, Options{MaxUpload: 1 << 20})
	team := "/teams/" + p.scenario.Teams[0].ID
	w := p.post(team+"/import", url.Values{"text": {roster + "New One,2011-04-02,female,left,baseball,youth\nNew Two,2011-02-30,female,left,baseball,youth\n"}})
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), "Nothing was changed", `data-label="Row">3<`, `data-label="Column">born<`, "2011-02-30", "New One,2011-04-02")
	wantsNot(t, p.get(team, http.StatusOK), "New One")
	if w := p.post(team+"/import", url.Values{}); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("nothing given: %d", w.Code)
	}
	for _, want := range []string{"Added: 1 athlete", "Nothing new"} {
		body := p.upload(team+"/import", []byte(roster+"New One,2011-04-02,female,left,baseball,youth\n"), http.StatusOK)
		wants(t, body, want)
	}
	wants(t, p.get(team, http.StatusOK), "New One")
	p.upload(team+"/import", bytes.Repeat([]byte("x"), 2<<20), http.StatusRequestEntityTooLarge)
	p.upload(team+"/import", []byte(`{"athletes": 3}`), http.StatusUnprocessableEntity)
}

// upload sends a file as the import form does.
func (p *place) upload(path string, data []byte, status int) string {
	p.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	f, err := m.CreateFormFile("file", "file.csv")
	p.must(err)
	_, err = f.Write(data)
	p.must(err)
	p.must(m.Close())
	w := p.do(http.MethodPost, path, io.Reader(&body), "Content-Type", m.FormDataContentType(), "Sec-Fetch-Site", "same-origin")
	if w.Code != status {
		p.t.Fatalf("%s: %d, want %d: %s", path, w.Code, status, clipped(w.Body.String()))
	}
	return w.Body.String()
}
