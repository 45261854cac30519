package score

import (
	"fmt"
	"math"
	"strings"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// value is the step from the sides' values to what the rule compares.
func (x *explainer) value() {
	switch x.r.Kind {
	case screen.SidePercent:
		x.percent()
	case screen.SideDifference:
		x.difference()
	default:
		x.oneValue()
	}
}

func (x *explainer) difference() {
	a, b := x.who(x.first), x.who(1-x.first)
	big, small, from, to := x.f.Second, x.f.First, b, a
	if (x.m.Worse == "lower") != (x.sign > 0) {
		big, small, from, to = small, big, to, from
	}
	d := big - small
	text := capital(from) + " less " + to + "."
	if x.f.Kind == "absolute" {
		text += " Which side is worse is not known beforehand, so only the size of the difference counts."
	} else {
		text += " Larger means worse for the " + a + "."
	}
	terms := x.sums(x.first)
	terms = append(terms, given(a, x.own(x.f.First), x.f.First, ""))
	terms = append(terms, x.sums(1-x.first)...)
	terms = append(terms, given(b, x.own(x.f.Second), x.f.Second, ""))
	note := x.own(big) + " − " + bracketed(x.own(small))
	if d < 0 && x.m.Worse != "neither" {
		note += "; below zero: the " + a + " is the better one"
	}
	terms = append(terms, result("Difference", x.own(d), d, note))
	x.step("The difference and its direction", text, terms...)
}

// bracketed sets a negative number in brackets.
func bracketed(s string) string {
	if strings.HasPrefix(s, "−") {
		return "(" + s + ")"
	}
	return s
}

// sums are the parts that a side's value is added up from, if it is.
func (x *explainer) sums(side int) (out []Term) {
	parts := x.w.s.sums[x.mi]
	if len(parts) < 2 {
		return nil
	}
	for _, q := range parts {
		m := &x.w.s.p.Measures[q.m]
		v := x.w.est[q.m].mean[side]
		note := ""
		if q.c != 1 {
			note = "times " + fixed(q.c, 2)
		}
		out = append(out, given(m.Name+", "+x.who(side), valueOn(m, v, false), v, note))
	}
	return out
}

func (x *explainer) percent() {
	low, high := x.first, 1-x.first
	if x.e.x < 0 {
		low, high = high, low
	}
	values := [2]float64{}
	values[x.first], values[1-x.first] = x.f.First, x.f.Second
	share := 100 * math.Exp(-math.Abs(x.e.x))
	d := math.Copysign(100-share, x.sign*x.e.x)
	text := "The " + x.who(low) + " is compared with the " + x.who(high) + " as a share of it, on the scale of logarithms, where an error in percent is the same all over the range. There the difference is the logarithm of the quotient; in words it is by how many percent the worse side is below the better one."
	if d < 0 {
		text += " Below zero it is the " + x.who(low) + " that is the worse one."
	}
	x.step("The difference and its direction", text,
		given(x.who(x.first), x.own(x.f.First), x.f.First, ""), given(x.who(1-x.first), x.own(x.f.Second), x.f.Second, ""),
		given("Worse side as a share of the better", x.inUnit(share), share, x.own(values[low])+" ÷ "+x.own(values[high])),
		given("Logarithm of the quotient, times 100", x.on(100*x.sign*x.e.x), 100*x.sign*x.e.x, "natural logarithm"),
		result("Difference", x.inUnit(d), d, "below the better side"))
}

// oneValue is the value of one side, with the quotient that it may be.
func (x *explainer) oneValue() {
	terms, text := x.sums(x.side), "The value is compared with the limit itself."
	v := x.w.shown(x.mi, x.side)
	if per := x.w.s.pers[x.mi]; per != nil {
		text = "The value is a quotient of what was measured."
		for _, q := range append(onlyOf(x.w.s.sums[x.mi]), per...) {
			m := &x.w.s.p.Measures[q.m]
			at := x.side
			if m.Pooled || !m.Paired {
				at = 0
			}
			y := x.w.est[q.m].mean[at]
			note := ""
			if q.c != 1 {
				note = "times " + fixed(q.c, 2) + ", divisor"
			} else if len(terms) > 0 {
				note = "divisor"
			}
			terms = append(terms, given(strings.TrimSuffix(m.Name+", "+x.w.sideWords(m, at), ", "), valueOn(m, y, false), backFrom(m, y), note))
		}
	}
	label := "Value"
	if x.m.Paired {
		label = x.who(x.side)
	}
	x.step("The value", text, append(terms, result(label, x.own(v), v, ""))...)
}

// onlyOf is a sum of one measure; sums of several are listed elsewhere.
func onlyOf(parts []part) []part {
	if len(parts) > 1 {
		return nil
	}
	return parts[:1:1]
}

// threshold says what the value is compared with, for whom, and where that comes from.
func (x *explainer) threshold() {
	var text string
	switch {
	case x.r.Kind == screen.Floor || x.r.Kind == screen.RatioFloor:
		text = "A deficit is a true value below this. The limit itself is on the clear side."
	case x.r.Kind == screen.Ceiling:
		text = "A deficit is a true value above this. The limit itself is on the clear side."
	case x.f.Kind == "absolute":
		text = "A deficit is a true difference beyond this, to whichever side."
	case x.f.Threshold < 0:
		text = fmt.Sprintf("The %s is expected to have at least %s more; a deficit is less than that.", x.who(x.first), x.limit(-x.f.Threshold))
	default:
		text = "A deficit is a true difference beyond this, to the harm of the " + x.who(x.first) + "."
	}
	terms := []Term{result("Threshold", x.limit(x.f.Threshold), x.f.Threshold, "")}
	if isLog(x.w.s, x.mi) {
		tau := 100 * x.e.c.tau
		note := "natural logarithm of " + x.limit(x.f.Threshold)
		if x.r.Kind == screen.SidePercent {
			note = "−ln(1 − " + x.limit(x.f.Threshold) + ")"
		}
		if x.r.Kind == screen.SidePercent {
			terms = append(terms, given("On the scale of logarithms, times 100", x.on(tau), tau, note))
		}
	}
	if t, ok := x.w.applies(x.i); ok && t >= 0 {
		th := &x.r.Thresholds[t]
		if len(x.r.Thresholds) > 1 {
			text += " This one is for: " + strings.TrimSuffix(th.When.Words(), ".") + "."
		}
		if th.Note != "" {
			text += " " + strings.TrimSuffix(th.Note, ".") + "."
		}
	}
	if x.f.Source != "" {
		text += " Source: " + strings.TrimSuffix(x.f.Source, ".") + "."
	}
	x.step("The threshold", text, terms...)
}

// alone is the probability by the measurement alone.
func (x *explainer) alone() {
	d := x.sign * x.e.x
	margin, se := x.by*(d-x.e.c.tau), x.by*x.e.se
	z := (d - x.e.c.tau) / x.e.se
	text := "If nothing else is known, the true value lies around the measured one as a normal distribution with the standard error as its spread. The probability is the part of it beyond the threshold."
	note := x.marginNote()
	if margin < 0 {
		note += "; below zero: not beyond it"
	}
	terms := []Term{given("Beyond the threshold by", x.on(margin), margin, note)}
	if x.r.Kind == screen.RatioFloor && !isLog(x.w.s, x.mi) {
		terms = append(terms, given("Standard error at the limit", x.on(se), se, "of dividend less limit times divisor, over the divisor"))
	}
	terms = append(terms, given("In standard errors", deviations(z), z, x.on(margin)+" ÷ "+x.on(se)))
	if x.e.c.absolute {
		z2 := (-d - x.e.c.tau) / x.e.se
		terms = append(terms, given("The same to the other side", deviations(z2), z2, "of the threshold with the opposite sign"),
			given("Beyond it to one side", OutOf100(stat.Phi(z)), stat.Phi(z), ""), given("Beyond it to the other side", OutOf100(stat.Phi(z2)), stat.Phi(z2), ""))
	}
	p := x.e.c.probability(x.e.x, x.e.se)
	x.step("By the measurement alone", text, append(terms, probability("By the measurement alone", p, "a true deficit"))...)
}

func (x *explainer) marginNote() string {
	switch {
	case x.r.Kind == screen.Ceiling && !isLog(x.w.s, x.mi):
		return "value less limit"
	case x.twoSided() && !isLog(x.w.s, x.mi):
		return x.on(x.sign*x.e.x) + " − " + bracketed(x.on(x.e.c.tau))
	case x.twoSided():
		return x.on(100*x.sign*x.e.x) + " − " + x.on(100*x.e.c.tau)
	case isLog(x.w.s, x.mi):
		return "logarithm of the quotient of limit and value, times 100"
	}
	return "limit less value"
}

// known is the probability with what is known of such athletes.
func (x *explainer) known() {
	f := &x.f
	const title = "With what is known of such athletes"
	if f.Prior == "none" {
		x.step(title, x.unknown(), probability("With what is known", f.P, "as by the measurement alone"))
		return
	}
	if f.Prior == "squad" {
		x.knownSquad(title)
		return
	}
	se2, w2 := x.e.se*x.e.se, f.PriorSD*f.PriorSD
	weight := w2 / (w2 + se2)
	mu, d := x.sign*f.PriorMean, x.sign*x.e.x
	mean := mu + weight*(d-mu)
	sd := math.Sqrt(weight) * x.e.se
	text := "In such athletes " + x.usual(f.PriorMean) + " on average, and the true differences have a spread of " + x.on(x.by*f.PriorSD) +
		". A measurement with an error is drawn towards that: the more, the larger its error is against the spread." + x.priorSource()
	x.step(title, text,
		given("Mean of such athletes", x.on(x.by*mu), x.by*mu, ""),
		given("Their spread", x.on(x.by*f.PriorSD), x.by*f.PriorSD, "standard deviation of the true difference"),
		given("Share of the measurement", fixed(weight, 2), weight, "spread² ÷ (spread² + standard error²)"),
		result("Most likely true difference", x.on(x.by*mean), x.by*mean, x.on(x.by*mu)+" + "+fixed(weight, 2)+" × "+bracketed(x.on(x.by*(d-mu)))),
		result("Its spread", x.on(x.by*sd), x.by*sd, "standard error × √"+fixed(weight, 2)),
		probability("With what is known", x.e.c.probability(x.sign*mean, sd), "a true deficit"))
}

// knownSquad is the same with what is usual in the athlete's own squad, which is a mixture.
func (x *explainer) knownSquad(title string) {
	f := &x.f
	text := "What is usual was worked out from the athletes of the squad who were screened on " + x.w.out.SquadOn.Time().Format("2 Jan 2006") + ". How far the squad's true differences are spread is not known exactly, so the sum is done for 41 values of the spread, each weighed by how well it fits the squad; what stands here is the weighted mean of the 41 results. In athletes of this squad " +
		x.usual(f.PriorMean) + " on average."
	if g := x.w.usualOf(x.mi); g != nil {
		text += fmt.Sprintf(" %d athletes were counted.", g.N)
	}
	mean, sd, p := x.e.c.weighed(x.e.x, x.e.se)
	x.step(title, text,
		given("Mean of the squad", x.on(x.by*x.sign*f.PriorMean), x.by*x.sign*f.PriorMean, ""),
		given("Spread of the squad", x.on(x.by*f.PriorSD), x.by*f.PriorSD, "with all that is not known of the squad"),
		result("Most likely true difference", x.on(x.by*x.sign*mean), x.by*x.sign*mean, "weighted mean of the 41"),
		result("Its spread", x.on(x.by*sd), x.by*sd, "within the 41 and between them"),
		probability("With what is known", p, "a true deficit; weighted mean of the 41"))
}

// usual writes a mean difference in words.
func (x *explainer) usual(mean float64) string {
	if math.Abs(mean) < 1e-9 {
		return "neither side has more"
	}
	less := (x.m.Worse == "lower") == (mean > 0)
	return "the " + x.who(x.first) + " has " + x.on(x.by*math.Abs(mean)) + map[bool]string{true: " less", false: " more"}[less]
}

func (x *explainer) priorSource() string {
	i := kindOf(x.m, &x.w.subject)
	if i == noPrior {
		return ""
	}
	p := &x.m.Priors[i]
	source := p.Status.Words()
	if c := x.w.s.p.Cite(p.Source); c != "" && p.Status == screen.Seen {
		source = c
	} else if c != "" {
		source = c + " (" + source + ")"
	}
	out := " Source: " + strings.TrimSuffix(source, ".") + "."
	if p.Note != "" {
		out += " " + strings.TrimSuffix(p.Note, ".") + "."
	}
	if p.PaperSE > 0 {
		out += " The paper's own error of measurement was taken off its spread."
	}
	return out
}

// unknown says why nothing is known.
func (x *explainer) unknown() string {
	const then = " So the measurement stands alone."
	switch {
	case !x.twoSided():
		return "For a limit on one side nothing is known of such athletes that could be weighed with the measurement." + then
	case kindOf(x.m, &x.w.subject) == noPrior:
		return "The protocol has no figure for the true difference in such athletes." + then
	case !x.w.d.named:
		return "The protocol's figure is about a throwing side, and here sides are only compared." + then
	}
	return "What is published of such athletes is mostly error of measurement, so nothing is left to weigh." + then
}

// verdict puts both probabilities beside the cut-offs.
func (x *explainer) verdict() {
	cut := &x.w.s.p.Cutoffs
	text := fmt.Sprintf("A deficit needs at least %.0f in 100 by both probabilities, a clear at most %.0f in 100 by both; anything else is unsettled. Here: %s, because %s.",
		100*cut.Deficit, 100*cut.Clear, x.f.Verdict, strings.TrimSuffix(x.f.Reason, "."))
	terms := []Term{given("By the measurement alone", OutOf100(x.f.PMeasured), x.f.PMeasured, x.against(x.f.PMeasured)),
		given("With what is known", OutOf100(x.f.P), x.f.P, x.against(x.f.P)), {Label: "Verdict", Value: string(x.f.Verdict), Result: true}}
	if a := x.f.AtSwitch; a != nil {
		text += " The athlete is within a year of an age at which the threshold changes, so both verdicts are shown."
		terms = append(terms, given(fmt.Sprintf("At the neighbouring threshold, %s", x.limit(a.Threshold)), string(a.Verdict)+", "+OutOf100(a.P), a.P,
			"by the measurement alone "+OutOf100(a.PMeasured)))
	}
	x.step("The verdict", text, terms...)
}

func (x *explainer) against(p float64) string {
	switch cut := &x.w.s.p.Cutoffs; {
	case p >= cut.Deficit:
		return "speaks for a deficit"
	case p <= cut.Clear:
		return "speaks for clear"
	}
	return "does not decide"
}

// target is the last step: what a later visit would have to show.
func (x *explainer) target() {
	f := &x.f
	const title = "What to reach"
	if f.TargetBy != "" {
		x.step(title, "With the error of one visit, an athlete without any difference would be called clear on fewer than half of the visits: "+f.TargetBy+".")
		return
	}
	if f.Target == nil {
		return
	}
	r := x.r
	if r.Kind == screen.AllOf {
		r = &x.w.s.rules[r.conds[0]]
	}
	planned := x.by * r.planned
	z := x.w.s.zc
	text := "The target is the largest difference that one planned visit, both sides measured anew by one examiner, would call clear by the measurement alone: the threshold less " +
		fixed(z, 2) + " standard errors of such a visit."
	if f.Kind == "absolute" {
		text = fmt.Sprintf("The target is the largest difference that one planned visit, both sides measured anew by one examiner, would call clear by the measurement alone: beyond the threshold, to whichever side, in %s.", OutOf100(x.w.s.p.Cutoffs.Clear))
	}
	if x.r.Kind == screen.AllOf {
		text = "That of the first condition. " + text
	}
	terms := []Term{given("Standard error of a planned visit", x.on(planned), planned, ""),
		result("Target", x.inUnit(*f.Target), *f.Target, "")}
	if f.Reading != nil {
		terms = append(terms, result("Reading of the "+x.who(x.side), screen.Amount(strings.Replace(number(*f.Reading, x.m), "-", "−", 1), x.m.Unit), *f.Reading, "that it amounts to, the other side as it is"))
	}
	x.step(title, text, terms...)
}
