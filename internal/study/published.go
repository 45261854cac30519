package study

import (
	"math"

	"evenhand/internal/screen"
)

// PublishedDiffSE is DiffSE by the published errors: the standard error of a side difference at one
// screen by one examiner with the planned trials, in the unit of DiffSE. nil where DiffSE is.
func (m *Measure) PublishedDiffSE(def *screen.Measure) *float64 {
	if m.DiffSE == nil || def == nil {
		return nil
	}
	v := 0.0
	for i := range m.Components {
		c := &m.Components[i]
		switch c.ID {
		case componentIDs[ofPlacing], componentIDs[ofDay]:
			v += c.Published * c.Published
		case componentIDs[ofTrial]: // of a derived measure it is in the placing
			v += c.Published * c.Published * def.Trials.Share(max(1, def.Trials.Planned))
		}
	}
	if v == 0 {
		return nil
	}
	se := math.Sqrt(2 * v)
	return &se
}
