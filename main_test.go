package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// call runs the program as the shell would, with a clock that stands still.
func call(t testing.TB, stdin string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	n := 0
	w := &world{in: strings.NewReader(stdin), out: &o, errs: &e, log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		now:   func() time.Time { return time.Date(2026, 2, 20, 9, 0, 0, 0, time.UTC) },
		newID: func() string { n++; return fmt.Sprintf("00000000-0000-7000-8000-%012d", n) }}
	code = run(context.Background(), args, w)
	return code, o.String(), e.String()
}

const document = `{"athletes":[
{"id":"a1","name":"Invented One","born":"2011-04-02","sex":"male","throws":"left","sport":"baseball","level":"school","height_cm":165,"mass_kg":55},
{"id":"a2","name":"Invented Two","born":"2000-04-02","sex":"female","throws":"right","sport":"softball","level":"college"}],
"screens":[
{"id":"s1","athlete":"a1","on":"2026-02-10","kind":"preseason","readings":[
 {"measure":"shoulder_internal_rotation","side":"left","trials":[31,33],"examiner":"k"},
 {"measure":"shoulder_internal_rotation","side":"right","trials":[60,62],"examiner":"k"},
 {"measure":"shoulder_external_rotation","side":"left","trials":[90,91],"examiner":"k"},
 {"measure":"shoulder_external_rotation","side":"right","trials":[92,92],"examiner":"k"}],
 "checklist":[{"item":"leads_with_hips","answer":"not_met"}],"symptoms":[]},
{"id":"s2","athlete":"a2","on":"2026-02-10","kind":"preseason","readings":[
 {"measure":"elbow_extension","side":"left","trials":[-3],"examiner":"k"}],"checklist":[],"symptoms":["numbness"]}]}`

// The form of the score command's output, field by field as it is promised.
func TestScoreCommand(t *testing.T) {
	code, out, errs := call(t, strings.Replace(document, `"numbness"`, `"`+referralSign(t)+`"`, 1), "score", "-")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var got struct {
		Protocol struct{ Name, Version, Hash string }
		Scores   []map[string]json.RawMessage
		Triage   []map[string]json.RawMessage
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if got.Protocol.Name == "" || len(got.Protocol.Hash) != 64 || len(got.Scores) != 2 || len(got.Triage) != 2 {
		t.Errorf("%+v", got)
	}
	for _, key := range []string{"screen", "athlete", "findings", "links", "links_measured", "links_clear_expected", "links_clear_usual", "referral"} {
		if _, ok := got.Scores[0][key]; !ok {
			t.Errorf("a score lacks %q", key)
		}
	}
	for _, key := range []string{"athlete", "rank", "expected_deficits", "why"} {
		if _, ok := got.Triage[0][key]; !ok {
			t.Errorf("a row of the triage lacks %q", key)
		}
	}
	var findings, links []map[string]any
	if err := json.Unmarshal(got.Scores[0]["findings"], &findings); err != nil || len(findings) == 0 {
		t.Fatal(err, len(findings))
	}
	if err := json.Unmarshal(got.Scores[0]["links"], &links); err != nil || len(links) == 0 {
		t.Fatal(err, len(links))
	}
	for _, key := range []string{"rule", "link", "measure", "difference", "se", "threshold", "p_measured", "p", "prior", "verdict", "reason", "kind", "chance_to_settle", "target_difference", "unit", "source"} {
		if _, ok := findings[0][key]; !ok {
			t.Errorf("a finding lacks %q", key)
		}
	}
	for _, key := range []string{"link", "verdict", "p_deficit", "p_usual", "measured"} {
		if _, ok := links[0][key]; !ok {
			t.Errorf("a link lacks %q", key)
		}
	}
	if string(got.Triage[0]["athlete"]) != `"a2"` {
		t.Errorf("a referral sign stands at %s", got.Triage[0]["athlete"])
	}
	if _, again, _ := call(t, strings.Replace(document, `"numbness"`, `"`+referralSign(t)+`"`, 1), "score", "-"); again != out {
		t.Error("the same file gives another report")
	}
}

func referralSign(t *testing.T) string {
	t.Helper()
	p, err := (&world{}).load("")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range p.Symptoms {
		if s.Referral {
			return s.ID
		}
	}
	t.Fatal("the protocol has no referral sign")
	return ""
}

func TestBadInputOnTheCommandLine(t *testing.T) {
	clean := strings.Replace(document, `"numbness"`, ``, 1)
	for _, c := range []struct{ name, old, new, says string }{
		{"range", "[31,33]", "[31,333]", "trials[1]"},
		{"unknown field", `"kind":"preseason","readings"`, `"knid":"preseason","readings"`, "kind"},
		{"1e999", "[31,33]", "[31,1e999]", "trials[1]"},
		{"text", "[31,33]", `["31",33]`, "trials[0]"},
		{"no sign word", "[-3]", "[3]", "sign"},
		{"future", "2011-04-02", "2031-04-02", "future"},
		{"140 years", "2011-04-02", "1886-04-02", "born"},
		{"before birth", `"on":"2026-02-10"`, `"on":"2001-02-10"`, "birth"},
		{"no such athlete", `"athlete":"a2"`, `"athlete":"a9"`, "a9"},
		{"twice", `"id":"s2"`, `"id":"s1"`, "screens[1].id"},
		{"side", `"side":"right","trials":[60,62]`, `"side":"none","trials":[60,62]`, "side"},
		{"not JSON", `{"athletes"`, `{"athletes`, ""},
	} {
		code, out, errs := call(t, strings.Replace(clean, c.old, c.new, 1), "score", "-")
		if code != 1 || out != "" || !strings.Contains(errs, c.says) || strings.Contains(errs, "goroutine") {
			t.Errorf("%s: exit %d, %q", c.name, code, errs)
		}
	}
}

func TestImportExportRoundTrip(t *testing.T) {
	db := filepath.Join(t.TempDir(), "a squad #1?.db")
	clean := strings.Replace(document, `"numbness"`, ``, 1)
	code, out, errs := call(t, clean, "import", "--db", db, "--consent-on", "2026-02-01", "--team", "Invented team", "-")
	if code != 0 || !strings.Contains(out, "athletes: 2 added, 0 known; screens: 2 added; readings: 5 added") {
		t.Fatalf("exit %d: %s %s", code, out, errs)
	}
	code, out, errs = call(t, clean, "import", "--db", db, "--team", "Invented team", "-")
	if code != 0 || !strings.Contains(out, "athletes: 0 added, 2 known; screens: 0 added; readings: 0 added") {
		t.Fatalf("the second time, exit %d: %s %s", code, out, errs)
	}
	for _, format := range []string{"json", "csv"} {
		code, out, errs = call(t, "", "export", "--db", db, "--team", "Invented team", "--format", format)
		if code != 0 {
			t.Fatalf("exit %d: %s", code, errs)
		}
		code, again, errs := call(t, out, "import", "--db", db, "--team", "Invented team", "-")
		if code != 0 || !strings.Contains(again, "athletes: 0 added") || !strings.Contains(again, "screens: 0 added; readings: 0 added") {
			t.Errorf("%s does not come in as it went out, exit %d: %s %s", format, code, again, errs)
		}
	}
	code, out, _ = call(t, "", "export", "--db", db, "--format", "findings")
	if code != 0 || strings.Count(out, "\n") < 5 {
		t.Errorf("exit %d: %s", code, out)
	}
	code, _, errs = call(t, strings.Replace(clean, "[31,33]", "[31,333]", 1), "import", "--db", db, "--team", "Another", "-")
	if code != 1 || !strings.Contains(errs, "nothing was changed") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if code, _, errs = call(t, "", "export", "--db", db, "--team", "Another"); code != 1 || !strings.Contains(errs, "no team") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

// Without the consent that the file's readings need nothing is taken; everything held about one athlete
// comes out as one document.
func TestConsentAndHeldCommands(t *testing.T) {
	db := filepath.Join(t.TempDir(), "t.db")
	clean := strings.Replace(document, `"numbness"`, ``, 1)
	code, _, errs := call(t, clean, "import", "--db", db, "--team", "Invented team", "-")
	if code != 1 || strings.Count(errs, "there is no consent for screening on record") != 2 || !strings.Contains(errs, "screens[1]") {
		t.Errorf("without a consent: exit %d, %s", code, errs)
	}
	code, _, errs = call(t, clean, "import", "--db", db, "--team", "Invented team", "--consent-on", "2026-02-01", "--consent-by", "guardian", "-")
	if code != 1 || !strings.Contains(errs, "of age") {
		t.Errorf("a guardian consents for somebody of 25: exit %d, %s", code, errs)
	}
	if code, _, errs = call(t, clean, "import", "--db", db, "--team", "Invented team", "--consent-on", "2026-02-01", "-"); code != 0 {
		t.Fatalf("exit %d, %s", code, errs)
	}
	_, out, _ := call(t, "", "export", "--db", db)
	var doc struct {
		Athletes []struct{ ID, Name string }
		Consents []struct {
			Athlete, On string
			GivenBy     string `json:"given_by"`
		}
	}
	if err := json.Unmarshal([]byte(out), &doc); err != nil || len(doc.Consents) != 2 || len(doc.Athletes) != 2 {
		t.Fatalf("%v, %+v", err, doc)
	}
	code, out, errs = call(t, "", "export", "--db", db, "--athlete", doc.Athletes[0].ID)
	var held map[string]json.RawMessage
	if err := json.Unmarshal([]byte(out), &held); code != 0 || err != nil || held["screens"] == nil || held["audit"] == nil || !strings.Contains(out, doc.Athletes[0].Name) || strings.Contains(out, doc.Athletes[1].Name) {
		t.Errorf("exit %d, %v, %s", code, err, errs)
	}
	if code, _, errs = call(t, "", "export", "--db", db, "--athlete", "nobody"); code != 1 || !strings.Contains(errs, "no such athlete") {
		t.Errorf("nobody: exit %d, %s", code, errs)
	}
	if code, _, _ = call(t, "", "export", "--db", db, "--athlete", "a", "--team", "b"); code == 0 {
		t.Error("an athlete and a team together")
	}
}

func TestProtocolCommands(t *testing.T) {
	code, out, errs := call(t, "", "protocol", "check")
	if code != 0 || !strings.Contains(out, "this measure cannot settle this threshold") || !strings.Contains(out, "30 or more of 100 uninjured athletes exceed it") {
		t.Errorf("exit %d: %s %s", code, out, errs)
	}
	code, out, _ = call(t, "", "protocol", "show")
	var p struct{ Hash string }
	if code != 0 || json.Unmarshal([]byte(out), &p) != nil || len(p.Hash) != 64 {
		t.Errorf("exit %d, hash %q", code, p.Hash)
	}
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	if err := os.WriteFile(bad, []byte("extends: default\nname: x\nversion: '1'\ntitle: t\nrulez: []\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errs = call(t, "", "protocol", "check", bad)
	if code != 1 || !strings.Contains(errs, "bad.yaml:5") || !strings.Contains(errs, `"rules"`) {
		t.Errorf("exit %d: %s", code, errs)
	}
	if code, out, _ = call(t, "", "version"); code != 0 || !strings.Contains(out, "evenhand-default") {
		t.Errorf("exit %d: %s", code, out)
	}
	if code, _, errs = call(t, "", "scoer"); code != 2 || errs == "" {
		t.Errorf("exit %d: %s", code, errs)
	}
	if code, _, _ = call(t, "", "--help"); code != 0 {
		t.Errorf("exit %d for help", code)
	}
}

// announced reads what the program prints as it begins to serve a demo: its address, and the path of
// the screening day in progress.
func announced(t *testing.T, r io.Reader) (address, day string) {
	t.Helper()
	lines := bufio.NewScanner(r)
	for _, want := range []string{"evenhand serves at ", "screening day in progress: "} {
		if !lines.Scan() {
			t.Fatalf("the program ended before it said %q", want)
		}
		text, ok := strings.CutPrefix(lines.Text(), want)
		if !ok {
			t.Fatalf("the program said %q, want %q first", lines.Text(), want)
		}
		if address == "" {
			address = text
		} else {
			day, ok = strings.CutPrefix(text, address)
		}
		if !ok || !strings.HasPrefix(text, "http://127.0.0.1:") {
			t.Fatalf("%q is not below %q", text, address)
		}
	}
	return address, day
}

// The demo as `make run` serves it: an address is printed, pages and API answer, and it ends when told.
func TestDemoServes(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r, pw := io.Pipe()
	w := &world{out: pw, errs: io.Discard, now: time.Now, newID: newID, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	done := make(chan int, 1)
	go func() {
		code := run(ctx, []string{"demo", "--listen", "127.0.0.1:0"}, w)
		_ = pw.Close() // whoever waits for a line that never came goes on
		done <- code
	}()
	address, day := announced(t, r)
	for path, says := range map[string]string{"/": "Demo", "/api/v1/teams": "items", "/api/openapi.json": "3.1", "/protocol": "Wilk", day: "Demo Lantern Hill"} {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, address+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(resp.Body)
		if err != nil || resp.Body.Close() != nil || resp.StatusCode != http.StatusOK || !strings.Contains(string(body), says) {
			t.Errorf("%s: %d, %.300s", path, resp.StatusCode, body)
		}
		if policy := resp.Header.Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'") {
			t.Errorf("%s: policy %q", path, policy)
		}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Host = "stranger.test" // a name that somebody pointed at this machine
	if resp, err := http.DefaultClient.Do(req); err != nil || resp.Body.Close() != nil || resp.StatusCode != http.StatusMisdirectedRequest {
		t.Errorf("answered to a stranger's name: %v %v", resp, err)
	}
	cancel()
	if code := <-done; code != 0 {
		t.Errorf("exit %d", code)
	}
}
