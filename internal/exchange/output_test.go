package exchange

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func TestScoreDocument(t *testing.T) {
	p := protocol(t)
	in := strings.Replace(sampleJSON, `"screens":[`, `"screens":[{"id":"s2","athlete":"a1","on":"2026-02-20","kind":"in_season","readings":[],"symptoms":["fall_or_pop"]},`, 1)
	d, err := readJSON(t, in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	out := ScoreDocument(score.New(p), d)
	if len(out.Scores) != 2 || out.Scores[0].Screen != "s2" || out.Scores[1].Screen != "s1" {
		t.Fatalf("%+v", out.Scores)
	}
	if len(out.Triage) != 1 || out.Triage[0].Screen != "s2" || out.Triage[0].Rank != 1 || out.Triage[0].Group != score.GroupReferral {
		t.Errorf("triage takes the newest screen: %+v", out.Triage)
	}
	var b bytes.Buffer
	if err := WriteScore(&b, out); err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	proto := got["protocol"].(map[string]any)
	if proto["name"] != p.Name || proto["version"] != p.Version || proto["hash"] != p.Hash {
		t.Errorf("protocol %v", proto)
	}
	first := got["scores"].([]any)[1].(map[string]any)
	for _, field := range []string{"screen", "athlete", "findings", "links", "links_measured", "links_clear_expected", "links_clear_usual", "referral"} {
		if _, ok := first[field]; !ok {
			t.Errorf("a score has no field %s", field)
		}
	}
	row := got["triage"].([]any)[0].(map[string]any)
	for _, field := range []string{"athlete", "rank", "expected_deficits", "why"} {
		if _, ok := row[field]; !ok {
			t.Errorf("a row of the triage has no field %s", field)
		}
	}
}

func TestEmptyOutputHasLists(t *testing.T) {
	d, err := readJSON(t, `{"athletes":[]}`, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteScore(&b, ScoreDocument(score.New(protocol(t)), d)); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "null") {
		t.Error(b.String())
	}
}

func TestHeaped(t *testing.T) {
	p := protocol(t)
	records := func(n, odd int, measure string) []screen.Record {
		r := screen.Record{}
		for i := range n {
			x := 40.0
			if i < odd {
				x = 41
			}
			r.Readings = append(r.Readings, screen.Reading{Measure: measure, Trials: []float64{x}})
		}
		return []screen.Record{r}
	}
	for _, c := range []struct {
		n, odd  int
		measure string
		want    bool
	}{
		{49, 0, "shoulder_flexion", false}, // too few to judge
		{50, 0, "shoulder_flexion", true},
		{50, 5, "shoulder_flexion", false}, // 90 % is not more than 90 %
		{50, 4, "shoulder_flexion", true},
		{200, 0, "grip_strength", false}, // no angle
	} {
		if got := Heaped(p, records(c.n, c.odd, c.measure)); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
	superseded := records(60, 0, "shoulder_flexion")
	for i := range superseded[0].Readings {
		superseded[0].Readings[i].Superseded = "x"
	}
	if Heaped(p, superseded) {
		t.Error("readings that were corrected do not count")
	}
}

func TestHeapedIsSaid(t *testing.T) {
	in := "athlete,name,born,sex,throws,sport,level,date,measure,side"
	for k := range 10 {
		in += fmt.Sprintf(",trial%d", k+1)
	}
	in += "\n"
	for i := range 6 {
		in += fmt.Sprintf("a,Kim,2011-04-02,female,left,baseball,youth,2026-02-1%d,shoulder_flexion,left%s\n", i, strings.Repeat(",170", 10))
	}
	d, err := readCSV(t, in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	notes := len(d.Notes)
	out := ScoreDocument(score.New(protocol(t)), d)
	if !hasNote(out.Notes, "read to 5 degrees") || len(d.Notes) != notes {
		t.Errorf("notes %q", out.Notes)
	}
}

func TestFindingsCSV(t *testing.T) {
	d, err := readJSON(t, sampleJSON, Options{})
	if err != nil {
		t.Fatal(err)
	}
	out := ScoreDocument(score.New(protocol(t)), d)
	out.Scores[0].Athlete = "=cmd"
	var b bytes.Buffer
	if err := WriteFindingsCSV(&b, out.Scores); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(rows[0], ","); got != "athlete,screen,date,rule,link,measure,difference,se,threshold,p_measured,p,verdict,reason,unit,source" {
		t.Error(got)
	}
	if len(rows) != 1+len(out.Scores[0].Findings) || len(rows) < 2 {
		t.Fatalf("%d rows", len(rows))
	}
	if r := rows[1]; r[0] != "'=cmd" || r[1] != "s1" || r[2] != "2026-02-10" || r[3] != out.Scores[0].Findings[0].Rule || r[13] != "deg" {
		t.Errorf("%q", r)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, fmt.Errorf("the disk is full") }

func TestWritersReportErrors(t *testing.T) {
	p := protocol(t)
	d, err := readJSON(t, sampleJSON, Options{})
	if err != nil {
		t.Fatal(err)
	}
	out := ScoreDocument(score.New(p), d)
	for name, err := range map[string]error{
		"json": WriteJSON(full{}, p, d), "readings": WriteReadingsCSV(full{}, p, d),
		"findings": WriteFindingsCSV(full{}, out.Scores), "score": WriteScore(full{}, out),
	} {
		if err == nil || !strings.Contains(err.Error(), "disk is full") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
