package web

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"testing"

	"evenhand/internal/access"
)

func TestAudit(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	coach, id := p.account(chief, "coach", access.Grant{Team: emptyTeam, Role: access.Coach})
	coach.see("/people", http.StatusForbidden)
	chief.see("/athletes/"+switchHitter, http.StatusOK)
	page := chief.see("/audit", http.StatusOK)
	wants(t, page, "Newest first", `<a class="id" href="/athletes/`+switchHitter+`">`, "refused", "sign in", "GET /athletes/:athlete", "Check the chain")
	wantsNot(t, page, "<img", "Both Hands")
	only := chief.see("/audit?who="+id+"&outcome=refused", http.StatusOK)
	wants(t, only, "manage people", "Somebody coach", "/audit/export.csv?outcome=refused&amp;who="+id)
	wantsNot(t, only, "Both Hands", "done</td>", switchHitter)
	wants(t, chief.see("/audit?from=2026-03-11", http.StatusOK), "Nothing is on record that fits")
	wants(t, chief.see("/audit?from=2026-03-10&to=2026-03-10&action=see+records", http.StatusOK), switchHitter)
	for _, bad := range []string{"from=yesterday", "to=2026-02-30", "from=2026-03-10&to=2026-03-09"} {
		wants(t, chief.see("/audit?"+bad, http.StatusUnprocessableEntity), "Not saved", `aria-invalid="true"`)
	}
	wants(t, chief.see("/audit?who="+"%3Cimg%20src%3Dx%3E&subject=%22%3E%3Cscript%3E", http.StatusOK), "&lt;img", "Nothing is on record that fits")

	wants(t, chief.fill("/audit/verify", http.StatusOK), "Chain checked: ", "head ")
	wants(t, coach.see("/audit", http.StatusForbidden), "Not allowed")
	coach.fill("/audit/verify", http.StatusForbidden)
	if w := coach.send(http.MethodGet, "/audit/export.csv", "", ""); w.Code != http.StatusForbidden || strings.Contains(w.Body.String(), "seq,at") {
		t.Errorf("a coach exports the audit: %d", w.Code)
	}
}

func TestAuditIsPaged(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	for range auditAtOnce + 5 {
		b := p.browser()
		b.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword)
	}
	page := chief.see("/audit?action=sign+in", http.StatusOK)
	if n := strings.Count(page, `<th scope="row"`); n != auditAtOnce {
		t.Errorf("%d entries on the first page", n)
	}
	next := found(t, nextPart, page)
	page = chief.see(next, http.StatusOK)
	wants(t, page, ">Newest</a>", "action=sign")
	if n := strings.Count(page, `<th scope="row"`); n < 5 || n > 10 {
		t.Errorf("%d entries on the second page", n)
	}
	for _, odd := range []string{"-1", "abc", "999999999999999999999"} {
		chief.see("/audit?before="+odd, http.StatusOK)
	}
}

// A name that a spreadsheet would take for a formula is text in the export.
func TestAuditExport(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	secret, err := p.office.Invite(t.Context(), chief.signedInAs(), "=cmd()", []access.Grant{{Team: emptyTeam, Role: access.Helper}})
	p.must(err)
	b := p.browser()
	b.fill("/invitation/"+secret, http.StatusSeeOther, "login", "formula", "name", `=cmd("x")`, "password", goodPassword, "again", goodPassword)
	b.fill("/account/password", http.StatusSeeOther, "old", goodPassword, "password", otherPassword, "again", otherPassword)
	w := chief.send(http.MethodGet, "/audit/export.csv", "", "")
	if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/csv; charset=utf-8" || w.Header().Get("Content-Disposition") != `attachment; filename="audit.csv"` ||
		w.Header().Get("Cache-Control") != "no-store" {
		t.Fatalf("%d %v", w.Code, w.Header())
	}
	rows, err := csv.NewReader(w.Body).ReadAll()
	p.must(err)
	if strings.Join(rows[0], ",") != strings.Join(auditColumns, ",") {
		t.Errorf("columns %v", rows[0])
	}
	formula := 0
	for _, row := range rows[1:] {
		for _, cell := range row {
			if strings.HasPrefix(cell, "=") {
				t.Errorf("a formula: %q", cell)
			}
			if cell == `'=cmd("x")` {
				formula++
			}
		}
	}
	if formula == 0 {
		t.Error("the name is missing in the export")
	}

	w = chief.send(http.MethodGet, "/audit/export.json?action=own+account", "", "")
	var entries []access.Entry
	p.must(json.Unmarshal(w.Body.Bytes(), &entries))
	if len(entries) == 0 || entries[0].Action != access.OwnAccount || entries[0].Name != `=cmd("x")` {
		t.Errorf("entries %+v", entries)
	}
	w = chief.send(http.MethodGet, "/audit/export.json?who=nobody", "", "")
	if strings.TrimSpace(w.Body.String()) != "[]" {
		t.Errorf("nothing found: %s", w.Body)
	}
	w = chief.send(http.MethodGet, "/audit/export.csv?who=nobody", "", "")
	if strings.TrimSpace(w.Body.String()) != strings.Join(auditColumns, ",") {
		t.Errorf("nothing found: %s", w.Body)
	}
	if w := chief.send(http.MethodGet, "/audit/export.csv?from=x", "", ""); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/audit?from=x" {
		t.Errorf("a day that is none: %d %s", w.Code, w.Header().Get("Location"))
	}
}

// What the page says of a chain that does not hold.
func TestBrokenChainIsSaid(t *testing.T) {
	l, err := loadLooks(func(name string) string { return "/assets/" + name })
	if err != nil {
		t.Fatal(err)
	}
	p := &auditPage{Head: Head{Title: "Audit"}, Every: true}
	p.verified(&access.Entry{Seq: 4, Hash: "abc"}, errors.New("entry 5 was changed after it was written"))
	var b bytes.Buffer
	if err := l.write(&b, p); err != nil {
		t.Fatal(err)
	}
	wants(t, b.String(), `<p class="needs">The audit was changed outside evenhand`, `<p class="faults wrapping" role="status">The chain does not hold: entry 5 was changed after it was written. It holds up to entry 4.`)
	p = &auditPage{}
	p.verified(nil, nil)
	if p.Verified != "The chain is empty: nothing is on record yet." || p.Broken || p.Needs != "" {
		t.Errorf("an empty chain: %+v", p)
	}
}
