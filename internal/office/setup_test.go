package office

import (
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

func TestSetup(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	if there, err := h.Started(ctx); there || err != nil {
		t.Errorf("started: %v (%v)", there, err)
	}
	earlier, needed, err := h.Setup(ctx)
	if !needed || err != nil || len(earlier) != 43 {
		t.Fatalf("setup: %q, %v (%v)", earlier, needed, err)
	}
	secret, _, err := h.Setup(ctx)
	ok(t, err)
	_, err = h.OneTime(ctx, earlier, "192.0.2.1")
	is(t, "the link before the last start", err, screen.NotFound, "this link does not work")
	for range 3 { // looking does not use it up
		l, err := h.OneTime(ctx, secret, "192.0.2.1")
		if err != nil || l.Kind != access.LinkSetup || l.Hash != "" {
			t.Errorf("the link is %+v (%v)", l, err)
		}
	}
	in, err := h.TakeSetup(ctx, secret, NewAccount{Login: " Chief ", Name: " Uma Chief ", Password: good, Device: "browser"})
	ok(t, err)
	want := access.Person{ID: in.Person.ID, Name: "Uma Chief", Grants: []access.Grant{role("", access.Administrator)}, Session: in.Person.Session}
	if got, err := h.BySession(ctx, in.Cookie); err != nil || !samePerson(got, want) || !samePerson(in.Person, want) || in.Expires != start.Add(12*time.Hour) {
		t.Errorf("signed in as %+v (%v), %+v", got, err, in)
	}
	if _, needed, err := h.Setup(ctx); needed || err != nil {
		t.Errorf("a second setup is needed: %v (%v)", needed, err)
	}
	_, err = h.TakeSetup(ctx, secret, NewAccount{Login: "second", Name: "Second", Password: good})
	is(t, "used again", err, screen.NotFound, "this link does not work")
	if there, err := h.Started(ctx); !there || err != nil {
		t.Errorf("started: %v (%v)", there, err)
	}
	var words []string
	for _, e := range h.entries(t) {
		words = append(words, e.Who+" "+string(e.Action)+" "+e.Kind)
	}
	if got, want := strings.Join(words, ", "), "local manage people setup link, local manage people setup link, "+want.ID+" own account account, "+want.ID+" sign in account"; got != want {
		t.Errorf("the audit says\n%s, want\n%s", got, want)
	}
}

func samePerson(a, b access.Person) bool {
	return a.ID == b.ID && a.Name == b.Name && a.Session == b.Session && slices.Equal(a.Grants, b.Grants) && a.Local == b.Local &&
		slices.Equal(a.Scopes, b.Scopes) && a.Token == b.Token && a.Athlete == b.Athlete && a.Station == b.Station && a.Link == b.Link
}

// TestLooksAfter makes the first administrator clinician too.
func TestLooksAfter(t *testing.T) {
	if got, want := newHouse(t).first(t).Grants, []access.Grant{role("", access.Administrator), role("", access.Clinician)}; !slices.Equal(got, want) {
		t.Errorf("the roles are %v, want %v", got, want)
	}
}

// TestLinksExpire at the very moment: a day for the setup and for a new password, a week for an invitation.
func TestLinksExpire(t *testing.T) {
	for name, c := range map[string]struct {
		lasts time.Duration
		make  func(*testing.T, *house) string
	}{
		"setup": {24 * time.Hour, func(t *testing.T, h *house) string { s, _, err := h.Setup(t.Context()); ok(t, err); return s }},
		"invitation": {7 * 24 * time.Hour, func(t *testing.T, h *house) string {
			s, err := h.Invite(t.Context(), h.first(t), "Name", []access.Grant{role("T", access.Coach)})
			ok(t, err)
			return s
		}},
		"reset": {24 * time.Hour, func(t *testing.T, h *house) string {
			chief := h.first(t)
			s, err := h.ResetLink(t.Context(), chief, h.join(t, chief, "coach", role("T", access.Coach)).ID)
			ok(t, err)
			return s
		}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			secret := c.make(t, h)
			h.wait(c.lasts - time.Microsecond)
			_, err := h.OneTime(t.Context(), secret, "192.0.2.1")
			ok(t, err)
			h.wait(time.Microsecond)
			_, err = h.OneTime(t.Context(), secret, "192.0.2.1")
			is(t, "at the end", err, screen.NotFound, "this link does not work")
			in := NewAccount{Login: "late", Name: "Late", Password: good}
			_, e1 := h.TakeSetup(t.Context(), secret, in)
			_, e2 := h.TakeInvitation(t.Context(), secret, in)
			_, e3 := h.TakeReset(t.Context(), secret, other, "")
			for _, err := range []error{e1, e2, e3} {
				is(t, "taken at the end", err, screen.NotFound, "this link does not work")
			}
		})
	}
}

// TestLinkOfAnotherKind: what is not the link, or is one for something else, is refused in the same words.
func TestLinkOfAnotherKind(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	invitation, err := h.Invite(ctx, chief, "Name", []access.Grant{role("T", access.Coach)})
	ok(t, err)
	family, err := h.MakeFamilyLink(ctx, chief, "A", "mother", 0)
	ok(t, err)
	in := NewAccount{Login: "one", Name: "One", Password: good}
	_, want := h.TakeSetup(ctx, "", in)
	hashes := h.hasher.done.Load()
	for _, secret := range []string{"", invitation, family, invitation[:42], invitation + "A", strings.ToUpper(invitation), access.HashText(invitation)} {
		_, e1 := h.TakeSetup(ctx, secret, in)
		_, e2 := h.TakeReset(ctx, secret, other, "")
		for _, err := range []error{e1, e2} {
			if err == nil || err.Error() != want.Error() {
				t.Errorf("%q: %v, want %v", secret, err, want)
			}
		}
	}
	if _, err := h.OneTime(ctx, family, "192.0.2.1"); err == nil {
		t.Error("a family's link was taken for one that works once")
	}
	if n := h.hasher.done.Load() - hashes; n != 0 {
		t.Errorf("%d hashes were computed for somebody without a link", n)
	}
	_, err = h.TakeInvitation(ctx, invitation, in)
	ok(t, err)
}

// TestNewAccountFaults says what is wrong and leaves the link as it is.
func TestNewAccountFaults(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	secret, err := h.Invite(ctx, chief, "Name", []access.Grant{role("T", access.Coach)})
	ok(t, err)
	for name, c := range map[string]struct {
		in    NewAccount
		where []string
	}{
		"nothing":             {NewAccount{}, []string{"login", "name", "password"}},
		"short login":         {NewAccount{Login: "ab", Name: "N", Password: good}, []string{"login"}},
		"long login":          {NewAccount{Login: strings.Repeat("a", 65), Name: "N", Password: good}, []string{"login"}},
		"login with a space":  {NewAccount{Login: "a b c", Name: "N", Password: good}, []string{"login"}},
		"login with a line":   {NewAccount{Login: "abc\nx", Name: "N", Password: good}, []string{"login"}},
		"login like another":  {NewAccount{Login: "chіef", Name: "N", Password: good}, []string{"login"}}, // a Cyrillic i
		"login that is taken": {NewAccount{Login: "CHIEF", Name: "N", Password: good}, []string{"login"}},
		"name of spaces":      {NewAccount{Login: "abc", Name: "  ", Password: good}, []string{"name"}},
		"long name":           {NewAccount{Login: "abc", Name: strings.Repeat("n", 101), Password: good}, []string{"name"}},
		"name in two lines":   {NewAccount{Login: "abc", Name: "a\nb", Password: good}, []string{"name"}},
		"name that is broken": {NewAccount{Login: "abc", Name: "a\xff", Password: good}, []string{"name"}},
		"short password":      {NewAccount{Login: "abc", Name: "N", Password: "forty winks ok"}, []string{"password"}},
	} {
		_, err := h.TakeInvitation(ctx, secret, c.in)
		faults(t, name, err, c.where...)
	}
	in, err := h.TakeInvitation(ctx, secret, NewAccount{Login: "a.b_c-d@e+1", Name: "<b>Zoë</b>", Password: good})
	if err != nil || in.Person.Name != "<b>Zoë</b>" {
		t.Errorf("%+v (%v)", in, err)
	}
}

// TestOneUseAtOnce has many take one link at the same moment: one of them gets in.
func TestOneUseAtOnce(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	secret, err := h.Invite(t.Context(), chief, "Name", []access.Grant{role("T", access.Coach)})
	ok(t, err)
	const n = 8
	got := make([]error, n)
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			_, got[i] = h.TakeInvitation(t.Context(), secret, NewAccount{Login: "login" + string(rune('a'+i)), Name: "N", Password: good})
		})
	}
	wg.Wait()
	in := 0
	for _, err := range got {
		if err == nil {
			in++
		} else {
			is(t, "one of the others", err, screen.NotFound, "this link does not work")
		}
	}
	members, _, err := h.People(t.Context(), chief)
	if in != 1 || len(members) != 2 || err != nil {
		t.Errorf("%d got in, there are %d accounts (%v)", in, len(members), err)
	}
}

// TestInviterMustStillBeAble ends an invitation with the right of who made it.
func TestInviterMustStillBeAble(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	admin := h.join(t, chief, "admin", role("T", access.Administrator))
	secret, err := h.Invite(ctx, admin, "Name", []access.Grant{role("T", access.Clinician)})
	ok(t, err)
	look := func() error { _, err := h.OneTime(ctx, secret, "192.0.2.1"); return err }
	ok(t, look())
	ok(t, h.SetGrants(ctx, chief, admin.ID, []access.Grant{role("T", access.Coach)}))
	is(t, "made by somebody who is administrator no more", look(), screen.NotFound, "this link does not work")
	ok(t, h.SetGrants(ctx, chief, admin.ID, []access.Grant{role("T", access.Administrator)}))
	ok(t, h.Disable(ctx, chief, admin.ID, true))
	is(t, "made by somebody who is not let in", look(), screen.NotFound, "this link does not work")
	local, err := h.Invite(ctx, access.Local, "Name", []access.Grant{role("", access.Administrator)})
	ok(t, err)
	if in, err := h.TakeInvitation(ctx, local, NewAccount{Login: "abc", Name: "N", Password: good}); err != nil || !slices.Equal(in.Person.Grants, []access.Grant{role("", access.Administrator)}) {
		t.Errorf("invited at the command line: %+v (%v)", in.Person, err)
	}
}

// TestReset sets a new password: sessions end, the link and others like it are used up.
func TestReset(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	before, err := h.SignIn(ctx, from("coach", good, ""))
	ok(t, err)
	for range 6 { // the account has to wait; a new password ends that
		_, err = h.SignIn(ctx, from("coach", "wrong", ""))
	}
	if _, waits := Throttled(err); !waits {
		t.Errorf("no wait: %v", err)
	}
	earlier, err := h.ResetLink(ctx, chief, coach.ID)
	ok(t, err)
	secret, err := h.ResetLink(ctx, chief, coach.ID)
	ok(t, err)
	_, err = h.TakeReset(ctx, earlier, other, "")
	is(t, "the earlier link", err, screen.NotFound, "this link does not work")
	_, err = h.TakeReset(ctx, secret, "coach coach coach", "")
	faults(t, "a bad password", err, "password")
	in, err := h.TakeReset(ctx, secret, other, "browser")
	ok(t, err)
	if in.Person.ID != coach.ID || in.Cookie == "" || in.Person.Session == before.Person.Session {
		t.Errorf("signed in as %+v", in)
	}
	if who, err := h.BySession(ctx, before.Cookie); !who.Anonymous() || err != nil {
		t.Errorf("an old session is left: %+v (%v)", who, err)
	}
	_, err = h.TakeReset(ctx, secret, good, "")
	is(t, "used again", err, screen.NotFound, "this link does not work")
	_, err = h.SignIn(ctx, from("coach", other, ""))
	ok(t, err)
	_, err = h.SignIn(ctx, from("coach", good, ""))
	is(t, "the old password", err, screen.Unknown, "do not fit")
}

// TestResetKeepsSecondFactor begins no session where a second factor is asked for.
func TestResetKeepsSecondFactor(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	secret, _ := h.totp(t, coach)
	link, err := h.ResetLink(ctx, chief, coach.ID)
	ok(t, err)
	in, err := h.TakeReset(ctx, link, other, "")
	if err != nil || in.Cookie != "" || !in.Person.Anonymous() {
		t.Errorf("signed in without the second factor: %+v (%v)", in, err)
	}
	h.wait(time.Minute)
	_, err = h.SignIn(ctx, from("coach", other, ""))
	if !NeedsCode(err) {
		t.Errorf("without a code: %v", err)
	}
	_, err = h.SignIn(ctx, from("coach", other, codeAt(t, secret, h.now())))
	ok(t, err)
}

// TestSecretsAreNotOnFile looks for each secret that was handed out in all that is on file.
func TestSecretsAreNotOnFile(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	in, e1 := h.SignIn(ctx, from("chief", good, ""))
	invitation, e2 := h.Invite(ctx, chief, "Name", []access.Grant{role("T", access.Coach)})
	family, e3 := h.MakeFamilyLink(ctx, chief, "A", "mother", 0)
	token, e4 := h.MakeToken(ctx, chief, "sheet", access.Scopes, "", 1)
	_, codes := h.totp(t, chief)
	_, e5 := h.SignIn(ctx, from("not-a-login-of-ours", "a password typed", ""))
	for _, err := range []error{e1, e2, e3, e4} {
		ok(t, err)
	}
	is(t, "somebody unknown", e5, screen.Unknown, "do not fit")
	held := h.contents(t)
	if !strings.Contains(held, "Uma Chief") {
		t.Fatal("the file was not read")
	}
	for name, s := range map[string]string{"cookie": in.Cookie, "invitation": invitation, "family": family, "token": token, "token without prefix": token[4:],
		"password": good, "recovery": codes[0], "recovery without hyphens": strings.ReplaceAll(codes[0], "-", ""), "a stranger's login": "not-a-login-of-ours", "a stranger's password": "a password typed"} {
		if strings.Contains(held, s) {
			t.Errorf("%s is on file as it was given out", name)
		}
	}
}

// contents is the whole database file as text.
func (h *house) contents(t *testing.T) string {
	t.Helper()
	path := h.path + ".copy"
	ok(t, h.store.Backup(t.Context(), path))
	b, err := os.ReadFile(path)
	ok(t, err)
	return string(b)
}

// TestNoRandom makes no secret without random numbers, and leaves nothing behind.
func TestNoRandom(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	link, err := s.Invite(ctx, s.chief, "N", []access.Grant{role("T", access.Coach)})
	ok(t, err)
	before := len(s.entries(t))
	dry := New(s.store, Options{Now: s.now, NewID: s.opt.NewID, Random: strings.NewReader(""), Cost: cheap})
	_, e1 := dry.SignIn(ctx, from("chief", good, ""))
	_, e2 := dry.Invite(ctx, s.chief, "N", []access.Grant{role("T", access.Coach)})
	_, e3 := dry.TakeInvitation(ctx, link, NewAccount{Login: "abc", Name: "N", Password: good})
	_, e4 := dry.MakeFamilyLink(ctx, s.both, "A", "N", 1)
	_, e5 := dry.MakeToken(ctx, s.chief, "N", access.Scopes, "", 1)
	_, e6 := dry.OfferTOTP(ctx, s.chief)
	_, e7 := dry.ResetLink(ctx, s.chief, s.both.ID)
	_, _, e8 := dry.BeginPasskey(ctx, s.chief, origin)
	for i, err := range []error{e1, e2, e3, e4, e5, e6, e7, e8} {
		if err == nil || screen.IsCode(err, screen.Invalid) || screen.IsCode(err, screen.Unknown) {
			t.Errorf("%d: %v", i+1, err)
		}
	}
	if n := len(s.entries(t)) - before; n != 0 {
		t.Errorf("%d entries for what was not done", n)
	}
	_, err = s.TakeInvitation(ctx, link, NewAccount{Login: "abc", Name: "N", Password: good})
	ok(t, err)
}

// TestResetOfMore: a link for a new password does not take over what the account was given since.
func TestResetOfMore(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	link, err := s.ResetLink(ctx, s.adminT, s.coachT.ID)
	ok(t, err)
	look := func() error { _, err := s.OneTime(ctx, link, ""); return err }
	ok(t, look())
	ok(t, s.SetGrants(ctx, s.chief, s.coachT.ID, []access.Grant{role("T", access.Coach), role("", access.Administrator)}))
	is(t, "made by somebody who administers less", look(), screen.NotFound, "this link does not work")
	_, err = s.TakeReset(ctx, link, other, "")
	is(t, "taken", err, screen.NotFound, "this link does not work")
	ok(t, s.SetGrants(ctx, s.chief, s.coachT.ID, nil))
	ok(t, look())
	ok(t, s.SetGrants(ctx, s.chief, s.adminT.ID, nil))
	ok(t, s.SetGrants(ctx, s.chief, s.coachT.ID, []access.Grant{role("T", access.Coach)}))
	is(t, "made by somebody who administers nothing", look(), screen.NotFound, "this link does not work")
}
