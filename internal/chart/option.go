package chart

import (
	"encoding/json"
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"
)

type (
	obj  = map[string]any
	list = []any
)

// rect is what the library's charts with two axes have in common.
type rect interface {
	SetGlobalOptions(...charts.GlobalOpts) *charts.RectChart
	JSON() map[string]any
}

// option is what all charts share, around the series of c. The library's own axes and grid go: a
// chart sets those that it needs.
func option(c rect, summary string) obj {
	c.SetGlobalOptions(
		charts.WithAnimation(false),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(false)}),
		charts.WithTooltipOpts(opts.Tooltip{Show: opts.Bool(true), Trigger: "item"}),
	)
	o := plain(c.JSON())
	for _, key := range []string{"xAxis", "yAxis", "title"} {
		delete(o, key)
	}
	o["color"] = list{Ink}
	o["backgroundColor"] = "transparent"
	o["textStyle"] = obj{"fontFamily": font, "fontSize": fontSize, "color": Ink}
	o["aria"] = obj{"enabled": true, "label": obj{"enabled": true, "description": summary}}
	tip := o["tooltip"].(obj)
	tip["confine"], tip["renderMode"] = true, "richText" // names are drawn as text and are never markup
	tip["backgroundColor"], tip["borderColor"] = Paper, Notes
	tip["textStyle"] = obj{"color": Ink, "fontFamily": font, "fontSize": fontSize}
	return o
}

// plain is v as decoded JSON. A value that JSON cannot hold would be a fault of this package.
func plain(v any) obj {
	data, err := json.Marshal(v)
	if err != nil {
		return obj{}
	}
	var o obj
	if json.Unmarshal(data, &o) != nil {
		return obj{}
	}
	return o
}

// series gives the series of an option, for adding what the library has no field for.
func series(o obj, i int) obj { return o["series"].(list)[i].(obj) }

// item gives one datum of a series.
func item(s obj, i int) obj { return s["data"].(list)[i].(obj) }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// fill is the look of a verdict in a colour: solid, hatched or outline.
func fill(verdict look, color string) obj {
	s := obj{"color": Paper, "borderColor": color, "borderWidth": 1.5, "opacity": 1}
	switch verdict {
	case solid:
		s["color"] = color
	case hatched:
		s["decal"] = obj{"symbol": "rect", "symbolSize": 1, "color": color, "rotation": -0.7853981633974483,
			"dashArrayX": list{1, 0}, "dashArrayY": list{2, 4}}
	}
	return s
}

// Points with hatching inside: the script hatches no symbols by itself, so the strokes are part of
// the outline. Circle of radius 10 with three chords, square of side 20 with three diagonals.
const (
	hatchedCircle = "path://M-10,0a10,10,0,1,0,20,0a10,10,0,1,0,-20,0ZM-1.83,9.83L9.83,-1.83M-7.07,7.07L7.07,-7.07M-9.83,1.83L1.83,-9.83"
	hatchedSquare = "path://M-10,-10H10V10H-10ZM-10,0L0,-10M-10,10L10,-10M0,10L10,0"
)

// point gives symbol and style of a point: circle or square, solid, hatched or outline.
func point(square bool, verdict look, color string) (symbol string, style obj) {
	style = obj{"color": Paper, "borderColor": color, "borderWidth": 1.5, "opacity": 1}
	if verdict == solid {
		style["color"] = color
	}
	switch {
	case verdict == hatched && square:
		return hatchedSquare, style
	case verdict == hatched:
		return hatchedCircle, style
	case square:
		return "rect", style
	}
	return "circle", style
}

func text(color string, size int) obj {
	return obj{"color": color, "fontSize": size, "fontFamily": font}
}

// label is a fixed text at a mark.
func label(words, position, color string, size int) obj {
	l := text(color, size)
	l["show"], l["formatter"], l["position"] = true, noPattern(words), position
	l["opacity"] = 1
	return l
}

// note is a line of small text at the foot of a picture.
func note(words string) obj {
	return obj{"text": words, "left": 0, "bottom": 0, "padding": list{4, 0},
		"textStyle": obj{"color": Notes, "fontFamily": font, "fontSize": small, "lineHeight": 17, "fontWeight": "normal"}}
}

func noLabel() obj { return obj{"show": false} }

// segment is a straight line between two points in the axes' values.
func segment(x0, y0, x1, y1 float64, line obj) list {
	return list{obj{"coord": list{x0, y0}, "lineStyle": line}, obj{"coord": list{x1, y1}}}
}

func stroke(color string, width float64, kind string) obj {
	return obj{"color": color, "width": width, "type": kind, "opacity": 1}
}

// lines are a series' own straight lines; they take no part in pointing.
func lines(data list) obj {
	return obj{"silent": true, "symbol": "none", "label": noLabel(), "data": data, "animation": false, "z": 3}
}

// bars are error bars: lines with an end stroke on both ends.
func bars(data list) obj {
	l := lines(data)
	l["symbol"], l["symbolSize"] = list{"rect", "rect"}, list{10, 2}
	return l
}

// bare is an axis without any drawing of its own.
func bare(more obj) obj {
	a := obj{"axisLine": obj{"show": false}, "axisTick": obj{"show": false}, "splitLine": obj{"show": false},
		"axisLabel": obj{"show": false}}
	for k, v := range more {
		a[k] = v
	}
	return a
}

func axisLabel(more obj) obj {
	l := text(Ink, fontSize)
	l["show"] = true
	for k, v := range more {
		l[k] = v
	}
	return l
}
