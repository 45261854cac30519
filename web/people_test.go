package web

import (
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
)

func (p *staffed) ginRoutes() gin.RoutesInfo { return p.router.Routes() }

func TestPeople(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	coach, id := p.account(chief, "coach", access.Grant{Team: emptyTeam, Role: access.Coach})
	page := chief.see("/people", http.StatusOK)
	wants(t, page, "Somebody coach", "Coach in Empty", "Administrator and clinician in every team", "(you)", "2 accounts are opened by a password alone",
		"What each role may do", "Clearance to throw")
	wantsNot(t, page, "<img")

	page = chief.fill("/people", http.StatusOK, "name", "Half typed", "role", "trainer", "team", "every", "more", "yes")
	wants(t, page, `value="Half typed"`, `<option value="trainer" selected>`, `<option value="every" selected>`, `id="role-3"`)
	wantsNot(t, page, "shown only once", "Nobody was invited")
	wants(t, chief.fill("/people", http.StatusUnprocessableEntity, "name", "", "role", "", "team", "every"), "Nobody was invited", "Not saved")
	wants(t, chief.fill("/people", http.StatusUnprocessableEntity, "name", "X", "role", "emperor", "team", "every"), "Nobody was invited")
	// A role whose team was not chosen is not one in every team.
	wants(t, chief.fill("/people", http.StatusUnprocessableEntity, "name", "X", "role", "coach", "team", ""), "The role of coach has no team", "Nobody was invited")
	chief.fill("/people/"+id, http.StatusUnprocessableEntity, "role", "trainer", "team", "")

	member := "/people/" + id
	wants(t, chief.see(member, http.StatusOK), "Somebody coach", `<option value="coach" selected>`, `<option value="team-empty" selected>`, "password alone")
	to := chief.fill(member, http.StatusSeeOther, "role", "helper", "team", emptyTeam, "role", "coach", "team", p.scenario.Teams[0].ID, "role", "helper", "team", emptyTeam)
	wants(t, chief.see(to, http.StatusOK), "The roles are saved")
	got := coach.signedInAs().Grants
	want := []access.Grant{{Team: emptyTeam, Role: access.Helper}, {Team: p.scenario.Teams[0].ID, Role: access.Coach}}
	if len(got) != 2 || !slices.Contains(got, want[0]) || !slices.Contains(got, want[1]) {
		t.Errorf("the roles are %v, want %v", got, want)
	}

	wants(t, chief.fill(member+"/disable", http.StatusUnprocessableEntity), "Tick this to close the account")
	coach.see("/account", http.StatusOK)
	wants(t, chief.see(chief.fill(member+"/disable", http.StatusSeeOther, "sure", "yes"), http.StatusOK), "The account is closed", "This account is closed since 10 Mar 2026")
	if w := coach.send(http.MethodGet, "/account", "", ""); w.Code != http.StatusSeeOther {
		t.Errorf("a closed account still opens a page: %d", w.Code)
	}
	wants(t, chief.see("/people", http.StatusOK), "Closed since 10 Mar 2026")
	wants(t, chief.see(chief.fill(member+"/disable", http.StatusSeeOther, "open", "yes"), http.StatusOK), "The account works again")
	coach.fill("/sign-in", http.StatusSeeOther, "login", "coach", "password", goodPassword)

	chief.see("/people/none", http.StatusNotFound)
	chief.fill("/people/none", http.StatusNotFound, "role", "coach", "team", "every")
}

var revokeInvitation = regexp.MustCompile(`action="(/invitations/[^"]+/revoke)"`)

func TestRevokedInvitation(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	link := strings.TrimPrefix(found(t, linkField, chief.fill("/people", http.StatusOK, "name", "X", "role", "coach", "team", emptyTeam)), "http://example.com")
	end := found(t, revokeInvitation, chief.see("/people", http.StatusOK))
	wants(t, chief.see(chief.fill(end, http.StatusSeeOther), http.StatusOK), "The link does not work any more")
	p.browser().see(link, http.StatusNotFound)
}

// An administrator of one team sees and gives roles in that team alone, and cannot raise anybody above.
func TestTeamAdministrator(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	local, localID := p.account(chief, "local", access.Grant{Team: emptyTeam, Role: access.Administrator})
	_, far := p.account(chief, "far", access.Grant{Team: p.scenario.Teams[0].ID, Role: access.Coach})
	page := local.see("/people", http.StatusOK)
	wants(t, page, "Somebody local", `<option value="team-empty">Empty</option>`)
	wantsNot(t, page, "Somebody far", "every team, also those to come", p.scenario.Teams[0].Name)
	local.see("/people/"+far, http.StatusNotFound)
	local.fill("/people/"+far+"/disable", http.StatusNotFound, "sure", "yes")
	local.fill("/people/"+far+"/reset", http.StatusNotFound)
	for _, team := range []string{"every", p.scenario.Teams[0].ID} {
		if w := local.send(http.MethodPost, "/people/"+localID, "application/x-www-form-urlencoded", "role=administrator&team="+team); w.Code < 400 || w.Code >= 500 {
			t.Errorf("raised to administrator in %s: %d", team, w.Code)
		}
	}
	if got := local.signedInAs().Grants; len(got) != 1 || got[0].Team != emptyTeam {
		t.Errorf("the roles are %v", got)
	}
}

// The table says what access decides, and nothing about roles that no account has.
func TestRolesAreSaidAsDecided(t *testing.T) {
	said := sayRoles()
	if len(said.Roles) != len(access.Roles) {
		t.Fatal(said.Roles)
	}
	clears := slices.IndexFunc(said.Rows, func(r rolesRow) bool { return r.Words == "Clearance to throw" })
	if clears < 0 || !slices.Equal(said.Rows[clears].May, []bool{false, true, false, false, false}) {
		t.Errorf("clearance: %+v", said.Rows)
	}
}
