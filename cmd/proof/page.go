package main

import (
	"fmt"
	"strings"

	"evenhand/internal/proof"
	"evenhand/internal/screen"
)

// page is the whole document.
func page(p *screen.Protocol, r *proof.Results) string {
	return strings.Join([]string{
		fmt.Sprintf("# Does the arithmetic hold?\n\nMade by `make proof`, by simulation through the program's own code, with the protocol %s.\n", p.NameAndVersion()),
		plainWords(r), simulated(), calibrationSection(r), verdictSection(r), thresholdSection(r), squadSection(r), wrongSection(r),
		settleSection(r), unchangedSection(r), metSection(r.Met), trendSection(r), claimsSection(r),
	}, "\n")
}

// totals are the spans over the rules on one difference that the summary speaks of.
type totals struct {
	falseDeficits, missed, plain, unsettled, far span
}

// fewest is how many deficits, clears or athletes far beyond a rule needs for its share to be quoted.
const fewest = 500

func totalsOf(list []*proof.Outcome) totals {
	var t totals
	for _, o := range list {
		t.falseDeficits.see(o.FalseDeficits, o.Deficits, fewest)
		t.missed.see(o.MissedClears, o.Clears, fewest)
		t.plain.see(o.FalseCalled+o.MissedPlain, o.N, fewest)
		t.unsettled.see(o.Unsettled, o.N, fewest)
		t.far.see(o.FarClear, o.Far, fewest)
	}
	return t
}

func plainWords(r *proof.Results) string {
	t := totalsOf(single(r))
	var mute []string
	for _, o := range single(r) {
		if o.Unsettled > o.N*95/100 {
			mute = append(mute, strings.ToLower(short(&o.Rule)))
		}
	}
	falses := totalsOf(youngSingle(r.Wrong[1])).falseDeficits
	return fmt.Sprintf(`## In plain words
We made up athletes whose true side differences we knew, let the program score readings of them as it scores any others, and compared what it said with what was true. **A probability means what it says:** of findings with "80 in 100", about 80 of 100 were true (never off by more than %.3f in any tenth). Of the deficits it called, %s were none; of those it called clear, %s had one. Asking only whether the difference is beyond the threshold was wrong in %s of athletes. The price is to be left without an answer: %s of findings, by measure, are unsettled. Some measures settle next to nothing at their published error (%s).

All this holds as far as the assumptions do: that measuring is as inexact as the protocol says, and that athletes are spread as it says (most of these spreads are assumed, none is from your squad until you close a day). Where measuring is one and a half times as inexact as the protocol says, it does not hold: then %s of the deficits are none, by measure (section 5). Your own retest study is the remedy. What else does not hold stands in section 10. Nothing here says that a threshold foretells an injury; no simulation can.

No real athlete is in this document.
`, worstVerdict(r.Young), t.falseDeficits.String(), t.missed.String(), t.plain.String(), t.unsettled.String(), strings.Join(mute, ", "), falses.String())
}

// worstVerdict is the largest distance between said and came in any rule.
func worstVerdict(v *proof.Verdicts) float64 {
	most := 0.0
	for i := range v.Outcomes {
		off, _ := v.Outcomes[i].P.Worst(1000)
		most = max(most, off)
	}
	return most
}

func simulated() string {
	return fmt.Sprintf(`## What was simulated
- **Truth:** for each measure of which the protocol knows the usual side difference, mean and spread, a true difference from that normal distribution; rotations of the shoulder correlated as their arc asks for. The arc has a prior of its own and is looked at with a truth of its own.
- **Readings:** the planned trials of both sides by one examiner, with the protocol's errors: trial to trial, placing, day, examiner. They are not rounded (rounding is tried in section 5).
- **Scoring:** the program's own, on whole records of throwers of %d and %d years, half of them left-handed.
- **Draws:** %s athletes for each rule in sections 1 to 3, others as stated. Every random number follows from a seed (%d for verdicts, %d at the threshold, %d wrong assumptions, %d squads, %d outliers, %d measuring again, %d nothing changed, %d and %d trends, %d repeated looks), on any number of cores. The tests assert sections 1 and 3 with these very draws, the rest with fewer.
- **τ** is the threshold, **SE** the standard error of a side difference at a planned visit, **P** the probability that is shown, with all that is known of such athletes.
`, proof.Young, proof.Grown, many(proof.ForVerdicts.Draws), proof.ForVerdicts.Seed, proof.ForThreshold.Seed, proof.ForWrong.Seed, proof.ForSquads.Seed,
		proof.ForOutlier.Seed, proof.ForSettled.Seed, proof.ForUnchanged.Seed, proof.ForTrend.Seed, proof.ForGrid.Seed, proof.ForMet.Seed)
}

func calibrationSection(r *proof.Results) string {
	var rows []string
	for _, v := range []*proof.Verdicts{r.Young, r.Grown} {
		for i := range v.Outcomes {
			o := &v.Outcomes[i]
			if v == r.Grown && label(&o.Rule) == o.Name {
				continue
			}
			rows = append(rows, row(label(&o.Rule), many(o.N), percent(o.Broken, o.N), worst(&o.P)))
		}
		rows = append(rows, row(fmt.Sprintf("Link: %s, %d years", v.Link, v.Age), many(v.PLink.N()), "", worst(&v.PLink)))
	}
	var sums []string
	most := 0.0
	for _, v := range []*proof.Verdicts{r.Young, r.Grown} {
		off, _ := v.PLink.Worst(1000)
		most = max(most, off, worstVerdict(v))
	}
	for _, v := range []*proof.Verdicts{r.Young, r.Grown} {
		for i := range v.JointSum {
			sums = append(sums, fmt.Sprintf("%s at %d years", worst(&v.JointSum[i].P), v.Age))
		}
	}
	return `## 1. Does a probability mean what it says?
![What was said against what came true, a panel for each rule](proof-calibration.svg)

*Each mark is a tenth of the probabilities: what was said on average, and the share that was true. Grey: within 0.03. Filled: 1,000 findings or more; open: 100 or more.*

` + table("Rule | findings | truly beyond, % | largest distance (tenths)", rows) + fmt.Sprintf(`
Tenths with 1,000 findings or more; the largest distance of all is %.3f. One known inconsistency is not hidden by this: the total arc's own prior has another mean than its two rotations add up to. Where the truth is that of the rotations, the arc's own rule, which is shown and not counted, is off by %s.
`, most, strings.Join(sums, " and "))
}

func verdictSection(r *proof.Results) string {
	var rows []string
	for _, o := range single(r) {
		rows = append(rows, row(label(&o.Rule), num(1, o.Tau)+" "+o.Unit, num(1, o.SE), percent(o.Deficits, o.N), percent(o.FalseDeficits, o.Deficits),
			percent(o.Clears, o.N), percent(o.MissedClears, o.Clears), percent(o.Unsettled, o.N),
			percent(o.FalseCalled+o.MissedPlain, o.N), percent(o.FalseCalled, o.Called), percent(o.MissedPlain, o.N-o.Called), percent(o.ClearByPrior, o.Broken)))
	}
	for _, v := range []*proof.Verdicts{r.Young, r.Grown} {
		for i := range v.Outcomes {
			if o := &v.Outcomes[i]; o.Both() {
				rows = append(rows, row(label(&o.Rule), "", "", percent(o.Deficits, o.N), percent(o.FalseDeficits, o.Deficits),
					percent(o.Clears, o.N), percent(o.MissedClears, o.Clears), percent(o.Unsettled, o.N), "", "", "", percent(o.ClearByPrior, o.Broken)))
			}
		}
	}
	return `## 2. Verdicts, beside the plain comparison
![Wrong verdicts, wrong comparisons and unsettled findings, a row for each rule](proof-verdicts.svg)

` + table("Rule | τ | SE | deficit, % | of these false | clear, % | of these missed | unsettled, % | D > τ wrong, % | of its deficits false | of its clears missed | clear by P alone", rows) + `
"D > τ" calls everyone a deficit whose measured difference is beyond the threshold, on the same draws. The last column is why a verdict asks the measurement alone as well: of athletes truly beyond the threshold, so many of 100 would be called clear if only P decided, and the worse a measure is, the more.
`
}

func thresholdSection(r *proof.Results) string {
	var rows []string
	for i := range r.At {
		a := &r.At[i]
		rows = append(rows, row(label(&a.Rule), many(a.N), num(2, a.SE), percent(a.ByMeasured, a.N), percent(a.Deficits, a.N), percent(a.Called, a.N)))
	}
	return `## 3. Exactly at the threshold
An athlete whose true difference is the threshold is on its clear side. The measurement alone calls a deficit in 20 of 100 of them, as it should (a little more for absolute rules whose error is as large as their threshold, where the far side adds something); a verdict, which also asks what is usual, in fewer. The plain comparison calls half of them.

` + table("Rule | findings | SE | by the measurement alone, % | deficit, % | D > τ, %", rows)
}

func squadSection(r *proof.Results) string {
	var rows []string
	for k, list := range r.Squads {
		for i := range list {
			s := &list[i]
			rows = append(rows, row(fmt.Sprintf("%d: %s", proof.SquadSizes[k], s.Name), many(s.Squads), many(s.Counted.N()), worst(&s.Counted), many(s.Others.N()), worst(&s.Others), worst(&s.Exact), worst(&s.Protocol)))
		}
	}
	counted, others, exact := squadDistances(r)
	words := "The first is within 0.03; the second as near as so few athletes, of whom those of one squad share its mean, can show: it is what the exact posterior of a further athlete, worked out here apart, has on the same draws."
	if others > 0.045 {
		words = "**For the latter the claim of 0.03 does not hold:** what their own reading says of the squad's mean and spread is left out, which matters most in small squads and makes their P too near to what is usual. The exact posterior of a further athlete, worked out here from the same figures, is off by no more than chance makes it (these are fewer athletes, and those of one squad share its mean)."
	}
	return fmt.Sprintf(`## 4. With the squad's own figures
Squads whose mean and spread differ from the protocol's, as the model supposes squads to differ: the mean by one of the protocol's standard deviations, the spread by a factor of about 1.6 either way. Largest distance for athletes counted in the squad's figures: %.3f; for those scored by them and not counted (in pain, or just back): %.3f. %s Exact: at most %.3f. By the protocol's prior alone (last column) the counted athletes' probabilities would be far off.

`, counted, others, words, exact) + table("Squad of … and rule | squads | counted | largest distance (tenths) | not counted | largest distance (tenths) | exact (tenths) | by the protocol's prior", rows) + outlierTable(r)
}

// squadDistances are the largest of athletes counted, of those who are not, and of these by the exact
// posterior.
func squadDistances(r *proof.Results) (counted, others, exact float64) {
	return worstOf(r, func(s *proof.Squads) *proof.Calibration { return &s.Counted }),
		worstOf(r, func(s *proof.Squads) *proof.Calibration { return &s.Others }),
		worstOf(r, func(s *proof.Squads) *proof.Calibration { return &s.Exact })
}

func worstOf(r *proof.Results, of func(*proof.Squads) *proof.Calibration) float64 {
	most := 0.0
	for _, list := range r.Squads {
		for i := range list {
			off, _ := of(&list[i]).Worst(1000)
			most = max(most, off)
		}
	}
	return most
}

func outlierTable(r *proof.Results) string {
	var rows []string
	for _, list := range r.Outliers {
		for i := range list {
			o := &list[i]
			rows = append(rows, row(fmt.Sprintf("τ + %g SE: %s", o.Beyond, label(&o.Rule)), many(o.N), percent(o.Deficit, o.N), percent(o.N-o.Deficit-o.Clear, o.N), percent(o.Clear, o.N), percent(o.ClearBySquad, o.N), percent(o.OthersDeficits, o.OthersSeen)))
		}
	}
	return `
**One athlete with a true deficit in a squad of 20 that has none** (the others spread by half of what the protocol says): is that one drawn into the squad? A verdict of clear stays below 5 in 100, because the measurement alone must agree. Often the verdict is unsettled, with the advice to measure again.

` + table("The one, and rule | squads | deficit, % | unsettled, % | clear, % | clear by P alone, % | others called a deficit, %", rows)
}
