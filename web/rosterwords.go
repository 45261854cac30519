package web

import (
	"strconv"
	"strings"

	"evenhand/internal/clinic"
)

// needs is what the preview asks for, in one line.
func (p *rosterPage) needs() string {
	v := p.Preview
	n := v.Count
	good, faulty := n[clinic.RosterNew]+n[clinic.RosterJoins], n[clinic.RosterFaulty]
	switch {
	case v.Changed:
		return "Something was changed after this was shown, here or on record. Nothing was added yet: look again, then confirm."
	case len(v.Faults) > 0:
		return "Nothing is added yet: say what the columns mean."
	case v.Dates.Ask:
		return "Nothing is added yet: say which comes first in the dates, the day or the month."
	case n[clinic.RosterAsk] > 0:
		return "Nothing is added yet: say whether " + count(n[clinic.RosterAsk], "row is", "rows are") + " about another person."
	case good == 0 && faulty == 0 && len(v.Lines) > 0:
		return "Nothing new: everybody in it is in the team already."
	case good == 0 && faulty == 0:
		return "There is nobody in it."
	case good == 0:
		return "Nobody can be added: " + count(faulty, "row is faulty.", "rows are faulty.")
	case faulty > 0:
		return "Nothing is added yet. Right: " + count(good, "athlete", "athletes") + ". Faulty: " + count(faulty, "row", "rows") + "."
	}
	return "Nothing is added yet: look through it, then confirm."
}

func addWords(added, joining int) string {
	var parts []string
	if added > 0 {
		parts = append(parts, "Add "+count(added, "athlete", "athletes"))
	}
	if joining > 0 {
		parts = append(parts, "let "+strconv.Itoa(joining)+" on record join the team")
	}
	return upperFirst(strings.Join(parts, ", "))
}

func joined(n int) string {
	if n == 0 {
		return ""
	}
	return count(n, "athlete who was", "athletes who were") + " on record joined the team."
}

// Outcome says what becomes of a row.
func (p *rosterPage) Outcome(l clinic.RosterLine) string {
	words := map[clinic.RosterOutcome]string{clinic.RosterKnown: "in the team already", clinic.RosterJoins: "on record, joins the team",
		clinic.RosterTwice: "twice in the file, taken once"}[l.Outcome]
	return words
}

// Whom says whom a row was matched with, and by what.
func (p *rosterPage) Whom(l clinic.RosterLine) string {
	if l.With == nil {
		return upperFirst(l.Note)
	}
	a := &l.With.Athlete
	words := a.Name + ", born " + day(a.Born)
	if a.ExternalID != "" {
		words += ", number " + a.ExternalID
	}
	if l.With.ID == "" {
		words = "row " + strconv.Itoa(l.With.Row) + ": " + words
	}
	if l.With.By != "" && !l.Asked {
		words += " (same " + l.With.By + ")"
	}
	if l.Note != "" {
		words += ": " + l.Note
	}
	return upperFirst(words)
}

// Hands says with which hand the athlete of a row throws.
func (p *rosterPage) Hands(l clinic.RosterLine) string {
	var parts []string
	for _, h := range l.Athlete.Hands {
		words := string(h.Hand)
		if h.From != "" {
			words += " from " + day(h.From)
		}
		parts = append(parts, words)
	}
	return strings.Join(parts, ", ")
}

// Rest is what else a row says of the athlete.
func (p *rosterPage) Rest(l clinic.RosterLine) string {
	a := &l.Athlete
	parts := append([]string{string(a.Level)}, a.Positions...)
	if a.HeightCM > 0 {
		parts = append(parts, plainNumber(a.HeightCM)+" cm")
	}
	if a.MassKG > 0 {
		parts = append(parts, plainNumber(a.MassKG)+" kg")
	}
	if a.ExternalID != "" {
		parts = append(parts, "number "+a.ExternalID)
	}
	return strings.Join(parts, ", ")
}

// N counts the rows of an outcome.
func (p *rosterPage) N(outcome string) int { return p.Preview.Count[clinic.RosterOutcome(outcome)] }
