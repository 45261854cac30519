package chart

import (
	"math"
	"strconv"
	"strings"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// look is how a verdict is filled.
type look int

const (
	outline look = iota
	hatched
	solid
)

func lookOf(v score.Verdict) look {
	switch v {
	case score.Deficit:
		return solid
	case score.Clear:
		return outline
	}
	return hatched
}

// noPattern keeps a text from being read as a pattern by the drawing script, which fills in {b} and
// the like.
func noPattern(s string) string {
	return strings.NewReplacer("{", "(", "}", ")").Replace(s)
}

// shortUnit is a unit as it stands behind a number.
func shortUnit(unit string) string {
	switch unit {
	case "deg":
		return "°"
	case "1", "{count}", "":
		return ""
	}
	return " " + unit
}

// unitPattern is the text of an axis' numbers for the drawing script, which fills in the value.
func unitPattern(unit string) string {
	if u := shortUnit(unit); u == "°" || u == " %" {
		return "{value}" + u
	}
	return "{value}"
}

// unitName is a unit in brackets behind a name, "" if it has none.
func unitName(unit string) string {
	if u := strings.TrimSpace(shortUnit(unit)); u != "" {
		return " (" + u + ")"
	}
	return ""
}

// number writes x with so many decimals and a true minus sign; "–" if it is none.
func number(x float64, decimals int) string {
	if !finite(x) {
		return "–"
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// decimals that a measure's value is shown with in a picture; its table has one more.
func decimals(m *screen.Measure) int {
	switch {
	case m == nil, m.Unit == "1":
		return 2
	case m.Step >= 1 || m.Unit == "deg" || m.Unit == "%":
		return 0
	case m.Step > 0 && m.Step < 0.1:
		return 2
	}
	return 1
}

// sideName is a side of the body by its part in throwing.
func sideName(rep *score.Report, m *screen.Measure, side screen.Side) string {
	if side != screen.Left && side != screen.Right {
		return "Value"
	}
	if !rep.Sides {
		return map[screen.Side]string{screen.Left: "Left", screen.Right: "Right"}[side]
	}
	throws := side == screen.Side(rep.Hand)
	name := "Other"
	switch {
	case m != nil && m.Limb == screen.Leg && throws:
		name = "Trail leg"
	case m != nil && m.Limb == screen.Leg:
		name = "Lead leg"
	case throws:
		name = "Throwing"
	}
	return name + " (" + string(side) + ")"
}

// throwingSide is the side of the body that grows to the right of the drawing: that of the throwing
// hand, or the right one where sides are only compared.
func throwingSide(rep *score.Report) screen.Side {
	if rep.Sides && rep.Hand == screen.LeftHand {
		return screen.Left
	}
	return screen.Right
}

// sideColor is the colour of a side of the body; sides that are only compared have the ink's.
func sideColor(rep *score.Report, side screen.Side) string {
	switch {
	case !rep.Sides || side != screen.Left && side != screen.Right:
		return Ink
	case side == throwingSide(rep):
		return Throwing
	}
	return Other
}

// niceRange widens [lo, hi] to round numbers and gives the step between them.
func niceRange(lo, hi float64) (from, to, step float64) {
	if !finite(lo) || !finite(hi) || hi < lo {
		return 0, 1, 1
	}
	if hi == lo {
		lo, hi = lo-1, hi+1
	}
	pad := 0.08 * (hi - lo)
	lo, hi = lo-pad, hi+pad
	raw := (hi - lo) / 5
	mag := math.Pow(10, math.Floor(math.Log10(raw)))
	step = 10 * mag
	for _, k := range []float64{1, 2, 5} {
		if raw <= k*mag {
			step = k * mag
			break
		}
	}
	return round(math.Floor(lo/step) * step), round(math.Ceil(hi/step) * step), round(step)
}

// round takes off what the binary form of a decimal number adds.
func round(x float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 12, 64), 64)
	if err != nil {
		return x
	}
	return r
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
