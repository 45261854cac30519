package screen

import (
	"fmt"
	"math"
)

// Question is something about accepted data that a person should look at again. It changes nothing
// by itself: the data stand until somebody corrects them.
type Question struct {
	Kind    string `json:"kind"` // unusual, trials_apart, digits_swapped, other_hand
	Measure string `json:"measure"`
	Side    Side   `json:"side"`
	Reading string `json:"reading,omitempty"`
	Text    string `json:"text"`
}

// Questions looks through a record for values that are plausible but unlikely to be what was meant.
// last is the athlete's previous record, nil if there is none.
func (p *Protocol) Questions(r, last *Record) []Question {
	now := p.sideMeans(r)
	before := sideMeans{}
	if last != nil {
		before = p.sideMeans(last)
	}
	var out []Question
	for _, x := range r.Readings {
		m := p.Measure(x.Measure)
		if !x.Stands() || m == nil || m.Scale == Category || m.Derived != nil {
			continue
		}
		if q := m.unusual(&x); q != "" {
			out = append(out, Question{"unusual", x.Measure, x.Side, x.ID, q})
		}
		if q := m.apart(&x); q != "" {
			out = append(out, Question{"trials_apart", x.Measure, x.Side, x.ID, q})
		}
		if q := m.swapped(&x, now, before); q != "" {
			out = append(out, Question{"digits_swapped", x.Measure, x.Side, x.ID, q})
		}
	}
	if q, ok := p.otherHand(r, now); ok {
		out = append(out, q)
	}
	return out
}

type sideKey struct {
	measure string
	side    Side
}

// sideMeans is the mean of all current trials of a measure on a side.
type sideMeans map[sideKey]float64

func (p *Protocol) sideMeans(r *Record) sideMeans {
	sums, counts := sideMeans{}, map[sideKey]int{}
	for _, x := range r.Readings {
		if !x.Stands() {
			continue
		}
		k := sideKey{x.Measure, x.Side}
		for _, t := range x.Trials {
			sums[k] += t
		}
		counts[k] += len(x.Trials)
	}
	for k, n := range counts {
		sums[k] /= float64(n)
	}
	return sums
}

func (m *Measure) unusual(x *Reading) string {
	if len(m.Typical) != 2 {
		return ""
	}
	for _, t := range x.Trials {
		if t < m.Typical[0] || t > m.Typical[1] {
			return fmt.Sprintf("%s, %s: %s is possible but unusual (usually %s to %s). Is it right?", m.Name, x.Side, m.Say(t), m.number(m.Typical[0]), m.number(m.Typical[1]))
		}
	}
	return ""
}

func (m *Measure) apart(x *Reading) string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, t := range x.Trials {
		lo, hi = min(lo, t), max(hi, t)
	}
	if m.Trials.AgreeWithin > 0 && hi-lo > m.Trials.AgreeWithin {
		return fmt.Sprintf("%s, %s: the trials are %s apart (up to %g is usual). Measure again.", m.Name, x.Side, Amount(fmt.Sprintf("%.3g", hi-lo), m.Unit), m.Trials.AgreeWithin)
	}
	return ""
}

// swapped asks about a trial whose two last whole digits, exchanged, would lie much nearer to the
// other trials, the other side or the last screen than the value as written does.
func (m *Measure) swapped(x *Reading, now, before sideMeans) string {
	if m.Scale == Count { // its error is not one in the unit
		return ""
	}
	for i, t := range x.Trials {
		s, ok := swapDigits(t)
		if !ok || s < m.Plausible[0] || s > m.Plausible[1] {
			continue
		}
		refs := make([]float64, 0, 3)
		if v, ok := now[sideKey{x.Measure, x.Side.Other()}]; ok && x.Side != NoSide {
			refs = append(refs, v)
		}
		if v, ok := before[sideKey{x.Measure, x.Side}]; ok {
			refs = append(refs, v)
		}
		if len(x.Trials) > 1 {
			refs = append(refs, meanWithout(x.Trials, i))
		}
		if looksSwapped(t, s, refs, m.SwapMargin()) {
			return fmt.Sprintf("%s, %s: %s. Was %s meant? The digits look exchanged.", m.Name, x.Side, m.Say(t), m.number(s))
		}
	}
	return ""
}

// SwapMargin is how far off a value must be before its digits are doubted: well beyond the error of
// a side difference (four standard errors of a single reading).
func (m *Measure) SwapMargin() float64 {
	e := m.Resolved
	sem := math.Sqrt(e.Trial*e.Trial + e.Placing*e.Placing + e.Day*e.Day + e.Examiner*e.Examiner)
	if m.Scale == Log && len(m.Typical) == 2 {
		sem *= (m.Typical[0] + m.Typical[1]) / 2
	}
	return 4 * sem
}

// looksSwapped says yes if the value is far from every reference and the exchanged one near to all.
func looksSwapped(t, s float64, refs []float64, margin float64) bool {
	for _, r := range refs {
		if math.Abs(t-r) < max(margin, 3*math.Abs(s-r)) || math.Abs(s-r) > margin {
			return false
		}
	}
	return len(refs) > 0
}

func swapDigits(t float64) (float64, bool) {
	whole := math.Trunc(math.Abs(t))
	if whole < 10 || whole >= 1000 {
		return 0, false
	}
	n := int(whole)
	swapped := n/100*100 + n%10*10 + n/10%10
	if swapped == n {
		return 0, false
	}
	return math.Copysign(float64(swapped)+math.Abs(t)-whole, t), true
}

func meanWithout(xs []float64, i int) float64 {
	sum := 0.0
	for j, x := range xs {
		if j != i {
			sum += x
		}
	}
	return sum / float64(len(xs)-1)
}

// otherHand asks whether the throwing hand is right: throwers usually turn less inward and more
// outward on the throwing side, and here it is the other way round by more than the error.
func (p *Protocol) otherHand(r *Record, now sideMeans) (Question, bool) {
	hand := r.Athlete.HandOn(r.Screen.On)
	if hand != LeftHand && hand != RightHand {
		return Question{}, false
	}
	throwing, other := Side(hand), Side(hand).Other()
	diff := func(id string) (float64, bool) {
		a, ok1 := now[sideKey{id, throwing}]
		b, ok2 := now[sideKey{id, other}]
		m := p.Measure(id)
		return a - b, ok1 && ok2 && m != nil && math.Abs(a-b) > 2*m.Resolved.Placing
	}
	in, ok1 := diff("shoulder_internal_rotation")
	out, ok2 := diff("shoulder_external_rotation")
	if !ok1 || !ok2 || in <= 0 || out >= 0 {
		return Question{}, false
	}
	return Question{Kind: "other_hand", Measure: "shoulder_internal_rotation", Side: throwing,
		Text: fmt.Sprintf("The %s (throwing) shoulder turns %.0f° more inward and %.0f° less outward than the other. Throwers are usually the other way round: is the throwing hand right, were the sides exchanged?", throwing, in, -out)}, true
}

// Say is a value as it is called out at a station: 41°, 4° short of straight.
func (m *Measure) Say(x float64) string {
	switch w := m.SayWords; {
	case w == nil:
		return amount(x, m.Unit)
	case x < 0:
		return amount(-x, m.Unit) + " " + w.Negative
	case x > 0:
		return amount(x, m.Unit) + " " + w.Positive
	default:
		return w.Zero
	}
}

// number is a value without its unit, but with the words where there are any.
func (m *Measure) number(x float64) string {
	if m.SayWords != nil {
		return m.Say(x)
	}
	return fmt.Sprintf("%g", x)
}

func amount(x float64, unit string) string { return Amount(fmt.Sprintf("%g", x), unit) }

// Amount writes a number with its UCUM unit as it is written for a reader: 41°, 6 cm, 12 %, 3.
func Amount(number, unit string) string {
	switch w := UnitWords(unit); w {
	case "", "°":
		return number + w
	default:
		return number + " " + w
	}
}

// UnitWords is a UCUM unit as it is written for a reader: ° for deg, nothing for counts.
func UnitWords(unit string) string {
	switch unit {
	case "deg":
		return "°"
	case "{count}", "1":
		return ""
	}
	return unit
}
