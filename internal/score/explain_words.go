package score

import (
	"fmt"
	"strings"

	"evenhand/internal/screen"
)

// fixed writes a number with so many digits behind the point, with a true minus and never as −0.
func fixed(v float64, digits int) string {
	out := fmt.Sprintf("%.*f", digits, v)
	if strings.Trim(out, "-0.") == "" {
		return strings.TrimPrefix(out, "-")
	}
	return strings.Replace(out, "-", "−", 1)
}

// digits is one more than findings of the measure are shown with, so that a reader can add them up.
func (x *explainer) digits() int {
	switch {
	case x.m.Step >= 1 && x.r.Kind != screen.RatioFloor:
		return 1
	case x.m.Unit == "1":
		return 3
	}
	return 2
}

// own writes a value of the measure in its own unit.
func (x *explainer) own(v float64) string { return screen.Amount(fixed(v, x.digits()), x.m.Unit) }

// on writes a number of the scale on which the rule compares.
func (x *explainer) on(v float64) string {
	if x.unit == "%" && x.m.Unit != "%" {
		return screen.Amount(fixed(v, 1), "%")
	}
	return screen.Amount(fixed(v, x.digits()), x.unit)
}

// squared writes a variance on that scale.
func (x *explainer) squared(v float64) string {
	unit := screen.UnitWords(x.unit)
	digits := 2
	if x.digits() == 3 && x.unit != "%" {
		digits = 5
	}
	if unit == "" {
		return fixed(v, digits)
	}
	return fixed(v, digits) + " " + unit + "²"
}

// limit writes a threshold as the protocol gives it.
func (x *explainer) limit(v float64) string {
	return screen.Amount(strings.Replace(number(v, nil), "-", "−", 1), x.f.Unit)
}

// inUnit writes a number in the finding's unit: a percentage where the rule speaks of percent.
func (x *explainer) inUnit(v float64) string {
	if x.r.Kind == screen.SidePercent {
		return screen.Amount(fixed(v, 1), "%")
	}
	return x.own(v)
}

// sideWords is a side by its part in throwing, with left or right: "throwing side (right)".
func (w *work) sideWords(m *screen.Measure, side int) string {
	if m.Pooled {
		return "both sides as one"
	}
	if !m.Paired {
		return ""
	}
	name, role := w.sideName(m, side)
	switch {
	case role == "":
		return string(name) + " side"
	case m.Limb == screen.Leg:
		return role + " leg (" + string(name) + ")"
	}
	return role + " side (" + string(name) + ")"
}

func (x *explainer) who(side int) string { return x.w.sideWords(x.w.sideMeasure(x.mi), side) }

// sideMeasure is what knows the limb of a measure: itself, or what it is computed from.
func (w *work) sideMeasure(m int) *screen.Measure {
	x := w.s.p.Measures[m]
	x.Limb = w.firstPart(m).Limb
	return &x
}

func lowerName(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// given is a term with a number.
func given(label, value string, number float64, note string) Term {
	return Term{Label: capital(label), Value: value, Number: &number, Note: note}
}

// result is a term that a step comes to.
func result(label, value string, number float64, note string) Term {
	t := given(label, value, number, note)
	t.Result = true
	return t
}

// probability is a term that is a probability.
func probability(label string, p float64, note string) Term {
	return result(label, OutOf100(p), p, note)
}

func join(list []string) string {
	switch n := len(list); n {
	case 0:
		return ""
	case 1:
		return list[0]
	default:
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
}

// deviations writes how many standard errors something is away.
func deviations(z float64) string {
	switch {
	case z > 9:
		return "over 9"
	case z < -9:
		return "under −9"
	}
	return fixed(z, 2)
}
