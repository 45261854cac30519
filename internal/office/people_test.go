package office

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// staff is a house with people in it.
type staff struct {
	*house
	chief, adminT, adminU, coachT, both access.Person
}

func newStaff(t testing.TB) *staff {
	t.Helper()
	h := newHouse(t)
	s := &staff{house: h, chief: h.first(t)}
	s.adminT = h.join(t, s.chief, "admin-t", role("T", access.Administrator))
	s.adminU = h.join(t, s.chief, "admin-u", role("U", access.Administrator))
	s.coachT = h.join(t, s.chief, "coach-t", role("T", access.Coach))
	s.both = h.join(t, s.chief, "both", role("T", access.Clinician), role("U", access.Clinician))
	return s
}

// names are the logins of members with what of their roles is shown.
func names(members []Member) string {
	var out []string
	for _, m := range members {
		text := m.Account.Login
		for _, g := range m.Grants {
			text += fmt.Sprintf(" %s/%s", g.Team, g.Role)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

func TestPeople(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	_, e1 := s.Invite(ctx, s.adminT, "For T", []access.Grant{role("T", access.Helper)})
	_, e2 := s.Invite(ctx, s.chief, "For both", []access.Grant{role("T", access.Helper), role("U", access.Helper)})
	ok(t, e1)
	ok(t, e2)
	s.totp(t, s.coachT)
	for name, c := range map[string]struct {
		who           access.Person
		members, open string
	}{
		"of every team": {s.chief, "admin-t T/administrator, admin-u U/administrator, both T/clinician U/clinician, coach-t T/coach, chief /administrator /clinician", "For both, For T"},
		"command line":  {access.Local, "admin-t T/administrator, admin-u U/administrator, both T/clinician U/clinician, coach-t T/coach, chief /administrator /clinician", "For both, For T"},
		"of T":          {s.adminT, "admin-t T/administrator, both T/clinician, coach-t T/coach", "For T"},
		"of U":          {s.adminU, "admin-u U/administrator, both U/clinician", ""},
	} {
		members, open, err := s.People(ctx, c.who)
		ok(t, err)
		if got := names(members); got != c.members {
			t.Errorf("%s: sees %s, want %s", name, got, c.members)
		}
		var links []string
		for _, l := range open {
			links = append(links, l.Name)
			if l.Hash != "" {
				t.Errorf("%s: sees the hash of a link", name)
			}
		}
		if got := strings.Join(links, ", "); got != c.open {
			t.Errorf("%s: sees the invitations %q, want %q", name, got, c.open)
		}
		for _, m := range members {
			if m.Account.Password != "" || m.Account.TOTP != "" || m.HasTOTP != (m.Account.Login == "coach-t") {
				t.Errorf("%s: %+v", name, m)
			}
		}
	}
	for name, who := range map[string]access.Person{"coach": s.coachT, "clinicians": s.both, "family": {Athlete: "A", Link: "x"}} {
		_, _, err := s.People(ctx, who)
		is(t, name, err, screen.Forbidden, "you may not do this with your role")
	}
	_, _, err := s.People(ctx, access.Person{})
	is(t, "nobody", err, screen.Unknown, "nobody is signed in")
	s.wait(8 * 24 * time.Hour)
	if _, open, err := s.People(ctx, s.chief); len(open) != 0 || err != nil {
		t.Errorf("invitations that are past: %+v (%v)", open, err)
	}
}

func TestMember(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	for name, c := range map[string]struct {
		who   access.Person
		id    string
		want  string
		code  screen.Code
		words string
	}{
		"of every team":       {s.chief, s.both.ID, "both T/clinician U/clinician", "", ""},
		"of one of his teams": {s.adminT, s.both.ID, "both T/clinician", "", ""},
		"of another team":     {s.adminT, s.adminU.ID, "", screen.NotFound, "there is no such account"},
		"of every team for T": {s.adminT, s.chief.ID, "", screen.NotFound, "there is no such account"},
		"no account":          {s.adminT, "x", "", screen.NotFound, "there is no such account"},
		"coach":               {s.coachT, s.both.ID, "", screen.Forbidden, "with your role"},
		"coach, oneself":      {s.coachT, s.coachT.ID, "", screen.Forbidden, "with your role"},
		"nobody":              {access.Person{}, "x", "", screen.Unknown, "nobody is signed in"},
	} {
		m, err := s.Member(ctx, c.who, c.id)
		if c.code != "" {
			is(t, name, err, c.code, c.words)
			continue
		}
		if got := names([]Member{m}); err != nil || got != c.want {
			t.Errorf("%s: %s (%v), want %s", name, got, err, c.want)
		}
	}
}

func TestInvite(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	coach := []access.Grant{role("T", access.Coach)}
	token := s.chief
	token.Token, token.Scopes = "x", access.Scopes
	for name, c := range map[string]struct {
		who    access.Person
		name   string
		grants []access.Grant
		code   screen.Code
		words  string
	}{
		"another team":      {s.adminT, "N", []access.Grant{role("U", access.Coach)}, screen.NotFound, "there is no such team"},
		"also another team": {s.adminT, "N", []access.Grant{role("T", access.Coach), role("U", access.Coach)}, screen.NotFound, "there is no such team"},
		"unknown team":      {s.adminT, "N", []access.Grant{role("X", access.Coach)}, screen.NotFound, "there is no such team"},
		"every team":        {s.adminT, "N", []access.Grant{role("", access.Helper)}, screen.Forbidden, "with your role"},
		"coach":             {s.coachT, "N", coach, screen.Forbidden, "with your role"},
		"clinician":         {s.both, "N", coach, screen.Forbidden, "with your role"},
		"token":             {token, "N", coach, screen.Forbidden, "with your role"},
		"nobody":            {access.Person{}, "N", coach, screen.Unknown, "nobody is signed in"},
	} {
		_, err := s.Invite(ctx, c.who, c.name, c.grants)
		is(t, name, err, c.code, c.words)
	}
	for name, c := range map[string]struct {
		name   string
		grants []access.Grant
		where  []string
	}{
		"nothing":         {"", nil, []string{"name", "grants"}},
		"unknown team":    {"N", []access.Grant{role("X", access.Coach)}, []string{"grants"}},
		"unknown role":    {"N", []access.Grant{role("T", "owner")}, []string{"grants"}},
		"a link's role":   {"N", []access.Grant{role("T", access.Family)}, []string{"grants"}},
		"a station's":     {"N", []access.Grant{role("T", access.Station)}, []string{"grants"}},
		"twice":           {"N", []access.Grant{role("T", access.Coach), role("T", access.Coach)}, []string{"grants"}},
		"very many":       {"N", slices.Repeat(coach, 201), []string{"grants"}},
		"several of them": {"", []access.Grant{role("X", access.Coach), role("T", "owner")}, []string{"name", "grants", "grants"}},
	} {
		_, err := s.Invite(ctx, s.chief, c.name, c.grants)
		faults(t, name, err, c.where...)
	}
	secret, err := s.Invite(ctx, s.adminT, " Ina ", []access.Grant{role("T", access.Clinician), role("T", access.Administrator)})
	ok(t, err)
	l, err := s.OneTime(ctx, secret, "")
	if err != nil || l.Kind != access.LinkInvitation || l.Name != "Ina" || l.By != s.adminT.ID || len(l.Grants) != 2 {
		t.Errorf("%+v (%v)", l, err)
	}
	if got, want := s.last(t), s.adminT.ID+": manage people done invitation "+l.ID; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	is(t, "revoked by another team's", s.RevokeLink(ctx, s.adminU, l.ID), screen.NotFound, "no such link")
	is(t, "revoked by a coach", s.RevokeLink(ctx, s.coachT, l.ID), screen.NotFound, "no such link")
	is(t, "no link", s.RevokeLink(ctx, s.chief, "x"), screen.NotFound, "no such link")
	ok(t, s.RevokeLink(ctx, s.adminT, l.ID))
	_, err = s.OneTime(ctx, secret, "")
	is(t, "revoked", err, screen.NotFound, "this link does not work")
}

// TestSetGrants is the table of who may change which roles, and of what is then there.
func TestSetGrants(t *testing.T) {
	admin, clinician, coach := access.Administrator, access.Clinician, access.Coach
	type who = func(*staff) *access.Person
	chief, adminT, coachT := func(s *staff) *access.Person { return &s.chief }, func(s *staff) *access.Person { return &s.adminT }, func(s *staff) *access.Person { return &s.coachT }
	adminU, both := func(s *staff) *access.Person { return &s.adminU }, func(s *staff) *access.Person { return &s.both }
	for name, c := range map[string]struct {
		who, whose who
		grants     []access.Grant
		want       []access.Grant // what is there then
		code       screen.Code
		words      string
	}{
		"all of them":               {chief, both, []access.Grant{role("", coach)}, []access.Grant{role("", coach)}, "", ""},
		"none":                      {chief, both, nil, nil, "", ""},
		"those of his team":         {adminT, both, []access.Grant{role("T", coach)}, []access.Grant{role("T", coach), role("U", clinician)}, "", ""},
		"one more in his team":      {adminT, coachT, []access.Grant{role("T", coach), role("T", admin)}, []access.Grant{role("T", admin), role("T", coach)}, "", ""},
		"none in his team":          {adminT, both, nil, []access.Grant{role("U", clinician)}, "", ""},
		"as they are":               {adminT, both, []access.Grant{role("T", clinician)}, []access.Grant{role("T", clinician), role("U", clinician)}, "", ""},
		"as they are, elsewhere":    {adminT, both, []access.Grant{role("T", clinician), role("U", clinician)}, []access.Grant{role("T", clinician), role("U", clinician)}, "", ""},
		"his own away":              {adminT, adminT, nil, nil, "", ""},
		"another administrator":     {chief, coachT, []access.Grant{role("", admin)}, []access.Grant{role("", admin)}, "", ""},
		"more elsewhere":            {adminT, both, []access.Grant{role("T", clinician), role("U", coach)}, nil, screen.NotFound, "there is no such team"},
		"for every team":            {adminT, coachT, []access.Grant{role("", coach)}, nil, screen.Forbidden, "with your role"},
		"himself for every team":    {adminT, adminT, []access.Grant{role("T", admin), role("", admin)}, nil, screen.Forbidden, "with your role"},
		"of another team":           {adminT, adminU, []access.Grant{role("T", coach)}, nil, screen.NotFound, "there is no such account"},
		"of every team":             {adminT, chief, nil, nil, screen.NotFound, "there is no such account"},
		"his own":                   {coachT, coachT, []access.Grant{role("T", admin)}, nil, screen.Forbidden, "with your role"},
		"by a clinician":            {both, coachT, nil, nil, screen.Forbidden, "with your role"},
		"the last administrator":    {chief, chief, []access.Grant{role("", clinician)}, nil, screen.Invalid, "nobody would be left"},
		"the last one, some teams":  {chief, chief, []access.Grant{role("T", admin), role("U", admin)}, nil, screen.Invalid, "nobody would be left"},
		"a role that there is none": {chief, coachT, []access.Grant{role("T", "owner")}, nil, "faults", ""},
		"in a team that is none":    {chief, coachT, []access.Grant{role("X", coach)}, nil, "faults", ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := newStaff(t)
			who, whose := *c.who(s), *c.whose(s)
			before := s.grants(t, whose.ID)
			err := s.SetGrants(t.Context(), who, whose.ID, c.grants)
			want := c.want
			switch {
			case c.code == "faults":
				faults(t, "refused", err, "grants")
			case c.code != "":
				is(t, "refused", err, c.code, c.words)
			default:
				ok(t, err)
				if got, want := s.last(t), who.ID+": manage people done account "+whose.ID; got != want {
					t.Errorf("the audit says %q, want %q", got, want)
				}
			}
			if c.code != "" {
				want = before
			}
			if got := s.grants(t, whose.ID); !slices.Equal(got, want) {
				t.Errorf("the roles are %v, want %v", got, want)
			}
		})
	}
}

func (s *staff) grants(t *testing.T, id string) []access.Grant {
	t.Helper()
	m, err := s.Member(t.Context(), access.Local, id)
	ok(t, err)
	return m.Grants
}

// TestRolesHoldAtOnce: what was changed holds from the next request on.
func TestRolesHoldAtOnce(t *testing.T) {
	s := newStaff(t)
	in, err := s.SignIn(t.Context(), from("coach-t", good, ""))
	ok(t, err)
	ok(t, s.SetGrants(t.Context(), s.chief, s.coachT.ID, []access.Grant{role("U", access.Trainer)}))
	who, err := s.BySession(t.Context(), in.Cookie)
	if err != nil || !slices.Equal(who.Grants, []access.Grant{role("U", access.Trainer)}) {
		t.Errorf("%+v (%v)", who, err)
	}
}

// TestWholeAccount lets nobody shut out, or take over, more than he administers.
func TestWholeAccount(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	ok(t, s.SetGrants(ctx, s.chief, s.chief.ID, append(slices.Clone(s.chief.Grants), role("T", access.Coach))))
	for name, c := range map[string]struct {
		who   access.Person
		id    string
		code  screen.Code
		words string
	}{
		"roles in another team too": {s.adminT, s.both.ID, screen.Forbidden, "this account has roles outside the teams that you administer"},
		"roles in every team too":   {s.adminT, s.chief.ID, screen.Forbidden, "this account has roles outside the teams that you administer"},
		"of another team":           {s.adminT, s.adminU.ID, screen.NotFound, "there is no such account"},
		"no account":                {s.chief, "x", screen.NotFound, "there is no such account"},
		"coach":                     {s.coachT, s.adminT.ID, screen.Forbidden, "with your role"},
		"his own":                   {s.adminT, s.adminT.ID, screen.Invalid, "this is your own account"},
		"nobody":                    {access.Person{}, s.coachT.ID, screen.Unknown, "nobody is signed in"},
	} {
		is(t, name, s.Disable(ctx, c.who, c.id, true), c.code, c.words)
		_, err := s.ResetLink(ctx, c.who, c.id)
		is(t, name, err, c.code, c.words)
	}
	ok(t, s.Disable(ctx, s.adminT, s.coachT.ID, true))
	_, err := s.ResetLink(ctx, s.adminT, s.coachT.ID)
	is(t, "not let in", err, screen.Invalid, "is not let in")
	ok(t, s.Disable(ctx, s.adminT, s.coachT.ID, false))
	link, err := s.ResetLink(ctx, s.adminT, s.coachT.ID)
	ok(t, err)
	l, err := s.OneTime(ctx, link, "")
	ok(t, err)
	is(t, "revoked by another team's", s.RevokeLink(ctx, s.adminU, l.ID), screen.NotFound, "no such")
	ok(t, s.RevokeLink(ctx, s.adminT, l.ID))
	_, err = s.OneTime(ctx, link, "")
	is(t, "revoked", err, screen.NotFound, "this link does not work")
}

// TestDisable ends all that lets somebody in, and letting in again brings back the password alone.
func TestDisable(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	in, e1 := s.SignIn(ctx, from("coach-t", good, ""))
	token, e2 := s.MakeToken(ctx, in.Person, "n", access.Scopes, "", 10)
	link, e3 := s.ResetLink(ctx, s.chief, s.coachT.ID)
	for _, err := range []error{e1, e2, e3} {
		ok(t, err)
	}
	works := func() string {
		who, e1 := s.BySession(ctx, in.Cookie)
		_, e2 := s.ByToken(ctx, token, "")
		_, e3 := s.OneTime(ctx, link, "")
		_, e4 := s.SignIn(ctx, from("coach-t", good, ""))
		ok(t, e1)
		return fmt.Sprint(!who.Anonymous(), e2 == nil, e3 == nil, e4 == nil)
	}
	if got := works(); got != "true true true true" {
		t.Fatal(got)
	}
	for range 2 { // the moment stays that of the first time
		ok(t, s.Disable(ctx, s.chief, s.coachT.ID, true))
		s.wait(time.Second)
	}
	if m, err := s.Member(ctx, s.chief, s.coachT.ID); err != nil || m.Account.Disabled != start {
		t.Errorf("%+v (%v)", m, err)
	}
	if got := works(); got != "false false false false" {
		t.Errorf("not let in: %s", got)
	}
	s.wait(time.Minute)
	ok(t, s.Disable(ctx, s.chief, s.coachT.ID, false))
	if got := works(); got != "false false false true" {
		t.Errorf("let in again: %s", got)
	}
}

// TestLastAdministrator cannot be shut out by anybody, also not at the command line.
func TestLastAdministrator(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	is(t, "by the command line", s.Disable(ctx, access.Local, s.chief.ID, true), screen.Invalid, "nobody would be left")
	second := s.join(t, s.chief, "second", role("", access.Administrator))
	ok(t, s.Disable(ctx, second, s.chief.ID, true))
	is(t, "the other one", s.SetGrants(ctx, second, second.ID, nil), screen.Invalid, "nobody would be left")
	link, err := s.ResetLink(ctx, access.Local, second.ID) // who forgot the password of the last one
	ok(t, err)
	in, err := s.TakeReset(ctx, link, other, "")
	if err != nil || in.Person.ID != second.ID {
		t.Errorf("%+v (%v)", in, err)
	}
}
