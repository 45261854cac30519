package chart

import (
	"fmt"
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/screen"
	"evenhand/internal/study"
)

// Agreement draws the limits of agreement of a measure: for every side that was read twice the mean of
// both readings, and second less first, with the mean difference, the limits within which 95 of 100
// such pairs are expected, and the 95 % intervals of all three. Circles are pairs by the same examiner,
// squares those by two. Differences of a measure with an error in percent are in percent.
func Agreement(m *study.Measure) Chart {
	a := agreementOf(m)
	c := Chart{Title: m.Name + ": second reading less first", Summary: a.summary(), Table: a.table(), Height: 380}
	sc := charts.NewScatter()
	sc.AddSeries("Same examiner", a.data(true))
	sc.AddSeries("Another examiner", a.data(false))
	o := option(sc, c.Summary)
	a.dress(series(o, 0), true)
	a.dress(series(o, 1), false)
	from, to, step := a.extent()
	if a.limits != nil {
		a.lines(series(o, 0), from, to)
	}
	a.axes(o, from, to, step)
	c.Option = o
	return c
}

// agreement is what the picture is drawn from. limits is nil where there is nothing to say of them.
type agreement struct {
	m      *study.Measure
	limits *study.Limits
	points []study.Point
	unit   string // of differences
	digits int    // of differences
	whole  int    // of means
}

func agreementOf(m *study.Measure) agreement {
	a := agreement{m: m, unit: differenceUnit(m)}
	if m.Limits == nil {
		return a
	}
	for _, p := range m.Limits.Points {
		if finite(p.Mean) && finite(p.Difference) {
			a.points = append(a.points, p)
		}
	}
	l := m.Limits
	if sum := l.Bias + l.BiasLo + l.BiasHi + l.Lower + l.LowerLo + l.LowerHi + l.Upper + l.UpperLo + l.UpperHi; finite(sum) && len(a.points) > 0 {
		a.limits = l
		a.digits = digitsFor(l.SD)
	}
	lo, hi := a.means()
	a.whole = digitsFor((hi - lo) / 4)
	return a
}

// differenceUnit is the unit of errors and differences of readings.
func differenceUnit(m *study.Measure) string {
	if m.Scale == string(screen.Log) {
		return "%"
	}
	return m.Unit
}

// digitsFor shows a spread with two digits that mean something.
func digitsFor(spread float64) int {
	if spread <= 0 || !finite(spread) {
		return 1
	}
	return min(max(1-int(math.Floor(math.Log10(spread))), 0), 3)
}

func (a *agreement) means() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range a.points {
		lo, hi = min(lo, p.Mean), max(hi, p.Mean)
	}
	return lo, hi
}

func (a *agreement) data(same bool) []opts.ScatterData {
	data := []opts.ScatterData{}
	for _, p := range a.points {
		if p.Same == same {
			data = append(data, opts.ScatterData{Value: list{p.Mean, p.Difference}})
		}
	}
	return data
}

func (a *agreement) dress(s obj, same bool) {
	s["symbol"], s["itemStyle"] = point(!same, outline, Ink)
	s["symbolSize"], s["z"] = 10, 5
	at := 0
	for _, p := range a.points {
		if p.Same == same {
			item(s, at)["tooltip"] = obj{"formatter": examinerWords(p.Same) + ": mean " + number(p.Mean, a.whole) + shortUnit(a.m.Unit) + ", second less first " + a.show(p.Difference)}
			at++
		}
	}
}

func examinerWords(same bool) string {
	if same {
		return "same examiner"
	}
	return "another examiner"
}

func (a *agreement) show(x float64) string { return number(x, a.digits) + shortUnit(a.unit) }

// extent is the axis of the differences. Where few pairs make the intervals of the limits very wide,
// they are cut off: the table has them whole.
func (a *agreement) extent() (from, to, step float64) {
	lo, hi := 0.0, 0.0
	for _, p := range a.points {
		lo, hi = min(lo, p.Difference), max(hi, p.Difference)
	}
	if l := a.limits; l != nil {
		lo, hi = min(lo, l.Lower), max(hi, l.Upper)
		room := 0.4 * (hi - lo)
		lo, hi = min(lo, max(l.LowerLo, lo-room)), max(hi, min(l.UpperHi, hi+room))
	}
	return niceRange(lo, hi)
}

// lines draws the mean difference and the limits, each with the band of its interval. Limits without
// width are the mean difference itself.
func (a *agreement) lines(s obj, from, to float64) {
	l := a.limits
	type line struct {
		name      string
		at        float64
		lo, hi    float64
		kind      string
		labelSide string
		shade     float64
	}
	all := []line{{"mean ", l.Bias, l.BiasLo, l.BiasHi, "solid", "insideEndTop", 0.25}}
	if l.SD > 0 {
		all = append(all, line{"upper limit ", l.Upper, l.UpperLo, l.UpperHi, "dashed", "insideEndTop", 0.12},
			line{"lower limit ", l.Lower, l.LowerLo, l.LowerHi, "dashed", "insideEndBottom", 0.12})
	}
	marks, bands := list{}, list{}
	for _, x := range all {
		marks = append(marks, obj{"yAxis": x.at, "lineStyle": stroke(Ink, 1.5, x.kind), "label": label(x.name+a.show(x.at), x.labelSide, Ink, small)})
		if lo, hi := max(x.lo, from), min(x.hi, to); hi > lo {
			bands = append(bands, list{obj{"yAxis": lo, "itemStyle": obj{"color": Notes, "opacity": x.shade}}, obj{"yAxis": hi}})
		}
	}
	s["markLine"] = lines(marks)
	s["markArea"] = obj{"silent": true, "data": bands}
}

func (a *agreement) axes(o obj, from, to, step float64) {
	lo, hi := a.means()
	left, right, between := niceRange(lo, hi)
	o["grid"] = obj{"left": 58, "right": 12, "top": 14, "bottom": 106}
	quiet := obj{"show": true, "onZero": false, "lineStyle": stroke(Notes, 1, "solid")}
	o["xAxis"] = bare(obj{"type": "value", "min": left, "max": right, "interval": between, "name": "mean of both readings" + unitName(a.m.Unit),
		"nameLocation": "middle", "nameGap": 26, "nameTextStyle": text(Notes, small), "axisLine": quiet,
		"axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "hideOverlap": true, "formatter": unitPattern(a.m.Unit)})})
	o["yAxis"] = bare(obj{"type": "value", "min": from, "max": to, "interval": step, "axisLine": quiet,
		"axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "formatter": unitPattern(a.unit)}),
		"splitLine": obj{"show": true, "lineStyle": obj{"color": Notes, "width": 1, "opacity": 0.2}}})
	if a.limits == nil {
		return
	}
	o["title"] = note("Circles: " + examinerWords(true) + ". Squares: " + examinerWords(false) + ".\nLine: mean difference. Dashed: limits of agreement.\nShaded: their 95 % intervals.")
}

func (a *agreement) summary() string {
	if a.limits == nil {
		return a.m.Name + ": no side was read twice, so there are no two readings to compare."
	}
	same := 0
	for _, p := range a.points {
		if p.Same {
			same++
		}
	}
	l := a.limits
	s := fmt.Sprintf("%s: %d %s of readings, %d by the same examiner; second less first is %s on average (%s to %s)", a.m.Name,
		len(a.points), pairs(len(a.points)), same, a.show(l.Bias), a.show(l.BiasLo), a.show(l.BiasHi))
	if l.SD > 0 {
		s += fmt.Sprintf("; 95 of 100 such pairs are expected between %s and %s", a.show(l.Lower), a.show(l.Upper))
	}
	return s + "."
}

func pairs(n int) string {
	if n == 1 {
		return "pair"
	}
	return "pairs"
}

func (a *agreement) table() Table {
	t := Table{Caption: a.m.Name + unitName(a.unit) + ": second reading less first, with 95 % intervals",
		Columns: []string{"What", "Mean of both" + unitName(a.m.Unit), "Second less first", "From", "To"}, Rows: [][]string{}}
	if l := a.limits; l != nil {
		row := func(name string, x, lo, hi float64) {
			t.Rows = append(t.Rows, []string{name, "–", number(x, a.digits), number(lo, a.digits), number(hi, a.digits)})
		}
		row("Mean difference", l.Bias, l.BiasLo, l.BiasHi)
		row("Lower limit of agreement", l.Lower, l.LowerLo, l.LowerHi)
		row("Upper limit of agreement", l.Upper, l.UpperLo, l.UpperHi)
	}
	for i, p := range a.points {
		t.Rows = append(t.Rows, []string{fmt.Sprintf("Pair %d, %s", i+1, examinerWords(p.Same)), number(p.Mean, a.whole), number(p.Difference, a.digits), "–", "–"})
	}
	return t
}
