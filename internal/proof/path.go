package proof

import (
	"math"
	"math/rand/v2"
)

// Path is the shape of a true side difference over time.
type Path struct {
	Name string
	// A wandering path follows the trend's own model: its slope fades within Lambda weeks and varies with
	// the standard deviation Pace a week.
	Wanders      bool
	Lambda, Pace float64
	Slope        float64 // else: change a week
	Drop, Fade   float64 // and a change of Drop in all, of which Fade weeks leave a third
}

// perWeek is how many steps a week a path is drawn in.
const perWeek = 20

// walk is a path over some weeks from a level on.
type walk struct {
	level, slope []float64 // in steps
}

func (p *Path) walk(rng *rand.Rand, from, weeks float64) *walk {
	n := int(math.Round(weeks*perWeek)) + 1
	w := &walk{make([]float64, n), make([]float64, n)}
	if p.Wanders {
		w.wander(rng, p, from)
		return w
	}
	for i := range n {
		t := float64(i) / perWeek
		w.level[i], w.slope[i] = from+p.Slope*t, p.Slope
		if p.Fade > 0 {
			e := math.Exp(-t / p.Fade)
			w.level[i] += p.Drop * (1 - e)
			w.slope[i] += p.Drop / p.Fade * e
		}
	}
	return w
}

// wander draws the slope step by step, exactly, and adds it up by the trapezoidal rule: none of the
// model's own formulas for longer times is used.
func (w *walk) wander(rng *rand.Rand, p *Path, from float64) {
	keep := math.Exp(-1 / (perWeek * p.Lambda))
	fresh := p.Pace * math.Sqrt(1-keep*keep)
	w.level[0], w.slope[0] = from, p.Pace*rng.NormFloat64()
	for i := 1; i < len(w.level); i++ {
		w.slope[i] = keep*w.slope[i-1] + fresh*rng.NormFloat64()
		w.level[i] = w.level[i-1] + (w.slope[i]+w.slope[i-1])/(2*perWeek)
	}
}

// at is level and slope after some weeks.
func (w *walk) at(week float64) (level, slope float64) {
	i := int(math.Round(week * perWeek))
	return w.level[i], w.slope[i]
}
