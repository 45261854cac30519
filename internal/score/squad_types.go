package score

import (
	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// SquadPrior is what is usual in one squad: for each measure and group of athletes the true side
// differences, by the hierarchical model of stat.Hierarchy. It is worked out once, when a screening day
// is closed, and kept: nothing flips when one more athlete arrives.
type SquadPrior struct {
	Team     string       `json:"team"`
	On       screen.Date  `json:"on"`
	Protocol string       `json:"protocol" doc:"name and version"`
	Hash     string       `json:"hash" doc:"of the protocol; scores by another one do not use it"`
	Athletes int          `json:"athletes" doc:"counted in it"`
	Counted  []string     `json:"counted" nullable:"false" doc:"ids of those, in order"`
	LeftOut  []LeftOut    `json:"left_out,omitempty" doc:"scored by it, not counted in it"`
	Groups   []GroupPrior `json:"groups"`
}

// LeftOut is an athlete who is not counted in what is usual, and why.
type LeftOut struct {
	Athlete string `json:"athlete"`
	Why     string `json:"why"`
}

// GroupPrior is what is usual for one measure in athletes of one group: those for whom the protocol has
// the same prior. Values are on the scale on which the measure is compared (natural logarithm for log
// measures), signed as differences are.
type GroupPrior struct {
	Measure string `json:"measure"`
	Prior   int    `json:"prior" doc:"place among the measure's priors of the protocol; -1: it has none for these athletes"`
	Group   string `json:"group" doc:"the group in words"`
	N       int    `json:"n"`
	Used    bool   `json:"used" doc:"enough athletes: 5 with a prior of the protocol, 12 without"`
	Why     string `json:"why,omitempty" doc:"why it is not used"`

	ProtocolMean float64 `json:"protocol_mean"`
	ProtocolSD   float64 `json:"protocol_sd" doc:"0: the protocol knows nothing"`

	Mean    float64 `json:"mean" doc:"posterior mean of the squad's mean"`
	MeanSD  float64 `json:"mean_sd"`
	Spread  float64 `json:"spread" doc:"posterior mean of the standard deviation between athletes"`
	NewMean float64 `json:"new_mean" doc:"of the true difference of an athlete of this group: mean and standard deviation, with all that is not known"`
	NewSD   float64 `json:"new_sd"`

	REML *GroupREML `json:"reml,omitempty" doc:"shown beside it, not used"`
	Grid stat.Grid  `json:"grid,omitempty" doc:"the squad's spread between athletes with its probability: what a probability is averaged over; absent: not used, or left out of a list"`
}

// GroupREML is the plug-in estimate by restricted maximum likelihood, shown and not used: plugged in it
// is overconfident, and undefined where the spread is estimated at zero.
type GroupREML struct {
	Mean   float64 `json:"mean"`
	MeanSE float64 `json:"mean_se"`
	Spread float64 `json:"spread"`
	AtZero bool    `json:"at_zero"`
	Note   string  `json:"note,omitempty"`
}
