package api

import (
	"strings"
	"testing"

	"evenhand/internal/clinic"
)

func TestImportAndExport(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	var first, second clinic.Imported
	r.do("POST", "/api/v1/teams/T/import", document).is(200).into(&first)
	r.do("POST", "/api/v1/teams/T/import", document).is(200).into(&second)
	if first.Athletes != 1 || first.Screens != 1 || first.Readings != 2 || second.Readings != 0 || second.Already != 2 {
		t.Errorf("first %+v, second %+v", first, second)
	}
	exported := r.do("GET", "/api/v1/teams/T/export", "").is(200)
	if !strings.Contains(string(exported.body), "C. Example") || exported.header.Get("Content-Type") != "application/json" {
		t.Errorf("export %s", exported.body)
	}
	// what was exported can be imported elsewhere, and is the same again
	other := newRig(t)
	other.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	other.do("POST", "/api/v1/teams/T/import", string(exported.body)).is(200)
	if again := other.do("GET", "/api/v1/teams/T/export?format=json", "").is(200); string(again.body) != string(exported.body) {
		t.Errorf("export of the import %s, want %s", again.body, exported.body)
	}
	csv := r.do("GET", "/api/v1/teams/T/export?format=csv", "").is(200)
	if !strings.HasPrefix(csv.header.Get("Content-Type"), "text/csv") || !strings.Contains(string(csv.body), "shoulder_internal_rotation") {
		t.Errorf("CSV %s", csv.body)
	}
	var third clinic.Imported
	r.do("POST", "/api/v1/teams/T/import", string(csv.body), "Content-Type", "text/csv; charset=utf-8").is(200).into(&third)
	if third.AthletesKnown+third.Athletes == 0 && third.Already == 0 {
		t.Errorf("import of the CSV %+v", third)
	}
	r.do("GET", "/api/v1/teams/nowhere/export", "").fault(404, "", "no such team")
	r.do("GET", "/api/v1/teams/T/export?format=pdf", "").fault(422, "query.format", "json, csv")
	r.do("POST", "/api/v1/teams/nowhere/import", document).fault(404, "", "no such team")
}

func TestImportRoster(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	roster := "name,born,sex,throws,sport,level\nD. Example,2011-05-06,female,left,baseball,school\nE. Example,2011-05-07,male,right,baseball,school\n"
	var got clinic.Imported
	r.do("POST", "/api/v1/teams/T/import", roster, "Content-Type", "text/csv").is(200).into(&got)
	if got.Athletes != 2 {
		t.Errorf("imported %+v", got)
	}
}

func TestBadImports(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	for _, c := range []struct {
		kind, body       string
		status           int
		location, saying string
	}{
		{"application/json", strings.Replace(document, "[60,61,62]", "[60,6100]", 1), 422, "body.screens[0].readings[1].trials[1]", "plausible"},
		{"application/json", strings.Replace(document, `"on"`, `"no"`, 1), 422, "body.screens[0].no", "unknown field"},
		{"application/json", strings.Replace(document, `"athlete":"X"`, `"athlete":"Y"`, 1), 422, "body.screens[0].athlete", "no athlete"},
		{"application/json", strings.Replace(document, `"on"`, `"team":"T2","on"`, 1), 422, "body.screens[0].team", "another team"},
		{"application/json", "", 400, "body", "missing"},
		{"text/csv", "name,born,sex,throws,sport,level\nD. Example,2111-05-06,female,left,baseball,school\n", 422, "row 2, column born", "future"},
		{"text/csv", "hello\n", 422, "body", "neither"},
		{"application/pdf", "%PDF", 415, "", "text/csv"},
		{"text/plain", document, 415, "", "text/csv"},
	} {
		r.do("POST", "/api/v1/teams/T/import", c.body, "Content-Type", c.kind).fault(c.status, c.location, c.saying)
	}
	var got items
	if r.do("GET", "/api/v1/athletes", "").is(200).into(&got); len(got.Items) != 0 {
		t.Errorf("something was kept: %+v", got)
	}
}
