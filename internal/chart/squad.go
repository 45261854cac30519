package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// SquadValue is one athlete's value of a measure or of a difference of sides.
type SquadValue struct {
	Athlete   string // id
	Label     string // name
	Value, SE float64
	Role      string        // throwing, other, lead or trail; "" for a difference
	Side      screen.Side   // side of the value; NoSide or "" for a difference
	Unit      string        // "": the measure's
	Threshold *float64      // nil: none
	Absolute  bool          // the threshold holds on both sides of zero
	Verdict   score.Verdict // "": none was given; drawn as an outline
}

// SquadValues collects what one rule says of a squad, in the order of the rows. A rule on one side
// gives a value for each side that it was applied to; athletes without a finding are left out.
func SquadValues(rows []HeatRow, rule string) []SquadValue {
	out := []SquadValue{}
	for i := range rows {
		if rows[i].Report == nil {
			continue
		}
		for k := range rows[i].Report.Findings {
			f := &rows[i].Report.Findings[k]
			if f.Rule != rule {
				continue
			}
			v := SquadValue{Athlete: rows[i].Athlete, Label: rows[i].Label, Value: f.Difference, SE: f.SE, Role: f.Role,
				Side: f.Side, Unit: f.Unit, Verdict: f.Verdict, Absolute: twoSided(f) && f.Kind == "absolute"}
			if f.RuleKind != screen.AllOf {
				v.Threshold = &f.Threshold
			}
			out = append(out, v)
		}
	}
	return out
}

// Distribution draws a squad's values of one measure, or of one difference of sides, from the lowest
// to the highest, each with its 90 % interval; the marked athlete stands out by size, a line and the
// name. Values that are no numbers are only in the table.
func Distribution(m *screen.Measure, values []SquadValue, marked string) Chart {
	sorted, missing := ranked(values)
	d := squad{m: m, values: sorted, marked: marked, unit: m.Unit, digits: decimals(m)}
	for i := range values {
		if values[i].Unit != "" {
			d.unit = values[i].Unit
		}
	}
	c := Chart{Title: m.Name + " in the squad", Summary: d.summary(), Table: d.table(missing), Height: 320}
	sc := charts.NewScatter()
	sc.AddSeries("Squad", d.points(false))
	sc.AddSeries("Marked", d.points(true))
	sc.AddSeries("Threshold", d.ownThresholds())
	o := option(sc, c.Summary)
	d.dress(series(o, 0), false)
	d.dress(series(o, 1), true)
	d.threshold(series(o, 2))
	d.axes(o)
	c.Option = o
	return c
}

// squad is what a distribution is drawn from: values in rising order.
type squad struct {
	m      *screen.Measure
	values []SquadValue
	marked string
	unit   string
	digits int
}

// ranked sorts the values that are numbers; equal ones by label, then id, so that the same squad
// always gives the same picture.
func ranked(values []SquadValue) (sorted, missing []SquadValue) {
	for _, v := range values {
		if finite(v.Value) {
			sorted = append(sorted, v)
		} else {
			missing = append(missing, v)
		}
	}
	slices.SortStableFunc(sorted, func(a, b SquadValue) int {
		switch {
		case a.Value < b.Value:
			return -1
		case a.Value > b.Value:
			return 1
		case a.Label != b.Label:
			return strings.Compare(a.Label, b.Label)
		}
		return strings.Compare(a.Athlete, b.Athlete)
	})
	return sorted, missing
}

func (v *SquadValue) half() float64 {
	if h := z90 * v.SE; finite(h) && h > 0 {
		return h
	}
	return 0
}

func (v *SquadValue) color() string {
	switch v.Role {
	case "throwing", "trail": // the side of the throwing hand
		return Throwing
	case "other", "lead":
		return Other
	}
	return Ink
}

func (d *squad) points(marked bool) []opts.ScatterData {
	data := []opts.ScatterData{}
	for i := range d.values {
		if v := &d.values[i]; (v.Athlete == d.marked) == marked {
			data = append(data, opts.ScatterData{Name: v.Label, Value: list{i + 1, v.Value}})
		}
	}
	return data
}

func (d *squad) dress(s obj, marked bool) {
	segments, at := list{}, 0
	for i := range d.values {
		v := &d.values[i]
		if (v.Athlete == d.marked) != marked {
			continue
		}
		it := item(s, at)
		at++
		it["symbol"], it["itemStyle"] = point(v.color() == Other, lookOf(v.verdict()), v.color())
		it["tooltip"] = obj{"formatter": noPattern(v.Label + ": " + d.words(v))}
		line := stroke(Notes, 1, "solid")
		if marked {
			line = stroke(v.color(), 2.5, "solid")
			segments = append(segments, obj{"xAxis": i + 1, "lineStyle": stroke(Notes, 1, "dotted"), "label": d.nameLabel(v, i)})
		}
		if h := v.half(); h > 0 {
			x := float64(i + 1)
			segments = append(segments, segment(x, v.Value-h, x, v.Value+h, line))
		}
	}
	s["symbolSize"], s["z"] = 9, 4
	if marked {
		s["symbolSize"], s["z"] = 17, 6
	}
	s["markLine"] = lines(segments)
}

func (v *SquadValue) verdict() score.Verdict {
	if v.Verdict == "" {
		return score.Clear
	}
	return v.Verdict
}

func (d *squad) words(v *SquadValue) string {
	s := number(v.Value, d.digits) + shortUnit(d.unit)
	if h := v.half(); h > 0 {
		s += " (give or take " + number(h, d.digits) + shortUnit(d.unit) + ")"
	}
	return s
}

// nameLabel stands at the upper end of the marked athlete's line, inside the drawing's width.
func (d *squad) nameLabel(v *SquadValue, i int) obj {
	l := label(number(v.Value, d.digits)+shortUnit(d.unit)+"  "+v.Label, "end", Ink, fontSize)
	l["fontWeight"], l["width"], l["overflow"] = "bold", 230, "truncate"
	switch at := float64(i+1) / float64(len(d.values)+1); {
	case at < 0.3:
		l["align"] = "left"
	case at > 0.7:
		l["align"] = "right"
	}
	return l
}

// limitsOf are the threshold's places on the axis for one athlete.
func (v *SquadValue) limits() []float64 {
	switch {
	case v.Threshold == nil || !finite(*v.Threshold):
		return nil
	case v.Absolute:
		return []float64{*v.Threshold, -*v.Threshold}
	}
	return []float64{*v.Threshold}
}

// shared are the limits that all athletes have in common; ok is false if they differ.
func (d *squad) shared() (limits []float64, ok bool) {
	for i := range d.values {
		l := d.values[i].limits()
		if i > 0 && !slices.Equal(l, limits) {
			return nil, false
		}
		limits = l
	}
	return limits, true
}

// ownThresholds are short strokes, one an athlete, where thresholds differ (by age, say).
func (d *squad) ownThresholds() []opts.ScatterData {
	data := []opts.ScatterData{}
	if _, ok := d.shared(); ok {
		return data
	}
	for i := range d.values {
		for _, x := range d.values[i].limits() {
			data = append(data, opts.ScatterData{Name: d.values[i].Label, Value: list{i + 1, x}})
		}
	}
	return data
}

func (d *squad) threshold(s obj) {
	s["symbol"], s["symbolSize"], s["silent"] = "rect", list{8, 2}, true
	s["itemStyle"] = obj{"color": Notes, "opacity": 1}
	shared, _ := d.shared()
	data := list{}
	for i, x := range shared {
		at := "insideStartTop" // the lowest values stand at the left, far below the upper limit
		if i > 0 {
			at = "insideEndBottom" // and the highest at the right, far above the lower one
		}
		l := label("threshold "+number(x, d.digits)+shortUnit(d.unit), at, Notes, small)
		data = append(data, obj{"yAxis": x, "lineStyle": stroke(Notes, 1.5, "dashed"), "label": l})
	}
	s["markLine"] = lines(data)
}

func (d *squad) axes(o obj) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range d.values {
		v := &d.values[i]
		lo, hi = min(lo, v.Value-v.half()), max(hi, v.Value+v.half())
		for _, x := range v.limits() {
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	from, to, step := niceRange(lo, hi)
	o["grid"] = obj{"left": 52, "right": 10, "top": 36, "bottom": 34}
	o["xAxis"] = bare(obj{"type": "value", "min": 0, "max": len(d.values) + 1, "name": "athletes, lowest to highest", "nameLocation": "middle",
		"nameGap": 12, "nameTextStyle": text(Notes, small), "axisLine": obj{"show": true, "onZero": false, "lineStyle": stroke(Notes, 1, "solid")}})
	o["yAxis"] = bare(obj{"type": "value", "min": from, "max": to, "interval": step,
		"axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "formatter": unitPattern(d.unit)}),
		"splitLine": obj{"show": true, "lineStyle": obj{"color": Notes, "width": 1, "opacity": 0.2}}})
}

func (d *squad) summary() string {
	n := len(d.values)
	if n == 0 {
		return d.m.Name + ": no values in the squad."
	}
	s := fmt.Sprintf("%s: %d values from %s to %s%s", d.m.Name, n, number(d.values[0].Value, d.digits),
		number(d.values[n-1].Value, d.digits), shortUnit(d.unit))
	for i := range d.values {
		if v := &d.values[i]; v.Athlete == d.marked {
			s += fmt.Sprintf("; %s %s, place %d from the lowest", v.Label, d.words(v), i+1)
		}
	}
	return s + "."
}

func (d *squad) table(missing []SquadValue) Table {
	t := Table{Caption: d.m.Name + unitName(d.unit) + " in the squad, with 90 % intervals",
		Columns: []string{"Athlete", "Side", "Value", "From", "To", "Threshold"}, Rows: [][]string{}}
	k := d.digits + 1
	for _, v := range slices.Concat(d.values, missing) {
		row := []string{v.Label, squadSide(&v), number(v.Value, k), "–", "–", "–"}
		if h := v.half(); h > 0 && finite(v.Value) {
			row[3], row[4] = number(v.Value-h, k), number(v.Value+h, k)
		}
		if l := v.limits(); len(l) == 2 {
			row[5] = "±" + number(l[0], k)
		} else if len(l) == 1 {
			row[5] = number(l[0], k)
		}
		if v.Athlete == d.marked {
			row[0] += " (marked)"
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func squadSide(v *SquadValue) string {
	side := string(v.Side)
	switch {
	case side == "" || v.Side == screen.NoSide:
		return "–"
	case v.Role != "":
		return v.Role + " (" + side + ")"
	}
	return side
}
