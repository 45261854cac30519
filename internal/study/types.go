// Package study works out a squad's own measurement error from athletes who were measured twice: it is
// pure, knows the record and the statistics, and no store.
package study

import (
	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// Reading is one reading of a study: one athlete, one measure, one side, one placing, by one examiner
// on one occasion.
type Reading struct {
	Athlete  string      `json:"athlete"`
	Measure  string      `json:"measure"`
	Side     screen.Side `json:"side"`
	Examiner string      `json:"examiner,omitempty"` // "" : not named, taken as one person
	Occasion screen.Date `json:"occasion"`           // the day
	Trials   []float64   `json:"trials"`             // in the measure's unit
}

// FromRecords gathers the readings that stand of several records. Records of one athlete on one day
// are one occasion.
func FromRecords(records []*screen.Record) []Reading {
	var out []Reading
	for _, rec := range records {
		for i := range rec.Readings {
			r := &rec.Readings[i]
			if !r.Stands() || len(r.Trials) == 0 {
				continue
			}
			examiner := r.Examiner
			if examiner == "" {
				examiner = rec.Screen.Examiner
			}
			out = append(out, Reading{Athlete: rec.Screen.Athlete, Measure: r.Measure, Side: r.Side,
				Examiner: examiner, Occasion: rec.Screen.On, Trials: r.Trials})
		}
	}
	return out
}

// Enough repeats to say something, and for a side difference or a derived measure to have an error of
// its own; below FewExaminers an examiner's share cannot be told and their means are shown instead.
const (
	EnoughRepeats = 8
	GoodRepeats   = 12
	FewExaminers  = 6
	PaperWeight   = 20 // degrees of freedom that a published error counts for
)

// Study is what repeated readings say of each measure's error.
type Study struct {
	Protocol  string    `json:"protocol"` // name and version
	Hash      string    `json:"hash"`
	Athletes  int       `json:"athletes"`  // with any repeat
	Examiners []string  `json:"examiners"` // as entered, by name
	Measures  []Measure `json:"measures"`  // in protocol order; those with readings
	Summary   []string  `json:"summary"`   // what it means, in words
	Remarks   []string  `json:"remarks"`   // what was left out, and what is too little to go by
}

// Measure is the study of one measure. Values are in the measure's unit; in percent for one that is
// compared as a logarithm.
type Measure struct {
	Measure string `json:"measure"`
	Name    string `json:"name"`
	Unit    string `json:"unit"`
	Scale   string `json:"scale"`

	Athletes  int    `json:"athletes"`            // with a repeat
	Readings  int    `json:"readings"`            // of those athletes
	Same      int    `json:"repeats_same"`        // sides read again on the same day by the same examiner
	Other     int    `json:"repeats_other"`       // on the same day by another examiner
	Days      int    `json:"repeats_days"`        // on another day
	Examiners int    `json:"examiners"`           // who read it
	Enough    bool   `json:"enough"`              // as many repeats as EnoughRepeats
	Statement string `json:"statement"`           // what it means, in a sentence or two
	NotWorth  string `json:"not_worth,omitempty"` // why it is not worth taking as done now; empty: it is

	Components []Component `json:"components"`
	SEMSame    *float64    `json:"sem_same"`         // same examiner, planned trials
	SEMOther   *float64    `json:"sem_other"`        // another examiner
	MDC95      *float64    `json:"mdc95"`            // of a value, same examiner
	DiffSE     *float64    `json:"difference_se"`    // of a side difference at one screen, with the error in use if switched on
	DiffMDC95  *float64    `json:"difference_mdc95"` // of a change of a side difference

	ICC      []stat.ICC `json:"icc"`
	ICCNote  string     `json:"icc_note,omitempty"`
	Limits   *Limits    `json:"limits,omitempty"`
	Bias     []Bias     `json:"bias"` // by name, never by size
	BiasNote string     `json:"bias_note,omitempty"`
	Kappa    *Kappa     `json:"kappa,omitempty"` // measures in categories only

	Own       *screen.Error `json:"own,omitempty"` // pooled with the published error: what scoring takes if switched on; on the protocol's own scale
	Published screen.Error  `json:"published"`     // what scoring takes otherwise
	Notes     []string      `json:"notes,omitempty"`
}

// Component is one source of error, as a standard deviation.
type Component struct {
	ID        string   `json:"id" enum:"athlete,day,placing,examiner,trial"`
	Name      string   `json:"name"`
	SD        *float64 `json:"sd"` // of the study alone; null: this study cannot tell
	DF        float64  `json:"df"` // degrees of freedom that it is worth
	Published float64  `json:"published_sd"`
	Pooled    float64  `json:"pooled_sd"`
	AtZero    bool     `json:"at_zero"`
	Note      string   `json:"note,omitempty"`
}

// Limits are the limits of agreement of a first and a second reading, with the points of the plot.
type Limits struct {
	stat.Limits
	Points []Point `json:"points"`
	Words  string  `json:"words"`
}

// Point is one athlete's side: the mean of two readings, and second − first.
type Point struct {
	Mean       float64 `json:"mean"`
	Difference float64 `json:"difference"`
	Same       bool    `json:"same_examiner"`
}

// Bias is how an examiner reads compared with the mean of all, on the same athletes.
type Bias struct {
	Examiner string  `json:"examiner"`
	Readings int     `json:"readings"`
	Value    float64 `json:"value"`
	Lo       float64 `json:"lo"` // 95 % interval
	Hi       float64 `json:"hi"`
	Words    string  `json:"words"`
}

// Kappa is the agreement of ratings.
type Kappa struct {
	stat.Kappas
	Pairs int    `json:"pairs"`
	Words string `json:"words"`
}
