package web

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// day writes a date as 10 Feb 2026; as it is if it is none.
func day(d screen.Date) string {
	if !d.Valid() {
		return string(d)
	}
	return d.Time().Format("2 Jan 2006")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// count writes "1 athlete", "3 athletes".
func count(n int, one, many string) string { return strconv.Itoa(n) + " " + plural(n, one, many) }

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

func lowerFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// verdictWords is a verdict as it is said.
func verdictWords(v score.Verdict) string {
	if v == score.Unsettled {
		return "unsettled: measure again"
	}
	return string(v)
}

func kindWords(k screen.Kind) string {
	switch k {
	case screen.InSeason:
		return "in season"
	case screen.Rehab:
		return "rehab visit"
	}
	return string(k)
}

func handWords(h screen.Hand) string {
	switch h {
	case screen.BothHands:
		return "throws with both hands"
	case "":
		return "throwing hand not known"
	}
	return "throws with the " + string(h) + " hand"
}

// sideWords is a side by its part in throwing and by left and right: "throwing (left)".
func sideWords(hand screen.Hand, named bool, m *screen.Measure, side screen.Side) string {
	if side != screen.Left && side != screen.Right {
		return "no side"
	}
	if !named {
		return string(side)
	}
	throws := side == screen.Side(hand)
	name := "other"
	switch {
	case m != nil && m.Limb == screen.Leg && throws:
		name = "trail leg"
	case m != nil && m.Limb == screen.Leg:
		name = "lead leg"
	case throws:
		name = "throwing"
	}
	return name + " (" + string(side) + ")"
}

// withUnit writes a value with its unit: 14°, 3.2 cm.
func withUnit(value, unit string) string {
	value = strings.Replace(value, "-", "−", 1)
	switch u := screen.UnitWords(unit); u {
	case "":
		return value
	case "°":
		return value + u
	default:
		return value + "\u00a0" + u
	}
}

// plusMinus writes a value with its error: 14° ± 6°.
func plusMinus(x, se float64, m *screen.Measure, unit string) string {
	return withUnit(score.Number(x, m), unit) + " ± " + withUnit(score.Number(1.96*se, m), unit)
}

// whenWords says whom a figure is for; "everyone" without a condition.
func whenWords(w *screen.When) string { return w.Words() }
