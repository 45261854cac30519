package office

import (
	"crypto/rand"
	"io"
	"sync"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/store"
)

// Options are the outside of an Office.
type Options struct {
	Now    func() time.Time
	NewID  func() string
	Random io.Reader // for secrets; crypto/rand.Reader but in tests
	Cost   Cost      // of hashing a password; zero: the program's own
}

// Cost is that of argon2id: passes, memory in KiB, threads.
type Cost = access.Cost

// Office runs the use cases on one store. It may be used by many goroutines.
type Office struct {
	gate      *gate.Gate
	opt       Options
	hasher    *hasher
	tries     *tries
	addresses *addresses // of failed attempts
	begins    *addresses // of ceremonies that strangers begin
	adding    *ceremonies
	signIns   *ceremonies
}

// New makes an Office. What it knows of attempts and of ceremonies is kept in memory and is gone with it.
func New(st *store.Store, opt Options) *Office {
	if opt.Random == nil {
		opt.Random = rand.Reader
	}
	opt.Random = &locked{reader: opt.Random}
	if opt.Cost == (Cost{}) {
		opt.Cost = access.DefaultCost
	}
	return &Office{
		gate: gate.New(st, opt.Now), opt: opt, hasher: newHasher(opt.Random, opt.Cost), tries: newTries(),
		addresses: newAddresses(failEvery, failBurst), begins: newAddresses(beginEvery, beginBurst),
		adding: newCeremonies(), signIns: newCeremonies(),
	}
}

// locked is a reader for many goroutines.
type locked struct {
	mu     sync.Mutex
	reader io.Reader
}

func (l *locked) Read(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.reader.Read(p)
}

// SignedIn is a session that has just begun. Cookie is its secret.
type SignedIn struct {
	Cookie  string
	Expires time.Time // absolute
	Person  access.Person
}

// NewAccount is what somebody says who makes an account by a link.
type NewAccount struct {
	Login, Name, Password string
	LooksAfter            bool // setup only: also clinician in every team
	Device                string
}

// Attempt is somebody who wants in. Address is the network address it came from, without port.
type Attempt struct {
	Login, Password, Code string
	Address, Device       string
}
