package main

import (
	"bytes"
	"fmt"
	"image/color"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"evenhand/internal/proof"
)

// Figures are read without colour: ink on white, grey for what is only a guide; marks differ in shape.
var (
	ink   = color.RGBA{0x1b, 0x1f, 0x24, 0xff}
	guide = color.RGBA{0x8a, 0x91, 0x99, 0xff}
	pale  = color.RGBA{0xe9, 0xeb, 0xee, 0xff}
)

// panel is an empty plot in the figures' style.
func panel(title, x, y string) *plot.Plot {
	plot.DefaultFont = font.Font{Typeface: "Liberation", Variant: "Sans"}
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	for _, s := range []*draw.TextStyle{&p.Title.TextStyle, &p.X.Label.TextStyle, &p.Y.Label.TextStyle,
		&p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle} {
		s.Color, s.Font.Size, s.Font.Variant = ink, 9, "Sans"
	}
	p.Title.TextStyle.Font.Size, p.Title.Padding = 10, 4
	for _, s := range []*draw.LineStyle{&p.X.LineStyle, &p.Y.LineStyle, &p.X.Tick.LineStyle, &p.Y.Tick.LineStyle} {
		s.Color, s.Width = ink, 0.6
	}
	return p
}

func line(xy plotter.XYs, c color.Color, width vg.Length, dash ...vg.Length) *plotter.Line {
	return &plotter.Line{XYs: xy, LineStyle: draw.LineStyle{Color: c, Width: width, Dashes: dash}}
}

func marks(xy plotter.XYs, shape draw.GlyphDrawer, size vg.Length) *plotter.Scatter {
	return &plotter.Scatter{XYs: xy, GlyphStyle: draw.GlyphStyle{Color: ink, Radius: size, Shape: shape}}
}

// ticks are the values given, with labels of so many digits.
func ticks(digits int, at ...float64) plot.ConstantTicks {
	var out plot.ConstantTicks
	for _, v := range at {
		out = append(out, plot.Tick{Value: v, Label: num(digits, v)})
	}
	return out
}

// sheet draws panels in rows onto one SVG.
func sheet(rows [][]*plot.Plot, width, height vg.Length) ([]byte, error) {
	c := vgsvg.NewWith(vgsvg.UseWH(width, height))
	d := draw.New(c)
	d.SetColor(color.White)
	d.Fill(d.Path())
	t := draw.Tiles{Rows: len(rows), Cols: len(rows[0]), PadX: 14, PadY: 14, PadTop: 8, PadBottom: 8, PadLeft: 8, PadRight: 14}
	for i, list := range plot.Align(rows, t, d) {
		for j, at := range list {
			if rows[i][j] != nil {
				rows[i][j].Draw(at)
			}
		}
	}
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// calibrationFigure has a panel for each rule: what was said against what came true, by tenths.
func calibrationFigure(r *proof.Results) ([]byte, error) {
	var all []*plot.Plot
	add := func(title string, c *proof.Calibration) { all = append(all, calibrationPanel(title, c)) }
	for i := range r.Young.Outcomes {
		add(short(&r.Young.Outcomes[i].Rule), &r.Young.Outcomes[i].P)
	}
	add(fmt.Sprintf("Shoulder link, %d", r.Young.Age), &r.Young.PLink)
	for i := range r.Grown.Outcomes {
		if o := &r.Grown.Outcomes[i]; label(&o.Rule) != o.Name {
			add(short(&o.Rule), &o.P)
		}
	}
	const cols = 4
	var rows [][]*plot.Plot
	for len(all) > 0 {
		n := min(cols, len(all))
		rows = append(rows, append(all[:n:n], make([]*plot.Plot, cols-n)...))
		all = all[n:]
	}
	for len(rows) > 0 && rows[len(rows)-1][cols-1] == nil { // the last row is filled up with empty panels
		for j, p := range rows[len(rows)-1] {
			if p == nil {
				empty := panel("", "", "")
				empty.HideAxes()
				rows[len(rows)-1][j] = empty
			}
		}
	}
	return sheet(rows, 780, vg.Length(195*len(rows)))
}

func calibrationPanel(title string, c *proof.Calibration) *plot.Plot {
	p := panel(title, "said", "came true")
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 1, 0, 1
	p.X.Tick.Marker, p.Y.Tick.Marker = ticks(1, 0, 0.5, 1), ticks(1, 0, 0.5, 1)
	band, _ := plotter.NewPolygon(plotter.XYs{{X: 0, Y: 0}, {X: 0, Y: 0.03}, {X: 0.97, Y: 1}, {X: 1, Y: 1}, {X: 1, Y: 0.97}, {X: 0.03, Y: 0}})
	band.Color, band.Width = pale, 0
	var many, few plotter.XYs
	for i := range c {
		b := &c[i]
		at := plotter.XY{X: b.Said(), Y: b.Came()}
		switch {
		case b.N >= 1000:
			many = append(many, at)
		case b.N >= 100:
			few = append(few, at)
		}
	}
	p.Add(band, line(plotter.XYs{{X: 0, Y: 0}, {X: 1, Y: 1}}, guide, 0.6), marks(few, draw.RingGlyph{}, 2.2), marks(many, draw.CircleGlyph{}, 2.2))
	return p
}

// short names a rule in a panel.
func short(r *proof.Rule) string {
	names := map[string]string{
		"hip_internal_rotation_difference": "Hip rotation", "reach_anterior_difference": "Anterior reach",
		"trunk_rotation_difference": "Trunk rotation", "scapula_rest_difference": "Scapula, rest",
		"scapula_hands_on_hips_difference": "Scapula, hips", "scapula_abducted_difference": "Scapula, arms out",
		"internal_rotation_loss": "Internal rotation", "external_rotation_gain_small": "External rotation",
		"horizontal_adduction_loss": "Horizontal adduction", "flexion_loss": "Flexion", "total_arc_loss": "Total arc",
		"rotation_loss_with_arc_loss": "Rotation and arc",
	}
	name := names[r.ID]
	if name == "" {
		name = r.Name
	}
	if label(r) != r.Name {
		return fmt.Sprintf("%s, %d", name, r.Age)
	}
	return name
}

// verdictFigure has a row for each rule: how many of 100 athletes the plain comparison has wrong, how many
// a verdict has wrong, and how many are left unsettled.
func verdictFigure(r *proof.Results) ([]byte, error) {
	p := panel("Of 100 athletes", "", "")
	p.X.Min, p.X.Max = 0, 100
	p.X.Tick.Marker = ticks(0, 0, 20, 40, 60, 80, 100)
	var plain, ours, open plotter.XYs
	var names plot.ConstantTicks
	list := single(r)
	for i := range list {
		o, y := list[len(list)-1-i], float64(i)
		at := func(n int) plotter.XY { return plotter.XY{X: 100 * float64(n) / float64(o.N), Y: y} }
		plain = append(plain, at(o.FalseCalled+o.MissedPlain))
		ours = append(ours, at(o.FalseDeficits+o.MissedClears))
		open = append(open, at(o.Unsettled))
		names = append(names, plot.Tick{Value: y, Label: short(&o.Rule)})
		p.Add(line(plotter.XYs{{X: 0, Y: y}, {X: 100, Y: y}}, pale, 0.6))
	}
	p.Y.Min, p.Y.Max, p.Y.Tick.Marker = -0.7, float64(len(list))+1.3, names
	p.Y.Tick.Length = 0
	a, b, c := marks(ours, draw.CircleGlyph{}, 3.2), marks(plain, draw.CrossGlyph{}, 3.6), marks(open, draw.RingGlyph{}, 3.2)
	p.Add(c, b, a)
	p.Legend.Top, p.Legend.Padding, p.Legend.ThumbnailWidth = true, 2, 14
	p.Legend.Add("wrong by a verdict", a)
	p.Legend.Add("wrong by D > τ", b)
	p.Legend.Add("left unsettled", c)
	return sheet([][]*plot.Plot{{p}}, 640, 400)
}

// trendFigure shows, for each truth (columns), in how many of 100 the 90 % interval of level and slope
// (rows) holds the truth, by what the trend takes for known.
func trendFigure(r *proof.Results) ([]byte, error) {
	rows := make([][]*plot.Plot, 2)
	every := proof.Rhythms[1]
	for _, path := range every.Paths()[1:] {
		rows[0] = append(rows[0], gridPanel(r, path.Name, every.Every, true, "level held, of 100", func(t *proof.TrendResult) (int, int) { return t.Level, t.N }))
		rows[1] = append(rows[1], gridPanel(r, path.Name, every.Every, false, "called improving, of 100", func(t *proof.TrendResult) (int, int) { return t.Better, t.SlopeN }))
	}
	return sheet(rows, 780, 430)
}

func gridPanel(r *proof.Results, path string, every int, held bool, y string, value func(*proof.TrendResult) (int, int)) *plot.Plot {
	p := panel(path, "pace, ° a week", y)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0.8, 3.2, 0, 100
	p.X.Tick.Marker, p.Y.Tick.Marker = ticks(1, proof.GridPace...), ticks(0, 0, 20, 40, 60, 80, 100)
	if held {
		p.Y.Min, p.Y.Tick.Marker = 60, ticks(0, 60, 70, 80, 86, 90, 100)
		p.Add(line(plotter.XYs{{X: 0.8, Y: 86}, {X: 3.2, Y: 86}}, guide, 0.6, 3, 2), line(plotter.XYs{{X: 0.8, Y: 90}, {X: 3.2, Y: 90}}, guide, 0.6))
	}
	shapes := []draw.GlyphDrawer{draw.RingGlyph{}, draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}}
	for k, lambda := range proof.GridLambda {
		var xy plotter.XYs
		for _, t := range r.Grid {
			if t.Path.Name == path && t.Every == every && t.Lambda == lambda {
				a, n := value(t)
				xy = append(xy, plotter.XY{X: t.Pace, Y: 100 * float64(a) / float64(n)})
			}
		}
		m := marks(xy, shapes[k], 2.4)
		p.Add(line(xy, guide, 0.5), m)
		if path == "linear" && !held {
			p.Legend.Top, p.Legend.Padding, p.Legend.ThumbnailWidth = true, 2, 10
			p.Legend.Add(fmt.Sprintf("%g weeks", lambda), m)
		}
	}
	return p
}

// single are the outcomes of rules on one difference.
func single(r *proof.Results) []*proof.Outcome {
	var out []*proof.Outcome
	for i := range r.Young.Outcomes {
		if o := &r.Young.Outcomes[i]; !o.Both() {
			out = append(out, o)
		}
	}
	for i := range r.Grown.Outcomes {
		if o := &r.Grown.Outcomes[i]; !o.Both() && label(&o.Rule) != o.Name {
			out = append(out, o)
		}
	}
	return out
}
