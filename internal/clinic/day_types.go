package clinic

import (
	"time"

	"evenhand/internal/screen"
)

// DayView is a screening day with its team and the athletes on its list, by number.
type DayView struct {
	Day      screen.Day
	Team     screen.Team
	Athletes []DayAthlete
	Unlisted []screen.Athlete // members of the team who are not on the list
}

// DayAthlete is an athlete on the list of a day.
type DayAthlete struct {
	screen.Participant
	Person screen.Athlete
	Hand   screen.Hand // on the day
	Throws bool        // in the athlete's sport one arm throws
}

// DayRef names a day for a list.
type DayRef struct {
	Day      screen.Day
	TeamName string
	Listed   int // athletes on the list
}

// StationSheet is all that a station needs, also without network.
type StationSheet struct {
	Day      SheetDay         `json:"day"`
	Station  screen.Station   `json:"station"`
	Cells    []screen.Cell    `json:"cells" doc:"what is taken of each athlete here, in the order of done"`
	Measures []SheetMeasure   `json:"measures" doc:"of the station's steps"`
	Items    []SheetItem      `json:"items" doc:"of the mechanics checklist, if the station takes it"`
	Symptoms []SheetSymptom   `json:"symptoms" doc:"if the station checks in"`
	Athletes []StationAthlete `json:"athletes" doc:"by number"`
	Helpers  []string         `json:"helpers" doc:"who entered something today"`
	Sport    string           `json:"sport" doc:"of the team, for a late comer"`
	Seq      int              `json:"seq" doc:"grows with everything that comes in on the day"`
	Now      time.Time        `json:"now" doc:"the server's clock"`
	Protocol string           `json:"protocol"`
}

// SheetDay is what a station shows of its day.
type SheetDay struct {
	ID        string           `json:"id"`
	Team      string           `json:"team" doc:"its name"`
	On        screen.Date      `json:"on"`
	SideOrder screen.SideOrder `json:"side_order"`
	Closed    bool             `json:"closed"`
	Demo      bool             `json:"demo"`
}

// SheetMeasure is a measure as a station shows and checks it.
type SheetMeasure struct {
	ID          string           `json:"id"`
	Name        string           `json:"name"`
	Unit        string           `json:"unit" doc:"as it is written for a reader"`
	Paired      bool             `json:"paired"`
	Limb        screen.Limb      `json:"limb,omitempty"`
	Scale       screen.Scale     `json:"scale" enum:"linear,log,count,category"`
	Trials      int              `json:"trials" doc:"to take on each side"`
	Most        int              `json:"most"`
	AgreeWithin float64          `json:"agree_within,omitempty"`
	Step        float64          `json:"step,omitempty"`
	Plausible   []float64        `json:"plausible,omitempty" doc:"[least, most]: outside is refused"`
	Typical     []float64        `json:"typical,omitempty" doc:"[least, most]: outside is asked about"`
	SwapMargin  float64          `json:"swap_margin" doc:"how far off a value is before its digits are doubted"`
	Placing     float64          `json:"placing" doc:"SD from placing to placing, for the pattern of the other hand"`
	Cap         float64          `json:"cap,omitempty"`
	Timed       bool             `json:"timed" doc:"in seconds: a stop-watch is offered"`
	Categories  []string         `json:"categories,omitempty"`
	Say         *screen.SayWords `json:"say,omitempty" doc:"words for values on either side of zero; none is typed with a minus"`
	How         string           `json:"how,omitempty"`
	Position    string           `json:"position,omitempty"`
	Instrument  string           `json:"instrument,omitempty"`
}

// SheetItem is an item of the mechanics checklist.
type SheetItem struct {
	ID    string `json:"id"`
	Phase string `json:"phase"`
	Name  string `json:"name"`
}

// SheetSymptom is a symptom that is asked about at check-in.
type SheetSymptom struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Referral bool   `json:"referral"`
}

// StationAthlete is an athlete as a station shows her or him.
type StationAthlete struct {
	ID      string      `json:"id"`
	KnownAs []string    `json:"known_as,omitempty" doc:"ids that devices made for the athlete, who then turned out to be on record"`
	Number  int         `json:"number"`
	Code    string      `json:"code"`
	Name    string      `json:"name"`
	Hand    screen.Hand `json:"hand" enum:"left,right,both"`
	Arm     [2]string   `json:"arm" doc:"what the left and the right arm are: throwing, non-throwing, or empty"`
	Leg     [2]string   `json:"leg" doc:"what the left and the right leg are: lead, trail, or empty"`
	First   screen.Side `json:"first" doc:"the side that is measured first"`
	Twice   bool        `json:"twice" doc:"measured a second time once everything was measured"`
	Asked   bool        `json:"asked" doc:"checked in: asked about symptoms today, or nobody is"`
	Consent bool        `json:"consent" doc:"there is a consent for screening: without it nothing is measured, and nothing taken"`
	Hold    []string    `json:"hold,omitempty" doc:"referral signs: nothing more is taken of the athlete today"`
	Done    string      `json:"done" doc:"a letter for each cell: . missing, x taken, n not done"`
	Second  string      `json:"second,omitempty" doc:"the same for the second measurement, if the athlete is measured twice"`
}

// Batch is what a station sends.
type Batch struct {
	Sent    time.Time      `json:"sent,omitzero" doc:"by the device's clock: how long an entry was kept is then known even if that clock is wrong"`
	Device  string         `json:"device" doc:"an id that the device made for itself"`
	Entries []StationEntry `json:"entries" nullable:"false" doc:"1 to 500, in the order in which they were made"`
}

// StationEntry is one thing that a station sends; which fields it has depends on its kind.
type StationEntry struct {
	ID       string              `json:"id" doc:"made by the device, a UUIDv7; the same id again is the same entry"`
	Kind     screen.DayEntryKind `json:"kind" enum:"reading,not_done,answer,symptom,check_in,walk_on,undo"`
	Athlete  string              `json:"athlete" doc:"id of the athlete; of a walk-on, a new one"`
	Examiner string              `json:"examiner"`
	Taken    time.Time           `json:"taken,omitzero" doc:"by the device's clock"`
	About    string              `json:"about,omitempty" doc:"measure, checklist item or symptom"`
	Side     screen.Side         `json:"side,omitempty" enum:"left,right,none"`
	Trials   []float64           `json:"trials,omitempty" doc:"of a reading, with the protocol's signs"`
	Round    int                 `json:"round,omitempty" doc:"2: the second measurement of an athlete who is measured twice"`
	Again    bool                `json:"again,omitempty" doc:"measured again on purpose"`
	Reason   screen.Reason       `json:"reason,omitempty" enum:"pain,refused,absent,no_time" doc:"of something not done"`
	Answer   screen.Answer       `json:"answer,omitempty" enum:"met,not_met,not_seen" doc:"to a checklist item"`
	Note     string              `json:"note,omitempty" doc:"to a symptom"`
	Threw    *bool               `json:"threw_in_48h,omitempty" doc:"of a check-in: whether the athlete threw in the 48 hours before"`
	Hand     screen.Hand         `json:"hand,omitempty" enum:"left,right,both" doc:"of a check-in: the throwing hand as the athlete says; of a walk-on: the throwing hand"`
	Undoes   string              `json:"undoes,omitempty" doc:"id of the entry that an undo takes back"`
	Person   *WalkOn             `json:"person,omitempty" doc:"of a walk-on"`
}

// WalkOn is an athlete who is not on the list and comes all the same.
type WalkOn struct {
	Name  string       `json:"name"`
	Born  screen.Date  `json:"born"`
	Sex   screen.Sex   `json:"sex" enum:"male,female"`
	Hand  screen.Hand  `json:"hand" enum:"left,right,both"`
	Level screen.Level `json:"level" enum:"youth,school,college,professional"`
}

// BatchResult says what became of each entry of a batch, in its order, and what should be looked at on
// the spot.
type BatchResult struct {
	Results   []EntryResult `json:"results" nullable:"false"`
	Questions []DayQuestion `json:"questions" nullable:"false" doc:"about the athletes of a small batch: values that look odd, verdicts that one more placing may settle"`
	Late      bool          `json:"late" doc:"the day is closed: the entries were taken and are marked late"`
	Seq       int           `json:"seq"`
}

// EntryResult is what became of one entry.
type EntryResult struct {
	ID      string `json:"id"`
	Status  string `json:"status" enum:"added,already,refused"`
	Where   string `json:"location,omitempty"`
	Problem string `json:"message,omitempty"`
	Want    string `json:"want,omitempty"`
}

// What may become of an entry.
const (
	EntryAdded   = "added"
	EntryAlready = "already"
	EntryRefused = "refused"
)

// DayQuestion is something that should be measured or looked at again while the athlete is still there.
type DayQuestion struct {
	Athlete string      `json:"athlete"`
	Name    string      `json:"name"`
	Number  int         `json:"number"`
	Station string      `json:"station" doc:"code of the station that takes the measure"`
	Kind    string      `json:"kind" enum:"unusual,trials_apart,digits_swapped,other_hand,unsettled"`
	Measure string      `json:"measure"`
	Side    screen.Side `json:"side" doc:"none: both sides"`
	Reading string      `json:"reading,omitempty"`
	Screen  string      `json:"screen"`
	Text    string      `json:"text"`
}

// Board is the state of a screening day.
type Board struct {
	Day       screen.Day
	Team      screen.Team
	Now       time.Time
	Seq       int
	Stations  []BoardStation
	Rows      []BoardRow // by number
	Holds     []BoardHold
	Without   []BoardRef // those without a consent for screening
	Conflicts []BoardConflict
	Again     []DayQuestion
	Late      []BoardLate
	Changes   []string // throwing hands changed at check-in, in words
	Unlisted  []screen.Athlete
	Complete  int // athletes of whom nothing is missing
}

// BoardStation is how far a station is.
type BoardStation struct {
	screen.Station
	Cells   int // of all athletes who are not on hold, the second measurements included
	Filled  int
	Through int       // athletes who are through here
	Of      int       // athletes who are to come here
	PerHour float64   // athletes an hour lately; 0: not known
	End     time.Time // when the last will be through at that pace; zero: not known, or done
	Helpers []string
	Last    time.Time // when the last entry was made
}

// BoardRow is an athlete's way through the stations.
type BoardRow struct {
	DayAthlete
	Hold     bool
	Consent  bool // for screening
	CheckIn  bool // checked in, or nobody checks in
	Cells    []BoardCell
	Complete bool
}

// BoardCell is what one station has of one athlete.
type BoardCell struct {
	Taken, NotDone, Missing int      // of the first measurement
	Second, SecondMissing   int      // of the second
	Names                   []string // of what is missing, in words
	Others                  string   // "2 not done: pain"
}

// BoardHold is an athlete with a referral sign.
type BoardHold struct {
	Athlete, Name string
	Number        int
	Signs         []string
}

// BoardRef names an athlete on the list without a consent for screening.
type BoardRef struct {
	Athlete, Name string
	Number        int
	Withdrawn     screen.Date // when it was withdrawn; empty: it was never given
}

// BoardConflict is a cell that two helpers measured although it was not planned: both are kept.
type BoardConflict struct {
	Athlete, Name, Screen string
	Number                int
	Measure               string // in words
	Side                  screen.Side
	Readings              []BoardReading
}

// BoardReading is one of several readings of a cell.
type BoardReading struct {
	Reading, Examiner, Device string
	Trials                    string // in words
	At                        time.Time
	Late                      bool
}

// BoardLate is an athlete for whom entries came in after the day was closed.
type BoardLate struct {
	Athlete, Name string
	Number, N     int
	Examiners     []string
	Last          time.Time
}
