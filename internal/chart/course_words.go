package chart

import (
	"fmt"
	"math"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// words are title, summary and table.
func (t *timeline) words() Chart {
	title := t.m.Name
	if t.m.Side == screen.Left || t.m.Side == screen.Right {
		title += ", " + lowerFirst(sideName(t.rep, t.measure, t.m.Side))
	}
	return Chart{Title: title + ": course", Summary: t.summary(title), Table: t.table(title)}
}

func (t *timeline) summary(title string) string {
	n := len(t.points)
	if n == 0 {
		return title + ": no visit with a value."
	}
	last := t.points[n-1]
	s := title + ": "
	if n == 1 {
		s += "one visit, " + dateWords(last.On)
	} else {
		s += fmt.Sprintf("%d visits from %s to %s", n, dateWords(t.points[0].On), dateWords(last.On))
	}
	what := map[bool]string{true: "difference", false: "value"}[t.sided()]
	s += "; " + what + " "
	if b := t.baseline(); b != nil && b != last {
		s += t.show(b.Difference) + " at the baseline, "
	}
	s += t.show(last.Difference) + t.giveOrTake(last.SE) + " at the last visit"
	if len(t.limits) > 0 {
		s += "; threshold " + t.show(t.m.Threshold)
	}
	if t.target != nil {
		s += "; target " + t.show(*t.target)
	}
	if tr := t.m.Trend; tr != nil && finite(tr.LevelNow) {
		s += fmt.Sprintf("; smoothed %s, 90 in 100 between %s and %s", t.show(tr.LevelNow), t.show(tr.Level90[0]), t.show(tr.Level90[1]))
	}
	s += "; " + verdictWords(last.Verdict)
	if finite(last.P) {
		s += ", " + score.OutOf100(last.P)
	}
	return s + "."
}

// table has a row a visit, the newest first.
func (t *timeline) table(title string) Table {
	out := Table{Caption: title + ", the newest visit first; ± is 1.96 standard errors", Rows: [][]string{}}
	if t.sided() {
		first, second := t.sideNames()
		unit := ""
		if t.measure != nil {
			unit = unitName(t.measure.Unit)
		}
		out.Columns = []string{"Visit", first + unit, second + unit, "Difference" + unitName(t.unit)}
	} else {
		out.Columns = []string{"Visit", "Value" + unitName(t.unit)}
	}
	out.Columns = append(out.Columns, "True deficit", "Verdict")
	level := t.levels()
	if level != nil {
		out.Columns = append(out.Columns, "Smoothed, 90 %")
	}
	out.Columns = append(out.Columns, "Remark")
	for i := len(t.points) - 1; i >= 0; i-- {
		out.Rows = append(out.Rows, t.row(t.points[i], level))
	}
	return out
}

func (t *timeline) row(p *score.CoursePoint, level map[int64]int) []string {
	d := t.digits + 1
	row := make([]string, 0, 8)
	row = append(row, dateWords(p.On))
	if t.sided() {
		row = append(row, withError(p.First, p.FirstSE, d), withError(p.Second, p.SecondSE, d))
	}
	row = append(row, withError(p.Difference, p.SE, d), probability(p.P), verdictWords(p.Verdict))
	if level != nil {
		cell := "–"
		if i, ok := level[weekKey(p.Week)]; ok && p.InTrend {
			tr := t.m.Trend
			cell = number(tr.Level[i], d) + " (" + number(tr.Lo[i], d) + " to " + number(tr.Hi[i], d) + ")"
		}
		row = append(row, cell)
	}
	return append(row, t.remark(p))
}

func (t *timeline) remark(p *score.CoursePoint) string {
	s := ""
	if p == t.baseline() {
		s = "baseline"
	}
	if t.m.Trend != nil && !p.InTrend {
		if s != "" {
			s += ", "
		}
		s += "not in the trend"
	}
	if s == "" {
		return "–"
	}
	return s
}

func withError(x, se float64, digits int) string {
	s := number(x, digits)
	if h := z95 * se; finite(x) && finite(h) && h > 0 {
		s += " ± " + number(h, digits)
	}
	return s
}

func probability(p float64) string {
	if !finite(p) {
		return "–"
	}
	return score.OutOf100(p)
}

// weekKey tells weeks apart to the minute.
func weekKey(week float64) int64 { return int64(math.Round(week * 7 * 24 * 60)) }

// levels finds the smoothed level of a week, nil without a trend.
func (t *timeline) levels() map[int64]int {
	tr := t.m.Trend
	if tr == nil || len(tr.Level) < len(tr.Weeks) || len(tr.Lo) < len(tr.Weeks) || len(tr.Hi) < len(tr.Weeks) {
		return nil
	}
	out := make(map[int64]int, len(tr.Weeks))
	for i, w := range tr.Weeks {
		out[weekKey(w)] = i
	}
	return out
}
