package office

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

func TestSignIn(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	in, err := h.SignIn(ctx, Attempt{Login: " CHIEF ", Password: good, Address: "192.0.2.1", Device: "browser\non\x00system" + strings.Repeat("x", 200)})
	ok(t, err)
	who, err := h.BySession(ctx, in.Cookie)
	if err != nil || !samePerson(who, in.Person) || who.ID != chief.ID || who.Session == chief.Session {
		t.Errorf("signed in as %+v (%v)", who, err)
	}
	own, err := h.Own(ctx, who)
	if err != nil || len(own.Sessions) != 2 || !strings.HasPrefix(own.Sessions[0].Device, "browseronsystemx") || len(own.Sessions[0].Device) != 100 || own.Sessions[0].Hash != "" {
		t.Errorf("the sessions are %+v (%v)", own.Sessions, err)
	}
	if got, want := h.last(t), who.ID+": sign in done account "+who.ID; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
}

// TestSameWords says the same of every failure, after the same work, and writes down whose account it
// was but not what was typed.
func TestSameWords(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	gone := h.join(t, chief, "gone", role("T", access.Coach))
	ok(t, h.Disable(ctx, chief, gone.ID, true))
	h.totp(t, coach)
	for name, c := range map[string]struct {
		a     Attempt
		whose string
	}{
		"unknown login":        {from("nobody", good, ""), ""},
		"no login":             {from("", good, ""), ""},
		"wrong password":       {from("chief", other, ""), chief.ID},
		"no password":          {from("chief", "", ""), chief.ID},
		"password too long":    {from("chief", strings.Repeat("x", 1<<16), ""), chief.ID},
		"not let in":           {from("gone", good, ""), gone.ID},
		"not let in and wrong": {from("gone", other, ""), gone.ID},
		"wrong code":           {from("coach", good, "000000"), coach.ID},
	} {
		before := h.hasher.done.Load()
		c.a.Address = "" // each counts
		h.wait(time.Minute)
		_, err := h.SignIn(ctx, c.a)
		is(t, name, err, screen.Unknown, "these do not fit together; check the login, the password and the code")
		if NeedsCode(err) {
			t.Errorf("%s: asks for a code", name)
		}
		if n := h.hasher.done.Load() - before; n != 1 {
			t.Errorf("%s: %d hashes", name, n)
		}
		if got, want := h.last(t), "unknown: sign in refused account "+c.whose; got != want {
			t.Errorf("%s: the audit says %q, want %q", name, got, want)
		}
	}
}

// TestAccountWaits after five failures for one second, then twice as long each time, at most a quarter
// of an hour. An attempt meanwhile is refused, also a right one, and makes it no longer.
func TestAccountWaits(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	h.first(t)
	try := func(password string) error {
		a := from("chief", password, "")
		a.Address = fmt.Sprintf("198.51.100.%d", h.now().Unix()%250)
		_, err := h.SignIn(ctx, a)
		return err
	}
	for range 5 {
		is(t, "a free try", try(other), screen.Unknown, "do not fit")
	}
	for i := range 14 {
		want := min(time.Second<<i, 15*time.Minute)
		for _, password := range []string{other, good, other} {
			wait, waits := Throttled(try(password))
			if !waits || wait != want {
				t.Fatalf("wait %d is %v, %v, want %v", i, wait, waits, want)
			}
		}
		h.wait(want - time.Microsecond)
		if wait, _ := Throttled(try(good)); wait != time.Microsecond {
			t.Errorf("wait %d: just before its end it is %v", i, wait)
		}
		h.wait(time.Microsecond)
		is(t, "after the wait", try(other), screen.Unknown, "do not fit")
	}
	h.wait(15 * time.Minute)
	ok(t, try(good)) // and that ends it
	for range 4 {
		is(t, "a free try", try(other), screen.Unknown, "do not fit")
	}
	ok(t, try(good))
	for range 5 {
		is(t, "a free try", try(other), screen.Unknown, "do not fit")
	}
	h.wait(24*time.Hour + time.Second) // forgotten
	for range 5 {
		is(t, "a free try", try(other), screen.Unknown, "do not fit")
	}
}

// TestWaitWords says how long somebody has to wait.
func TestWaitWords(t *testing.T) {
	for d, want := range map[time.Duration]string{1: "1 second", time.Second: "1 second", time.Second + 1: "2 seconds", 90 * time.Second: "90 seconds",
		91 * time.Second: "2 minutes", 15 * time.Minute: "15 minutes"} {
		if got := waitWords(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
		if err := tooMany(d); !strings.Contains(err.Error(), "wait "+want+", then try again") {
			t.Error(err)
		}
	}
	if _, ok := Throttled(errWrong); ok || NeedsCode(tooMany(1)) || NeedsCode(nil) {
		t.Error("errors are mixed up")
	}
}

// TestAddressWaits lets ten fail from one address, then one in ten seconds; what succeeds does not
// count, and another address is free.
func TestAddressWaits(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	h.first(t)
	try := func(login, password, address string) error {
		_, err := h.SignIn(ctx, Attempt{Login: login, Password: password, Address: address})
		return err
	}
	for i := range 30 {
		ok(t, try("chief", good, "2001:db8::1"))
		if i < 10 {
			is(t, "a free try", try(fmt.Sprint("login", i), other, "2001:db8::2"), screen.Unknown, "do not fit")
		}
		if i == 9 {
			break
		}
	}
	for _, a := range []string{"2001:db8::3", "2001:db8::ffff:0:0:1%eth0"} {
		if wait, _ := Throttled(try("chief", good, a)); wait != 10*time.Second {
			t.Errorf("from %s the wait is %v", a, wait)
		}
	}
	ok(t, try("chief", good, "2001:db8:0:1::1"))
	h.wait(10 * time.Second)
	is(t, "after the wait", try("abc", other, "2001:db8::2"), screen.Unknown, "do not fit")
	if _, waits := Throttled(try("abc", other, "2001:db8::2")); !waits {
		t.Error("two at once after the wait")
	}
}

func TestNetwork(t *testing.T) {
	for address, want := range map[string]string{"192.0.2.1": "192.0.2.1", "::ffff:192.0.2.1": "192.0.2.1", "2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64",
		"fe80::1%eth0": "fe80::/64", "": "", "no address": "", "192.0.2.1:80": ""} {
		if got := network(address); got != want {
			t.Errorf("%q counts as %q, want %q", address, got, want)
		}
	}
}

// TestTenThousandTries has a crowd at many addresses try one account and many made-up ones: nobody gets
// in, few hashes are computed, little is remembered, and its owner gets in afterwards.
func TestTenThousandTries(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	h.first(t)
	before := h.hasher.done.Load()
	const n = 10_000
	passed := 0
	for i := range n {
		a := Attempt{Login: "chief", Password: fmt.Sprintf("guess number %08d", i), Address: fmt.Sprintf("10.%d.%d.%d", i>>16, i>>8&255, i&255)}
		_, err := h.SignIn(ctx, a)
		if err == nil {
			passed++
		}
		h.wait(time.Second)
	}
	hashes := h.hasher.done.Load() - before
	// 10,000 seconds: 5 at once, 10 while the wait doubles to 15 minutes, then 10 more.
	if passed != 0 || hashes < 15 || hashes > 40 {
		t.Errorf("%d got in, %d hashes were computed", passed, hashes)
	}
	h.wait(15 * time.Minute)
	_, err := h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)

	before = h.hasher.done.Load()
	for i := range n { // from one address, each at another login
		_, err := h.SignIn(ctx, Attempt{Login: fmt.Sprint("made up ", i), Password: good, Address: "203.0.113.7"})
		if err == nil {
			t.Fatal("somebody made up got in")
		}
	}
	if hashes := h.hasher.done.Load() - before; hashes != 10 {
		t.Errorf("%d hashes were computed for one address", hashes)
	}
}

// TestRemembersLittle meets more keys than are remembered: the ones met last stay.
func TestRemembersLittle(t *testing.T) {
	tr := newTries()
	for i := range 3 * mostKeys {
		_ = tr.of("", fmt.Sprint(i)).begin(start)
		if i%1000 == 0 {
			_ = tr.of("an account", "").begin(start)
			_ = tr.of("", "kept alive").begin(start)
		}
	}
	if n, m := len(tr.unknown.at), tr.unknown.order.Len(); n != mostKeys || m != mostKeys {
		t.Errorf("%d and %d keys are remembered", n, m)
	}
	for _, a := range []*account{tr.of("an account", ""), tr.of("", "kept alive")} {
		if _, waits := Throttled(a.begin(start)); !waits {
			t.Errorf("%s was forgotten", a.key)
		}
	}
	if err := tr.of("", "1").begin(start); err != nil {
		t.Errorf("the first ones are remembered: %v", err)
	}
}

// TestManyAtOnce has many guess at the same moment: no more get a try than one after the other would.
func TestManyAtOnce(t *testing.T) {
	h := newHouse(t)
	h.first(t)
	before := h.hasher.done.Load()
	var wg sync.WaitGroup
	for i := range 60 {
		wg.Go(func() {
			_, err := h.SignIn(t.Context(), Attempt{Login: "chief", Password: other, Address: fmt.Sprintf("198.51.100.%d", i)})
			if err == nil {
				t.Error("somebody got in")
			}
		})
	}
	wg.Wait()
	if n := h.hasher.done.Load() - before; n != 5 {
		t.Errorf("%d of them got a try", n)
	}
}

// TestTurns lets two hash at once; others wait as long as their request lasts, and very many are sent away.
func TestTurns(t *testing.T) {
	hs := newHasher(nil, cheap)
	release := make(chan struct{})
	var wg sync.WaitGroup
	var in sync.WaitGroup
	in.Add(hashesAtOnce)
	for range hashesAtOnce {
		wg.Go(func() { _ = hs.turn(t.Context(), func() { in.Done(); <-release }) })
	}
	in.Wait()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := hs.turn(ctx, func() { t.Error("a request that is over was served") }); !errors.Is(err, context.Canceled) {
		t.Errorf("over: %v", err)
	}
	hs.waiting.Store(mostWaiting)
	if wait, waits := Throttled(hs.turn(t.Context(), func() { t.Error("served out of turn") })); !waits || wait != busyWait {
		t.Errorf("too many: %v, %v", wait, waits)
	}
	hs.waiting.Store(0)
	close(release)
	wg.Wait()
	ran := false
	if err := hs.turn(t.Context(), func() { ran = true }); err != nil || !ran || hs.waiting.Load() != 0 {
		t.Errorf("afterwards: %v, %v", ran, err)
	}
}

// TestBusyIsNoFailure: somebody who was sent away because of others has not failed.
func TestBusyIsNoFailure(t *testing.T) {
	h := newHouse(t)
	h.first(t)
	h.hasher.waiting.Store(mostWaiting)
	for range 20 {
		_, err := h.SignIn(t.Context(), from("chief", good, ""))
		if wait, _ := Throttled(err); wait != busyWait {
			t.Fatal(err)
		}
	}
	h.hasher.waiting.Store(0)
	_, err := h.SignIn(t.Context(), from("chief", good, ""))
	ok(t, err)
}

// TestHangingUp does not count against the account, whose owner is at a gym's network, but does so
// against the address.
func TestHangingUp(t *testing.T) {
	h := newHouse(t)
	h.first(t)
	for range hashesAtOnce { // nobody gets a turn
		h.hasher.slots <- struct{}{}
	}
	for i := range failBurst {
		ctx, cancel := context.WithCancel(t.Context())
		got := make(chan error)
		go func() { _, err := h.SignIn(ctx, from("chief", good, "")); got <- err }()
		for h.hasher.waiting.Load() == 0 {
			runtime.Gosched()
		}
		cancel()
		if err := <-got; !errors.Is(err, context.Canceled) {
			t.Fatalf("try %d: %v", i, err)
		}
	}
	_, err := h.SignIn(t.Context(), from("chief", good, ""))
	if wait, _ := Throttled(err); wait != failEvery {
		t.Errorf("from the same address: %v", err)
	}
	for range hashesAtOnce {
		<-h.hasher.slots
	}
	_, err = h.SignIn(t.Context(), Attempt{Login: "chief", Password: good, Address: "192.0.2.99"})
	ok(t, err)
}

// TestRehash makes a new hash at the first sign-in after the cost was changed.
func TestRehash(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	stored := func() (phc string) {
		h.write(t, func(tx *store.Tx) error { a, err := tx.Account(chief.ID); phc = a.Password; return err })
		return phc
	}
	before := stored()
	dearer := New(h.store, Options{Now: h.now, NewID: func() string { return "new-session" }, Cost: Cost{Time: 2, Memory: 16, Threads: 2}})
	_, err := dearer.SignIn(ctx, from("chief", other, ""))
	is(t, "a wrong password", err, screen.Unknown, "do not fit")
	if n := dearer.hasher.done.Load(); n != 1 || stored() != before {
		t.Errorf("a wrong password was hashed anew: %d hashes", n)
	}
	_, err = dearer.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	if after := stored(); !strings.HasPrefix(after, "$argon2id$v=19$m=16,t=2,p=2$") {
		t.Errorf("the hash is %s", after)
	}
	_, err = h.SignIn(ctx, from("chief", good, "")) // and back again
	ok(t, err)
	if after := stored(); !strings.HasPrefix(after, "$argon2id$v=19$m=8,t=1,p=1$") || after == before {
		t.Errorf("the hash is %s", after)
	}
}

// TestPasswordForms takes the same characters from every keyboard: composed and not, wide and not.
func TestPasswordForms(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	ok(t, h.ChangePassword(ctx, chief, good, "drei kühne Läufer ﬁnden"))
	_, err := h.SignIn(ctx, from("chief", "drei ku\u0308hne La\u0308ufer finden", ""))
	ok(t, err)
}

// BenchmarkSignIn is a sign-in at the program's own cost, with all that is written.
func BenchmarkSignIn(b *testing.B) {
	h := newHouse(b)
	h.first(b)
	o := New(h.store, Options{Now: h.now, NewID: h.opt.NewID})
	_, err := o.SignIn(b.Context(), from("chief", good, ""))
	ok(b, err)
	b.ReportAllocs()
	for b.Loop() {
		_, err := o.SignIn(b.Context(), from("chief", good, ""))
		ok(b, err)
	}
}

// BenchmarkBySession is what every request of somebody signed in begins with.
func BenchmarkBySession(b *testing.B) {
	h := newHouse(b)
	h.first(b)
	in, err := h.SignIn(b.Context(), from("chief", good, ""))
	ok(b, err)
	b.ReportAllocs()
	for b.Loop() {
		_, err := h.BySession(b.Context(), in.Cookie)
		ok(b, err)
	}
}
