package chart

import "math"

// axes places the panels one below the other, on the same time.
func (t *timeline) axes(o obj) {
	if len(t.points) == 0 {
		o["grid"], o["xAxis"], o["yAxis"] = obj{"height": 0}, bare(obj{"type": "time"}), bare(obj{"type": "value"})
		return
	}
	from, to, step := t.extent()
	what := map[bool]string{true: "Difference", false: "Value"}[t.sided()]
	titles := list{courseHeading(what+unitName(t.unit), t.meaning(), 0)}
	grids := list{obj{"left": 52, "right": 14, "top": courseTop, "height": courseHeight}}
	xs, ys := list{t.timeAxis(0)}, list{valueAxis(0, from, to, step, t.unit)}
	if t.sided() {
		unit := t.unit
		if t.measure != nil {
			unit = t.measure.Unit
		}
		lo, hi, step := t.sidesExtent()
		first, second := t.sideNames()
		titles = append(titles, courseHeading("Both sides"+unitName(unit), "circle: "+lowerFirst(first)+"; square: "+lowerFirst(second), sidesTop-courseTop))
		grids = append(grids, obj{"left": 52, "right": 14, "top": sidesTop, "height": sidesHeight})
		xs, ys = append(xs, t.timeAxis(1)), append(ys, valueAxis(1, lo, hi, step, unit))
	}
	o["title"] = append(titles, note(t.key()))
	o["grid"], o["xAxis"], o["yAxis"] = grids, xs, ys
}

// key says what the marks mean.
func (t *timeline) key() string {
	s := "Filled: deficit. Hatched: unsettled. Open: clear."
	if t.m.Trend == nil {
		return s + "\nBars: 90 in 100. Ring: baseline. Grey: within the threshold."
	}
	return s + "\nDashed square: not in the trend. Ring: baseline.\nBars, and band of the smoothed level: 90 in 100."
}

func courseHeading(name, meaning string, top int) obj {
	return obj{"text": name, "subtext": meaning, "left": 0, "top": top, "padding": list{2, 0}, "itemGap": 2,
		"textStyle":    obj{"color": Ink, "fontFamily": font, "fontSize": fontSize, "fontWeight": "bold", "lineHeight": 18},
		"subtextStyle": obj{"color": Notes, "fontFamily": font, "fontSize": small, "lineHeight": 16}}
}

func (t *timeline) timeAxis(grid int) obj {
	return bare(obj{"type": "time", "gridIndex": grid, "min": t.from.Format("2006-01-02"), "max": t.to.Format("2006-01-02"),
		"minInterval": dayLong.Milliseconds(), "splitNumber": 4,
		"axisLine":  obj{"show": true, "onZero": false, "lineStyle": stroke(Notes, 1, "solid")},
		"axisTick":  obj{"show": true, "lineStyle": stroke(Notes, 1, "solid")},
		"axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "hideOverlap": true, "lineHeight": 15, "formatter": "{d} {MMM}\n{yyyy}"})})
}

func valueAxis(grid int, from, to, step float64, unit string) obj {
	return bare(obj{"type": "value", "gridIndex": grid, "min": from, "max": to, "interval": step,
		"axisLabel": axisLabel(obj{"color": Notes, "fontSize": small, "formatter": unitPattern(unit)}),
		"splitLine": obj{"show": true, "lineStyle": obj{"color": Notes, "width": 1, "opacity": 0.2}}})
}

// extent is the range of the difference. The band takes room only up to as much again as the visits
// need: where nobody measured for long it is as wide as the sky.
func (t *timeline) extent() (from, to, step float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range t.points {
		a, b := interval(p)
		lo, hi = min(lo, a), max(hi, b)
	}
	for _, x := range t.limits {
		lo, hi = min(lo, x), max(hi, x)
	}
	if t.target != nil {
		lo, hi = min(lo, *t.target), max(hi, *t.target)
	}
	if t.levels() != nil {
		room := (hi - lo) / 2
		least, most := lo-room, hi+room
		for i := range t.m.Trend.Weeks {
			if a, b := t.m.Trend.Lo[i], t.m.Trend.Hi[i]; finite(a) && finite(b) {
				lo, hi = min(lo, max(a, least)), max(hi, min(b, most))
			}
		}
	}
	if len(t.events()) > 0 { // room for their words
		hi += 0.25 * (hi - lo)
	}
	return niceRange(lo, hi)
}

func (t *timeline) sidesExtent() (from, to, step float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range t.points {
		for _, first := range []bool{true, false} {
			v, se := side(p, first)
			if !finite(v) {
				continue
			}
			a, b := v, v
			if t.measure != nil {
				a, b = sideInterval(t.measure, v, se)
			}
			lo, hi = min(lo, a), max(hi, b)
		}
	}
	return niceRange(lo, hi)
}
