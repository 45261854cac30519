package office

import (
	"container/list"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"evenhand/internal/access"
)

const (
	mostKeys = 10_000 // accounts, addresses, ceremonies that are remembered; the one met longest ago is dropped

	freeTries   = 5                // failures of an account before anybody waits
	longestWait = 15 * time.Minute // between two attempts: nobody can lock somebody else out for good
	forgetAfter = 24 * time.Hour   // since the last attempt

	failEvery, failBurst   = 10 * time.Second, 10 // failed attempts from one address
	beginEvery, beginBurst = 2 * time.Second, 30  // ceremonies that one address begins
)

// bounded remembers a value for each of the keys that were met last.
type bounded[V any] struct {
	mu    sync.Mutex
	order *list.List // of entry[V], the one met last in front
	at    map[string]*list.Element
}

type entry[V any] struct {
	key   string
	value V
}

func newBounded[V any]() *bounded[V] {
	return &bounded[V]{order: list.New(), at: make(map[string]*list.Element)}
}

// with calls fn with the value of a key, a zero one if it is new, under the lock; fn says whether to
// keep it.
func (b *bounded[V]) with(key string, fn func(v *V) (keep bool)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	el := b.at[key]
	if el == nil {
		if len(b.at) >= mostKeys {
			b.drop(b.order.Back())
		}
		el = b.order.PushFront(&entry[V]{key: key})
		b.at[key] = el
	}
	b.order.MoveToFront(el)
	if !fn(&el.Value.(*entry[V]).value) {
		b.drop(el)
	}
}

func (b *bounded[V]) drop(el *list.Element) {
	delete(b.at, el.Value.(*entry[V]).key)
	b.order.Remove(el)
}

// tries counts the failed attempts at each account. Logins that nobody has are counted like any, but
// apart: making up very many of them does not push an account's count out.
type tries struct{ known, unknown *bounded[failures] }

type failures struct {
	n           int
	last, until time.Time
}

func newTries() *tries { return &tries{newBounded[failures](), newBounded[failures]()} }

// of is where the attempts at an account are counted. id is empty if nobody has the login.
func (t *tries) of(id, login string) *account {
	if id == "" {
		return &account{t.unknown, access.HashText(login)}
	}
	return &account{t.known, id}
}

// account is where the attempts at one account, or at one login that nobody has, are counted.
type account struct {
	in  *bounded[failures]
	key string
}

// begin counts an attempt as failed from its beginning on, so that many at once are not all let
// through. From the fifth on each has to wait twice as long as the one before; an attempt meanwhile is
// refused, whatever it says, and does not lengthen the wait.
func (a *account) begin(now time.Time) (err error) {
	a.in.with(a.key, func(f *failures) bool {
		if now.Sub(f.last) > forgetAfter {
			*f = failures{}
		}
		if now.Before(f.until) {
			err = tooMany(f.until.Sub(now))
			return true
		}
		f.n++
		f.last = now
		if over := f.n - freeTries; over >= 0 {
			f.until = now.Add(min(time.Second<<min(over, 20), longestWait))
		}
		return true
	})
	return err
}

// undo takes an attempt back that neither failed nor was let in.
func (a *account) undo() {
	a.in.with(a.key, func(f *failures) bool {
		f.n, f.until = max(f.n-1, 0), time.Time{}
		return f.n > 0
	})
}

// clear forgets the attempts: somebody got in.
func (a *account) clear() { a.in.with(a.key, func(*failures) bool { return false }) }

// addresses bounds the failed attempts from each network address by a bucket of tokens.
type addresses struct {
	every time.Duration
	burst int
	list  *bounded[*rate.Limiter]
}

func newAddresses(every time.Duration, burst int) *addresses {
	return &addresses{every, burst, newBounded[*rate.Limiter]()}
}

func (a *addresses) of(address string) (l *rate.Limiter) {
	a.list.with(network(address), func(v **rate.Limiter) bool {
		if *v == nil {
			*v = rate.NewLimiter(rate.Every(a.every), a.burst)
		}
		l = *v
		return true
	})
	return l
}

// enter counts an attempt from an address as failed; giveBack takes that back.
func (a *addresses) enter(address string, now time.Time) (giveBack func(), err error) {
	r := a.of(address).ReserveN(now, 1)
	if wait := r.DelayFrom(now); wait > 0 {
		r.CancelAt(now)
		return nil, tooMany(wait)
	}
	return func() { r.CancelAt(now) }, nil
}

// check is for secrets that nobody guesses: it refuses only where too many failed, and counts nothing,
// so that very many good requests at once are all let through.
func (a *addresses) check(address string, now time.Time) error {
	l := a.of(address)
	if lack := 1 - l.TokensAt(now); lack > 0 {
		return tooMany(max(time.Duration(lack*float64(a.every)), time.Second))
	}
	return nil
}

// failed counts an attempt.
func (a *addresses) failed(address string, now time.Time) { a.of(address).AllowN(now, 1) }

// network is what counts as one address: one of IPv4, or the /64 of IPv6 that one connection is given
// as a rule.
func network(address string) string {
	ip, err := netip.ParseAddr(address)
	if err != nil {
		return "" // all that have none together
	}
	if ip = ip.Unmap().WithZone(""); ip.Is4() {
		return ip.String()
	}
	p, err := ip.Prefix(64)
	if err != nil {
		return ""
	}
	return p.String()
}
