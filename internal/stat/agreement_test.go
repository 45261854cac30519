package stat

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// loadRefs reads a file of reference values; each names its source and the programs that made it.
func loadRefs(t testing.TB, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// checker is a test, or a property being checked.
type checker interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// near fails unless got is within tol of want, relative to want if that is above 1.
func near(t checker, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*max(1, math.Abs(want))) {
		t.Errorf("%s = %.12g, want %.12g (off by %.1e)", what, got, want, got-want)
	}
}

type iccRef struct {
	Ratings       [][]float64 `json:"ratings_rows_are_subjects"`
	RatingsToo    [][]float64 `json:"ratings"`
	ICC, F        []float64
	DF1, DF2      []float64
	P             []float64
	Lower, Upper  []float64
	Lower95       []float64 `json:"lower95"`
	Upper95       []float64 `json:"upper95"`
	TypesAsInR    []string  `json:"type"`
	SourceInWords string    `json:"source"`
}

// Shrout and Fleiss 1979, table 2, and a table drawn at random whose coefficients are below zero; R
// 4.2.2, psych 2.2.9.
func TestICCsAgainstR(t *testing.T) {
	var published struct{ ICC iccRef }
	var drawn struct {
		ICC iccRef `json:"icc_negative"`
	}
	loadRefs(t, "statistics.json", &published)
	loadRefs(t, "mixed.json", &drawn)
	drawn.ICC.Ratings = drawn.ICC.RatingsToo
	names := []string{"ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)"}
	for _, ref := range []iccRef{published.ICC, drawn.ICC} {
		got, err := ICCs(ref.Ratings)
		if err != nil || len(got) != 6 || len(ref.ICC) != 6 {
			t.Fatal(len(got), len(ref.ICC), err)
		}
		for i, c := range got {
			if c.Name != names[i] || !c.OK || c.Note != "" {
				t.Errorf("%d: %+v", i, c)
			}
			near(t, c.Name, c.Value, ref.ICC[i], 1e-9)
			near(t, c.Name+" F", c.F, ref.F[i], 1e-9)
			near(t, c.Name+" df1", c.DF1, ref.DF1[i], 0)
			near(t, c.Name+" df2", c.DF2, ref.DF2[i], 0)
			near(t, c.Name+" p", c.P/ref.P[i], 1, 1e-6)
			near(t, c.Name+" lower", c.Lo, ref.Lower95[i], 1e-6)
			near(t, c.Name+" upper", c.Hi, ref.Upper95[i], 1e-6)
		}
	}
}

// The six values printed in Shrout and Fleiss 1979, and the mean squares and standard errors of
// measurement that follow from their table (Weir 2005).
func TestICCsAsPublished(t *testing.T) {
	table := [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}}
	got, err := ICCs(table)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{.17, .29, .71, .44, .62, .91} {
		if math.Round(100*got[i].Value)/100 != want {
			t.Errorf("%s = %.4f, published %.2f", got[i].Name, got[i].Value, want)
		}
	}
	two, err := NewTwoWay(table)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "BMS", two.BMS, 11.241667, 1e-6)
	near(t, "WMS", two.WMS, 6.263889, 1e-6)
	near(t, "JMS", two.JMS, 32.486111, 1e-6)
	near(t, "EMS", two.EMS, 1.019444, 1e-6)
	near(t, "mean", two.Mean, 5.291667, 1e-6)
	near(t, "SEM of agreement", two.SEMAgreement, 2.5028, 1e-4)
	near(t, "SEM of consistency", two.SEMConsistency, 1.0097, 1e-4)
}

// Tables without scatter of one kind or the other: words, and no figure that is not finite.
func TestICCsWithoutScatter(t *testing.T) {
	for name, c := range map[string]struct {
		table [][]float64
		want  [6]float64
		ok    [6]bool
	}{
		"all the same":                 {[][]float64{{5.1, 5.1}, {5.1, 5.1}, {5.1, 5.1}}, [6]float64{}, [6]bool{}},
		"judges agree exactly":         {[][]float64{{5.1, 5.1}, {7.3, 7.3}, {9.7, 9.7}}, [6]float64{1, 1, 1, 1, 1, 1}, [6]bool{}},
		"judges differ by a constant":  {[][]float64{{1, 3}, {2, 4}, {3, 5}}, [6]float64{0, 1.0 / 3, 1, 0, 0.5, 1}, [6]bool{true, false, false, true, false, false}},
		"people do not differ":         {[][]float64{{1, 3}, {3, 1}, {1, 3}, {3, 1}}, [6]float64{-1, -2, -1, 0, 0, 0}, [6]bool{true, false, true, false, false, false}},
		"only the judges differ":       {[][]float64{{1, 3}, {1, 3}, {1, 3}}, [6]float64{-1, 0, 0, 0, 0, 0}, [6]bool{true, false, false, false, false, false}},
		"a large value common to all":  {[][]float64{{1e9, 1e9}, {1e9, 1e9}}, [6]float64{}, [6]bool{}},
		"a third of a degree repeated": {[][]float64{{1. / 3, 1. / 3, 1. / 3}, {1. / 3, 1. / 3, 1. / 3}}, [6]float64{}, [6]bool{}},
	} {
		got, err := ICCs(c.table)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for i, x := range got {
			for _, f := range []float64{x.Value, x.F, x.DF1, x.DF2, x.P, x.Lo, x.Hi} {
				if math.IsNaN(f) || math.IsInf(f, 0) {
					t.Errorf("%s: %+v", name, x)
				}
			}
			if x.OK != c.ok[i] || !x.OK && x.Note == "" {
				t.Errorf("%s, %s: ok %v, note %q", name, x.Name, x.OK, x.Note)
			}
			near(t, name+" "+x.Name, x.Value, c.want[i], 1e-9)
		}
	}
}

func TestTablesRefused(t *testing.T) {
	for name, table := range map[string][][]float64{
		"empty":         {},
		"one row":       {{1, 2}},
		"one column":    {{1}, {2}},
		"ragged":        {{1, 2}, {1}},
		"not a number":  {{1, 2}, {1, math.NaN()}},
		"infinite":      {{1, 2}, {1, math.Inf(1)}},
		"no row filled": {{}, {}},
	} {
		if _, err := ICCs(table); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// Bland and Altman 1986, first readings; R 4.2.2. The paper prints bias -2.1, SD 38.8 and, with twice
// the SD, limits -79.7 and 75.5.
func TestLimitsOfAgreement(t *testing.T) {
	var ref struct {
		Limits struct {
			A, B               []float64
			Bias, SD           float64
			Lower, Upper       float64
			BiasCI             []float64 `json:"bias_ci95"`
			WithinSD           float64   `json:"within_subject_sd"`
			SourceInWordsAsSet string    `json:"source"`
		} `json:"limits_of_agreement"`
	}
	loadRefs(t, "statistics.json", &ref)
	r := ref.Limits
	l, err := LimitsOfAgreement(r.A, r.B)
	if err != nil || l.N != 17 {
		t.Fatal(l.N, err)
	}
	near(t, "bias", l.Bias, r.Bias, 1e-12)
	near(t, "SD", l.SD, r.SD, 1e-12)
	near(t, "lower", l.Lower, r.Lower, 1e-12)
	near(t, "upper", l.Upper, r.Upper, 1e-12)
	near(t, "bias from", l.BiasLo, r.BiasCI[0], 1e-9)
	near(t, "bias to", l.BiasHi, r.BiasCI[1], 1e-9)
	near(t, "within", l.WithinSD, r.WithinSD, 1e-12)
	near(t, "published bias", l.Bias, -2.1, 0.02)
	near(t, "published SD", l.SD, 38.8, 0.001)
	near(t, "published lower", l.Bias-2*l.SD, -79.7, 0.001)
	near(t, "published upper", l.Bias+2*l.SD, 75.5, 0.002)
	// The paper: SE of a limit √(3s²/n) = 16.3, t(16) = 2.12; half width 34.5.
	near(t, "half width of a limit", (l.UpperHi-l.UpperLo)/2, 2.1199*16.2846, 1e-4)
	near(t, "half width of the other", (l.LowerHi-l.LowerLo)/2, 2.1199*16.2846, 1e-4)
	near(t, "middle of a limit", (l.LowerHi+l.LowerLo)/2, l.Lower, 1e-12)
}

func TestLimitsOfReadingsThatAgree(t *testing.T) {
	l, err := LimitsOfAgreement([]float64{3, 4, 5}, []float64{1, 2, 3})
	if err != nil || l.Bias != 2 || l.SD != 0 || l.Lower != 2 || l.UpperHi != 2 {
		t.Errorf("%+v, %v", l, err)
	}
	near(t, "within", l.WithinSD, math.Sqrt(2), 1e-12)
	for _, pair := range [][2][]float64{{{1}, {1}}, {{1, 2}, {1}}, {{1, math.NaN()}, {1, 2}}, {nil, nil}} {
		if _, err := LimitsOfAgreement(pair[0], pair[1]); err == nil {
			t.Errorf("%v: taken", pair)
		}
	}
}
