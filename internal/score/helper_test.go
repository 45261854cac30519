package score

import (
	"testing"

	"evenhand/internal/screen"
)

func defaultScorer(t testing.TB) *Scorer {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return New(p)
}
