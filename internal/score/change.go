package score

import (
	"math"

	"evenhand/internal/stat"
)

// Change is what became of a deficit between two visits.
type Change struct {
	Raw         float64    `json:"raw" doc:"second difference − first; negative: smaller deficit"`
	ByItself    float64    `json:"by_itself" doc:"change expected because the first was extreme; 0 without a prior"`
	Beyond      float64    `json:"beyond" doc:"the change beyond that"`
	SE          float64    `json:"se"`
	Interval90  [2]float64 `json:"interval90"`
	PImproved   float64    `json:"p_improved"`
	Real        bool       `json:"real" doc:"|beyond| > 1.96 SE"`
	MDC95       float64    `json:"mdc95" doc:"change that measurement error alone exceeds in 5 of 100 repeats"`
	PriorKnown  bool       `json:"prior_known"`
	Explanation string     `json:"explanation"`
}

// What a change is called.
const (
	changeReal    = "a real change"
	changeNot     = "cannot be told from measurement error"
	changeNoPrior = "; part of an improvement after an extreme first reading comes by itself"
)

// Compare gives the change of a finding from one visit to the next. The change that comes by itself
// after an extreme first reading is E = μ + w(D₁ − μ) − D₁ with w = ω²/(ω² + SE₁²); what is beyond it
// has SE_Δ = √(SE₂² + w·SE₁²). Without a prior E is 0 and w is 1. Both findings must be of the same
// rule.
func Compare(first, second *Finding) Change {
	c := Change{Raw: second.Difference - first.Difference}
	w := 1.0
	if first.Prior != "none" && first.PriorSD > 0 {
		w = first.PriorSD * first.PriorSD / (first.PriorSD*first.PriorSD + first.SE*first.SE)
		c.ByItself = first.PriorMean + w*(first.Difference-first.PriorMean) - first.Difference
		c.PriorKnown = true
	}
	c.Beyond = c.Raw - c.ByItself
	c.SE = math.Sqrt(second.SE*second.SE + w*first.SE*first.SE)
	c.Interval90 = [2]float64{c.Beyond - 1.645*c.SE, c.Beyond + 1.645*c.SE}
	c.MDC95 = 1.96 * math.Hypot(first.SE, second.SE)
	c.PImproved = 0.5
	if c.SE > 0 {
		c.PImproved = stat.Phi(-c.Beyond / c.SE)
	}
	c.Real = math.Abs(c.Beyond) > 1.96*c.SE
	c.Explanation = changeNot
	if c.Real {
		c.Explanation = changeReal
	}
	if !c.PriorKnown {
		c.Explanation += changeNoPrior
	}
	return c
}
