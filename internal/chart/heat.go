package chart

import (
	"fmt"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// HeatRow is one athlete of a squad with the report to draw; a nil report is an athlete not screened.
type HeatRow struct {
	Athlete string // id
	Label   string // name
	Report  *score.Report
}

// The steps of the shade: the opacity of the ink for a probability from so many in 100 up. The step
// from dark on light to light on dark text leaves out the shades on which neither can be read.
var shades = []struct{ from, opacity float64 }{{0, 0.05}, {20, 0.16}, {40, 0.32}, {60, 0.64}, {80, 0.88}}

const lightTextFrom = 60 // in 100: paper on ink from here up

// Heat draws a squad as a table of athletes and links, shaded by the probability of a deficit, with
// the number in every cell. Bold is a deficit, a question mark unsettled, a dash not measured. Rows
// stay in the order given.
func Heat(rows []HeatRow, p *screen.Protocol) Chart {
	cells := cellsOf(rows, p)
	c := Chart{Title: "Squad by link", Summary: heatSummary(rows, cells), Table: heatTable(rows, cells, p), Height: 26*len(rows) + 174}
	measured, empty := []opts.HeatMapData{}, []opts.ScatterData{}
	for i := range cells {
		k := &cells[i]
		if k.p == nil {
			empty = append(empty, opts.ScatterData{Name: rows[k.row].Label, Value: list{k.col, k.row}})
			continue
		}
		measured = append(measured, opts.HeatMapData{Name: rows[k.row].Label, Value: list{k.col, k.row, 100 * *k.p}})
	}
	h := charts.NewHeatMap()
	h.AddSeries("Probability of a deficit", measured)
	h.Overlap(scatterOf("Not measured", empty))
	o := option(h, c.Summary)
	dressCells(o, rows, cells, p)
	heatAxes(o, rows, p)
	c.Option = o
	return c
}

// cell is one link of one athlete.
type cell struct {
	row, col int
	p        *float64
	verdict  score.Verdict
	partly   bool
}

func cellsOf(rows []HeatRow, p *screen.Protocol) []cell {
	out := make([]cell, 0, len(rows)*len(p.Links))
	for i := range rows {
		for l := range p.Links {
			k := cell{row: i, col: l, verdict: score.Unsettled}
			if rep := rows[i].Report; rep != nil {
				for j := range rep.Links {
					r := &rep.Links[j]
					if r.Link == p.Links[l].ID && r.P != nil && finite(*r.P) {
						k.p, k.verdict, k.partly = r.P, r.Verdict, r.Partly
					}
				}
			}
			out = append(out, k)
		}
	}
	return out
}

// mark is the number in the cell: "87", ">99", "<1", with a question mark where it is unsettled.
func (k *cell) mark() string {
	if k.p == nil {
		return "–"
	}
	s := number(100**k.p, 0)
	switch {
	case *k.p > 0.99:
		s = ">99"
	case *k.p < 0.01:
		s = "<1"
	}
	if k.verdict == score.Unsettled {
		s += "?"
	}
	return s
}

func (k *cell) words() string {
	if k.p == nil {
		return "not measured"
	}
	s := score.OutOf100(*k.p) + ", " + string(k.verdict)
	if k.partly {
		s += ", partly measured"
	}
	return s
}

func dressCells(o obj, rows []HeatRow, cells []cell, p *screen.Protocol) {
	heat, empty := series(o, 0), series(o, 1)
	empty["symbolSize"], empty["itemStyle"] = 1, obj{"color": "transparent"}
	full, none := 0, 0
	for i := range cells {
		k := &cells[i]
		l := label(k.mark(), "inside", Ink, small)
		tip := obj{"formatter": noPattern(rows[k.row].Label + ", " + p.Links[k.col].Name + ": " + k.words())}
		if k.p == nil {
			l["color"] = Notes
			it := item(empty, none)
			it["label"], it["tooltip"] = l, tip
			none++
			continue
		}
		if 100**k.p >= lightTextFrom {
			l["color"] = Paper
		}
		if k.verdict == score.Deficit {
			l["fontWeight"] = "bold"
		}
		it := item(heat, full)
		it["label"], it["tooltip"] = l, tip
		it["itemStyle"] = obj{"borderColor": Paper, "borderWidth": 1}
		full++
	}
	heat["label"], heat["emphasis"] = obj{"show": true}, obj{"disabled": true}
}

func heatAxes(o obj, rows []HeatRow, p *screen.Protocol) {
	names, links := make(list, len(rows)), make(list, len(p.Links))
	for i := range rows {
		names[i] = rows[i].Label
	}
	for i := range p.Links {
		links[i] = p.Links[i].Name
	}
	o["grid"] = obj{"left": 104, "right": 4, "top": 112, "bottom": 62}
	o["xAxis"] = bare(obj{"type": "category", "position": "top", "data": links,
		"axisLabel": axisLabel(obj{"interval": 0, "rotate": 90, "width": 104, "overflow": "truncate", "fontSize": small})})
	o["yAxis"] = bare(obj{"type": "category", "inverse": true, "data": names,
		"axisLabel": axisLabel(obj{"interval": 0, "width": 96, "overflow": "truncate", "fontSize": small})})
	pieces := make(list, len(shades))
	for i, s := range shades {
		piece := obj{"gte": s.from, "color": Ink, "colorAlpha": s.opacity, "label": "from " + number(s.from, 0)}
		if i+1 < len(shades) {
			piece["lt"], piece["label"] = shades[i+1].from, "under "+number(shades[i+1].from, 0)
		}
		pieces[i] = piece
	}
	o["visualMap"] = obj{"type": "piecewise", "pieces": pieces, "seriesIndex": 0, "dimension": 2, "orient": "horizontal", "left": 0, "bottom": 26,
		"itemWidth": 12, "itemHeight": 14, "itemGap": 5, "textGap": 3, "padding": list{4, 0}, "selectedMode": false, "hoverLink": false, "textStyle": text(Ink, small)}
	o["title"] = note("In 100. Bold: deficit. ?: unsettled. –: not measured.")
}

func heatSummary(rows []HeatRow, cells []cell) string {
	deficits, measured := 0, 0
	for i := range cells {
		if cells[i].p != nil {
			measured++
			if cells[i].verdict == score.Deficit {
				deficits++
			}
		}
	}
	return fmt.Sprintf("Probability of a deficit for %d athletes, link by link: %d of %d links measured, %d with a deficit.",
		len(rows), measured, len(cells), deficits)
}

func heatTable(rows []HeatRow, cells []cell, p *screen.Protocol) Table {
	t := Table{Caption: "Probability of a deficit, athletes and links", Columns: []string{"Athlete"}, Rows: [][]string{}}
	for i := range p.Links {
		t.Columns = append(t.Columns, p.Links[i].Name)
	}
	for i := range rows {
		row := []string{rows[i].Label}
		for k := range p.Links {
			row = append(row, cells[i*len(p.Links)+k].words())
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
