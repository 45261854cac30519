package stat

import "testing"

// R 4.2.2: both kappas by psych 2.2.9, their standard errors by vcd 1.4.11, Fleiss-Cohen weights.
func TestKappaAgainstR(t *testing.T) {
	var ref struct {
		Kappa struct {
			A, B     []int
			Kappa    float64
			Weighted float64 `json:"weighted_quadratic"`
		}
	}
	var more struct {
		Kappa struct {
			SE         float64
			WeightedSE float64 `json:"weighted_se"`
		}
	}
	loadRefs(t, "statistics.json", &ref)
	loadRefs(t, "mixed.json", &more)
	k, err := Kappa(ref.Kappa.A, ref.Kappa.B, 3)
	if err != nil || !k.OK || k.N != 40 {
		t.Fatal(k, err)
	}
	near(t, "kappa", k.Kappa, ref.Kappa.Kappa, 1e-12)
	near(t, "weighted", k.Weighted, ref.Kappa.Weighted, 1e-12)
	near(t, "observed", k.Observed, 34.0/40, 1e-12)
	near(t, "SE", k.SE, more.Kappa.SE, 1e-9)
	near(t, "weighted SE", k.WeightedSE, more.Kappa.WeightedSE, 1e-9)
}

// Two diagnoses by two clinicians of 200 people, Fleiss JL, Cohen J, Everitt BS 1969, table 1, in
// hundredths: 53 5 2, 11 14 5, 1 6 3. Kappa .429 as printed there, from memory.
func TestKappaAsPublished(t *testing.T) {
	var a, b []int
	for i, row := range [][]int{{106, 10, 4}, {22, 28, 10}, {2, 12, 6}} {
		for j, n := range row {
			for range n {
				a, b = append(a, i), append(b, j)
			}
		}
	}
	k, err := Kappa(a, b, 3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kappa", k.Kappa, 0.429, 0.001)
	near(t, "observed", k.Observed, 0.70, 1e-12)
	near(t, "chance", k.Chance, 0.475, 1e-12)
}

func TestKappaThatDoesNotExist(t *testing.T) {
	for name, k := range map[string]func() (Kappas, error){
		"one category used": func() (Kappas, error) { return Kappa([]int{1, 1, 1}, []int{1, 1, 1}, 3) },
		"one category":      func() (Kappas, error) { return Kappa([]int{0, 0}, []int{0, 0}, 1) },
	} {
		got, err := k()
		if err != nil || got.OK || got.Note == "" || got.Kappa != 0 || got.Observed != 1 {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	got, err := Kappa([]int{0, 0, 0}, []int{1, 1, 1}, 2)
	if err != nil || !got.OK || got.Kappa != 0 {
		t.Errorf("one category each: %+v, %v", got, err)
	}
	for name, c := range map[string]struct{ a, b []int }{
		"nobody":             {nil, nil},
		"different lengths":  {[]int{1}, []int{1, 2}},
		"outside":            {[]int{3}, []int{0}},
		"below":              {[]int{-1}, []int{0}},
		"second one outside": {[]int{0}, []int{5}},
	} {
		if _, err := Kappa(c.a, c.b, 3); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
