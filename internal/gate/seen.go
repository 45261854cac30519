package gate

import (
	"sync"
	"time"

	"evenhand/internal/access"
)

const (
	sameLook = time.Minute // within which the same look is one entry
	mostSeen = 8192
)

// seen remembers who looked at what a moment ago.
type seen struct {
	mu   sync.Mutex
	last map[look]time.Time
}

type look struct {
	who, kind, subject, via string
	action                  access.Action
	outcome                 access.Outcome
}

func lookOf(e *access.Entry) look {
	return look{e.Who, e.Kind, e.Subject, e.Via, e.Action, e.Outcome}
}

// first reports whether this look is to be put on record, and remembers it.
func (s *seen) first(e *access.Entry, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	k := lookOf(e)
	if last, ok := s.last[k]; ok && now.Sub(last) < sameLook && !now.Before(last) {
		return false
	}
	if s.last == nil || len(s.last) >= mostSeen {
		s.last = make(map[look]time.Time)
	}
	s.last[k] = now
	return true
}

// forget lets the next such look be put on record.
func (s *seen) forget(e *access.Entry) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.last, lookOf(e))
}
