package access

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"time"
)

// Outcome says what became of what was asked for.
type Outcome string

// The outcomes.
const (
	Done    Outcome = "done"
	Refused Outcome = "refused"
)

// Entry is one line of the audit: who did what with whose records, and how it was asked for. It holds
// no value: neither a reading nor an athlete's name. Via is a method and route pattern, or a command.
// Prev is the Hash of the entry before, Hash is of all that stands here but itself.
type Entry struct {
	Seq     int64     `json:"seq"`
	At      time.Time `json:"at"`
	Who     string    `json:"who" doc:"id of the account, link or token"`
	Name    string    `json:"name" doc:"of who acted"`
	Action  Action    `json:"action"`
	Outcome Outcome   `json:"outcome" enum:"done,refused"`
	Kind    string    `json:"kind" doc:"of what it was done with"`
	Subject string    `json:"subject" doc:"its id"`
	Team    string    `json:"team" doc:"id of its team, if it has one"`
	Via     string    `json:"via"`
	Request string    `json:"request" doc:"id of the request, as the log has it"`
	Prev    string    `json:"prev"`
	Hash    string    `json:"hash"`
}

// Seal sets an entry's place in the chain behind the entry before it, nil for the first one.
func (e *Entry) Seal(before *Entry) {
	e.Seq, e.Prev = 1, ""
	if before != nil {
		e.Seq, e.Prev = before.Seq+1, before.Hash
	}
	e.At = e.At.UTC().Truncate(time.Microsecond)
	e.Hash = e.digest()
}

// digest is SHA-256 of every field with its length before it, so that text cannot move from one field
// into the next.
func (e *Entry) digest() string {
	h := sha256.New()
	var n [8]byte
	number := func(v int64) {
		binary.BigEndian.PutUint64(n[:], uint64(v)) //nolint:gosec // the bits are what counts
		_, _ = h.Write(n[:])                        // a hash takes everything
	}
	number(e.Seq)
	number(e.At.UnixMicro())
	for _, s := range []string{e.Who, e.Name, string(e.Action), string(e.Outcome), e.Kind, e.Subject, e.Team, e.Via, e.Request, e.Prev} {
		number(int64(len(s)))
		_, _ = h.Write([]byte(s))
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Chain checks entries one after the other, from the first one on.
type Chain struct{ last *Entry }

// Next checks the next entry. The error says what does not fit and where.
func (c *Chain) Next(e *Entry) error {
	seq, prev := int64(1), ""
	if c.last != nil {
		seq, prev = c.last.Seq+1, c.last.Hash
	}
	switch {
	case e.Seq != seq:
		return fmt.Errorf("entry %d is missing: entry %d follows entry %d", seq, e.Seq, seq-1)
	case e.Prev != prev:
		return fmt.Errorf("entry %d does not follow on entry %d: one of the two was changed or put in", e.Seq, e.Seq-1)
	case e.Hash != e.digest():
		return fmt.Errorf("entry %d was changed after it was written", e.Seq)
	}
	last := *e
	c.last = &last
	return nil
}

// Head is the last entry that was checked; nil if none was.
func (c *Chain) Head() *Entry { return c.last }
