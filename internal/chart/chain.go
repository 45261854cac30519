package chart

import (
	"fmt"
	"strings"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// rung is one link of the ladder.
type rung struct {
	name, words string
	verdict     score.Verdict
	p, usual    *float64
	partly      bool
	side        screen.Side // NoSide: the finding behind it belongs to no side
}

// reach of the ladder's axis to either side: 100 for the bar, the rest for its text.
const reach = 168

// Chain draws the chain as a ladder: ground at the bottom, hand at the top, one rung a link. A bar is
// as long as the link's deficit is probable; it grows to the side that the link's most probable
// finding is worse on, the throwing side always to the right of the drawing, and to both sides where
// no side is worse. A tick marks what is usual; links that were not measured are dotted.
func Chain(rep *score.Report, p *screen.Protocol) Chart {
	rungs := rungsOf(rep, p)
	c := Chart{Title: "The chain from ground to hand", Summary: chainSummary(rungs),
		Height: 46*len(rungs) + 138, Table: chainTable(rep, rungs)}
	far := throwingSide(rep)
	bar := charts.NewBar()
	bar.AddSeries(chainSide(rep, far), rungBars(rungs, far, 1))
	bar.AddSeries(chainSide(rep, far.Other()), rungBars(rungs, far.Other(), -1))
	bar.Overlap(usualTicks(rungs, far), scatterOf("Text", textPoints(rungs, far)), scatterOf("Frame", nil))
	o := option(bar, c.Summary)
	for i, side := range []screen.Side{far, far.Other()} {
		dressBars(series(o, i), rungs, side, sideColor(rep, side))
	}
	dressTicks(series(o, 2))
	dressTexts(series(o, 3), rungs, far)
	lines := frame(rungs)
	lines["z"] = 1 // behind the bars
	series(o, 4)["markLine"] = lines
	chainAxes(o, rep, rungs)
	c.Option = o
	return c
}

func scatterOf(name string, data []opts.ScatterData) *charts.Scatter {
	s := charts.NewScatter()
	s.AddSeries(name, data)
	return s
}

func chainSide(rep *score.Report, side screen.Side) string {
	if !rep.Sides {
		return upperFirst(string(side)) + " side"
	}
	if side == throwingSide(rep) {
		return "Throwing (" + string(side) + ")"
	}
	return "Other (" + string(side) + ")"
}

func rungsOf(rep *score.Report, p *screen.Protocol) []rung {
	out := make([]rung, 0, len(p.Links))
	for i := range p.Links {
		r := rung{name: p.Links[i].Name, verdict: score.Unsettled, words: "no rule", side: screen.NoSide}
		for k := range rep.Links {
			if rep.Links[k].Link == p.Links[i].ID {
				r.take(&rep.Links[k])
				r.side = score.WorseSide(rep, p.Links[i].ID)
			}
		}
		out = append(out, r)
	}
	return out
}

func (r *rung) take(l *score.LinkResult) {
	r.verdict, r.partly = l.Verdict, l.Partly
	if l.P != nil && finite(*l.P) {
		r.p = l.P
	}
	if l.PUsual != nil && finite(*l.PUsual) {
		r.usual = l.PUsual
	}
	switch {
	case r.p == nil:
		r.words = "not measured"
	case r.partly && r.verdict == score.Unsettled:
		r.words = "partly measured"
	default:
		r.words = string(r.verdict)
	}
}

// part of the rung's probability that is drawn on a side, and whether any is.
func (r *rung) part(side screen.Side) (share float64, ok bool) {
	switch {
	case r.p == nil:
		return 0, false
	case r.side == screen.NoSide:
		return 0.5, true
	}
	return 1, r.side == side
}

func rungBars(rungs []rung, side screen.Side, sign float64) []opts.BarData {
	data := make([]opts.BarData, len(rungs))
	for i := range rungs {
		data[i].Name = rungs[i].name
		if share, ok := rungs[i].part(side); ok {
			data[i].Value = sign * share * 100 * *rungs[i].p
		}
	}
	return data
}

func dressBars(s obj, rungs []rung, side screen.Side, color string) {
	s["stack"], s["barWidth"], s["barMinHeight"] = "rung", 20, 0
	for i := range rungs {
		r := &rungs[i]
		if _, ok := r.part(side); !ok {
			continue
		}
		style := fill(lookOf(r.verdict), color)
		if r.side == screen.NoSide {
			style = fill(lookOf(r.verdict), Ink)
		}
		if r.partly {
			style["borderType"] = "dashed"
		}
		d := item(s, i)
		d["itemStyle"] = style
		d["tooltip"] = obj{"formatter": noPattern(r.sentence())}
	}
}

func (r *rung) sentence() string {
	s := r.name + ": " + r.words
	if r.p != nil {
		s += ", " + score.OutOf100(*r.p)
	}
	if r.usual != nil {
		s += " (usual: " + score.OutOf100(*r.usual) + ")"
	}
	return s
}

// sign of a rung's direction in the drawing.
func (r *rung) sign(far screen.Side) float64 {
	if r.side == far.Other() {
		return -1
	}
	return 1
}

func (r *rung) share() float64 {
	if r.side == screen.NoSide {
		return 0.5
	}
	return 1
}

func usualTicks(rungs []rung, far screen.Side) *charts.Scatter {
	data := []opts.ScatterData{}
	for i := range rungs {
		if r := &rungs[i]; r.usual != nil && r.p != nil {
			data = append(data, opts.ScatterData{Name: r.name, Value: list{r.sign(far) * r.share() * 100 * *r.usual, i}})
		}
	}
	return scatterOf("Usual", data)
}

func dressTicks(s obj) {
	s["symbol"], s["symbolSize"], s["silent"], s["z"] = "rect", list{3, 30}, true, 4
	s["itemStyle"] = obj{"color": Notes, "borderColor": Paper, "borderWidth": 0.5}
}

// textPoints stand at the ends of the bars, beyond the tick of what is usual.
func textPoints(rungs []rung, far screen.Side) []opts.ScatterData {
	data := []opts.ScatterData{}
	for i := range rungs {
		r := &rungs[i]
		if r.p == nil {
			continue
		}
		end := *r.p
		if r.usual != nil {
			end = max(end, *r.usual)
		}
		data = append(data, opts.ScatterData{Name: r.name, Value: list{r.sign(far) * r.share() * 100 * end, i}})
	}
	return data
}

func dressTexts(s obj, rungs []rung, far screen.Side) {
	s["symbolSize"], s["silent"], s["z"] = 1, true, 3
	s["itemStyle"] = obj{"color": "transparent"}
	at := 0
	for i := range rungs {
		r := &rungs[i]
		if r.p == nil {
			continue
		}
		position, align := "right", "left"
		if r.sign(far) < 0 {
			position, align = "left", "right"
		}
		l := label(strings.Replace(score.OutOf100(*r.p), " in 100", "\nin 100", 1), position, Ink, small)
		l["align"], l["lineHeight"], l["distance"] = align, 14, 5
		l["backgroundColor"], l["padding"] = Paper, list{0, 2}
		item(s, at)["label"] = l
		at++
	}
}

// frame is the spine, the rails at 100 on either side, and the dotted rungs.
func frame(rungs []rung) obj {
	vertical := func(x, width float64, color, words, where string, away int) obj {
		l := label(words, where, color, fontSize)
		l["distance"] = away
		return obj{"xAxis": x, "lineStyle": stroke(color, width, "solid"), "label": l}
	}
	data := list{
		vertical(0, 2.5, Ink, "Hand", "end", 24),
		vertical(-100, 1, Notes, "100", "start", 9),
		vertical(100, 1, Notes, "100", "start", 9),
	}
	for i := range rungs {
		line := stroke(Notes, 1, "solid")
		line["opacity"] = 0.35
		if rungs[i].p == nil {
			line = stroke(Notes, 2, "dotted")
		}
		data = append(data, segment(-100, float64(i), 100, float64(i), line))
	}
	if len(rungs) == 0 {
		data = data[:0]
	}
	return lines(data)
}

func chainAxes(o obj, rep *score.Report, rungs []rung) {
	names := make(list, len(rungs))
	for i := range rungs {
		names[i] = rungs[i].name + "\n" + rungs[i].words
	}
	far := throwingSide(rep)
	o["grid"] = obj{"left": 92, "right": 2, "top": 54, "bottom": 84}
	o["xAxis"] = list{
		bare(obj{"type": "value", "min": -reach, "max": reach, "name": "Ground", "nameLocation": "middle", "nameGap": 10,
			"nameTextStyle": text(Ink, fontSize), "axisLine": obj{"show": true, "onZero": false, "lineStyle": stroke(Ink, 5, "solid")}}),
		bare(obj{"type": "category", "position": "top", "data": list{chainSide(rep, far.Other()), chainSide(rep, far)},
			"axisLabel": axisLabel(obj{"interval": 0, "margin": 8})}),
	}
	o["title"] = note("Length: probability. Tick: what is usual.\nSolid: deficit. Hatched: unsettled. Outline: clear.")
	o["yAxis"] = bare(obj{"type": "category", "data": names,
		"axisLabel": axisLabel(obj{"interval": 0, "lineHeight": 15, "width": 84, "overflow": "break", "fontSize": small})})
}

func chainSummary(rungs []rung) string {
	var deficits []string
	clear, unsettled, not := 0, 0, 0
	for i := range rungs {
		switch r := &rungs[i]; {
		case r.p == nil:
			not++
		case r.verdict == score.Deficit:
			deficits = append(deficits, strings.ToLower(r.name)+" ("+score.OutOf100(*r.p)+")")
		case r.verdict == score.Clear:
			clear++
		default:
			unsettled++
		}
	}
	d := "no deficit"
	if len(deficits) > 0 {
		d = "deficit at " + strings.Join(deficits, ", ")
	}
	return fmt.Sprintf("Of %d links from ground to hand: %s; %d clear, %d unsettled, %d not measured.",
		len(rungs), d, clear, unsettled, not)
}

func chainTable(rep *score.Report, rungs []rung) Table {
	t := Table{Caption: "Probability of a deficit, link by link, from ground to hand",
		Columns: []string{"Link", "Verdict", "Deficit", "Usual", "Worse side"}, Rows: [][]string{}}
	for i := range rungs {
		r := &rungs[i]
		row := []string{r.name, r.words, "–", "–", "–"}
		if r.p != nil {
			row[2] = score.OutOf100(*r.p)
			if r.side != screen.NoSide {
				row[4] = chainSide(rep, r.side)
			}
		}
		if r.p != nil && r.usual != nil {
			row[3] = score.OutOf100(*r.usual)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
