package web

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
)

// stationOf is the code of the station of a day of the demo's first team that takes something.
func (p *place) stationOf(takes string) string {
	p.t.Helper()
	d, err := p.clinic.PlanDay(p.t.Context(), clinic.LocalAdministrator, p.scenario.Teams[0].ID)
	p.must(err)
	d, err = p.clinic.PutDay(p.t.Context(), clinic.LocalAdministrator, d, nil, 0)
	p.must(err)
	for _, st := range d.Stations {
		for _, step := range st.Steps {
			if step.Measure == takes || string(step.Kind) == takes {
				return st.Code
			}
		}
	}
	p.t.Fatalf("no station takes %s", takes)
	return ""
}

var (
	sheetBlock = regexp.MustCompile(`(?s)<script type="application/json" id="sheet">(.*?)</script>`)
	preloads   = regexp.MustCompile(`<link rel="modulepreload" href="([^"]+)">`)
)

func sheetIn(t *testing.T, body string) (out clinic.StationSheet) {
	t.Helper()
	m := sheetBlock.FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no sheet in\n%s", body)
	}
	if err := json.Unmarshal([]byte(m[1]), &out); err != nil {
		t.Fatalf("the sheet is not JSON: %v\n%.300s", err, m[1])
	}
	return out
}

func TestStationPage(t *testing.T) {
	p := newPlace(t, Options{Demo: true})
	body := p.get("/s/"+p.stationOf("shoulder_internal_rotation"), http.StatusOK)
	wants(t, body, "Demo: invented data", "Before you rely on this", p.clinic.Protocol().Cautions[0], "<noscript>", "paper sheets", p.scenario.Teams[0].Name)
	wantsNot(t, body, "ZgotmplZ", "%!", "<style", "<script>")
	sheet := sheetIn(t, body)
	if len(sheet.Athletes) == 0 || len(sheet.Cells) == 0 || !slices.ContainsFunc(sheet.Measures, func(m clinic.SheetMeasure) bool { return m.ID == "shoulder_internal_rotation" }) {
		t.Errorf("the sheet lacks something: %d athletes, %d cells, %d measures", len(sheet.Athletes), len(sheet.Cells), len(sheet.Measures))
	}
	// Built or not, the browser learns of all it needs from the page itself.
	if built := strings.Contains(body, `src="/assets/station.`); built == (len(preloads.FindAllString(body, -1)) > 10) {
		t.Errorf("put together: %v; modules to load in one go: %v", built, preloads.FindAllString(body, -1))
	}
	for _, m := range append(preloads.FindAllStringSubmatch(body, -1), []string{"", p.address(body, "station.css")}) {
		if w := p.do(http.MethodGet, m[1], nil); w.Code != http.StatusOK || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
			t.Errorf("%s: %d %s", m[1], w.Code, w.Header().Get("Cache-Control"))
		}
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestStationLinkInSmallLetters(t *testing.T) {
	p := newPlace(t, Options{})
	code := p.stationOf("shoulder_internal_rotation")
	if w := p.do(http.MethodGet, "/s/"+strings.ToLower(code), nil); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/s/"+code {
		t.Errorf("%d %s", w.Code, w.Header().Get("Location"))
	}
	p.get("/s/NOSUCHST", http.StatusNotFound)
}

// address is the address of an asset in a page.
func (p *place) address(body, name string) string {
	p.t.Helper()
	stem, ext, _ := strings.Cut(name, ".")
	return regexp.MustCompile(`/assets/` + stem + `\.[0-9a-f]+\.` + ext).FindString(body)
}

// A name goes through the page as it is and ends no element.
func TestStationPageWithHostileName(t *testing.T) {
	p := newPlace(t, Options{})
	const name = "</script><img src=x onerror=\"alert(1)\"><!-- \u2028 'x' & \\u003c"
	a := p.scenario.Athletes[0]
	a.ID, a.Name, a.ExternalID, a.Revision = "athlete-hostile", name, "", 0
	_, err := p.clinic.PutAthlete(t.Context(), clinic.LocalAdministrator, a, p.scenario.Teams[0].ID, 0)
	p.must(err)
	body := p.get("/s/"+p.stationOf("check_in"), http.StatusOK)
	wantsNot(t, body, "<img", "onerror=\"alert")
	sheet := sheetIn(t, body)
	if !slices.ContainsFunc(sheet.Athletes, func(x clinic.StationAthlete) bool { return x.Name == name }) {
		t.Errorf("the name did not come through: %.400s", sheetBlock.FindString(body))
	}
}

func TestStationPageUnknown(t *testing.T) {
	p := newPlace(t, Options{})
	wants(t, p.get("/s/nowhere", http.StatusNotFound), "<h1>Not found</h1>", "To the teams")
	p.who = access.Person{Station: "nowhere"}
	p.get("/s/nowhere", http.StatusNotFound)
}

// What a first visit of a station transfers stays below 120 kB: the page with sixty athletes, the two
// style sheets, and every module, all zipped.
func TestStationPageIsSmall(t *testing.T) {
	p := newPlace(t, Options{})
	for i := range 60 {
		a := p.scenario.Athletes[i%len(p.scenario.Athletes)]
		a.ID, a.ExternalID, a.Revision = "more-"+strings.Repeat("x", i), "", 0
		_, err := p.clinic.PutAthlete(t.Context(), clinic.LocalAdministrator, a, p.scenario.Teams[0].ID, 0)
		p.must(err)
	}
	w := p.do(http.MethodGet, "/s/"+p.stationOf("shoulder_internal_rotation"), nil, "Accept-Encoding", "gzip, br")
	if w.Header().Get("Content-Encoding") != "gzip" || w.Header().Get("Vary") != "Accept-Encoding" || w.Header().Get("Cache-Control") != "no-store" {
		t.Errorf("headers: %v", w.Header())
	}
	total := w.Body.Len()
	page := total
	r, err := gzip.NewReader(bytes.NewReader(w.Body.Bytes()))
	p.must(err)
	plain, err := io.ReadAll(r)
	p.must(err)
	sheetIn(t, string(plain))
	files := []string{p.address(string(plain), "style.css"), p.address(string(plain), "station.css"), p.address(string(plain), "icon.svg")}
	for _, m := range preloads.FindAllStringSubmatch(string(plain), -1) {
		files = append(files, m[1])
	}
	for _, f := range files {
		total += p.do(http.MethodGet, f, nil, "Accept-Encoding", "gzip").Body.Len()
	}
	t.Logf("%d bytes in %d files, the page %d", total, len(files)+1, page)
	if total > 120_000 {
		t.Errorf("a first visit transfers %d bytes", total)
	}
}

func TestStationWorker(t *testing.T) {
	p := newPlace(t, Options{})
	w := p.do(http.MethodGet, "/s/sw.js", nil)
	if w.Code != http.StatusOK || w.Header().Get("Service-Worker-Allowed") != "/s/" || w.Header().Get("Cache-Control") != "no-cache" ||
		!strings.HasPrefix(w.Header().Get("Content-Type"), "text/javascript") {
		t.Errorf("%d %v", w.Code, w.Header())
	}
}
