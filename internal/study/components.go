package study

import (
	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// The sources of variance, in the order in which they are listed.
const (
	ofAthlete = iota
	ofDay
	ofPlacing
	ofExaminer
	ofTrial
	sources
)

// variances is one variance for each source.
type variances [sources]float64

// own is what the study alone says. A source is told by itself, or only together with others (lump), or
// not at all.
type own struct {
	v      variances
	df     variances
	told   [sources]bool
	zero   [sources]bool
	lump   []int // sources told only as a sum
	lumpV  float64
	lumpDF float64
	notes  []string
}

func (o *own) lumped(s int) bool {
	for _, x := range o.lump {
		if x == s {
			return true
		}
	}
	return false
}

// any reports whether the study says something of an error.
func (o *own) any() bool {
	return len(o.lump) > 0 || o.told[ofDay] || o.told[ofPlacing] || o.told[ofExaminer] || o.told[ofTrial]
}

// design is the variance component model of a table: which effect of the model stands for what.
type design struct {
	mixed  stat.Mixed
	effect map[string]int // athlete, side, placing, day, examiner
	days   bool
	names  []string // examiners, in the order of X's columns where they are fixed
}

// design sets the model up. The truth is an athlete and a side within; a day belongs to a side, as
// scoring has it. Examiners are drawn at random from FewExaminers on, else each has a mean of its own.
func (t *table) design(fixed bool) *design {
	d := &design{effect: map[string]int{}, names: t.examiners()}
	n := len(t.list)
	levels := map[string][]int{}
	for _, id := range []string{"athlete", "side", "placing", "day", "examiner"} {
		levels[id] = make([]int, n)
	}
	at := map[string]int{}
	for i, name := range d.names {
		at[name] = i
	}
	athlete, sides, day := -1, false, -1
	for k, x := range t.targets {
		if k == 0 || t.list[x.from].athlete != t.list[x.from-1].athlete {
			athlete++
		} else {
			sides = true
		}
		for i := x.from; i < x.to; i++ {
			r := &t.list[i]
			if i == x.from || r.day != t.list[i-1].day {
				day++
				d.days = d.days || i > x.from
			}
			levels["athlete"][i], levels["side"][i], levels["placing"][i], levels["day"][i], levels["examiner"][i] = athlete, k, i, day, at[r.examiner]
			d.mixed.Y, d.mixed.K = append(d.mixed.Y, r.y), append(d.mixed.K, r.k)
			d.mixed.WithinSS += r.ss
			d.mixed.WithinDF += r.k - 1
		}
	}
	add := func(id string, want bool) {
		if want {
			d.effect[id] = len(d.mixed.Groups)
			d.mixed.Groups, d.mixed.Names = append(d.mixed.Groups, levels[id]), append(d.mixed.Names, id)
		}
	}
	add("athlete", athlete > 0)
	add("side", sides)
	add("placing", true)
	add("day", d.days)
	add("examiner", !fixed && len(d.names) >= FewExaminers)
	if (fixed || len(d.names) < FewExaminers) && len(d.names) > 1 {
		for i := range n {
			row := make([]float64, len(d.names))
			row[levels["examiner"][i]] = 1
			d.mixed.X = append(d.mixed.X, row)
		}
	}
	return d
}

// estimate fits the model and says what it tells of each source. published serves for the degrees of
// freedom: they are those that the study is worth half way between what it found and what is published,
// so that a study which happened to find little is not taken for one that says little.
func (t *table) estimate(published variances) (own, stat.Fit, *design, error) {
	d := t.design(false)
	var o own
	f, err := stat.REML(d.mixed)
	if err != nil {
		return o, f, d, err
	}
	if !f.Converged {
		o.notes = append(o.notes, "The fit of the variance components had not settled; take them as rough.")
	}
	tell := func(s int, id string) bool {
		e, in := d.effect[id]
		if !in || f.Confounded[e] {
			return false
		}
		o.v[s] += f.Var[e]
		o.told[s], o.zero[s] = true, o.v[s] == 0
		return true
	}
	tell(ofAthlete, "athlete")
	tell(ofAthlete, "side")
	tell(ofExaminer, "examiner")
	placing, day := tell(ofPlacing, "placing"), tell(ofDay, "day")
	if !f.ResidualKnown {
		return o, f, d, nil
	}
	o.v[ofTrial], o.told[ofTrial], o.zero[ofTrial] = f.Residual, true, f.ResidualAtZero
	switch {
	case !placing && d.days && !day:
		o.together(ofTrial, ofDay, ofPlacing, ofTrial)
	case !placing:
		o.together(ofTrial, ofPlacing, ofTrial)
	case d.days && !day:
		o.together(ofPlacing, ofDay, ofPlacing)
	}
	d.worth(&o, published)
	return o, f, d, nil
}

// together says that what stands under source s is the sum of the ones listed.
func (o *own) together(s int, list ...int) {
	o.lump, o.lumpV = list, o.v[s]
	for _, x := range list {
		o.v[x], o.told[x], o.zero[x] = 0, false, false
	}
}

// withoutTrials is for derived values, which have one value a placing: what was told of trial and placing
// together is the placing's.
func (o *own) withoutTrials() {
	if !o.lumped(ofTrial) {
		return
	}
	o.lump = o.lump[:len(o.lump)-1] // it stands last
	if len(o.lump) > 1 {
		return
	}
	o.told[ofPlacing], o.v[ofPlacing], o.df[ofPlacing], o.zero[ofPlacing] = true, o.lumpV, o.lumpDF, o.lumpV == 0
	o.lump, o.lumpV, o.lumpDF = nil, 0, 0
}

// effects are the sources that are effects of the model, by name.
var effects = []struct {
	source int
	id     string
}{{ofPlacing, "placing"}, {ofDay, "day"}, {ofExaminer, "examiner"}}

// worth sets the degrees of freedom, 2v²/var(v̂), at the variances of halfWay.
func (d *design) worth(o *own, published variances) {
	at, residual := d.halfWay(o, published)
	se, err := stat.REMLStandardErrors(d.mixed, at, residual)
	if err != nil {
		return // no degrees of freedom: nothing is taken from the study
	}
	df := func(v, se float64) float64 {
		if se == 0 {
			return 0
		}
		return 2 * v * v / (se * se)
	}
	for _, x := range effects {
		if e, in := d.effect[x.id]; in && o.told[x.source] {
			o.df[x.source] = df(at[e], se[e])
		}
	}
	last := len(se) - 1
	if o.lumped(ofTrial) {
		o.lumpDF = df(residual, se[last])
		return
	}
	if e := d.effect["placing"]; len(o.lump) > 0 {
		o.lumpDF = df(at[e], se[e])
	}
	o.df[ofTrial] = df(residual, se[last])
}

// halfWay is the variances of the model's effects, and the residual, half way between what was found and
// what is published; what was found where nothing is published.
func (d *design) halfWay(o *own, published variances) (at []float64, residual float64) {
	half := func(found, paper float64) float64 {
		if paper == 0 {
			return found
		}
		return (found + paper) / 2
	}
	at = make([]float64, len(d.mixed.Groups))
	set := func(id string, v float64) {
		if e, in := d.effect[id]; in {
			at[e] = v
		}
	}
	set("athlete", o.v[ofAthlete]) // how it splits between athlete and side hardly matters here
	for _, x := range effects {
		set(x.id, half(o.v[x.source], published[x.source]))
	}
	together := 0.0
	for _, s := range o.lump {
		together += published[s]
	}
	together = half(o.lumpV, together)
	residual = half(o.v[ofTrial], published[ofTrial])
	switch {
	case o.lumped(ofTrial):
		residual = together
	case len(o.lump) > 0:
		set("placing", together)
	}
	if residual <= 0 {
		residual = 1e-6 * max(1e-6, o.v[ofAthlete]+o.v[ofPlacing]+o.lumpV)
	}
	return at, residual
}

// published is the protocol's error as variances, and which of them it does not know.
func published(m *screen.Measure) (v variances, unknown [sources]bool) {
	e := &m.Resolved
	v = variances{ofDay: e.Day * e.Day, ofPlacing: e.Placing * e.Placing, ofExaminer: e.Examiner * e.Examiner, ofTrial: e.Trial * e.Trial}
	none := m.Error.Within == nil && m.Error.Between == nil
	unknown[ofPlacing] = none
	unknown[ofDay] = none || e.LowerBound
	unknown[ofExaminer] = m.Error.Within == nil || m.Error.Between == nil
	unknown[ofTrial] = m.Error.Trial == nil
	return v, unknown
}

// pool joins own and published variances by degrees of freedom, σ² = (ν·own + 20·paper)/(ν + 20), for
// what the study tells; the rest stays as published. What no paper gives is the study's alone. Sources
// told only together share their sum as they do in the paper; where the paper knows some of them, those
// stay, and the others get what is left.
func (o *own) pool(paper variances, unknown [sources]bool) variances {
	out := paper
	for s := range sources {
		switch {
		case !o.told[s] || s == ofAthlete:
		case unknown[s]:
			out[s] = o.v[s]
		default:
			out[s] = weighted(o.v[s], o.df[s], paper[s])
		}
	}
	if len(o.lump) == 0 {
		return out
	}
	known, open := 0.0, []int{}
	for _, s := range o.lump {
		if unknown[s] {
			open = append(open, s)
		} else {
			known += paper[s]
		}
	}
	if len(open) > 0 {
		for _, s := range open {
			out[s] = max(0, o.lumpV-known) / float64(len(open))
		}
		return out
	}
	for _, s := range o.lump {
		if known > 0 {
			out[s] = paper[s] / known * weighted(o.lumpV, o.lumpDF, known)
		} else {
			out[s] = weighted(o.lumpV, o.lumpDF, 0) / float64(len(o.lump))
		}
	}
	return out
}

func weighted(found, df, paper float64) float64 {
	return (df*found + PaperWeight*paper) / (df + PaperWeight)
}

// same is the study's own variance of a value by the same examiner, of so many trials.
func (o *own) same(trials float64) (v float64, ok bool) {
	v = o.lumpV
	for _, s := range []int{ofDay, ofPlacing} {
		if o.told[s] {
			v += o.v[s]
			ok = true
		}
	}
	if o.told[ofTrial] {
		v += o.v[ofTrial] * trials
	}
	return v, ok || len(o.lump) > 0
}
