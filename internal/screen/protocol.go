package screen

// Status says how well a figure of the protocol is known.
type Status string

// The statuses. An empty status is refused: every figure says where it comes from.
const (
	Seen           Status = "seen"            // read in the source's abstract or table
	FromMemory     Status = "memory"          // value from memory, to be checked against the paper
	CommonPractice Status = "common_practice" // common practice, no source
	Assumed        Status = "assumed"         // our own assumption, stated as one
)

// Words is the status as a reader sees it.
func (s Status) Words() string {
	switch s {
	case Seen:
		return "read in the source"
	case FromMemory:
		return "value from memory"
	case CommonPractice:
		return "common practice, no source"
	case Assumed:
		return "assumed"
	}
	return "status not given"
}

// Protocol is the versioned catalogue of measures, thresholds and checklists in use. Order is
// meaningful: links go from the ground to the hand, and measures stand in the order of their links.
type Protocol struct {
	Name      string            `yaml:"name" json:"name"`
	Version   string            `yaml:"version" json:"version"`
	Title     string            `yaml:"title" json:"title"`
	Extends   string            `yaml:"extends" json:"extends,omitempty"` // "default": start from the shipped protocol
	Remove    []string          `yaml:"remove" json:"-"`                  // ids of measures and rules to leave out of what is extended
	Cutoffs   Cutoffs           `yaml:"cutoffs" json:"cutoffs"`
	Cautions  []string          `yaml:"cautions" json:"cautions"`
	Sources   map[string]Source `yaml:"sources" json:"sources"`
	Links     []Link            `yaml:"links" json:"links"`
	Sports    []Sport           `yaml:"sports" json:"sports"`
	Symptoms  []SymptomDef      `yaml:"symptoms" json:"symptoms"`
	Measures  []Measure         `yaml:"measures" json:"measures"`
	Rules     []Rule            `yaml:"rules" json:"rules"`
	Checklist []ChecklistItem   `yaml:"checklist" json:"checklist"`
	Stations  []PlanStation     `yaml:"stations" json:"stations,omitempty"` // of a screening day, as proposed
	FollowUp  FollowUp          `yaml:"follow_up" json:"follow_up,omitzero"`
	Studies   []Study           `yaml:"studies" json:"studies,omitempty"` // context that belongs to no single measure

	Hash string `yaml:"-" json:"hash"` // SHA-256 of the resolved content, hex

	look *lookups
}

// Cutoffs are the probabilities from which a verdict is given: deficit from Deficit up, clear from
// Clear down, by both probabilities (scoring: P_m and P_k).
type Cutoffs struct {
	Deficit float64 `yaml:"deficit" json:"deficit"`
	Clear   float64 `yaml:"clear" json:"clear"`
	Status  Status  `yaml:"status" json:"status"`
	Note    string  `yaml:"note" json:"note,omitempty"`
}

// Source is a publication. Status says whether the reference itself was seen.
type Source struct {
	Cite   string `yaml:"cite" json:"cite"`
	DOI    string `yaml:"doi" json:"doi,omitempty"`
	Status Status `yaml:"status" json:"status"`
	Note   string `yaml:"note" json:"note,omitempty"`
}

// Link is one body region of the chain.
type Link struct {
	ID    string `yaml:"id" json:"id"`
	Name  string `yaml:"name" json:"name"`
	Plain string `yaml:"plain" json:"plain,omitempty"` // for the athlete, if the name is no plain word
}

// Sport is a sport with what matters to a screen: whether one arm throws, and whether the arms bear
// weight. Rules can ask for either.
type Sport struct {
	ID            string   `yaml:"id" json:"id"`
	Name          string   `yaml:"name" json:"name"`
	Throws        bool     `yaml:"throws" json:"throws"`                              // one arm throws: sides are throwing and other
	ArmsBearLoad  bool     `yaml:"arms_bear_weight" json:"arms_bear_weight"`          // sides are compared left and right
	Positions     []string `yaml:"positions" json:"positions,omitempty"`              //
	LevelsAllowed []Level  `yaml:"levels" json:"levels,omitempty"`                    // empty: all
	Note          string   `yaml:"note" json:"note,omitempty"`                        //
	Profile       string   `yaml:"profile" json:"profile" doc:"group for conditions"` // e.g. overhead_throwing
}

// SymptomDef is a symptom or sign that can be noted at a screen. A referral sign puts the athlete at
// the head of triage: stop throwing and see a licensed clinician.
type SymptomDef struct {
	ID       string `yaml:"id" json:"id"`
	Name     string `yaml:"name" json:"name"`
	Plain    string `yaml:"plain" json:"plain,omitempty"` // for the athlete: "pain when you rest or at night"
	Referral bool   `yaml:"referral" json:"referral"`
	Status   Status `yaml:"status" json:"status"`
	Source   string `yaml:"source" json:"source,omitempty"`
}

// Scale says how a measure's error behaves.
type Scale string

// The scales.
const (
	Linear   Scale = "linear"   // error in the unit, the same all over the range
	Log      Scale = "log"      // error in percent: times, strength
	Count    Scale = "count"    // a count of events
	Category Scale = "category" // ordered categories 0, 1, 2 …
)

// Limb says how a side of a measure is mapped by the throwing hand.
type Limb string

// The limbs. Turn is a direction turned to: it maps as the arm on that side does.
const (
	Arm  Limb = "arm"
	Leg  Limb = "leg"
	Turn Limb = "turn"
)

// Combine says how the trials of one reading become one value.
type Combine string

// The combinations. New measures use the mean.
const (
	Mean   Combine = "mean"
	Median Combine = "median"
	Best   Combine = "best"
)

// Measure is one thing measured.
type Measure struct {
	ID         string     `yaml:"id" json:"id"`
	Name       string     `yaml:"name" json:"name"`
	Short      string     `yaml:"short" json:"short,omitempty"` // for narrow columns
	Plain      string     `yaml:"plain" json:"plain,omitempty"` // for the athlete: "how far the shoulder turns inward"
	Link       string     `yaml:"link" json:"link"`
	Unit       string     `yaml:"unit" json:"unit"` // UCUM
	Paired     bool       `yaml:"paired" json:"paired"`
	Limb       Limb       `yaml:"limb" json:"limb,omitempty"`
	Worse      string     `yaml:"worse" json:"worse"` // lower, higher or neither: which value is the worse one
	Scale      Scale      `yaml:"scale" json:"scale"`
	LogFloor   float64    `yaml:"log_floor" json:"log_floor,omitempty"` // smallest value taken on the log scale
	Pooled     bool       `yaml:"pooled" json:"pooled,omitempty"`       // both sides are one quantity (limb length)
	Position   string     `yaml:"position" json:"position,omitempty"`
	Instrument string     `yaml:"instrument" json:"instrument,omitempty"`
	SignWords  *SignWords `yaml:"sign_words" json:"sign_words,omitempty"`
	SayWords   *SayWords  `yaml:"say" json:"say,omitempty"`               // for every measure that can lie below zero
	Categories []string   `yaml:"categories" json:"categories,omitempty"` // names of 0, 1, 2 …
	Trials     Trials     `yaml:"trials" json:"trials"`
	Step       float64    `yaml:"step" json:"step,omitempty"`           // smallest step it is usually read to
	Plausible  []float64  `yaml:"plausible" json:"plausible,omitempty"` // [least, most]: outside is refused
	Typical    []float64  `yaml:"typical" json:"typical,omitempty"`     // [least, most]: outside is asked again
	RangeFrom  Status     `yaml:"range_status" json:"range_status,omitempty"`
	Cap        float64    `yaml:"cap" json:"cap,omitempty"` // a count at the cap means "at least"
	Error      ErrorSpec  `yaml:"error" json:"error"`
	Derived    *Derived   `yaml:"derived" json:"derived,omitempty"`
	Priors     []Prior    `yaml:"priors" json:"priors,omitempty"` // of the true side difference
	Groups     []Group    `yaml:"groups" json:"groups,omitempty"` // counts: mean and SD of the rate by group
	Norms      []Norm     `yaml:"norms" json:"norms,omitempty"`
	Studies    []Study    `yaml:"studies" json:"studies,omitempty"`
	LOINC      []string   `yaml:"loinc" json:"loinc,omitempty"`
	How        string     `yaml:"how" json:"how,omitempty"` // one or two sentences for who measures

	Resolved Error `yaml:"-" json:"resolved_error"` // standard deviations worked out from Error
}

// PlanStation is a station of the day that a protocol proposes.
type PlanStation struct {
	Name   string   `yaml:"name" json:"name"`
	Takes  []string `yaml:"takes" json:"takes"` // measures in order, and check_in or checklist
	Status Status   `yaml:"status" json:"status"`
	Source string   `yaml:"source" json:"source,omitempty"`
}

// SayWords are what is said at a station of a value on either side of zero, after the amount, and of
// zero itself: no minus is called out, and none is typed.
type SayWords struct {
	Positive string `yaml:"positive" json:"positive"`
	Negative string `yaml:"negative" json:"negative"`
	Zero     string `yaml:"zero" json:"zero"`
}

// SignWords names what a value on either side of zero is called in files and requests.
type SignWords struct {
	Positive string `yaml:"positive" json:"positive"`
	Negative string `yaml:"negative" json:"negative"`
}

// Trials says how often a measure is taken and how trials are combined.
type Trials struct {
	Planned     int     `yaml:"planned" json:"planned"`
	Most        int     `yaml:"most" json:"most"`
	Combine     Combine `yaml:"combine" json:"combine"`
	AgreeWithin float64 `yaml:"agree_within" json:"agree_within,omitempty"` // trials further apart: measure again
}

// ErrorSpec is a measure's error as published.
type ErrorSpec struct {
	Trial    *Figure         `yaml:"trial" json:"trial,omitempty"`     // standard deviation from trial to trial, in the unit; in percent on the log scale
	Within   *PublishedError `yaml:"within" json:"within,omitempty"`   // same examiner
	Between  *PublishedError `yaml:"between" json:"between,omitempty"` // another examiner
	Transfer float64         `yaml:"transfer" json:"transfer,omitempty"`
	Others   []Study         `yaml:"others" json:"others,omitempty"` // other published errors, not used
}

// PublishedError is an error as a paper prints it: exactly one of SEM, MDC90 and MDC95, in the
// measure's unit; in percent on the log scale.
type PublishedError struct {
	SEM         float64 `yaml:"sem" json:"sem,omitempty"`
	MDC90       float64 `yaml:"mdc90" json:"mdc90,omitempty"`
	MDC95       float64 `yaml:"mdc95" json:"mdc95,omitempty"`
	Trials      int     `yaml:"trials" json:"trials"`             // k₀: trials whose mean it is the error of
	SameSession bool    `yaml:"same_session" json:"same_session"` // no day-to-day error in it: a lower bound
	Status      Status  `yaml:"status" json:"status"`
	Source      string  `yaml:"source" json:"source,omitempty"`
	Note        string  `yaml:"note" json:"note,omitempty"`
}

// Error is a measure's error as standard deviations in the measure's unit; on the log scale as
// standard deviations of the natural logarithm.
type Error struct {
	Trial    float64 `json:"trial"`    // σ_w: trial to trial
	Placing  float64 `json:"placing"`  // σ_p: new placing, same day
	Day      float64 `json:"day"`      // σ_d: another day
	Examiner float64 `json:"examiner"` // σ_e: another examiner
	// Pair is by what the variance of a side difference differs from what the four give, where the squad's
	// own repeats of side differences say so; 0 means 1.
	Pair       float64 `json:"pair,omitempty"`
	LowerBound bool    `json:"lower_bound"` // no day-to-day error is known
	Source     string  `json:"source"`      // where it comes from, in words
}

// Derived says how a measure is computed from others on the same side: the weighted sum of Sum, or
// that of Sum divided by that of Per, times Factor.
type Derived struct {
	Sum    map[string]float64 `yaml:"sum" json:"sum"`
	Per    map[string]float64 `yaml:"per" json:"per,omitempty"`
	Factor float64            `yaml:"factor" json:"factor,omitempty"`
}

// When is a condition; what is empty does not matter.
type When struct {
	AgeFrom      *float64 `yaml:"age_from" json:"age_from,omitempty"`   // years, inclusive
	AgeBelow     *float64 `yaml:"age_below" json:"age_below,omitempty"` // years, exclusive
	Sex          Sex      `yaml:"sex" json:"sex,omitempty"`
	Levels       []Level  `yaml:"levels" json:"levels,omitempty"`
	Sports       []string `yaml:"sports" json:"sports,omitempty"`
	Positions    []string `yaml:"positions" json:"positions,omitempty"`
	Profile      string   `yaml:"profile" json:"profile,omitempty"`
	ArmsBearLoad *bool    `yaml:"arms_bear_weight" json:"arms_bear_weight,omitempty"`
}

// Prior is what is known of the true side difference in athletes of a group: mean and SD in the
// direction in which larger is worse for the throwing (or lead) side. PaperSE is the measurement
// error that the SD still contains; it is taken off.
type Prior struct {
	When    When    `yaml:"when" json:"when"`
	Mean    float64 `yaml:"mean" json:"mean"`
	SD      float64 `yaml:"sd" json:"sd"`
	PaperSE float64 `yaml:"paper_se" json:"paper_se,omitempty"`
	Status  Status  `yaml:"status" json:"status"`
	Source  string  `yaml:"source" json:"source,omitempty"`
	Note    string  `yaml:"note" json:"note,omitempty"`
}

// Group is the mean and SD of a count's rate in a group of athletes.
type Group struct {
	When   When    `yaml:"when" json:"when"`
	Mean   float64 `yaml:"mean" json:"mean"`
	SD     float64 `yaml:"sd" json:"sd"`
	Status Status  `yaml:"status" json:"status"`
	Source string  `yaml:"source" json:"source,omitempty"`
	Note   string  `yaml:"note" json:"note,omitempty"`
}

// Norm is what a group of people had, as published.
type Norm struct {
	Group  string   `yaml:"group" json:"group"`
	Side   string   `yaml:"side" json:"side,omitempty"` // throwing, other, lead, trail, both
	N      int      `yaml:"n" json:"n,omitempty"`
	Mean   float64  `yaml:"mean" json:"mean"`
	SD     *float64 `yaml:"sd" json:"sd,omitempty"`
	Status Status   `yaml:"status" json:"status"`
	Source string   `yaml:"source" json:"source,omitempty"`
	Note   string   `yaml:"note" json:"note,omitempty"`
}

// Study is what a publication found, in our words, and which way it speaks.
type Study struct {
	Text   string `yaml:"text" json:"text"`
	Speaks string `yaml:"speaks" json:"speaks"` // for, against, context
	Status Status `yaml:"status" json:"status"`
	Source string `yaml:"source" json:"source,omitempty"`
}

// RuleKind says what a rule compares.
type RuleKind string

// The kinds of rule.
const (
	SideDifference RuleKind = "side_difference"
	SidePercent    RuleKind = "side_percent" // the worse side is below (100 − τ) % of the other
	Floor          RuleKind = "floor"
	Ceiling        RuleKind = "ceiling"
	RatioFloor     RuleKind = "ratio_floor" // a derived ratio on one side is below τ
	AllOf          RuleKind = "all_of"      // several rules at once
	RatingRule     RuleKind = "rating"      // a category from τ up; no probability
	ChecklistRule  RuleKind = "checklist"   // an item not met; no probability
	SymptomRule    RuleKind = "symptom"     // a symptom noted; no probability
)

// Rule is one thing that is looked at.
type Rule struct {
	ID         string      `yaml:"id" json:"id"`
	Name       string      `yaml:"name" json:"name"`
	Link       string      `yaml:"link" json:"link"`
	Kind       RuleKind    `yaml:"kind" json:"kind"`
	Measure    string      `yaml:"measure" json:"measure,omitempty"`
	Signed     bool        `yaml:"signed" json:"signed"`       // the worse side is known beforehand
	Side       string      `yaml:"side" json:"side,omitempty"` // floors, ceilings, ratios, ratings: throwing, other, lead, trail, each
	When       When        `yaml:"when" json:"when"`
	Thresholds []Threshold `yaml:"thresholds" json:"thresholds,omitempty"`
	AllOf      []string    `yaml:"all_of" json:"all_of,omitempty"`
	About      string      `yaml:"about" json:"about,omitempty"` // the checklist item or symptom of such a rule
	Counted    bool        `yaml:"counted" json:"counted"`       // enters the link's probability
	Core       bool        `yaml:"core" json:"core"`             // a link is clear only if its core rules were measured
	Why        string      `yaml:"why" json:"why,omitempty"`
	Plain      string      `yaml:"plain" json:"plain,omitempty"`           // a deficit in a sentence for the athlete; see PlainParts
	OnDeficit  string      `yaml:"on_deficit" json:"on_deficit,omitempty"` // what to do first about a deficit, if not to read it once more
	Studies    []Study     `yaml:"studies" json:"studies,omitempty"`
}

// Threshold is the value beyond which a rule speaks of a deficit, for a group. The threshold itself
// is on the clear side. Unit is the unit it is given in and must be that of the rule.
type Threshold struct {
	When   When    `yaml:"when" json:"when"`
	Value  float64 `yaml:"value" json:"value"`
	Unit   string  `yaml:"unit" json:"unit"`
	Status Status  `yaml:"status" json:"status"`
	Source string  `yaml:"source" json:"source,omitempty"`
	Note   string  `yaml:"note" json:"note,omitempty"`
}

// ChecklistItem is one item of the throwing-mechanics checklist.
type ChecklistItem struct {
	ID      string   `yaml:"id" json:"id"`
	Phase   string   `yaml:"phase" json:"phase"`
	Name    string   `yaml:"name" json:"name"`
	Link    string   `yaml:"link" json:"link"`
	Behind  []string `yaml:"behind" json:"behind,omitempty"` // measures that may lie behind it
	Status  Status   `yaml:"status" json:"status"`
	Source  string   `yaml:"source" json:"source,omitempty"`
	Studies []Study  `yaml:"studies" json:"studies,omitempty"`
}

// Subject is what conditions are asked about: an athlete on the day of a screen.
type Subject struct {
	Age       float64
	Sex       Sex
	Level     Level
	Sport     string
	Positions []string
	Profile   string
	ArmsBear  bool
	Throws    bool // one arm throws, so sides are throwing and other
}
