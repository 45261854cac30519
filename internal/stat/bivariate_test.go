package stat

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// Answers from R 4.2.2, mvtnorm 1.1.3, pmvnorm with the TVPACK algorithm (Genz) at 1e-14; copied into
// testdata/bivariate_normal.json with the script's grid.
func TestUpperOrthantAgainstTVPACK(t *testing.T) {
	data, err := os.ReadFile("testdata/bivariate_normal.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct{ A, B, Rho, P []float64 }
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.P) != 72 {
		t.Fatalf("%d check values, want 72", len(ref.P))
	}
	for i := range ref.P {
		got := UpperOrthant(ref.A[i], ref.B[i], ref.Rho[i])
		if math.Abs(got-ref.P[i]) > 1e-10 {
			t.Errorf("P(X > %g, Y > %g; %g) = %.15g, want %.15g (off by %.1e)", ref.A[i], ref.B[i], ref.Rho[i], got, ref.P[i], got-ref.P[i])
		}
	}
}

// The rules for small correlations against the largest one, far out in the corners too.
func TestShortRulesAgree(t *testing.T) {
	full := func(a, b, rho float64) float64 {
		end, sum := math.Asin(rho), 0.0
		for i, x := range arcX {
			s, c := math.Sincos(end * x)
			sum += arcW[i] * math.Exp(-(a*a+b*b-2*a*b*s)/(2*c*c))
		}
		return Phi(-a)*Phi(-b) + end*sum/(2*math.Pi)
	}
	for _, rho := range []float64{-0.749, -0.5, -0.399, -0.1, 0.05, 0.2, 0.399, 0.6, 0.749} {
		for a := -6.0; a <= 6; a += 0.75 {
			for b := -6.0; b <= 6; b += 0.75 {
				if d := UpperOrthant(a, b, rho) - full(a, b, rho); math.Abs(d) > 1e-13 {
					t.Errorf("(%g, %g, %g): off by %.1e", a, b, rho, d)
				}
			}
		}
	}
}
