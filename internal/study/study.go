package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// FewAthletes is below how many athletes with repeats an error is that of these athletes and not of a
// squad. Assumed.
const FewAthletes = 4

// New works out what repeated readings say of the errors of the protocol's measures. Readings of one
// athlete, measure, side and day are placings in the order given; everything else about their order is
// without meaning. Readings of measures that the protocol does not know, and of those it computes from
// others, are left out and counted in Remarks. Nothing is refused: what the readings cannot answer is
// said in words.
func New(p *screen.Protocol, readings []Reading) *Study {
	s := &Study{Protocol: p.NameAndVersion(), Hash: p.Hash, Examiners: []string{}, Measures: []Measure{}, Summary: []string{}, Remarks: []string{}}
	g := gather(p, readings)
	w := work{g: g, errors: make([]screen.Error, len(p.Measures)), again: map[string]bool{}, by: map[string]bool{}}
	for i := range p.Measures {
		w.errors[i] = p.Measures[i].Resolved
	}
	out := make([]*Measure, len(p.Measures))
	for _, derived := range []bool{false, true} { // those computed from others take their errors
		for i := range p.Measures {
			if (p.Measures[i].Derived != nil) != derived {
				continue
			}
			if t := g.table(i); t != nil && len(t.list) > 0 {
				out[i] = w.measure(t)
			}
		}
	}
	for _, m := range out {
		if m != nil {
			s.Measures = append(s.Measures, *m)
		}
	}
	s.Athletes = len(w.again)
	for name := range w.by {
		s.Examiners = append(s.Examiners, name)
	}
	slices.Sort(s.Examiners)
	s.summarize()
	s.remark(g.counts)
	return s
}

// work is what the measures of a study share.
type work struct {
	g      *gatherer
	errors []screen.Error // in use if the study is switched on, by place of the measure in the protocol
	again  map[string]bool
	by     map[string]bool
}

func (w *work) measure(all *table) *Measure {
	t := all.repeated()
	r := t.repeats()
	m := &Measure{Measure: t.m.ID, Name: t.m.Name, Unit: t.m.Unit, Scale: string(t.m.Scale), Published: t.m.Resolved,
		Athletes: t.athletes(), Readings: len(t.list), Same: r.same, Other: r.other, Days: r.days, Examiners: len(t.examiners()),
		Components: []Component{}, ICC: []stat.ICC{}, Bias: []Bias{}}
	if t.log {
		m.Scale = string(screen.Log)
	}
	for i := range t.list {
		w.again[t.list[i].athlete], w.by[t.list[i].examiner] = true, true
	}
	short := notEnough(r, m.Athletes)
	m.Enough = short == "" && t.m.Scale != screen.Count
	switch {
	case t.m.Scale == screen.Count:
		m.Statement = "A count is left out: its error depends on how large it is, and its rule takes that from the published spread of counts."
	case r.all() == 0:
		m.Statement = short
	case t.m.Scale == screen.Category:
		m.Kappa = t.kappa()
		m.Statement = short
		if m.Enough && m.Kappa != nil {
			m.Statement = m.Kappa.Words
		}
	default:
		w.values(m, t, r, short)
		if len(all.examiners()) == 1 {
			m.floorNote(t)
		}
	}
	return m
}

// values fills in a measure with numbers.
func (w *work) values(m *Measure, t *table, r repeats, short string) {
	m.ICC, m.ICCNote = t.iccs()
	m.Limits = t.limits(t.unit())
	if m.ICC == nil {
		m.ICC = []stat.ICC{}
	}
	paper, unknown := w.published(t)
	o, fit, d, err := t.estimate(paper)
	if err != nil { // readings are finite and one a row: only a change of stat could bring this about
		m.Enough, m.Statement = false, "The variance components could not be worked out from these readings."
		return
	}
	if t.m.Derived != nil {
		o.withoutTrials()
	}
	b := t.bias(&fit, d)
	m.Bias, m.BiasNote = slices.Concat(m.Bias, b.list), b.note
	pooled := o.pool(paper, unknown)
	m.Components = t.components(&o, paper, pooled, unknown)
	m.Notes = append(m.Notes, o.notes...)
	m.sem(t, &o, &b)
	if t.log {
		m.Notes = append(m.Notes, "Errors and differences are in percent: a hundred times the difference of natural logarithms.")
	}
	if r.days == 0 {
		m.Notes = append(m.Notes, "All repeats were on the same day: what another day adds stays as published.")
	}
	switch {
	case short != "":
		m.Statement = short
	case t.identical():
		m.Enough = false
		m.Statement = fmt.Sprintf("All %d repeats are exactly as the first reading. Either the instrument is read in steps larger than the error, or second readings were copied: the published error stays in use.", r.all())
	case !o.any():
		m.Enough = false
		m.Statement = "The repeats tell no source of error apart from the differences between athletes: the published error stays in use."
	default:
		w.use(m, t, &o, pooled)
		m.Statement = m.statement(t, r)
	}
}

// bias compares the examiners; from FewExaminers on the fit of the components has no means of theirs, so
// another one is made.
func (t *table) bias(fit *stat.Fit, d *design) bias {
	if len(d.names) >= FewExaminers {
		d = t.design(true)
		fixed, err := stat.REML(d.mixed)
		if err != nil {
			return bias{}
		}
		fit = &fixed
	}
	return t.biasOf(fit, d, t.unit())
}

// sem sets the standard errors of measurement that the study found, with the planned trials.
func (m *Measure) sem(t *table, o *own, b *bias) {
	v, ok := o.same(t.m.Trials.Share(max(1, t.m.Trials.Planned)))
	if !ok {
		return
	}
	by := t.perCent()
	same := by * math.Sqrt(v)
	mdc := screen.MDC95(same)
	m.SEMSame, m.MDC95 = &same, &mdc
	between := b.between
	if o.told[ofExaminer] {
		between = o.v[ofExaminer]
	}
	if b.ok || o.told[ofExaminer] {
		other := by * math.Sqrt(v+between)
		m.SEMOther = &other
	}
}

// published is the error that the study is pooled with. That of a derived measure is what the errors in
// use of its parts add up to, with the trials as planned in the placing.
func (w *work) published(t *table) (v variances, unknown [sources]bool) {
	if t.m.Derived == nil {
		return published(t.m)
	}
	for i := range t.list {
		for _, x := range t.termsOf(&t.list[i]) {
			e, c := &w.errors[x.m], x.c*x.c/float64(len(t.list))
			v[ofDay] += c * e.Day * e.Day
			v[ofPlacing] += c * (e.Placing*e.Placing + e.Trial*e.Trial/float64(x.k))
			v[ofExaminer] += c * e.Examiner * e.Examiner
		}
	}
	unknown[ofTrial] = true
	return v, unknown
}

// use sets the error that scoring takes if the study is switched on, and what follows from it. A derived
// measure has no error but that of its parts, and what its own repeats say of side differences.
func (w *work) use(m *Measure, t *table, o *own, pooled variances) {
	e := t.m.Resolved
	if t.m.Derived == nil {
		e = screen.Error{Trial: math.Sqrt(pooled[ofTrial]), Placing: math.Sqrt(pooled[ofPlacing]), Day: math.Sqrt(pooled[ofDay]),
			Examiner: math.Sqrt(pooled[ofExaminer]), LowerBound: e.LowerBound && !o.told[ofDay] && !o.lumped(ofDay)}
		e.Source = fmt.Sprintf("the squad's own study: %s of %s", count(m.Same+m.Other+m.Days, "repeat", "repeats"), count(m.Athletes, "athlete", "athletes"))
		if t.m.Resolved.Source != "" {
			e.Source += ", pooled with " + t.m.Resolved.Source
		}
		w.errors[t.index] = e
	}
	if t.m.Paired && !t.m.Pooled && (t.m.Derived == nil || t.m.Derived.Per == nil) {
		e.Pair = t.pairs(w.errors).factor()
		w.errors[t.index].Pair = e.Pair
		w.difference(m, t, e.Pair)
	}
	if t.m.Derived == nil || e.Pair > 0 {
		if t.m.Derived != nil {
			e.Source = fmt.Sprintf("the errors of its parts; side differences by the squad's own study, %s", count(m.Athletes, "athlete", "athletes"))
		}
		m.Own = &e
	}
}

// difference sets the standard error of a side difference at one screen by one examiner with the
// planned trials, and says if no rule can work with it.
func (w *work) difference(m *Measure, t *table, pair float64) {
	v := 0.0
	for _, x := range t.termsOf(&t.list[0]) {
		e, part := &w.errors[x.m], &t.p.Measures[x.m]
		v += x.c * x.c * 2 * (e.Placing*e.Placing + e.Day*e.Day + e.Trial*e.Trial*part.Trials.Share(max(1, part.Trials.Planned)))
	}
	if pair > 0 {
		v *= pair
	}
	se := math.Sqrt(v)
	shown := se * t.perCent()
	mdc := screen.MDC95(shown)
	m.DiffSE, m.DiffMDC95 = &shown, &mdc
	why, other := t.notWorth(se)
	switch {
	case why == "":
	case other:
		m.Notes = append(m.Notes, why+" What else it serves for does not hang on that.")
	default:
		m.NotWorth = why
	}
}

// summarize says what the whole study means.
func (s *Study) summarize() {
	if s.Athletes == 0 {
		s.Summary = append(s.Summary, "Nobody was read twice: the published errors stay in use.")
		return
	}
	enough, own := 0, 0
	var not []string
	for i := range s.Measures {
		m := &s.Measures[i]
		if m.Enough {
			enough++
		}
		if m.Own != nil {
			own++
		}
		if m.NotWorth != "" {
			not = append(not, lower(m.Name))
		}
	}
	s.Summary = append(s.Summary, fmt.Sprintf("%s measured again; %s read.", count(s.Athletes, "athlete was", "athletes were"), count(len(s.Examiners), "examiner", "examiners")))
	s.Summary = append(s.Summary, fmt.Sprintf("%d of %s repeats enough to go by; for %d of them the study gives an error of its own, pooled with the published one.",
		enough, count(len(s.Measures), "measure has", "measures have"), own))
	if len(not) > 0 {
		s.Summary = append(s.Summary, fmt.Sprintf("Not worth taking as done now, because no rule on them can work with the error found: %s.", strings.Join(not, "; ")))
	}
}

// remark says what was left out.
func (s *Study) remark(c left) {
	if c.unknown > 0 {
		s.Remarks = append(s.Remarks, count(c.unknown, "reading is", "readings are")+" of measures that the protocol does not read: left out.")
	}
	if c.bad > 0 {
		s.Remarks = append(s.Remarks, count(c.bad, "reading has", "readings have")+" no trials or values that are no numbers: left out.")
	}
	if len(s.Measures) == 0 {
		s.Remarks = append(s.Remarks, "There are no readings to work with.")
	}
	for i := range s.Measures {
		if m := &s.Measures[i]; !m.Enough {
			s.Remarks = append(s.Remarks, m.Name+": "+m.Statement)
		}
	}
	if len(s.Examiners) == 1 {
		s.Remarks = append(s.Remarks, "One examiner read all: nothing can be said of how another would read, and the published figure for that stays.")
	}
	if s.Athletes > 0 && slices.Contains(s.Examiners, "") && len(s.Examiners) > 1 {
		s.Remarks = append(s.Remarks, "Readings that name no examiner are taken as one person's.")
	}
}
