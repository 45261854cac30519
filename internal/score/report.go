package score

import "evenhand/internal/screen"

// Verdict is what a rule says of an athlete.
type Verdict string

// The verdicts. Whatever is not decided is Unsettled.
const (
	Deficit   Verdict = "deficit"
	Clear     Verdict = "clear"
	Unsettled Verdict = "unsettled"
)

// ProtocolRef names the protocol that a report was made with.
type ProtocolRef struct {
	Name    string `json:"name"`
	Version string `json:"version"`
	Hash    string `json:"hash" doc:"SHA-256 of the protocol's resolved content, hex"`
}

// Report is the score of one screen.
type Report struct {
	Protocol ProtocolRef `json:"-"`
	Screen   string      `json:"screen"`
	Athlete  string      `json:"athlete"`
	On       screen.Date `json:"on"`
	Kind     screen.Kind `json:"kind"`
	Hand     screen.Hand `json:"throws" doc:"throwing hand on the day of the screen"`
	Sides    bool        `json:"compared_as_throwing_and_other" doc:"false: both arms throw, or none; sides are only compared"`
	Age      float64     `json:"age"`

	Findings []Finding    `json:"findings"`
	Links    []LinkResult `json:"links"`

	LinksMeasured      int      `json:"links_measured" doc:"links whose core rules were all measured"`
	LinksClear         int      `json:"links_clear"`
	LinksDeficit       int      `json:"links_deficit"`
	LinksUnsettled     int      `json:"links_unsettled"`
	LinksClearExpected float64  `json:"links_clear_expected" doc:"sum of 1 - P over the links measured"`
	LinksClearUsual    *float64 `json:"links_clear_usual" doc:"what an average athlete of the protocol has, over the links for which that is known; null if none"`
	LinksCompared      int      `json:"links_compared" doc:"links for which the usual is known"`
	ExpectedCompared   float64  `json:"links_clear_expected_compared" doc:"sum of 1 - P over the links compared"`

	SquadOn  screen.Date `json:"squad_on,omitempty" doc:"the screening day whose figures the findings with the prior of the squad rest on"`
	Referral []string    `json:"referral" doc:"referral signs noted: stop throwing, see a licensed clinician"`
	Noted    []Noted     `json:"noted,omitempty" doc:"ratings, checklist items and symptoms; they carry no probability and are counted apart"`
	Notes    []string    `json:"notes,omitempty" doc:"what was taken for granted in this score"`

	CoreRules    int `json:"core_rules"`
	CoreMeasured int `json:"core_measured"`

	countedP  float64 // sum of P over the counted rules that were measured
	countedN  int
	worst     float64 // largest (posterior mean − τ)/ω among the counted rules
	unmeasure []string
}

// Finding is one rule applied to one screen.
type Finding struct {
	Rule     string          `json:"rule"`
	Name     string          `json:"name"`
	Link     string          `json:"link"`
	Measure  string          `json:"measure"`
	RuleKind screen.RuleKind `json:"rule_kind"`
	Kind     string          `json:"kind" enum:"signed,absolute"`
	Side     screen.Side     `json:"side,omitempty" doc:"side that a floor, ceiling or ratio was applied to"`
	Role     string          `json:"role,omitempty" doc:"throwing, other, lead or trail"`

	Difference float64 `json:"difference" doc:"what is compared with the threshold; for floors and ceilings the value itself"`
	SE         float64 `json:"se"`
	Threshold  float64 `json:"threshold"`
	Unit       string  `json:"unit"`
	Worse      string  `json:"worse_side,omitempty" doc:"left or right: the throwing side of a signed rule, else the side with the worse value"`
	First      float64 `json:"first_value" doc:"value of the throwing side or lead leg; of the right side where sides are only compared"`
	Second     float64 `json:"second_value" doc:"value of the other side"`
	FirstSE    float64 `json:"first_se" doc:"standard error of first_value, as a difference of sides contains it"`
	SecondSE   float64 `json:"second_se"`

	PMeasured float64 `json:"p_measured"`
	P         float64 `json:"p"`
	Prior     string  `json:"prior" enum:"protocol,squad,none"`
	PriorMean float64 `json:"prior_mean,omitempty"`
	PriorSD   float64 `json:"prior_sd,omitempty"`
	PostMean  float64 `json:"posterior_mean"`
	PostSD    float64 `json:"posterior_sd"`

	Verdict  Verdict    `json:"verdict" enum:"deficit,clear,unsettled"`
	Reason   string     `json:"reason"`
	AtSwitch *AtSwitch  `json:"at_age_switch,omitempty"`
	Parts    []string   `json:"conditions,omitempty" doc:"the rules that must all hold"`
	Counted  bool       `json:"counted"`
	Core     bool       `json:"core"`
	Chance   *Chance    `json:"chance_to_settle"`
	Advice   string     `json:"advice,omitempty"`
	Target   *float64   `json:"target_difference"`
	Reading  *float64   `json:"target_reading,omitempty" doc:"the reading of the worse side that the target amounts to, the other side being as it is"`
	TargetBy string     `json:"target_note,omitempty"`
	Source   string     `json:"source"`
	Error    string     `json:"error_source"`
	Bound    bool       `json:"error_is_lower_bound" doc:"no day-to-day error is known for this measure"`
	Margin   [2]float64 `json:"interval90" doc:"difference ± 1.645 SE"`

	scale float64 // ω, or SE where nothing is known: what the triage's tie-break divides by
	tau   float64 // τ on the scale of PostMean
}

// AtSwitch is the verdict under the threshold of the neighbouring age band, for athletes within a
// year of the switch.
type AtSwitch struct {
	Threshold float64 `json:"threshold"`
	PMeasured float64 `json:"p_measured"`
	P         float64 `json:"p"`
	Verdict   Verdict `json:"verdict"`
}

// Chance is the chance that measuring again settles an unsettled finding: three more trials as
// placed, once more newly placed on the same day, or on another day.
type Chance struct {
	MoreTrials *float64 `json:"more_trials" doc:"null where the protocol fixes the number of trials"`
	NewPlacing float64  `json:"new_placing"`
	AnotherDay float64  `json:"another_day"`
}

// LinkResult is what is known of one link.
type LinkResult struct {
	Link     string   `json:"link"`
	Name     string   `json:"name"`
	Verdict  Verdict  `json:"verdict" enum:"deficit,clear,unsettled"`
	P        *float64 `json:"p_deficit" doc:"probability that at least one counted rule is truly broken; null if none was measured"`
	PUsual   *float64 `json:"p_usual" doc:"the same for an average athlete of the protocol; null if that is not known"`
	Measured bool     `json:"measured" doc:"all core rules were measured"`
	Partly   bool     `json:"partly" doc:"some rules were measured, but not all core rules"`
	Missing  []string `json:"missing,omitempty" doc:"core rules not measured"`
}

// Noted is a rating, a checklist item or a symptom.
type Noted struct {
	Kind    string `json:"kind" enum:"rating,checklist,symptom"`
	ID      string `json:"id"`
	Name    string `json:"name"`
	Link    string `json:"link,omitempty"`
	Side    string `json:"side,omitempty"`
	Value   string `json:"value"`
	Rule    string `json:"rule,omitempty"`
	Flagged bool   `json:"flagged" doc:"beyond its threshold, not met, or a referral sign"`
}
