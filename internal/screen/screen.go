package screen

import (
	"slices"
	"time"
)

// Side is the side of the body, the direction turned to, or the leg stood on.
type Side string

// The sides. A reading of an unpaired measure has NoSide.
const (
	Left   Side = "left"
	Right  Side = "right"
	NoSide Side = "none"
)

// Other is the opposite side; NoSide has none and stays as it is.
func (s Side) Other() Side {
	switch s {
	case Left:
		return Right
	case Right:
		return Left
	}
	return s
}

// Kind is the occasion of a screen.
type Kind string

// The occasions.
const (
	Preseason Kind = "preseason"
	InSeason  Kind = "in_season"
	Rehab     Kind = "rehab"
)

// Valid reports whether k is one of the occasions above.
func (k Kind) Valid() bool { return k == Preseason || k == InSeason || k == Rehab }

// Screen is one occasion on which one athlete was measured.
type Screen struct {
	ID         string    `json:"id"`
	Athlete    string    `json:"athlete"`
	Team       string    `json:"team"`
	On         Date      `json:"on"`
	Kind       Kind      `json:"kind" enum:"preseason,in_season,rehab"`
	Examiner   string    `json:"examiner,omitempty"`
	Protocol   string    `json:"protocol,omitempty" doc:"name and version of the protocol in use on the day"`
	ThrewIn48h *bool     `json:"threw_in_48h,omitempty" doc:"whether the athlete threw in the 48 hours before; absent: not asked"`
	Note       string    `json:"note,omitempty"`
	Revision   int       `json:"revision"`
	Changed    time.Time `json:"changed"`
}

// Reading is one measure on one side by one examiner at one time, with its trials in the measure's
// unit and its sign convention. It is never changed: a correction supersedes it.
type Reading struct {
	ID         string    `json:"id" doc:"made by whoever enters the reading; the same id again is the same reading"`
	Screen     string    `json:"screen"`
	Measure    string    `json:"measure"`
	Side       Side      `json:"side" enum:"left,right,none"`
	Trials     []float64 `json:"trials"`
	Examiner   string    `json:"examiner,omitempty"`
	Instrument string    `json:"instrument,omitempty"`
	Position   string    `json:"position,omitempty"`
	Device     string    `json:"device,omitempty"`
	Taken      time.Time `json:"taken,omitzero" doc:"when it was measured, by the device's clock"`
	Step       float64   `json:"step,omitempty" doc:"smallest step the instrument was read to, in the measure's unit; 0: the protocol's"`
	Entered    time.Time `json:"entered,omitzero" doc:"when the server received it"`
	EnteredBy  string    `json:"entered_by,omitempty"`
	Supersedes string    `json:"supersedes,omitempty" doc:"the reading that this one corrects"`
	Superseded string    `json:"superseded_by,omitempty" doc:"the reading that corrects this one"`
	Why        string    `json:"why,omitempty" doc:"why the earlier reading was corrected"`
	Withdrawn  string    `json:"withdrawn,omitempty" doc:"why the reading was taken back; empty: it holds"`
}

// Stands reports whether the reading holds: neither corrected nor taken back.
func (r *Reading) Stands() bool { return r.Superseded == "" && r.Withdrawn == "" }

// Reason is why something was not measured.
type Reason string

// The reasons. None of them is ever taken for a value.
const (
	ReasonPain    Reason = "pain"
	ReasonRefused Reason = "refused"
	ReasonAbsent  Reason = "absent"
	ReasonNoTime  Reason = "no_time"
)

// Reasons lists the reasons in the order in which they are offered.
func Reasons() []Reason { return []Reason{ReasonPain, ReasonRefused, ReasonAbsent, ReasonNoTime} }

// Valid reports whether r is one of the reasons above.
func (r Reason) Valid() bool { return slices.Contains(Reasons(), r) }

// NotDone says that a measure was not taken on a side, and why.
type NotDone struct {
	ID      string    `json:"id"`
	Screen  string    `json:"screen"`
	Measure string    `json:"measure"`
	Side    Side      `json:"side" enum:"left,right,none"`
	Reason  Reason    `json:"reason" enum:"pain,refused,absent,no_time"`
	Entered time.Time `json:"entered,omitzero"`
}

// Answer is what was seen of an item of the throwing-mechanics checklist.
type Answer string

// The answers. An item without an answer is not seen.
const (
	Met     Answer = "met"
	NotMet  Answer = "not_met"
	NotSeen Answer = "not_seen"
)

// Valid reports whether a is one of the answers above.
func (a Answer) Valid() bool { return a == Met || a == NotMet || a == NotSeen }

// ChecklistAnswer is the answer to one item at one screen. A later answer supersedes an earlier one.
type ChecklistAnswer struct {
	ID       string    `json:"id"`
	Screen   string    `json:"screen"`
	Item     string    `json:"item"`
	Answer   Answer    `json:"answer" enum:"met,not_met,not_seen"`
	Examiner string    `json:"examiner,omitempty"`
	Entered  time.Time `json:"entered,omitzero"`
}

// Symptom is something the athlete reports, or is seen, at the screen.
type Symptom struct {
	ID        string    `json:"id"`
	Screen    string    `json:"screen"`
	Symptom   string    `json:"symptom" doc:"id of a symptom of the protocol"`
	Side      Side      `json:"side,omitempty"`
	Note      string    `json:"note,omitempty"`
	Entered   time.Time `json:"entered,omitzero"`
	Withdrawn string    `json:"withdrawn,omitempty" doc:"why the entry no longer holds; empty: it holds"`
}

// Record is a screen with all that was entered at it. Readings that were corrected or taken back are
// in it too, with Superseded or Withdrawn set; Current leaves them out. Of what was not done and of the
// checklist it has the latest that was not taken back.
type Record struct {
	Screen    Screen            `json:"screen"`
	Athlete   Athlete           `json:"athlete"`
	Readings  []Reading         `json:"readings"`
	NotDone   []NotDone         `json:"not_done,omitempty"`
	Checklist []ChecklistAnswer `json:"checklist,omitempty"`
	Symptoms  []Symptom         `json:"symptoms,omitempty"`
}

// Current is the readings that stand, in the order in which they were entered.
func (r *Record) Current() []Reading {
	out := make([]Reading, 0, len(r.Readings))
	for i := range r.Readings {
		if r.Readings[i].Stands() {
			out = append(out, r.Readings[i])
		}
	}
	return out
}
