package screen

import (
	"slices"
	"strings"
	"time"
)

// EventKind says what happened to an athlete besides screens.
type EventKind string

// The events that stand in an athlete's course. A clearance is a licensed clinician's, entered here; it
// is never worked out.
const (
	EventInjury    EventKind = "injury"
	EventClearance EventKind = "clearance"
	EventTraining  EventKind = "training" // exercises for a deficit began
)

// EventKinds lists the kinds in the order in which they are offered.
func EventKinds() []EventKind { return []EventKind{EventInjury, EventTraining, EventClearance} }

// Words is the kind as a reader sees it.
func (k EventKind) Words() string {
	switch k {
	case EventInjury:
		return "injury"
	case EventClearance:
		return "cleared by a clinician"
	case EventTraining:
		return "exercises began"
	}
	return string(k)
}

// Event is something that happened to an athlete on a day. It is never changed: one that does not hold
// is withdrawn, with the reason.
type Event struct {
	ID        string    `json:"id" doc:"made by whoever enters the event; the same id again is the same event"`
	Athlete   string    `json:"athlete"`
	On        Date      `json:"on"`
	Kind      EventKind `json:"kind" enum:"injury,training,clearance"`
	Link      string    `json:"link,omitempty" doc:"id of a link of the protocol; empty: none in particular"`
	Side      Side      `json:"side,omitempty" enum:"left,right"`
	Note      string    `json:"note,omitempty" doc:"clinical name or a few words; for a clearance, who gave it. A coach never sees it"`
	Limits    string    `json:"limits,omitempty" doc:"of a clearance: what the athlete may not do yet, in plain words for the coach; empty: no limits"`
	Entered   time.Time `json:"entered,omitzero"`
	EnteredBy string    `json:"entered_by,omitempty"`
	Withdrawn string    `json:"withdrawn,omitempty" doc:"why the event does not hold; empty: it holds"`
}

// Stands reports whether the event holds.
func (e *Event) Stands() bool { return e.Withdrawn == "" }

// CheckEvent finds what is wrong with an event. today is the last day on which it can have happened.
func (p *Protocol) CheckEvent(e *Event, today Date, where string) Faults {
	var f Faults
	at := func(field string) string { return strings.TrimPrefix(where+"."+field, ".") }
	CheckID(e.ID, at("id"), &f)
	switch {
	case !e.On.Valid():
		f.Add(at("on"), "a day such as 2026-02-10", "%q is not a day", string(e.On))
	case e.On > today:
		f.Add(at("on"), "a day up to today, "+string(today), "%s is in the future", e.On)
	}
	if !slices.Contains(EventKinds(), e.Kind) {
		f.Add(at("kind"), "injury, training or clearance", "unknown kind %q", string(e.Kind))
	}
	if e.Link != "" && p.Link(e.Link) == nil {
		f.Add(at("link"), "a link of the protocol, or nothing", "unknown link %q", e.Link)
	}
	if e.Side != "" && e.Side != Left && e.Side != Right {
		f.Add(at("side"), "left, right, or nothing", "unknown side %q", string(e.Side))
	}
	CheckText(e.Note, MaxNoteLen, at("note"), &f)
	if e.Kind == EventClearance && strings.TrimSpace(e.Note) == "" {
		f.Add(at("note"), "the clinician who gave it", "a clearance does not say who gave it")
	}
	CheckText(e.Limits, MaxNoteLen, at("limits"), &f)
	if e.Kind != EventClearance && strings.TrimSpace(e.Limits) != "" {
		f.Add(at("limits"), "leave them out, or enter a clearance", "only a clearance has limits")
	}
	return f
}
