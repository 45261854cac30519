package score

import "evenhand/internal/screen"

// Visited is an athlete's record on one day with its report; see screen.Occasions.
type Visited struct {
	Record *screen.Record
	Report *Report
}

// CourseInput is what an athlete's course is worked out from.
type CourseInput struct {
	Visits []Visited      // any order; one a day
	Events []screen.Event // injuries, clearances, training; withdrawn ones are passed over
	Today  screen.Date    // what "now" and "overdue" mean
}

// Course is what became of an athlete from visit to visit.
type Course struct {
	Athlete  string          `json:"athlete"`
	Today    screen.Date     `json:"today"`
	Visits   []CourseVisit   `json:"visits" doc:"oldest first"`
	Events   []screen.Event  `json:"events" doc:"those that hold, oldest first"`
	Measures []MeasureCourse `json:"measures" doc:"one for each rule with a value, in protocol order; for rules on one side, one for each side"`
	Due      *Due            `json:"due" doc:"when to screen again, and what; null if nothing is to be followed"`
	Notes    []string        `json:"notes,omitempty"`
}

// CourseVisit is one day on which the athlete was measured.
type CourseVisit struct {
	Screen string      `json:"screen" doc:"the first screen of the day"`
	On     screen.Date `json:"on"`
	Kind   screen.Kind `json:"kind"`
	Pain   bool        `json:"referral_sign" doc:"a referral sign was noted"`
	Report *Report     `json:"-"`
}

// What became of a measure.
const (
	StateOpen    = "open"    // a deficit or an unsettled finding that is being followed
	StateMet     = "met"     // target met by the rule of repeated looks
	StateConfirm = "confirm" // met once: a second look on another day decides
	StateClear   = "clear"   // never a deficit since the baseline
	StateShown   = "shown"   // shown, not followed: its rule is not counted, or it has no target
)

// MeasureCourse is the course of one rule's value: differences are signed so that larger is worse, on
// the rule's own scale and unit (percent for rules in percent); for floors and ceilings the value.
type MeasureCourse struct {
	Rule     string          `json:"rule"`
	Name     string          `json:"name"`
	Link     string          `json:"link"`
	Measure  string          `json:"measure"`
	RuleKind screen.RuleKind `json:"rule_kind"`
	Kind     string          `json:"kind" enum:"signed,absolute"`
	Side     screen.Side     `json:"side,omitempty"`
	Unit     string          `json:"unit"`
	Counted  bool            `json:"counted"`

	Points    []CoursePoint `json:"points" doc:"the visits at which it was measured, oldest first"`
	Threshold float64       `json:"threshold" doc:"at the newest visit"`
	Target    *float64      `json:"target_difference" doc:"for floors and ceilings the value"`
	Reading   *float64      `json:"target_reading,omitempty"`
	TargetBy  string        `json:"target_note,omitempty"`

	Baseline    *int   `json:"baseline" doc:"place in points of what the change is counted from; null if there is none"`
	BaselineWhy string `json:"baseline_why,omitempty"`
	Start       int    `json:"start" doc:"place in points from which the trend runs, and from which the state is judged"`

	SinceBaseline *Change `json:"since_baseline,omitempty"`
	SinceLast     *Change `json:"since_last,omitempty"`
	Trend         *Trend  `json:"trend,omitempty" doc:"from 3 visits; null where none is drawn"`

	Met       MetState `json:"met"`
	State     string   `json:"state" enum:"open,met,confirm,clear,shown"`
	Statement string   `json:"statement" doc:"the state in words"`
	Notes     []string `json:"notes,omitempty" doc:"what was taken for granted or could not be said"`
}

// CoursePoint is one measure at one visit.
type CoursePoint struct {
	Visit      int         `json:"visit" doc:"place in the course's visits"`
	On         screen.Date `json:"on"`
	Week       float64     `json:"week" doc:"weeks since the first point"`
	Difference float64     `json:"difference"`
	SE         float64     `json:"se"`
	First      float64     `json:"first_value" doc:"throwing side or lead leg; right where sides are only compared"`
	FirstSE    float64     `json:"first_se"`
	Second     float64     `json:"second_value"`
	SecondSE   float64     `json:"second_se"`
	PMeasured  float64     `json:"p_measured"`
	P          float64     `json:"p"`
	Verdict    Verdict     `json:"verdict"`
	Likely     float64     `json:"posterior_mean" doc:"the reading drawn towards what is known of such athletes"`
	InTrend    bool        `json:"in_trend"`
}

// Trend is the true difference over time as the visits and the model show it. Without further
// measurement error; on the rule's scale.
type Trend struct {
	Weeks    []float64  `json:"weeks" doc:"since the first point of the course; a grid that includes the visits"`
	Level    []float64  `json:"level"`
	Lo       []float64  `json:"lo" doc:"5 %"`
	Hi       []float64  `json:"hi" doc:"95 %"`
	Visits   int        `json:"visits"`
	Level90  [2]float64 `json:"level_now90"`
	LevelNow float64    `json:"level_now" doc:"at the newest visit"`

	PMetNow float64  `json:"p_met_now" doc:"P(true difference ≤ threshold) at the newest visit"`
	PMet2   *float64 `json:"p_met_2_weeks" doc:"2 weeks after the newest visit if the present pace fades as usual; null if the visits do not carry that far"`
	PMet4   *float64 `json:"p_met_4_weeks"`

	Slope     *float64   `json:"slope_per_week" doc:"null below 5 visits over 4 weeks"`
	Slope90   [2]float64 `json:"slope90"`
	Direction string     `json:"direction,omitempty" enum:"improving,worsening,unclear"`
	Words     string     `json:"words"`
}

// MetState says whether the target is met by the rule of repeated looks: by the measurement alone at two
// visits running, or by the trend, from 3 visits on, at two running. At the threshold itself one visit in five says so by
// chance, and of six visits at least one does in 74 of 100 athletes.
type MetState struct {
	Met   bool        `json:"met"`
	Once  bool        `json:"once" doc:"the newest visit alone says so: confirm it"`
	By    string      `json:"by,omitempty" enum:"two_visits,trend"`
	Since screen.Date `json:"since,omitempty" doc:"the visit at which it was met"`
	Words string      `json:"words"`
}

// Due is when to screen an athlete again. On is the earliest day at which the usual change of a followed
// measure would exceed what can be told from error, not before the protocol's interval; sooner for the
// second reading of a deficit just found, and for the second look at a target that was met once.
type Due struct {
	On       screen.Date  `json:"on"`
	Overdue  bool         `json:"overdue"`
	Why      string       `json:"why"`
	Measures []DueMeasure `json:"measures" doc:"what to measure then: all that is due within a week of it, or of today if that is later"`
}

// DueMeasure is what to take at the next screen.
type DueMeasure struct {
	Rule    string      `json:"rule"`
	Name    string      `json:"name"`
	Measure string      `json:"measure"`
	Trials  int         `json:"trials" doc:"on each side"`
	On      screen.Date `json:"on" doc:"the earliest day for this measure"`
	Why     string      `json:"why"`
}
