package chart

import (
	"fmt"
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Heights of a panel, in CSS pixels.
const (
	panelTitle = 46 // its name and the text of its limits
	panelRow   = 50
	panelFoot  = 34
)

// Measure draws one finding: the values of the sides with their errors, the threshold around the
// other side's value, and the target as an open diamond. The side that the verdict is about is filled
// by the verdict. A rule of several conditions has no values of its own and gives an empty picture.
func Measure(f *score.Finding, rep *score.Report, p *screen.Protocol) Chart {
	pn, ok := panelOf(f, rep, p)
	if !ok {
		return panels(f.Name, f.Name+": no single measure to draw.", nil, rep)
	}
	return panels(pn.title, pn.sentence(), []panel{pn}, rep)
}

// Sides draws every paired measure of a link, of all links if link is "", one panel a measure, in the
// order of the protocol. Where several rules look at a measure, one that compares its sides is drawn.
func Sides(rep *score.Report, link string, p *screen.Protocol) Chart {
	title := "Both sides"
	if l := p.Link(link); l != nil {
		title = l.Name + ": both sides"
	}
	ps := []panel{}
	for i := range p.Measures {
		m := &p.Measures[i]
		f := findingOf(rep, m.ID, link)
		if !m.Paired || f == nil {
			continue
		}
		if pn, ok := panelOf(f, rep, p); ok {
			ps = append(ps, pn)
		}
	}
	worse := 0
	for i := range ps {
		if ps[i].finding.Verdict == score.Deficit {
			worse++
		}
	}
	s := fmt.Sprintf("%d paired measures with both sides and their errors; %d with a deficit.", len(ps), worse)
	if len(ps) == 0 {
		s = "No paired measure was taken."
	}
	return panels(title, s, ps, rep)
}

// findingOf picks the finding that a measure is drawn by: one of both sides before one of one side.
func findingOf(rep *score.Report, measure, link string) *score.Finding {
	var best *score.Finding
	for i := range rep.Findings {
		f := &rep.Findings[i]
		if f.Measure != measure || f.RuleKind == screen.AllOf || link != "" && f.Link != link {
			continue
		}
		if best == nil || twoSided(f) && !twoSided(best) {
			best = f
		}
	}
	return best
}

// panels draws panels one below the other, each with its own axes.
func panels(title, summary string, ps []panel, rep *score.Report) Chart {
	c := Chart{Title: title, Summary: summary, Table: panelTable(title, ps)}
	sc := charts.NewScatter()
	for i := range ps {
		for k := range ps[i].marks {
			m := &ps[i].marks[k]
			sc.AddSeries(m.name, []opts.ScatterData{{Name: ps[i].title, Value: list{m.value, k}}})
		}
		sc.AddSeries("Target", targetPoints(&ps[i]))
		sc.AddSeries("Threshold", nil)
	}
	o := option(sc, summary)
	titles, grids, xs, ys := list{}, list{}, list{}, list{}
	at, top := 0, 0
	for i := range ps {
		pn := &ps[i]
		height := panelRow * len(pn.marks)
		grids = append(grids, obj{"left": 118, "right": 18, "top": top + panelTitle, "height": height})
		x, y := pn.axes(i)
		titles = append(titles, pn.heading(top))
		xs, ys = append(xs, x), append(ys, y)
		at = pn.dress(o, at, i, rep)
		top += panelTitle + height + panelFoot
	}
	if len(ps) > 1 {
		o["title"] = titles
	}
	o["grid"], o["xAxis"], o["yAxis"] = grids, xs, ys
	c.Option, c.Height = o, max(top, 40)
	return c
}

func targetPoints(pn *panel) []opts.ScatterData {
	data := []opts.ScatterData{}
	for k := range pn.marks {
		if t := pn.marks[k].target; t != nil {
			data = append(data, opts.ScatterData{Name: pn.title, Value: list{*t, k}})
		}
	}
	return data
}

func (pn *panel) axes(i int) (x, y obj) {
	from, to, step := pn.extent()
	x = bare(obj{"type": "value", "gridIndex": i, "min": from, "max": to, "interval": step,
		"axisLine": obj{"show": true, "onZero": false, "lineStyle": stroke(Notes, 1, "solid")},
		"axisTick": obj{"show": true, "lineStyle": stroke(Notes, 1, "solid")}, "axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "hideOverlap": true, "formatter": unitPattern(pn.unit)})})
	names := make(list, len(pn.marks))
	for k := range pn.marks {
		names[k] = pn.marks[k].name
	}
	y = bare(obj{"type": "category", "gridIndex": i, "inverse": true, "data": names,
		"axisLabel": axisLabel(obj{"interval": 0, "width": 110, "overflow": "break"})})
	return x, y
}

// heading names a panel among others.
func (pn *panel) heading(top int) obj {
	return obj{"text": pn.title + unitName(pn.unit), "left": 0, "top": top, "padding": list{4, 0},
		"textStyle": obj{"color": Ink, "fontFamily": font, "fontSize": fontSize, "fontWeight": "bold"}}
}

// dress adds to the panel's series, which start at place at, what the library has no field for. It
// gives the place behind them.
func (pn *panel) dress(o obj, at, grid int, rep *score.Report) int {
	for k := range pn.marks {
		m := &pn.marks[k]
		s := series(o, at)
		color := sideColor(rep, m.side)
		s["symbol"], s["itemStyle"] = point(m.side == throwingSide(rep).Other(), m.verdict, color)
		s["symbolSize"], s["z"] = 15, 5
		s["label"] = label(pn.show(m.value, pn.digits), "top", Ink, fontSize)
		s["tooltip"] = obj{"formatter": noPattern(pn.tip(m))}
		if m.hi > m.lo {
			s["markLine"] = bars(list{segment(m.lo, float64(k), m.hi, float64(k), stroke(color, 2, "solid"))})
		}
		onGrid(s, grid)
		at++
	}
	t := series(o, at)
	t["symbol"], t["symbolSize"], t["z"] = "diamond", 15, 6
	t["itemStyle"] = obj{"color": "transparent", "borderColor": Target, "borderWidth": 2, "opacity": 1}
	for i, d := range t["data"].(list) {
		v := targetPoints(pn)[i].Value.(list)[0].(float64)
		d.(obj)["label"] = label("target "+pn.show(v, pn.digits), "bottom", Target, small)
		d.(obj)["tooltip"] = obj{"formatter": "target " + pn.show(v, pn.digits)}
	}
	onGrid(t, grid)
	pn.threshold(series(o, at+1))
	onGrid(series(o, at+1), grid)
	return at + 2
}

func onGrid(s obj, grid int) {
	s["xAxisIndex"], s["yAxisIndex"] = grid, grid
}

func (pn *panel) tip(m *mark) string {
	return pn.title + ", " + lowerFirst(m.name) + ": " + pn.show(m.value, pn.digits) + pn.giveOrTake(m.hi-m.value)
}

// threshold draws what lies within it as a shaded band, and its limits as dashed lines with their
// values.
func (pn *panel) threshold(s obj) {
	if len(pn.limits) == 0 {
		return
	}
	from, to, _ := pn.extent()
	lo, hi := max(pn.within[0], from), min(pn.within[1], to)
	s["markArea"] = obj{"silent": true, "itemStyle": obj{"color": Notes, "opacity": 0.13},
		"data": list{list{obj{"xAxis": lo}, obj{"xAxis": hi}}}}
	data := list{}
	for i, x := range pn.limits {
		l := label("limit "+pn.show(x, pn.digits), "start", Notes, small) // the axis runs downward
		switch {
		case len(pn.limits) == 2:
			l["align"] = []string{"right", "left"}[i]
		case x-from < 0.2*(to-from):
			l["align"] = "left"
		case to-x < 0.2*(to-from):
			l["align"] = "right"
		}
		data = append(data, obj{"xAxis": x, "lineStyle": stroke(Notes, 1.5, "dashed"), "label": l})
	}
	s["markLine"] = lines(data)
}

func panelTable(title string, ps []panel) Table {
	t := Table{Caption: title + ", with 90 % intervals", Columns: []string{"Measure", "What", "Value", "From", "To"}, Rows: [][]string{}}
	if slices.ContainsFunc(ps, func(pn panel) bool { return twoSided(pn.finding) }) {
		t.Caption += "; without what one examiner adds to both sides alike"
	}
	for i := range ps {
		t.Rows = append(t.Rows, ps[i].rows()...)
	}
	return t
}

func (pn *panel) rows() [][]string {
	d, name := pn.digits+1, pn.title+unitName(pn.unit)
	one := func(what string, v float64) []string { return []string{name, what, number(v, d), "–", "–"} }
	var rows [][]string
	for k := range pn.marks {
		m := &pn.marks[k]
		row := one(m.name, m.value)
		if m.hi > m.lo {
			row[3], row[4] = number(m.lo, d), number(m.hi, d)
		}
		rows = append(rows, row)
	}
	for _, x := range pn.limits {
		rows = append(rows, one("Limit", x))
	}
	for k := range pn.marks {
		if t := pn.marks[k].target; t != nil {
			rows = append(rows, one("Target, "+lowerFirst(pn.marks[k].name), *t))
		}
	}
	f := pn.finding
	if twoSided(f) && finite(f.Difference) {
		rows = append(rows, []string{pn.title + unitName(f.Unit), "Difference", number(f.Difference, d),
			number(f.Margin[0], d), number(f.Margin[1], d)})
	}
	return rows
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]|0x20) + s[1:]
}

func verdictWords(v score.Verdict) string {
	if v == score.Deficit || v == score.Clear {
		return string(v)
	}
	return "unsettled: measure again"
}
