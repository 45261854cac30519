package score

import (
	"math"

	"evenhand/internal/screen"
)

// SquadEstimate is one athlete's difference of sides in a measure, plain and drawn towards what is known
// of such athletes, in the unit in which differences are shown.
type SquadEstimate struct {
	Athlete  string `json:"athlete"`
	Prior    string `json:"prior" enum:"squad,protocol,none" doc:"towards what it is drawn"`
	Kind     int    `json:"-"` // place of the group among the measure's priors
	Plain    Value  `json:"plain"`
	Estimate Value  `json:"estimate"`
	Named    bool   `json:"-"` // the throwing side is known
}

// SquadEstimates are those of a squad's records in one measure, one an athlete, by athlete; athletes
// without the measure are not among them.
func (s *Scorer) SquadEstimates(measure string, records []*screen.Record, opt Options) []SquadEstimate {
	out := []SquadEstimate{}
	m := s.p.MeasureIndex(measure)
	if m < 0 || s.pers[m] != nil {
		return out
	}
	w := &work{}
	for _, rec := range onePerAthlete(records) {
		w.begin(s, rec, opt)
		d, ok := w.measuredDiff(m)
		if !ok {
			continue
		}
		c := comparison{}
		w.addPrior(&c, m)
		e := SquadEstimate{Athlete: rec.Athlete.ID, Prior: c.priorName(), Kind: d.kind, Named: w.d.named, Plain: s.Shown(measure, Value{d.d, d.se})}
		mean, sd, _ := c.weighed(d.d, d.se)
		e.Estimate = s.Shown(measure, Value{mean, sd})
		out = append(out, e)
	}
	return out
}

func (c *comparison) priorName() string {
	switch {
	case c.squad != nil:
		return "squad"
	case c.prior:
		return "protocol"
	}
	return "none"
}

// Shown puts a difference of sides from the scale on which a measure is compared into the unit in which
// it is shown; for log measures in percent of the better side, its error to first order.
func (s *Scorer) Shown(measure string, v Value) Value {
	if m := s.p.MeasureIndex(measure); m >= 0 && isLog(s, m) {
		return Value{percentBelow(v.Value), 100 * math.Exp(-math.Abs(v.Value)) * v.SE}
	}
	return v
}

// ShownUnit is that unit.
func (s *Scorer) ShownUnit(measure string) string {
	m := s.p.MeasureIndex(measure)
	switch {
	case m < 0:
		return ""
	case isLog(s, m):
		return "%"
	}
	return s.p.Measures[m].Unit
}

// Likely is the most likely true difference of a finding with its standard deviation, in the finding's
// unit. ok is false where nothing but the measurement is known, and for rules that do not compare sides.
func (f *Finding) Likely() (v Value, ok bool) {
	v = Value{f.PostMean, f.PostSD}
	switch {
	case f.Prior == "none":
		return v, false
	case f.RuleKind == screen.SideDifference:
		return v, true
	case f.RuleKind == screen.SidePercent:
		return Value{percentBelow(v.Value), 100 * math.Exp(-math.Abs(v.Value)) * v.SE}, true
	}
	return v, false
}
