package office

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

func TestFamilyLink(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	secret, err := s.MakeFamilyLink(ctx, s.both, "A", " father ", 0)
	ok(t, err)
	if got, want := s.last(t), s.both.ID+": manage links done athlete A"; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	second, err := s.MakeFamilyLink(ctx, s.both, "A", "herself", 180)
	ok(t, err)
	for range 3 { // works more than once
		s.wait(30 * time.Second)
		who, err := s.ByFamilyLink(ctx, secret, "192.0.2.1")
		ok(t, err)
		if who.ID != "" || who.Athlete != "A" || who.Link == "" || who.Name != "athlete or guardian" || len(who.Grants) != 0 {
			t.Errorf("it stands for %+v", who)
		}
		own, others, roster := access.Subject{Athlete: "A", Teams: []string{"T"}}, access.Subject{Athlete: "B", Teams: []string{"U"}}, access.Subject{Teams: []string{"T"}}
		if !who.May(access.SeeOwn, &own) || who.May(access.SeeOwn, &others) || who.May(access.SeeRoster, &roster) || who.May(access.SeeRecords, &own) {
			t.Error("the link opens what it should not, or not what it should")
		}
	}
	list, err := s.FamilyLinks(ctx, s.both, "A")
	if err != nil || len(list) != 2 || list[0].Name != "herself" || list[1].Name != "father" || list[0].Hash != "" || list[1].Used != start.Add(90*time.Second) ||
		list[1].Expires != start.Add(30*24*time.Hour) || list[0].Expires != start.Add(180*24*time.Hour) || list[1].By != s.both.ID {
		t.Errorf("the links are %+v (%v)", list, err)
	}
	is(t, "of another athlete", s.RevokeFamilyLink(ctx, s.both, "B", list[1].ID), screen.NotFound, "no such link")
	is(t, "as an invitation", s.RevokeLink(ctx, s.chief, list[1].ID), screen.NotFound, "no such link")
	is(t, "no link", s.RevokeFamilyLink(ctx, s.both, "A", "x"), screen.NotFound, "no such link")
	ok(t, s.RevokeFamilyLink(ctx, s.both, "A", list[1].ID))
	_, err = s.ByFamilyLink(ctx, secret, "192.0.2.1")
	is(t, "revoked", err, screen.NotFound, "this link does not work")
	s.wait(180*24*time.Hour - 90*time.Second - time.Microsecond)
	_, err = s.ByFamilyLink(ctx, second, "192.0.2.1")
	ok(t, err)
	s.wait(time.Microsecond)
	_, err = s.ByFamilyLink(ctx, second, "192.0.2.1")
	is(t, "at the end", err, screen.NotFound, "this link does not work")
}

func TestFamilyLinkRefused(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	for name, c := range map[string]struct {
		who     access.Person
		athlete string
		code    screen.Code
		words   string
	}{
		"another team's athlete":   {s.coachT, "B", screen.NotFound, "there is no such athlete"},
		"coach":                    {s.coachT, "A", screen.Forbidden, "with your role"},
		"administrator of T alone": {s.adminT, "A", screen.Forbidden, "with your role"},
		"no athlete":               {s.both, "X", screen.NotFound, "there is no such athlete"},
		"no athlete at all":        {s.chief, "X", screen.NotFound, "there is no such athlete"},
		"family":                   {access.Person{Athlete: "A", Link: "x"}, "A", screen.Forbidden, "with your role"},
		"nobody":                   {access.Person{}, "A", screen.Unknown, "nobody is signed in"},
	} {
		_, e1 := s.MakeFamilyLink(ctx, c.who, c.athlete, "N", 1)
		_, e2 := s.FamilyLinks(ctx, c.who, c.athlete)
		for _, err := range []error{e1, e2, s.RevokeFamilyLink(ctx, c.who, c.athlete, "x")} {
			if c.words == "there is no such athlete" && screen.IsCode(err, screen.NotFound) {
				continue // of a link of an athlete that there is not, there is none either
			}
			is(t, name, err, c.code, c.words)
		}
	}
	for _, days := range []int{-1, 181} {
		_, err := s.MakeFamilyLink(ctx, s.both, "A", "", days)
		faults(t, fmt.Sprint(days, " days"), err, "name", "days")
	}
	secret, err := s.MakeFamilyLink(ctx, s.both, "A", "N", 1)
	ok(t, err)
	invitation, err := s.Invite(ctx, s.chief, "N", []access.Grant{role("T", access.Coach)})
	ok(t, err)
	for name, bad := range map[string]string{"none": "", "truncated": secret[:42], "longer": secret + "A", "invitation": invitation, "capitals": strings.ToUpper(secret)} {
		_, err := s.ByFamilyLink(ctx, bad, "192.0.2.1")
		is(t, name, err, screen.NotFound, "this link does not work")
	}
	for range 20 {
		_, err = s.ByFamilyLink(ctx, "x", "192.0.2.1")
	}
	if wait, waits := Throttled(err); !waits || wait != 10*time.Second {
		t.Errorf("the wait is %v, %v", wait, waits)
	}
	_, err = s.ByFamilyLink(ctx, secret, "192.0.2.2")
	ok(t, err)
}
