package main

import (
	"fmt"
	"strings"

	"evenhand/internal/proof"
)

// truthWords name what is wrong with the assumptions.
func truthWords(t proof.Truth) string {
	switch {
	case t.Step:
		return "readings rounded to the instrument's step"
	case t.Shift > 0:
		return "true mean half a spread worse than assumed"
	case t.Shift < 0:
		return "true mean half a spread better than assumed"
	}
	return fmt.Sprintf("true errors %g times the assumed ones", t.Errors)
}

func wrongSection(r *proof.Results) string {
	var rows, far []string
	add := func(words string, v *proof.Verdicts, list []*proof.Outcome) {
		t := totalsOf(list)
		off := 0.0
		for _, o := range list {
			d, _ := o.P.Worst(1000)
			off = max(off, d)
		}
		rows = append(rows, row(words, many(v.Draws), fmt.Sprintf("%.3f", off), t.falseDeficits.String(), t.missed.String(), t.unsettled.String(), t.plain.String(), t.far.String()))
		if t.far.hi > 5 {
			far = append(far, fmt.Sprintf("with %s (the true figure is %s, by measure)", words, t.far.String()))
		}
	}
	add("as assumed", r.Young, youngSingle(r.Young))
	for _, v := range r.Wrong {
		add(truthWords(v.Truth), v, youngSingle(v))
	}
	claim := "It holds in all of them."
	if len(far) > 0 {
		claim = "**It does not hold " + strings.Join(far, "; nor ") + ".** It holds in all the others."
	}
	return `## 5. Where the assumptions are wrong
Spans over the rules, at 16 years; rules with fewer than 500 deficits, clears or athletes far beyond are left out of the span concerned.

` + table("Truth | athletes | largest distance | of deficits false | of clears missed | unsettled | D > τ wrong | clear though SE or more beyond", rows) + fmt.Sprintf(`
The claim was: of athletes a standard error or more beyond a threshold, fewer than 5 in 100 are called clear, whatever is wrong. %s Understated errors are the expensive mistake: measure your own with a retest study. Overstated ones, a prior that is off, and rounding to the step cost little.

By rule, what understated errors do:

`, claim) + wrongTable(r)
}

// youngSingle are the rules on one difference.
func youngSingle(v *proof.Verdicts) []*proof.Outcome {
	var out []*proof.Outcome
	for i := range v.Outcomes {
		if !v.Outcomes[i].Both() {
			out = append(out, &v.Outcomes[i])
		}
	}
	return out
}

func wrongTable(r *proof.Results) string {
	var rows []string
	for i, o := range youngSingle(r.Young) {
		a, b := youngSingle(r.Wrong[1])[i], youngSingle(r.Wrong[2])[i]
		rows = append(rows, row(label(&o.Rule), percent(o.FalseDeficits, o.Deficits), percent(a.FalseDeficits, a.Deficits), percent(b.FalseDeficits, b.Deficits),
			percent(o.FarClear, o.Far), percent(a.FarClear, a.Far), percent(b.FarClear, b.Far), many(b.Far)))
	}
	return table("Rule | false deficits, % | × 1.5 | × 2 | clear though SE beyond, % | × 1.5 | × 2 | athletes so far beyond", rows)
}

func settleSection(r *proof.Results) string {
	var rows []string
	for i := range r.Settled {
		s := &r.Settled[i]
		if s.Both() {
			continue // it states no chance
		}
		a, b := all(&s.NewPlacing), all(&s.AnotherDay)
		more := all(&s.MoreTrials)
		rows = append(rows, row(label(&s.Rule), many(s.AloneN), pairOf(more), worst(&s.MoreTrials), pairOf(a), worst(&s.NewPlacing), pairOf(b), worst(&s.AnotherDay), percent(s.Alone, s.AloneN)))
	}
	return `## 6. What would settle it
For each unsettled finding the program states the chance that measuring again settles it. Here it was measured again, and the record scored with the added readings. "Said / came": mean chance stated, and share settled, of 100. Distances: tenths with 1,000 findings or more.

` + table("Rule | unsettled | three more trials: said / came | distance (tenths) | newly placed: said / came | distance (tenths) | another day: said / came | distance (tenths) | another day's screen by itself, % settled", rows) + fmt.Sprintf(`
The stated chance of another day is that of both days taken together. The program scores each day's screen by itself (last column): what the first day said is then in the course and its trend, not in the verdict. The rule of two conditions states no chance: that of its open condition, which it once gave, was off by up to 0.19. Its advice names the condition that is open.

%s unsettled athletes were measured again.
`, many(total(r.Settled)))
}

func total(list []proof.Settled) int {
	n := 0
	for i := range list {
		n += list[i].AloneN
	}
	return n
}

// all is a calibration's tenths together.
func all(c *proof.Calibration) proof.Bin {
	var b proof.Bin
	for i := range c {
		b.N += c[i].N
		b.True += c[i].True
		b.Sum += c[i].Sum
	}
	return b
}

func pairOf(b proof.Bin) string {
	if b.N == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f / %.1f", 100*b.Said(), 100*b.Came())
}

func unchangedSection(r *proof.Results) string {
	var rows []string
	for i := range r.Unchanged {
		u := &r.Unchanged[i]
		d := &u.Deficits
		mean := func(x float64) string {
			if d.N < 100 {
				return "–"
			}
			return num(1, x/float64(d.N))
		}
		few := func(n int) string {
			if d.N < 100 {
				return "–"
			}
			return percent(n, d.N)
		}
		rows = append(rows, row(label(&u.Rule)+", "+u.Unit, percent(u.All.Real, u.All.N), percent(u.All.Raw, u.All.N), many(d.N), few(d.Real), few(d.Raw), few(d.RawBetter), mean(d.RawSum), mean(d.ByItself)))
	}
	return fmt.Sprintf(`## 7. Nothing changed
%s athletes measured twice, on two days, between which nothing changed. "A real change" is said of 5 in 100, by definition of the word, also among those whom the first visit picked out. The raw change of these is an improvement, which is no improvement: it comes by itself after an extreme first reading, and the program says how much.

`, many(proof.ForUnchanged.Draws)) + table("Rule | all: real change, % | raw > MDC95, % | picked by a deficit | real change, % | raw > MDC95, % | of all picked, for the better, % | mean raw change | said to come by itself", rows) +
		"\nDashes: fewer than 100 were picked.\n"
}

func metSection(rules [][]*proof.Met) string {
	titles := []string{"At the threshold all along, the deficit found by chance", "A deficit of τ + 2 SE found, then quite gone", "A deficit of τ + SE all along"}
	out := "## 8. Repeated looks at a target\n" + fmt.Sprintf(`After a deficit was found, %d visits, every two weeks, %s athletes a row. "One look": the measurement alone says clear at any of them. "The rule", which the program uses: the measurement alone at two visits running, or the trend (P ≥ 0.80, from three visits on) at two visits running. Shares of 100 athletes who are called to have met the target at any of the visits. The last columns are other rules, for comparison. The trend at any one visit was the rule at first: it is looked at again at every visit, and says so of about half of those who sit at the threshold.
`, rules[0][0].Visits, many(rules[0][0].N))
	for k, title := range titles {
		var rows []string
		for _, list := range rules {
			m := list[k]
			rows = append(rows, row(m.Name+fmt.Sprintf(", now %s %s", num(1, m.At), m.Unit), percent(m.One, m.N), percent(m.ByRule, m.N), percent(m.AtLast, m.N), percent(m.TwoLooks, m.N), percent(m.Trend, m.N), percent(m.TrendTwice, m.N), percent(m.Trend90, m.N)))
		}
		out += "\n**" + title + "**\n\n" + table("Rule | one look | the rule | by the rule at the last visit | two visits running | trend | trend at two visits running | trend, P ≥ 0.90", rows)
	}
	return out
}
