package office

import (
	"context"
	"io"
	"sync/atomic"
	"time"

	"evenhand/internal/access"
)

const (
	hashesAtOnce = 2  // 64 MiB each
	mostWaiting  = 64 // for their turn
	busyWait     = 5 * time.Second
)

// hasher hashes passwords, a few at a time: many attempts at once must not eat the machine's memory.
type hasher struct {
	random  io.Reader
	cost    Cost
	slots   chan struct{}
	waiting atomic.Int64
	done    atomic.Int64 // hashes that were computed
	nobody  access.PHC   // what the password of somebody unknown is compared with
}

func newHasher(random io.Reader, cost Cost) *hasher {
	nobody := access.PHC{Cost: cost, Salt: make([]byte, 16), Tag: make([]byte, 32)}
	return &hasher{random: random, cost: cost, slots: make(chan struct{}, hashesAtOnce), nobody: nobody}
}

// turn runs fn when it is its turn. Returns an error of too many attempts if very many wait already,
// or that of ctx.
func (h *hasher) turn(ctx context.Context, fn func()) error {
	if h.waiting.Add(1) > mostWaiting {
		h.waiting.Add(-1)
		return tooMany(busyWait)
	}
	select {
	case h.slots <- struct{}{}:
		h.waiting.Add(-1)
	case <-ctx.Done():
		h.waiting.Add(-1)
		return ctx.Err()
	}
	defer func() { <-h.slots }()
	h.done.Add(1)
	fn()
	return nil
}

// hash is the PHC string of a password.
func (h *hasher) hash(ctx context.Context, password string) (phc string, err error) {
	var p access.PHC
	var failed error
	if err := h.turn(ctx, func() { p, failed = access.NewPHC(h.random, password, h.cost) }); err != nil {
		return "", err
	}
	return p.String(), failed
}

// check reports whether a password is that of a PHC string, and whether that one was made at another
// cost. Without a PHC string it takes as long as with one, and says no.
func (h *hasher) check(ctx context.Context, phc, password string) (right, outdated bool, err error) {
	known := phc != ""
	p := h.nobody
	if known {
		if p, err = access.ParsePHC(phc); err != nil {
			return false, false, err
		}
	}
	err = h.turn(ctx, func() { right = p.Check(password) })
	return right && known, p.Cost != h.cost, err
}
