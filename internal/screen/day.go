package screen

import "time"

// Day is a screening day: one team measured on one date at several stations.
type Day struct {
	ID        string    `json:"id"`
	Team      string    `json:"team"`
	On        Date      `json:"on"`
	Kind      Kind      `json:"kind" enum:"preseason,in_season,rehab"`
	SideOrder SideOrder `json:"side_order" enum:"throwing_first,left_first,right_first" doc:"which side is measured first, at every station"`
	Every     int       `json:"every" doc:"every nth athlete is measured twice, for the measurement error of the day; 0: none by number"`
	Stations  []Station `json:"stations"`
	Closed    time.Time `json:"closed,omitzero" doc:"when the day was closed; entries that come in later are taken and marked late"`
	Revision  int       `json:"revision"`
	Changed   time.Time `json:"changed"`
}

// Station is a place at which the same things are taken of every athlete, in the order of its steps.
type Station struct {
	Code  string `json:"code" doc:"what the station's link ends in; unique among all days"`
	Name  string `json:"name"`
	Steps []Step `json:"steps"`
}

// StepKind says what is taken in a step.
type StepKind string

// The steps. A check-in asks about symptoms, throwing in the last 48 hours and the throwing hand.
const (
	StepCheckIn   StepKind = "check_in"
	StepMeasure   StepKind = "measure"
	StepChecklist StepKind = "checklist"
)

// Step is one thing taken at a station.
type Step struct {
	Kind    StepKind `json:"kind" enum:"check_in,measure,checklist"`
	Measure string   `json:"measure,omitempty"`
	Trials  int      `json:"trials,omitempty" doc:"trials on each side; 0: as the protocol plans"`
}

// SideOrder is the side that is measured first, the same at every station of a day.
type SideOrder string

// The side orders. For an athlete without a throwing side, throwing first means right first.
const (
	ThrowingFirst SideOrder = "throwing_first"
	LeftFirst     SideOrder = "left_first"
	RightFirst    SideOrder = "right_first"
)

// Valid reports whether o is one of the orders above.
func (o SideOrder) Valid() bool { return o == ThrowingFirst || o == LeftFirst || o == RightFirst }

// Participant is an athlete on the list of a screening day.
type Participant struct {
	Day     string    `json:"day"`
	Athlete string    `json:"athlete"`
	Number  int       `json:"number" doc:"from 1, in the order of the list; late comers at the end"`
	Code    string    `json:"code" doc:"printed on the athlete's sheet: the number and three letters that catch a slip"`
	Screen  string    `json:"screen" doc:"id of the screen that the day's entries go to; it is made with the first of them"`
	Twice   bool      `json:"twice" doc:"measured twice for the measurement error of the day"`
	Added   time.Time `json:"added,omitzero" doc:"when a late comer was added; absent for those on the list from the start"`
}

// DayEntryKind says what a station sent.
type DayEntryKind string

// What stations send. An undo takes an earlier entry back: it stays on record, marked.
const (
	DayReading  DayEntryKind = "reading"
	DayNotDone  DayEntryKind = "not_done"
	DayAnswer   DayEntryKind = "answer"
	DaySymptom  DayEntryKind = "symptom"
	DayCheckIn  DayEntryKind = "check_in"
	DayWalkOn   DayEntryKind = "walk_on"
	DayUndo     DayEntryKind = "undo"
	DayReleased DayEntryKind = "released" // a hold lifted at the board
)

// DayEntry is the log of one thing that a station sent: where, by whom and when. What it says is in
// the records (the reading with the same id, say).
type DayEntry struct {
	Day      string       `json:"day"`
	Seq      int          `json:"seq" doc:"order in which the server took the day's entries in"`
	ID       string       `json:"id" doc:"made by the device; the same id again is the same entry"`
	Kind     DayEntryKind `json:"kind"`
	Athlete  string       `json:"athlete"`
	Screen   string       `json:"screen"`
	Station  string       `json:"station" doc:"code of the station"`
	About    string       `json:"about,omitempty" doc:"measure, checklist item or symptom"`
	Side     Side         `json:"side,omitempty"`
	Round    int          `json:"round" doc:"2 for the second measurement of an athlete who is measured twice, else 1"`
	Again    bool         `json:"again" doc:"measured again on purpose, after a question"`
	Examiner string       `json:"examiner"`
	Device   string       `json:"device"`
	Taken    time.Time    `json:"taken,omitzero" doc:"by the device's clock, which may be wrong"`
	At       time.Time    `json:"at" doc:"when it was taken by the server's clock, as far as known: how long the device kept it is known even if its clock is wrong"`
	Received time.Time    `json:"received"`
	Late     bool         `json:"late" doc:"came in after the day was closed"`
	Reason   Reason       `json:"reason,omitempty" doc:"why something was not done; of a check-in or a checklist item the log is the only record of it"`
	Undoes   string       `json:"undoes,omitempty" doc:"the entry that this one takes back"`
	Digest   string       `json:"-"` // of all that the device sent, to tell a repetition from another entry with its id
}

// Handout is what was printed for an athlete after a screening day: a copy that does not change with
// the record or the protocol.
type Handout struct {
	ID       string    `json:"id"`
	Day      string    `json:"day"`
	Athlete  string    `json:"athlete"`
	Screen   string    `json:"screen"`
	Revision int       `json:"revision" doc:"of the screen that it was made from"`
	Protocol string    `json:"protocol" doc:"name and version"`
	Hash     string    `json:"hash" doc:"of the protocol"`
	Made     time.Time `json:"made"`
	By       string    `json:"by"`
	Body     []byte    `json:"body"` // JSON
}
