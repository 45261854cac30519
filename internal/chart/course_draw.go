package chart

import (
	"math"
	"time"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Places of the two panels and of the text at the foot, in CSS pixels.
const (
	courseTop    = 44 // of the difference: its name and what it means
	courseHeight = 250
	courseAxis   = 44 // two lines of dates
	sidesTop     = courseTop + courseHeight + courseAxis + 44
	sidesHeight  = 150
	courseFoot   = 58
)

// The series of the option, in order.
const (
	seriesLow = iota
	seriesHigh
	seriesLevel
	seriesReadings
	seriesBaseline
	seriesTarget
	seriesThreshold
	seriesEvents
	seriesFirst
	seriesSecond
)

func (t *timeline) height() int {
	switch {
	case len(t.points) == 0:
		return 40
	case t.sided():
		return sidesTop + sidesHeight + courseAxis + courseFoot
	}
	return courseTop + courseHeight + courseAxis + courseFoot
}

// option draws the picture.
func (t *timeline) option(summary string) (obj, int) {
	sc := charts.NewScatter()
	line := charts.NewLine()
	low, high, level := t.band()
	line.AddSeries("Low", low)
	line.AddSeries("High", high)
	line.AddSeries("Level", level)
	for _, s := range []struct {
		name string
		data []opts.ScatterData
	}{
		{"Visits", t.readings()}, {"Baseline", t.baselinePoint()}, {"Target", t.targetPoint()}, {"Threshold", nil}, {"Events", nil},
	} {
		sc.AddSeries(s.name, s.data)
	}
	if t.sided() {
		first, second := t.sideNames()
		sc.AddSeries(first, t.sideValues(true))
		sc.AddSeries(second, t.sideValues(false))
	}
	line.Overlap(sc)
	o := option(line, summary)
	t.dressTrend(o)
	t.dressReadings(series(o, seriesReadings))
	t.dressMarks(o)
	if t.sided() {
		t.dressSide(series(o, seriesFirst), true)
		t.dressSide(series(o, seriesSecond), false)
	}
	t.axes(o)
	return o, t.height()
}

func stamp(d screen.Date) string { return d.Time().Format("2006-01-02") }

// at is a week of the course as the time axis takes it; without a zone it is the reader's own day.
func (t *timeline) at(week float64) string {
	first := t.m.Points[0].On.Time()
	return first.Add(time.Duration(math.Round(week*7*24*60)) * time.Minute).Format("2006-01-02T15:04:05")
}

// band is the lower end of the smoothed level's band, its height above that, and the level.
func (t *timeline) band() (low, high, level []opts.LineData) {
	low, high, level = []opts.LineData{}, []opts.LineData{}, []opts.LineData{}
	if t.levels() == nil || len(t.points) == 0 {
		return low, high, level
	}
	tr := t.m.Trend
	for i, w := range tr.Weeks {
		if !finite(w) || !finite(tr.Level[i]) || !finite(tr.Lo[i]) || !finite(tr.Hi[i]) {
			continue
		}
		x := t.at(w)
		low = append(low, opts.LineData{Value: list{x, tr.Lo[i]}})
		high = append(high, opts.LineData{Value: list{x, tr.Hi[i] - tr.Lo[i]}})
		level = append(level, opts.LineData{Value: list{x, tr.Level[i]}})
	}
	return low, high, level
}

func (t *timeline) readings() []opts.ScatterData {
	data := []opts.ScatterData{}
	for _, p := range t.points {
		data = append(data, opts.ScatterData{Name: dateWords(p.On), Value: list{stamp(p.On), p.Difference}})
	}
	return data
}

func (t *timeline) baselinePoint() []opts.ScatterData {
	b := t.baseline()
	if b == nil || !b.On.Valid() {
		return []opts.ScatterData{}
	}
	return []opts.ScatterData{{Name: "baseline", Value: list{stamp(b.On), b.Difference}}}
}

// targetPoint stands at the end of the time that is drawn.
func (t *timeline) targetPoint() []opts.ScatterData {
	if t.target == nil {
		return []opts.ScatterData{}
	}
	return []opts.ScatterData{{Name: "target", Value: list{t.to.Format("2006-01-02"), *t.target}}}
}

func (t *timeline) sideValues(first bool) []opts.ScatterData {
	data := []opts.ScatterData{}
	for _, p := range t.points {
		if v, _ := side(p, first); finite(v) {
			data = append(data, opts.ScatterData{Name: dateWords(p.On), Value: list{stamp(p.On), v}})
		}
	}
	return data
}

func side(p *score.CoursePoint, first bool) (value, se float64) {
	if first {
		return p.First, p.FirstSE
	}
	return p.Second, p.SecondSE
}

// size of a point: many stand closer together.
func (t *timeline) size() int {
	switch n := len(t.points); {
	case n <= 15:
		return 13
	case n <= 60:
		return 9
	}
	return 6
}

func (t *timeline) dressTrend(o obj) {
	for _, i := range []int{seriesLow, seriesHigh, seriesLevel} {
		s := series(o, i)
		s["symbol"], s["silent"], s["tooltip"], s["z"] = "none", true, obj{"show": false}, 2
		s["lineStyle"] = stroke(Notes, 1, "dashed")
	}
	for _, i := range []int{seriesLow, seriesHigh} { // values below zero are stacked like those above it
		series(o, i)["stack"], series(o, i)["stackStrategy"] = "band", "all"
	}
	series(o, seriesHigh)["areaStyle"] = obj{"color": Notes, "opacity": 0.16}
	series(o, seriesLevel)["lineStyle"] = stroke(Ink, 2.5, "solid")
}

// dressReadings gives each visit its error bar and the look of its verdict. One that is not in the
// trend is an outline.
func (t *timeline) dressReadings(s obj) {
	segments := list{}
	for i, p := range t.points {
		it, kind := item(s, i), "solid"
		it["symbol"], it["itemStyle"] = point(false, lookOf(p.Verdict), Ink)
		if t.m.Trend != nil && !p.InTrend {
			kind = "dashed"
			it["symbol"], it["itemStyle"] = "rect", obj{"color": Paper, "borderColor": Ink, "borderWidth": 1.5, "borderType": "dashed", "opacity": 1}
		}
		it["tooltip"] = obj{"formatter": noPattern(t.tip(p))}
		if lo, hi := interval(p); hi > lo {
			day := stamp(p.On)
			segments = append(segments, list{obj{"coord": list{day, lo}, "lineStyle": stroke(Ink, 1.5, kind)}, obj{"coord": list{day, hi}}})
		}
	}
	s["symbolSize"], s["z"] = t.size(), 5
	s["markLine"] = t.capped(segments)
}

// capped are error bars whose end strokes are as wide as the points.
func (t *timeline) capped(segments list) obj {
	b := bars(segments)
	b["symbolSize"] = list{t.size() * 2 / 3, 2}
	return b
}

func (t *timeline) tip(p *score.CoursePoint) string {
	s := dateWords(p.On) + ": " + t.show(p.Difference) + t.giveOrTake(p.SE) + "\n" + verdictWords(p.Verdict)
	if finite(p.P) {
		s += ", " + score.OutOf100(p.P)
	}
	if r := t.remark(p); r != "–" {
		s += "\n" + r
	}
	return s
}

// dressMarks are baseline, target, threshold and events.
func (t *timeline) dressMarks(o obj) {
	b := series(o, seriesBaseline)
	b["symbol"], b["symbolSize"], b["z"], b["silent"] = "circle", t.size()+9, 4, true
	b["itemStyle"] = obj{"color": "transparent", "borderColor": Target, "borderWidth": 2, "opacity": 1}
	at := "right"
	if x := t.baseline(); x != nil && 2*x.On.Time().Sub(t.from) > t.to.Sub(t.from) {
		at = "left"
	}
	b["label"] = label("baseline", at, Target, small)
	g := series(o, seriesTarget)
	g["symbol"], g["symbolSize"], g["z"] = "diamond", 15, 6
	g["itemStyle"] = obj{"color": Paper, "borderColor": Target, "borderWidth": 2, "opacity": 1}
	if t.target != nil {
		words := "target " + t.show(*t.target)
		g["tooltip"] = obj{"formatter": words}
		g["markLine"] = lines(list{obj{"yAxis": *t.target, "lineStyle": stroke(Target, 1.5, "dotted"),
			"label": label(words, t.labelAt(*t.target), Target, small)}})
	}
	t.dressThreshold(series(o, seriesThreshold))
	data := list{}
	for _, e := range t.events() {
		kind := map[screen.EventKind]string{screen.EventInjury: "solid", screen.EventTraining: "dotted", screen.EventClearance: "dashed"}[e.Kind]
		data = append(data, obj{"xAxis": stamp(e.On), "lineStyle": stroke(Ink, 1.5, kind),
			"label": label(eventWord(e.Kind), "insideEndTop", Ink, small)})
	}
	series(o, seriesEvents)["markLine"] = lines(data)
}

// eventWord is what stands along an event's line, short enough for the room above the visits.
func eventWord(k screen.EventKind) string {
	switch k {
	case screen.EventTraining:
		return "exercises"
	case screen.EventClearance:
		return "cleared"
	}
	return k.Words()
}

// labelAt is where the text of a line stands: that of the target and that of the nearest threshold on
// the sides of their lines that are away from each other.
func (t *timeline) labelAt(x float64) string {
	if t.target == nil || len(t.limits) == 0 {
		return "insideStartTop"
	}
	limit := t.limits[0]
	for _, l := range t.limits {
		if math.Abs(l-*t.target) < math.Abs(limit-*t.target) {
			limit = l
		}
	}
	if above := max(limit, *t.target); x >= above {
		return "insideStartTop"
	}
	return "insideStartBottom"
}

// dressThreshold shades what lies within the threshold.
func (t *timeline) dressThreshold(s obj) {
	if len(t.limits) == 0 {
		return
	}
	from, to, _ := t.extent()
	s["markArea"] = obj{"silent": true, "itemStyle": obj{"color": Notes, "opacity": 0.1},
		"data": list{list{obj{"yAxis": max(t.within[0], from)}, obj{"yAxis": min(t.within[1], to)}}}}
	data := list{}
	for _, x := range t.limits {
		data = append(data, obj{"yAxis": x, "lineStyle": stroke(Notes, 1.5, "dashed"),
			"label": label("threshold "+t.show(x), t.labelAt(x), Notes, small)})
	}
	s["markLine"] = lines(data)
}

func (t *timeline) dressSide(s obj, first bool) {
	sd := t.firstSide()
	if !first {
		sd = sd.Other()
	}
	color := sideColor(t.rep, sd)
	s["symbol"], s["itemStyle"] = point(!first, outline, color)
	s["symbolSize"], s["z"] = t.size()-2, 5
	segments, i := list{}, 0
	for _, p := range t.points {
		v, se := side(p, first)
		if !finite(v) {
			continue
		}
		day := stamp(p.On)
		lo, hi := v, v
		if t.measure != nil {
			lo, hi = sideInterval(t.measure, v, se)
			item(s, i)["tooltip"] = obj{"formatter": noPattern(s["name"].(string) + ", " + dateWords(p.On) + ": " + number(v, t.digits) + shortUnit(t.measure.Unit))}
		}
		i++
		if hi > lo {
			segments = append(segments, list{obj{"coord": list{day, lo}, "lineStyle": stroke(color, 1.5, "solid")}, obj{"coord": list{day, hi}}})
		}
	}
	s["markLine"] = t.capped(segments)
	onGrid(s, 1)
}
