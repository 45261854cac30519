package web

import (
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"

	"evenhand/internal/access"
)

func TestDemoVisitor(t *testing.T) {
	for value, want := range map[string]access.Person{
		"":      demoEverything,
		"coach": {ID: "demo-coach", Name: "Demo coach", Grants: []access.Grant{{Role: access.Coach}}},
		// Roles that come with a link, and what is none, are not taken from a cookie.
		"station link": demoEverything, "athlete or guardian": demoEverything, "emperor": demoEverything,
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		if value != "" {
			r.AddCookie(&http.Cookie{Name: demoRoleCookie, Value: value})
		}
		got := DemoVisitor(r)
		if got.ID != want.ID || got.Name != want.Name || !slices.Equal(got.Grants, want.Grants) || got.Local || got.Session != "" {
			t.Errorf("%q: %+v, want %+v", value, got, want)
		}
	}
}

func TestDemoRoles(t *testing.T) {
	p := newStaffed(t, Options{Demo: true})
	b := p.browser()
	wants(t, b.see("/", http.StatusOK), "Demo: invented data", "You see it as: administrator and clinician · <a href=\"/demo/roles\">change</a>", `href="/people"`)
	wants(t, b.see("/demo/roles", http.StatusOK), "See it as coach", "sees no health record")
	if to := b.fill("/demo/roles", http.StatusSeeOther, "role", "helper"); to != "/" {
		t.Errorf("it leads to %s", to)
	}
	wants(t, b.see("/demo/roles", http.StatusOK), "You see it as: helper", "<b>Helper</b> (as now)")
	b.see("/people", http.StatusForbidden)
	b.fill("/demo/roles", http.StatusSeeOther, "role", "emperor")
	wants(t, b.see("/demo/roles", http.StatusOK), "You see it as: administrator and clinician")

	// Somebody with an account is who they are; outside a demo there is no such page.
	q := newStaffed(t, Options{})
	chief := q.chief()
	chief.cookies[demoRoleCookie] = "coach"
	chief.see("/demo/roles", http.StatusNotFound)
	chief.fill("/demo/roles", http.StatusNotFound, "role", "coach")
	wantsNot(t, chief.see("/", http.StatusOK), "You see it as")
}
