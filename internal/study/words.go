package study

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"evenhand/internal/screen"
)

// size writes an amount of an error or a difference, which has no sign: 12°, 3.4°, 0.25 cm.
func size(x float64, unit string) string {
	x = math.Abs(x)
	digits := 2
	switch {
	case x >= 9.95:
		digits = 0
	case x >= 0.995:
		digits = 1
	}
	text := fmt.Sprintf("%.*f", digits, x)
	if strings.Trim(text, "0.") == "" {
		text = "0"
	}
	return screen.Amount(text, unit)
}

// moreOrLess writes a difference with its direction. What rounds to nothing is "no more or less".
func (t *table) moreOrLess(x float64, unit string) string {
	text := size(x, unit)
	switch {
	case text == size(0, unit):
		return text
	case x < 0:
		return text + " less"
	}
	return text + " more"
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func lower(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if next, _ := utf8.DecodeRuneInString(s[n:]); n == 0 || unicode.IsUpper(next) {
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// componentNames are the sources as a reader sees them.
var componentNames = [sources]string{
	ofAthlete:  "Athletes and their sides, true",
	ofDay:      "Another day",
	ofPlacing:  "Placed anew",
	ofExaminer: "Another examiner",
	ofTrial:    "From trial to trial",
}

var componentIDs = [sources]string{"athlete", "day", "placing", "examiner", "trial"}

// components lists the sources with what the study alone says, what is published, and both together.
func (t *table) components(o *own, paper, pooled variances, unknown [sources]bool) []Component {
	by := t.perCent()
	out := make([]Component, 0, sources)
	for s := range sources {
		c := Component{ID: componentIDs[s], Name: componentNames[s], DF: o.df[s], Published: by * math.Sqrt(paper[s]),
			Pooled: by * math.Sqrt(pooled[s]), AtZero: o.told[s] && o.zero[s]}
		if o.told[s] {
			sd := by * math.Sqrt(o.v[s])
			c.SD = &sd
		}
		if s == ofAthlete {
			c.Published, c.Pooled, c.DF = 0, 0, 0
		}
		c.Note = t.componentNote(o, s, unknown[s])
		out = append(out, c)
	}
	return out
}

func (t *table) componentNote(o *own, s int, unknown bool) string {
	switch {
	case o.lumped(s):
		var with []string
		for _, x := range o.lump {
			if x != s {
				with = append(with, lower(componentNames[x]))
			}
		}
		return fmt.Sprintf("Not told apart from “%s”: together %s.", strings.Join(with, "” and “"), size(t.perCent()*math.Sqrt(o.lumpV), t.unit()))
	case o.told[s] && o.zero[s]:
		return "At zero: the readings scatter no more than without this source."
	case o.told[s] && unknown && s != ofAthlete:
		return "No published value: the study’s own is taken."
	case o.told[s]:
		return ""
	case s == ofTrial && t.m.Derived != nil:
		return "Part of the placing: a computed value has no trials of its own."
	case s == ofDay:
		return "Nobody was read on another day: this study says nothing of it."
	case s == ofExaminer && len(t.examiners()) == 1:
		return "One examiner read all: this study says nothing of it."
	case s == ofExaminer && unknown:
		return fmt.Sprintf("With fewer than %d examiners it cannot be told, and no figure is published; their means are compared one by one.", FewExaminers)
	case s == ofExaminer:
		return fmt.Sprintf("With fewer than %d examiners it stays as published; their means are compared one by one.", FewExaminers)
	case s == ofAthlete:
		return "One athlete: there is no difference between athletes to tell."
	}
	return "This study cannot tell it."
}

// unit is that of errors and differences.
func (t *table) unit() string {
	if t.log {
		return "%"
	}
	return t.m.Unit
}

// notEnough says why a measure is too little to go by; "" if it is enough.
func notEnough(r repeats, athletes int) string {
	switch {
	case r.all() == 0:
		return "Nobody was read twice: nothing can be said of its error."
	case athletes < FewAthletes:
		return fmt.Sprintf("Only %s read again: the error found is theirs, and is not taken for others. At least %d athletes are needed.", count(athletes, "athlete was", "athletes were"), FewAthletes)
	case r.all() < EnoughRepeats:
		return fmt.Sprintf("%s read again: too few to go by. %d are needed, better %d.", count(r.all(), "side was", "sides were"), EnoughRepeats, GoodRepeats)
	}
	return ""
}

// statement says what a measure's errors mean.
func (m *Measure) statement(t *table, r repeats) string {
	unit := t.unit()
	var s []string
	if m.SEMSame != nil {
		when := "on the same day"
		switch {
		case r.days == r.all():
			when = "on another day"
		case r.days > 0:
			when = "on the same or another day"
		}
		who := "the same examiner reads it again"
		if len(t.twiceBySame()) == 0 {
			who = "apart from how examiners differ, it reads the same when placed anew"
		}
		s = append(s, fmt.Sprintf("%s: %s to within %s %s (95 in 100).", m.Name, who, size(screen.MDC95(*m.SEMSame), unit), when))
	}
	if m.SEMOther != nil {
		s = append(s, fmt.Sprintf("Your helpers read it to within %s of each other.", size(screen.MDC95(*m.SEMOther), unit)))
	}
	if m.DiffSE != nil {
		s = append(s, fmt.Sprintf("Side differences under %s cannot be told from error.", size(1.96**m.DiffSE, unit)))
	}
	return strings.Join(s, " ")
}
