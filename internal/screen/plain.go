package screen

import (
	"regexp"
	"slices"
	"strings"
)

// plainPart is a word in braces that a rule's plain sentence leaves open.
var plainPart = regexp.MustCompile(`\{[^{}]*\}`)

// PlainParts are what the plain sentence of a rule must leave open, in braces, and what it may: side
// and other ("throwing (right)", "left"), amount (the number that the rule looks at, with its unit) and
// error (its give or take). A rule of two conditions has an amount and an error for each.
func (r *Rule) PlainParts(paired bool) (must, may []string) {
	must = []string{"{amount}", "{error}"}
	if r.Kind == AllOf {
		must = []string{"{amount1}", "{error1}", "{amount2}", "{error2}"}
	}
	if paired {
		must = append(must, "{side}")
	}
	if r.Kind == SideDifference || r.Kind == SidePercent || r.Kind == AllOf {
		may = append(may, "{other}")
	}
	return must, may
}

// plain checks a rule's sentence for the athlete, so that none is printed with a hole in it.
func (v *validator) plain(r *Rule, bad badFunc) {
	if r.Plain == "" {
		return
	}
	if r.Kind == RatingRule || r.Kind == ChecklistRule || r.Kind == SymptomRule {
		bad("plain", "leave it out", "a %s rule has no number to say", r.Kind)
		return
	}
	m := v.p.Measure(r.Measure)
	must, may := r.PlainParts(m == nil || m.Paired)
	have := plainPart.FindAllString(r.Plain, -1)
	for _, part := range must {
		if !slices.Contains(have, part) {
			bad("plain", "name "+strings.Join(must, ", "), "the sentence does not name %s", part)
		}
	}
	for _, part := range have {
		if !slices.Contains(must, part) && !slices.Contains(may, part) {
			bad("plain", "one of "+strings.Join(append(must, may...), ", "), "the sentence names the unknown part %s", part)
		}
	}
	if strings.ContainsAny(plainPart.ReplaceAllString(r.Plain, ""), "{}") {
		bad("plain", "write each part as {amount}", "a brace stands alone")
	}
}
