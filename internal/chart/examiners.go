package chart

import (
	"fmt"
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/study"
)

// Examiners draws how each examiner reads a measure compared with the mean of all on the same
// athletes, with the 95 % interval, in the order given, which is that of their names. All have the same
// look: an interval that includes 0 says nothing, and nobody is ranked.
func Examiners(m *study.Measure) Chart {
	e := examinersOf(m)
	c := Chart{Title: m.Name + ": examiners compared", Summary: e.summary(), Table: e.table(), Height: 44*max(len(e.rows), 1) + 76}
	data := []opts.ScatterData{}
	for i, b := range e.rows {
		data = append(data, opts.ScatterData{Name: b.Examiner, Value: list{b.Value, i}})
	}
	sc := charts.NewScatter()
	sc.AddSeries("Examiners", data)
	o := option(sc, c.Summary)
	e.dress(series(o, 0))
	e.axes(o)
	c.Option = o
	return c
}

type examiners struct {
	m      *study.Measure
	rows   []study.Bias
	unit   string
	digits int
}

func examinersOf(m *study.Measure) examiners {
	e := examiners{m: m, unit: differenceUnit(m)}
	wide := 0.0
	for _, b := range m.Bias {
		if finite(b.Value) && finite(b.Lo) && finite(b.Hi) {
			e.rows = append(e.rows, b)
			wide = max(wide, (b.Hi-b.Lo)/4)
		}
	}
	e.digits = digitsFor(wide)
	return e
}

// nameless stands for readings that name no examiner.
const nameless = "not named"

func examinerName(b *study.Bias) string {
	if b.Examiner == "" {
		return nameless
	}
	return b.Examiner
}

func (e *examiners) show(x float64) string { return number(x, e.digits) + shortUnit(e.unit) }

func (e *examiners) dress(s obj) {
	s["symbol"], s["itemStyle"] = point(false, outline, Ink)
	s["symbolSize"], s["z"] = 12, 5
	marks := list{}
	for i := range e.rows {
		b := &e.rows[i]
		item(s, i)["tooltip"] = obj{"formatter": noPattern(fmt.Sprintf("%s: %s (%s to %s)", examinerName(b), e.show(b.Value), e.show(b.Lo), e.show(b.Hi)))}
		if b.Hi > b.Lo {
			marks = append(marks, segment(b.Lo, float64(i), b.Hi, float64(i), stroke(Ink, 2, "solid")))
		}
	}
	s["markLine"] = bars(marks)
}

func (e *examiners) axes(o obj) {
	most, names := 0.0, list{}
	for i := range e.rows {
		most = max(most, math.Abs(e.rows[i].Lo), math.Abs(e.rows[i].Hi))
		names = append(names, examinerName(&e.rows[i]))
	}
	from, to, step := niceRange(-most, most)
	o["grid"] = obj{"left": 118, "right": 18, "top": 10, "bottom": 56}
	o["xAxis"] = bare(obj{"type": "value", "min": from, "max": to, "interval": step, "name": "less or more than the mean of all" + unitName(e.unit),
		"nameLocation": "middle", "nameGap": 28, "nameTextStyle": text(Notes, small),
		"axisLine":  obj{"show": true, "onZero": false, "lineStyle": stroke(Notes, 1, "solid")},
		"axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "hideOverlap": true, "formatter": unitPattern(e.unit)}),
		"splitLine": obj{"show": true, "lineStyle": obj{"color": Notes, "width": 1, "opacity": 0.2}}})
	o["yAxis"] = bare(obj{"type": "category", "inverse": true, "data": names,
		"axisLine":  obj{"show": true, "onZero": true, "lineStyle": stroke(Ink, 1.5, "solid")},
		"axisLabel": axisLabel(obj{"interval": 0, "width": 104, "overflow": "break"})})
}

func (e *examiners) summary() string {
	if len(e.rows) == 0 {
		return e.m.Name + ": there are no two examiners to compare on the same athletes."
	}
	holds := 0
	for _, b := range e.rows {
		if b.Lo <= 0 && b.Hi >= 0 {
			holds++
		}
	}
	return fmt.Sprintf("%s: how each of %d examiners reads compared with the mean of all on the same athletes, by name; %d of the intervals include 0, which says nothing about who they belong to.",
		e.m.Name, len(e.rows), holds)
}

func (e *examiners) table() Table {
	t := Table{Caption: e.m.Name + unitName(e.unit) + ": examiners compared with the mean of all, by name, with 95 % intervals",
		Columns: []string{"Examiner", "Readings", "Less or more", "From", "To"}, Rows: [][]string{}}
	for i := range e.rows {
		b := &e.rows[i]
		t.Rows = append(t.Rows, []string{examinerName(b), fmt.Sprint(b.Readings), number(b.Value, e.digits), number(b.Lo, e.digits), number(b.Hi, e.digits)})
	}
	return t
}
