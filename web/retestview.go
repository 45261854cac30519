package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenhand/internal/chart"
	"evenhand/internal/screen"
	"evenhand/internal/study"
)

// retestStudy is a retest study in words and tables.
type retestStudy struct {
	Line     string // in a sentence
	Summary  []string
	Once     []string   // names of measures that nobody was measured on twice
	NotWorth []labelled // measure and why
	Remarks  []string
	Rows     []retestRow

	study *study.Study
}

// retestRow is a measure in the table.
type retestRow struct {
	ID, Name, Href                        string
	Repeats, Same, Other, MDC, Difference string
	Published, Note                       string
}

func (v *retestStudy) errors() *study.Study {
	if v == nil {
		return nil
	}
	return v.study
}

func (v *retestStudy) find(id string) *study.Measure {
	for i := range v.study.Measures {
		if v.study.Measures[i].Measure == id {
			return &v.study.Measures[i]
		}
	}
	return nil
}

func (s *server) retestStudy(x *study.Study) *retestStudy {
	v := &retestStudy{Summary: x.Summary, study: x}
	if len(x.Summary) > 0 { // the first sentence stands at the head of the page
		v.Line, v.Summary = x.Summary[0], x.Summary[1:]
	}
	for i := range x.Measures {
		m := &x.Measures[i]
		if m.Same+m.Other+m.Days == 0 {
			v.Once = append(v.Once, lowerFirst(m.Name))
			continue
		}
		v.Rows = append(v.Rows, s.retestRow(m))
		if m.NotWorth != "" {
			v.NotWorth = append(v.NotWorth, labelled{Label: m.Name, Value: m.NotWorth})
		}
	}
	for _, r := range x.Remarks { // what the table says of a measure is not said again
		if name, _, ok := strings.Cut(r, ": "); !ok || !slices.ContainsFunc(x.Measures, func(m study.Measure) bool { return m.Name == name }) {
			v.Remarks = append(v.Remarks, r)
		}
	}
	return v
}

func (s *server) retestRow(m *study.Measure) retestRow {
	u := errorUnit(m)
	r := retestRow{ID: m.Measure, Name: m.Name, Repeats: repeatsWords(m), Same: spread(m.SEMSame, u), Other: spread(m.SEMOther, u), MDC: spread(m.MDC95, u),
		Difference: spread(told(m.DiffSE), u), Published: spread(told(m.PublishedDiffSE(s.clinic.Protocol().Measure(m.Measure))), u)}
	switch {
	case m.NotWorth != "":
		r.Note = "not worth taking as done now"
	case !m.Enough:
		r.Note = m.Statement
	}
	return r
}

// told is the difference that a standard error leaves to be told from error, 95 times in 100.
func told(se *float64) *float64 {
	if se == nil {
		return nil
	}
	x := 1.96 * *se
	return &x
}

// errorUnit is the unit of a measure's errors.
func errorUnit(m *study.Measure) string {
	if m.Scale == string(screen.Log) {
		return "%"
	}
	return m.Unit
}

// repeatsWords says how often sides were read again.
func repeatsWords(m *study.Measure) string {
	var parts []string
	for _, x := range []struct {
		n    int
		what string
	}{{m.Same, "same examiner"}, {m.Other, "another"}, {m.Days, "another day"}} {
		if x.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.n, x.what))
		}
	}
	if len(parts) == 0 {
		return "none"
	}
	return strings.Join(parts, ", ")
}

// spread writes an error with two digits that mean something and its unit; a dash if it is not known.
func spread(x *float64, unit string) string {
	if x == nil {
		return "–"
	}
	return withUnit(twoDigits(*x), unit)
}

func twoDigits(x float64) string {
	digits := 3
	switch x := math.Abs(x); {
	case x == 0 || math.IsNaN(x) || math.IsInf(x, 0):
		return "0"
	case x >= 9.95:
		digits = 0
	case x >= 0.995:
		digits = 1
	case x >= 0.0995:
		digits = 2
	}
	return strconv.FormatFloat(x, 'f', digits, 64)
}

// retestMeasure is all that a study says of one measure.
type retestMeasure struct {
	Name, Statement, NotWorth string
	Numbers                   []labelled
	Components                []componentRow
	ICC                       []iccRow
	ICCNote                   string
	Agreement, Examiners      *chartView
	AgreementWords            string
	BiasNote                  string
	Bias                      []string
	Kappa                     []labelled
	KappaWords                string
	Own, Published            string // where the errors come from
	Notes                     []string
}

type componentRow struct{ Name, SD, DF, Published, Pooled, Note string }

type iccRow struct{ Name, Means, Value, Interval, Note string }

// retestMeasure puts a measure into words. chartURL is where the picture of a kind comes from; nil: the
// study is nowhere but on this page, and the tables stand without pictures.
func (s *server) retestMeasure(m *study.Measure, chartURL func(kind string) string) *retestMeasure {
	u := errorUnit(m)
	v := &retestMeasure{Name: m.Name, Statement: m.Statement, NotWorth: m.NotWorth, ICCNote: m.ICCNote, BiasNote: m.BiasNote, Notes: m.Notes, Published: m.Published.Source}
	v.Numbers = []labelled{
		{"Read again", repeatsWords(m), count(m.Athletes, "athlete", "athletes") + ", " + count(m.Readings, "reading", "readings") + ", " + count(m.Examiners, "examiner", "examiners")},
		{"SEM, same examiner", spread(m.SEMSame, u), "of a value with the planned trials"},
		{"SEM, another examiner", spread(m.SEMOther, u), ""},
		{"MDC95 of a value", spread(m.MDC95, u), "smallest change that is real, same examiner"},
		{"Side difference that can be told", spread(told(m.DiffSE), u), "at one screen; with the published errors " + spread(told(m.PublishedDiffSE(s.clinic.Protocol().Measure(m.Measure))), u)},
		{"MDC95 of a side difference", spread(m.DiffMDC95, u), "smallest change of it that is real"},
	}
	for i := range m.Components {
		v.Components = append(v.Components, componentOf(&m.Components[i], u))
	}
	for i := range m.ICC {
		v.ICC = append(v.ICC, iccOf(m, i))
	}
	if m.Own != nil {
		v.Own = m.Own.Source
	}
	if m.Limits != nil {
		v.AgreementWords = m.Limits.Words
		v.Agreement = pictured(chart.Agreement(m), "agreement", chartURL)
	}
	if len(m.Bias) > 0 {
		v.Examiners = pictured(chart.Examiners(m), "examiners", chartURL)
		for i := range m.Bias {
			v.Bias = append(v.Bias, m.Bias[i].Words)
		}
	}
	v.kappa(m.Kappa)
	return v
}

// pictured is a chart with the address of its picture, or with its table alone.
func pictured(c chart.Chart, kind string, chartURL func(string) string) *chartView {
	if chartURL == nil {
		return view("", c)
	}
	v := view(chartURL(kind), c)
	v.Fold = kind == "agreement"
	return v
}

func componentOf(c *study.Component, unit string) componentRow {
	r := componentRow{Name: c.Name, SD: spread(c.SD, unit), DF: strconv.FormatFloat(c.DF, 'f', 0, 64), Published: spread(&c.Published, unit), Pooled: spread(&c.Pooled, unit), Note: c.Note}
	if c.Published == 0 {
		r.Published = "–"
	}
	if c.ID == "athlete" { // no error: it is what is looked for
		r.DF, r.Published, r.Pooled = "–", "–", "–"
	}
	return r
}

// designs say what each of the six correlations is of.
var designs = map[string]string{
	"ICC(1,1)": "one reading, whoever takes it; examiners not told apart",
	"ICC(2,1)": "one reading by any such examiner, agreement",
	"ICC(3,1)": "one reading by these examiners, consistency",
	"ICC(1,k)": "mean of all readings; examiners not told apart",
	"ICC(2,k)": "mean over such examiners, agreement",
	"ICC(3,k)": "mean over these examiners, consistency",
}

func iccOf(m *study.Measure, i int) iccRow {
	c := &m.ICC[i]
	r := iccRow{Name: c.Name, Means: designs[c.Name], Value: minus(c.Value), Interval: "–", Note: c.Note}
	if c.OK {
		r.Interval = minus(c.Lo) + " to " + minus(c.Hi)
	}
	return r
}

func minus(x float64) string {
	return strings.Replace(strconv.FormatFloat(x, 'f', 2, 64), "-", "−", 1)
}

func (v *retestMeasure) kappa(k *study.Kappa) {
	if k == nil {
		return
	}
	v.KappaWords = k.Words
	v.Kappa = []labelled{{"Pairs of ratings", strconv.Itoa(k.Pairs), ""},
		{"Same rating twice", strconv.Itoa(int(math.Round(100*k.Observed))) + " in 100", "by chance " + strconv.Itoa(int(math.Round(100*k.Chance))) + " in 100"}}
	if k.OK {
		v.Kappa = append(v.Kappa, labelled{"Kappa", minus(k.Kappa) + " ± " + minus(1.96*k.SE), ""},
			labelled{"Kappa, weighted by distance", minus(k.Weighted) + " ± " + minus(1.96*k.WeightedSE), "squares of the steps between"})
	}
}
