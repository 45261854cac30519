package score

import (
	"math"

	"evenhand/internal/screen"
)

// noted lists ratings, checklist items and symptoms. They carry no probability.
func (w *work) noted() {
	for i := range w.s.rules {
		if w.s.rules[i].Kind == screen.RatingRule {
			w.rating(i)
		}
	}
	w.checklist()
	for i := range w.rec.Symptoms {
		x := &w.rec.Symptoms[i]
		def := w.s.p.Symptom(x.Symptom)
		if x.Withdrawn != "" || def == nil {
			continue
		}
		if def.Referral {
			w.out.Referral = append(w.out.Referral, def.ID)
		}
		rule := w.ruleAbout(screen.SymptomRule, def.ID)
		w.out.Noted = append(w.out.Noted, Noted{Kind: "symptom", ID: def.ID, Name: def.Name,
			Side: string(x.Side), Value: "noted", Rule: rule, Flagged: def.Referral || rule != ""})
	}
}

// ruleAbout is the rule of that kind about a checklist item or symptom, "" if none applies.
func (w *work) ruleAbout(kind screen.RuleKind, id string) string {
	for i := range w.s.rules {
		if r := &w.s.rules[i]; r.Kind == kind && r.About == id && r.When.Holds(&w.subject) {
			return r.ID
		}
	}
	return ""
}

// rating notes an ordered category on each side that the rule names. Several readings of one side by
// different examiners are not averaged: the highest is noted.
func (w *work) rating(i int) {
	r := &w.s.rules[i]
	t, ok := w.applies(i)
	m := &w.s.p.Measures[r.m]
	if !ok {
		return
	}
	var buf [2]int
	for _, side := range w.sidesOf(&buf, r, m) {
		v := math.Inf(-1)
		for k := range w.rec.Readings {
			x := &w.rec.Readings[k]
			if x.Measure == r.Measure && x.Stands() && sideIndex(m, x.Side) == side {
				for _, trial := range x.Trials {
					v = max(v, trial)
				}
			}
		}
		k := int(v)
		if v < 0 || k >= len(m.Categories) {
			continue
		}
		name, _ := w.sideName(m, side)
		w.out.Noted = append(w.out.Noted, Noted{Kind: "rating", ID: m.ID, Name: m.Name, Link: r.Link,
			Side: string(name), Value: m.Categories[k], Rule: r.ID, Flagged: v >= r.Thresholds[t].Value})
	}
}

// checklist notes the last answer to each item.
func (w *work) checklist() {
	for i := range w.s.p.Checklist {
		item := &w.s.p.Checklist[i]
		var last *screen.ChecklistAnswer
		for k := range w.rec.Checklist {
			if w.rec.Checklist[k].Item == item.ID {
				last = &w.rec.Checklist[k]
			}
		}
		if last != nil {
			w.out.Noted = append(w.out.Noted, Noted{Kind: "checklist", ID: item.ID, Name: item.Name,
				Link: item.Link, Value: string(last.Answer), Rule: w.ruleAbout(screen.ChecklistRule, item.ID), Flagged: last.Answer == screen.NotMet})
		}
	}
}

// What a score takes for granted.
const (
	noteUnnamed  = "no examiner is named: all readings of a measure are taken as read by one"
	noteCompared = "both arms throw, or none: sides are only compared, and no rule expects one of them to be worse"
	noteSquad    = "what is usual in the squad was worked out by another version of the protocol: the protocol's own prior is used; work it out again"
	noteThrew    = "the athlete threw in the 48 hours before the screen: shoulder motion may be reduced for that reason alone"
)

func (w *work) notes(squad *SquadPrior) {
	if squad != nil && squad.Hash != w.s.p.Hash {
		w.out.Notes = append(w.out.Notes, noteSquad)
	}
	for i := range w.est {
		if w.est[i].unnamed {
			w.out.Notes = append(w.out.Notes, noteUnnamed)
			break
		}
	}
	if !w.d.named {
		w.out.Notes = append(w.out.Notes, noteCompared)
	}
	if t := w.rec.Screen.ThrewIn48h; t != nil && *t {
		w.out.Notes = append(w.out.Notes, noteThrew)
	}
}
