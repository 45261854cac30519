package main

import (
	"fmt"

	"evenhand/internal/proof"
)

func trendRows(r *proof.Results) []string {
	var rows []string
	for _, t := range r.Trends {
		rows = append(rows, row(fmt.Sprintf("every %s, %d visits: %s", weeks(t.Every), t.Visits, pathWords(&t.Path)), percent(t.Level, t.N), percent(t.Band, t.BandN), percent(t.Slope, t.SlopeN),
			num(1, t.Width/float64(t.N)), num(1, t.SlopeWidth/float64(t.SlopeN)), percent(t.Better, t.SlopeN), percent(t.Worse, t.SlopeN)))
	}
	return rows
}

func trendSection(r *proof.Results) string {
	var ahead []string
	for _, t := range r.Trends {
		ahead = append(ahead, row(fmt.Sprintf("every %s: %s", weeks(t.Every), pathWords(&t.Path)), worst(&t.Now), worst(&t.In2), worst(&t.In4), pairOf(all(&t.In4))))
	}
	first := r.Trends[0]
	return fmt.Sprintf(`## 9. Trends
Athletes picked by a deficit of internal rotation (SE %s°), %s a row, followed through the program's course. Shares of 100 whose truth lies within the 90 %% interval: of the level now, of the level at all visits as drawn, of the slope now. The trend takes for known that a pace fades within %g weeks and is about %g° a week.

`, num(1, first.SE), many(first.N), first.Lambda, first.Pace) +
		table("Visits, and truth | level | band | slope | width of level, ° | width of slope, ° a week | improving, % | worsening, %", trendRows(r)) + `
Chance that the true difference is at the threshold or better, now and ahead: largest distance between said and came. Where the truth is constant, goes its way steadily or levels off, the chances ahead are too near to even: the model expects more wandering than there is. They are calibrated only for truths that wander as it supposes.

` + table("Visits, and truth | now (tenths) | in 2 weeks (tenths) | in 4 weeks (tenths) | in 4 weeks, said / came", ahead) + gridWords(r)
}

func weeks(n int) string {
	if n == 1 {
		return "week"
	}
	return fmt.Sprintf("%d weeks", n)
}

func pathWords(p *proof.Path) string {
	switch {
	case p.Wanders:
		return p.Name
	case p.Fade > 0:
		return fmt.Sprintf("%s, %g° in all, a third of it left after %g weeks", p.Name, -p.Drop, p.Fade)
	case p.Slope != 0:
		return fmt.Sprintf("%s, %g° a week better", p.Name, -p.Slope)
	}
	return p.Name
}

// cell of the grid, summed up over rhythms and truths.
type cell struct {
	lambda, pace  float64
	level, slope  float64 // the smallest coverage
	width, slopes float64 // mean widths
	n             float64
	linear, fast  proof.Bin // called improving
	constant      proof.Bin // called improving or worsening
	worstAt       string
}

func cells(r *proof.Results) []*cell {
	var out []*cell
	for _, l := range proof.GridLambda {
		for _, s := range proof.GridPace {
			c := &cell{lambda: l, pace: s, level: 100, slope: 100}
			for _, t := range r.Grid {
				if t.Lambda == l && t.Pace == s {
					c.see(t)
				}
			}
			out = append(out, c)
		}
	}
	return out
}

func (c *cell) see(t *proof.TrendResult) {
	level := 100 * min(float64(t.Level)/float64(t.N), float64(t.Band)/float64(t.BandN))
	if level < c.level {
		c.level, c.worstAt = level, fmt.Sprintf("%s, every %s", t.Path.Name, weeks(t.Every))
	}
	c.slope = min(c.slope, 100*float64(t.Slope)/float64(t.SlopeN))
	c.width += t.Width / float64(t.N)
	c.slopes += t.SlopeWidth / float64(t.SlopeN)
	c.n++
	called := proof.Bin{N: t.SlopeN, True: t.Better}
	add := func(b *proof.Bin, n int) { b.N, b.True = b.N+called.N, b.True+n }
	switch t.Path.Name {
	case "linear":
		add(&c.linear, t.Better)
	case "fast linear":
		add(&c.fast, t.Better)
	case "constant":
		add(&c.constant, t.Better+t.Worse)
	}
}

func gridWords(r *proof.Results) string {
	var rows []string
	best := -1.0
	var choice, shipped *cell
	for _, c := range cells(r) {
		ok := ""
		if c.level >= 86 && c.slope >= 85 {
			ok = "yes"
			if got := c.fast.Came() + c.linear.Came(); got > best {
				best, choice = got, c
			}
		}
		if c.lambda == r.Trends[0].Lambda && c.pace == r.Trends[0].Pace {
			shipped = c
			ok += " (shipped)"
		}
		rows = append(rows, row(fmt.Sprintf("%g weeks, %g°", c.lambda, c.pace), num(1, c.level), c.worstAt, num(1, c.slope), num(1, c.width/c.n), num(1, c.slopes/c.n),
			percent(c.linear.True, c.linear.N), percent(c.fast.True, c.fast.N), percent(c.constant.True, c.constant.N), ok))
	}
	words := ""
	switch {
	case choice == nil || shipped == nil:
	case choice == shipped:
		words = fmt.Sprintf(`
Of the choices that keep 86 of 100 levels and 85 of 100 slopes in all of these truths, %g weeks and %g° a week, the shipped choice, sees improvement most often: a steady one in %s %% and a fast one in %s %%; the level's interval is %s° wide, the slope's %s° a week.
`, choice.lambda, choice.pace, percent(choice.linear.True, choice.linear.N), percent(choice.fast.True, choice.fast.N), num(1, choice.width/choice.n), num(1, choice.slopes/choice.n))
	default:
		words = fmt.Sprintf(`
Of the choices that keep 86 of 100 levels and 85 of 100 slopes in all of these truths, %g weeks and %g° a week sees improvement most often: a steady one in %s %% and a fast one in %s %%, against %s and %s %% with the shipped %g weeks and %g°; the level's interval is %s° wide against %s°, the slope's %s against %s° a week.
`, choice.lambda, choice.pace, percent(choice.linear.True, choice.linear.N), percent(choice.fast.True, choice.fast.N), percent(shipped.linear.True, shipped.linear.N), percent(shipped.fast.True, shipped.fast.N),
			shipped.lambda, shipped.pace, num(1, choice.width/choice.n), num(1, shipped.width/shipped.n), num(1, choice.slopes/choice.n), num(1, shipped.slopes/shipped.n))
	}
	return fmt.Sprintf(`
### What the trend takes for known
![How often the level's interval holds the truth, and how often improvement is called, by fading and pace](proof-trend.svg)

*Every two weeks, six visits. Marks: weeks in which a pace fades.*

Over all three rhythms and the four truths that are not the model's own, %s athletes each:

`, many(r.Grid[0].N)) + table("Fading, and pace a week | smallest level or band, % | where | smallest slope, % | width of level, ° | width of slope | improving said of linear, % | of fast linear, % | of constant, either way, % | keeps 86 and 85", rows) + words
}

// claim is a figure that was stated before this simulation, and what was found.
type claim struct {
	what, stated, found string
	holds               string
}

func verdict(holds bool) string {
	if holds {
		return "holds"
	}
	return "**does not hold**"
}

// butForChance is the verdict on a distance that is beyond 0.03 only as far as the exact answer is, on
// the same draws.
func butForChance(found, exact float64) string {
	if found > 0.03 && found <= exact+0.002 {
		return "holds, but for chance"
	}
	return verdict(found <= 0.03)
}

func claimsSection(r *proof.Results) string {
	list := append(verdictClaims(r), otherClaims(r)...)
	var rows []string
	for _, c := range list {
		rows = append(rows, row(c.what, c.stated, c.found, c.holds))
	}
	return `## 10. Claims, one by one
Figures that were stated beforehand, from a simulation of a first version with other errors and assumed spreads. Where one does not hold, the figure found here is the one that counts.

` + table("Claim | stated | found | ", rows)
}

// inside reports whether a span lies within bounds, to the whole percent.
func inside(s *span, lo, hi float64) bool { return s.n > 0 && s.lo >= lo-0.5 && s.hi <= hi+0.5 }

func verdictClaims(r *proof.Results) []claim {
	t := totalsOf(single(r))
	var both, open span
	for _, v := range []*proof.Verdicts{r.Young, r.Grown} {
		for i := range v.Outcomes {
			o := &v.Outcomes[i]
			if o.Both() {
				both.see(o.FalseDeficits, o.Deficits, fewest)
			}
			switch o.Measure {
			case "trunk_rotation", "shoulder_internal_rotation", "shoulder_external_rotation", "shoulder_total_arc", "shoulder_flexion", "shoulder_horizontal_adduction":
				open.see(o.Unsettled, o.N, fewest)
			}
		}
	}
	rotation, hips := r.Young.Outcomes[0], r.Young.Outcomes[0]
	for _, o := range r.Young.Outcomes {
		switch o.ID {
		case "internal_rotation_loss":
			rotation = o
		case "scapula_hands_on_hips_difference":
			hips = o
		}
	}
	return []claim{
		{"Deficits that are none", "5 to 12 %", t.falseDeficits.String() + "; of two conditions " + both.String(), verdict(inside(&t.falseDeficits, 5, 12) && inside(&both, 5, 12))},
		{"Clears that are missed", "0.5 to 6 %", t.missed.String(), verdict(inside(&t.missed, 0.5, 6))},
		{"D > τ is wrong", "4 to 30 %", t.plain.String(), verdict(inside(&t.plain, 4, 30))},
		{"Shoulder and trunk findings left unsettled", "8 to 51 %", open.String(), verdict(inside(&open, 8, 51))},
		{"By P alone, true rotation deficits called clear", "18 % at a SEM of 3.4°", percent(rotation.ClearByPrior, rotation.Broken) + " % at the protocol's error, SE " + num(1, rotation.SE) + "°", "other errors"},
		{"By P alone, true scapular ones, hands on hips", "59 % at a SEM of 5.5 mm", percent(hips.ClearByPrior, hips.Broken) + " % at the protocol's error, SE " + num(1, hips.SE) + " mm", "other errors"},
	}
}

// settledDistances is the largest between stated chance and share settled.
func settledDistances(r *proof.Results) (most float64) {
	for i := range r.Settled {
		s := &r.Settled[i]
		for _, c := range []*proof.Calibration{&s.MoreTrials, &s.NewPlacing, &s.AnotherDay} {
			off, _ := c.Worst(1000)
			most = max(most, off)
		}
	}
	return most
}

func otherClaims(r *proof.Results) []claim {
	var one, rule span
	for _, list := range r.Met {
		one.see(list[0].One, list[0].N, fewest)
		rule.see(list[0].ByRule, list[0].N, fewest)
	}
	var falses, real, at span
	for _, o := range youngSingle(r.Wrong[1]) {
		falses.see(o.FalseDeficits, o.Deficits, fewest)
	}
	for i := range r.Unchanged {
		real.see(r.Unchanged[i].Deficits.Real, r.Unchanged[i].Deficits.N, fewest)
	}
	for i := range r.At {
		at.see(r.At[i].ByMeasured, r.At[i].N, fewest)
	}
	far := totalsOf(single(r)).far
	for _, v := range r.Wrong {
		t := totalsOf(youngSingle(v))
		far.lo, far.hi = min(far.lo, t.far.lo), max(far.hi, t.far.hi)
	}
	worstLink := 0.0
	for _, v := range []*proof.Verdicts{r.Young, r.Grown} {
		off, _ := v.PLink.Worst(1000)
		worstLink = max(worstLink, off)
	}
	counted, others, exact := squadDistances(r)
	single := settledDistances(r)
	return []claim{
		{"P by the squad's figures, athletes counted in them", "within 0.03", fmt.Sprintf("within %.3f", counted), verdict(counted <= 0.03)},
		{"The same, athletes not counted", "within 0.03", fmt.Sprintf("within %.3f; the exact posterior on the same draws %.3f", others, exact), butForChance(others, exact)},
		{"Chance that measuring again settles it", "within 0.03", fmt.Sprintf("within %.3f", single), verdict(single <= 0.03)},
		{"Errors 1.5 times too small: deficits that are none", "up to 16 %", falses.String(), verdict(inside(&falses, 0, 16))},
		{"Clear though a standard error or more beyond, whatever is wrong", "below 5 %", "up to " + num(1, far.hi) + " %; below 5 % unless errors are understated", verdict(far.hi < 5)},
		{"At the threshold, deficits by the measurement alone", "20 %", at.String(), verdict(inside(&at, 19.5, 20.5))},
		{"One look at each of six visits, at the threshold", "74 % are called met", one.String(), verdict(inside(&one, 72.5, 75.5))},
		{"The same by the rule of repeated looks", "–", rule.String(), ""},
		{"Nothing changed, picked by a deficit: a real change", "5 %", real.String(), verdict(inside(&real, 4, 6))},
		{"P of the shoulder's link", "within 0.03", fmt.Sprintf("within %.3f", worstLink), verdict(worstLink <= 0.03)},
	}
}
