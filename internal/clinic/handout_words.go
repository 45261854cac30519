package clinic

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func (w *plainWords) deficit(f *score.Finding) HandoutDeficit {
	r := w.p.Rule(f.Rule)
	out := HandoutDeficit{Say: w.say(f, r), Limit: w.limit(f), Sure: sureWords(f.P)}
	if r.OnDeficit != "" {
		out.Then = raised(r.OnDeficit) + "."
	}
	return out
}

// sureWords says a probability of a deficit of at least the protocol's cut-off.
func sureWords(p float64) string {
	words := "We think so"
	switch {
	case p >= 0.95:
		words = "We are very sure"
	case p >= 0.8:
		words = "We are quite sure"
	}
	return words + " (" + score.OutOf100(p) + ")."
}

// say fills the rule's plain sentence. A rule without one, or a finding that the sentence does not fit
// (a threshold below zero asks for a gain, which no sentence of a loss can say), goes by its name.
func (w *plainWords) say(f *score.Finding, r *screen.Rule) string {
	parts := []*score.Finding{f}
	if f.RuleKind == screen.AllOf {
		parts = w.parts(f)
	}
	side, other, ok := w.sides(parts, r)
	amount := make([]string, 0, 2*len(parts))
	for _, q := range parts {
		a, e := w.amount(q)
		amount = append(amount, a, e)
		ok = ok && (q.Threshold >= 0 || !comparesSides(q.RuleKind))
	}
	if r.Plain == "" || !ok {
		if f.RuleKind == screen.AllOf {
			return f.Name + "."
		}
		return fmt.Sprintf("%s: %s (give or take %s).", f.Name, amount[0], amount[1])
	}
	fill := []string{"{side}", side, "{other}", other, "{amount}", amount[0], "{error}", amount[1], "{amount1}", amount[0], "{error1}", amount[1]}
	if len(parts) > 1 {
		fill = append(fill, "{amount2}", amount[2], "{error2}", amount[3])
	}
	return strings.NewReplacer(fill...).Replace(r.Plain) + "."
}

func comparesSides(k screen.RuleKind) bool {
	return k == screen.SideDifference || k == screen.SidePercent
}

// parts are the findings of the conditions of a finding of two, in the rule's order.
func (w *plainWords) parts(f *score.Finding) (out []*score.Finding) {
	for _, id := range f.Parts {
		for i := range w.rep.Findings {
			if w.rep.Findings[i].Rule == id {
				out = append(out, &w.rep.Findings[i])
				break
			}
		}
	}
	return out
}

// sides says which side a finding is about and what the other one is called: "throwing (right)" and
// "other", "left" and "right". ok is false if its conditions are about different sides or not there.
func (w *plainWords) sides(parts []*score.Finding, r *screen.Rule) (side, other string, ok bool) {
	if len(parts) == 0 || r.Kind == screen.AllOf && len(parts) != 2 {
		return "", "", false
	}
	which := sideOf(parts[0])
	for _, q := range parts {
		if sideOf(q) != which {
			return "", "", false
		}
	}
	m := w.p.Measure(parts[0].Measure)
	if m == nil || m.Paired && which == screen.NoSide {
		return "", "", false
	}
	side, other = string(which), string(which.Other())
	throws := w.rep.Sides && which == screen.Side(w.rep.Hand)
	switch {
	case m.Limb == screen.Arm && throws:
		return "throwing (" + side + ")", "other", true
	case m.Limb == screen.Leg && w.rep.Sides && (r.Side == "lead" || r.Side == "trail"):
		return map[bool]string{true: "back (", false: "front ("}[throws] + side + ")", "other", true
	}
	return side, other, true
}

// sideOf is the side that a finding is about; NoSide if it is about none.
func sideOf(f *score.Finding) screen.Side {
	switch s := cmp.Or(f.Side, screen.Side(f.Worse)); s {
	case screen.Left, screen.Right:
		return s
	}
	return screen.NoSide
}

// amount writes the number that a rule looks at and its give or take, 1.96 standard errors. A ratio is
// said in percent.
func (w *plainWords) amount(f *score.Finding) (amount, give string) {
	m := w.p.Measure(f.Measure)
	x, se := f.Difference, 1.96*f.SE
	if comparesSides(f.RuleKind) {
		x = math.Abs(x)
	}
	if isShare(f) {
		return fmt.Sprintf("%.0f %%", 100*x), fmt.Sprintf("%.0f %%", 100*se)
	}
	return screen.Amount(score.Number(x, m), f.Unit), screen.Amount(score.Number(se, m), f.Unit)
}

func isShare(f *score.Finding) bool { return f.RuleKind == screen.RatioFloor && f.Unit == "1" }

func thresholdWords(f *score.Finding) string {
	if isShare(f) {
		return fmt.Sprintf("%.0f %%", 100*f.Threshold)
	}
	return screen.Amount(score.Number(math.Abs(f.Threshold), nil), f.Unit)
}

// limit says what a deficit is held against.
func (w *plainWords) limit(f *score.Finding) string {
	switch f.RuleKind {
	case screen.AllOf:
		var limits []string
		for _, q := range w.parts(f) {
			limits = append(limits, thresholdWords(q))
		}
		if len(limits) != 2 {
			return ""
		}
		return fmt.Sprintf("Both are more than this screen allows for (%s and %s).", limits[0], limits[1])
	case screen.Floor, screen.RatioFloor:
		return fmt.Sprintf("That is less than the %s this screen looks for.", thresholdWords(f))
	}
	if f.Threshold < 0 {
		return ""
	}
	return fmt.Sprintf("That is more than the %s this screen allows for.", thresholdWords(f))
}

// reasonWords says to an athlete why something was not measured.
func reasonWords(r screen.Reason) string {
	switch r {
	case screen.ReasonPain:
		return "it hurt"
	case screen.ReasonRefused:
		return "left out as you wished"
	case screen.ReasonAbsent:
		return "you were not there at the time"
	case screen.ReasonNoTime:
		return "there was no time"
	}
	return "no reason was noted"
}

const stoppedWords = "stopped because of the sign above"

// regions says region by region what was measured and what was not, and what of it hurt.
func (w *plainWords) regions(cells []screen.Cell, stopped bool) (out []HandoutRegion, hurt []string) {
	sheet := w.sheet(cells)
	for i := range w.p.Links {
		l := &w.p.Links[i]
		region := HandoutRegion{Name: cmp.Or(l.Plain, l.Name)}
		for k := range w.p.Measures {
			m := &w.p.Measures[k]
			if m.Link != l.ID || m.Derived != nil || len(sheet[m.ID]) == 0 {
				continue
			}
			hurt = append(hurt, region.measure(w.measureWords(m.ID), sheet[m.ID], stopped)...)
		}
		region.close()
		if len(region.Measured)+len(region.Missing) > 0 {
			out = append(out, region)
		}
	}
	if r := w.motion(cells, stopped); r != nil {
		out = append(out, *r)
	}
	return out, hurt
}

// sideState is what became of a measure on one side.
type sideState struct {
	side   screen.Side
	taken  bool
	reason screen.Reason // empty: not noted
}

// sheet lists for each measure the sides that were planned or of which something was entered.
func (w *plainWords) sheet(cells []screen.Cell) map[string][]sideState {
	out := map[string][]sideState{}
	at := func(measure string, side screen.Side) *sideState {
		if m := w.p.Measure(measure); m == nil || !m.Paired {
			side = screen.NoSide
		}
		list := out[measure]
		i := slices.IndexFunc(list, func(c sideState) bool { return c.side == side })
		if i < 0 {
			i = len(list)
			out[measure] = append(list, sideState{side: side})
		}
		return &out[measure][i]
	}
	for _, c := range cells {
		if w.p.Measure(c.About) != nil {
			at(c.About, c.Side)
		}
	}
	for i := range w.rec.Readings {
		if r := &w.rec.Readings[i]; r.Stands() {
			at(r.Measure, r.Side).taken = true
		}
	}
	for i := range w.rec.NotDone {
		n := &w.rec.NotDone[i]
		at(n.Measure, n.Side).reason = n.Reason
	}
	return out
}

// measure adds a measure with its sides, and says what of it hurt.
func (r *HandoutRegion) measure(what string, list []sideState, stopped bool) (hurt []string) {
	taken := 0
	for _, c := range list {
		if c.taken {
			taken++
		}
		if c.reason == screen.ReasonPain {
			hurt = append(hurt, what+sideInBrackets(c.side))
		}
	}
	if len(hurt) == len(list) && len(hurt) > 1 {
		hurt = []string{what}
	}
	if taken > 0 {
		r.Measured = append(r.Measured, what)
	}
	for _, c := range list {
		if c.taken {
			continue
		}
		why := reasonWords(c.reason)
		if c.reason == "" && stopped {
			why = stoppedWords
		}
		label := what
		if taken > 0 || !sameReason(list) {
			label += sideInBrackets(c.side)
		}
		r.miss(label, why)
	}
	return hurt
}

func sideInBrackets(s screen.Side) string {
	if s == screen.Left || s == screen.Right {
		return " (" + string(s) + ")"
	}
	return ""
}

func sameReason(list []sideState) bool {
	return !slices.ContainsFunc(list, func(c sideState) bool { return c.reason != list[0].reason })
}

func (r *HandoutRegion) miss(what, why string) {
	i := slices.IndexFunc(r.Missing, func(b HandoutBlank) bool { return b.Why == why })
	if i < 0 {
		i = len(r.Missing)
		r.Missing = append(r.Missing, HandoutBlank{Why: why})
	}
	if b := &r.Missing[i]; !slices.Contains(b.What, what) {
		b.What = append(b.What, what)
	}
}

// close shortens a region of which nothing was measured for one reason.
func (r *HandoutRegion) close() {
	if len(r.Measured) == 0 && len(r.Missing) == 1 {
		r.Missing[0].What = nil
	}
}

// motion is the checklist as a region of its own; nil if it was neither planned nor filled in.
func (w *plainWords) motion(cells []screen.Cell, stopped bool) *HandoutRegion {
	seen, asked := 0, false
	for i := range w.rec.Checklist {
		if a := w.rec.Checklist[i].Answer; a == screen.Met || a == screen.NotMet {
			seen++
		}
	}
	for _, c := range cells {
		asked = asked || w.p.Item(c.About) != nil
	}
	r := &HandoutRegion{Name: "Throwing motion"}
	switch {
	case seen > 0:
		r.Measured = []string{fmt.Sprintf("how you throw, watched step by step (%d of %d steps)", seen, len(w.p.Checklist))}
	case !asked:
		return nil
	case stopped:
		r.Missing = []HandoutBlank{{Why: stoppedWords}}
	default:
		r.Missing = []HandoutBlank{{Why: reasonWords("")}}
	}
	return r
}

func lowered(s string) string { return firstLetter(s, unicode.ToLower) }
func raised(s string) string  { return firstLetter(s, unicode.ToUpper) }

func firstLetter(s string, to func(rune) rune) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(to(r)) + s[n:]
}
