package main

import (
	"fmt"
	"math"
	"strings"

	"evenhand/internal/proof"
)

// table is a table in Markdown; the first column holds words, the others numbers.
func table(head string, rows []string) string {
	cols := strings.Count(head, "|") + 1
	return "| " + head + " |\n| --- |" + strings.Repeat(" ---: |", cols-1) + "\n| " + strings.Join(rows, " |\n| ") + " |\n"
}

func row(cells ...any) string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = fmt.Sprint(c)
	}
	return strings.Join(out, " | ")
}

// percent of a count.
func percent(a, n int) string {
	if n == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f", 100*float64(a)/float64(n))
}

func num(digits int, x float64) string {
	if math.Abs(x) < math.Pow(10, -float64(digits))/2 {
		x = 0 // no minus zero
	}
	return strings.Replace(fmt.Sprintf("%.*f", digits, x), "-", "−", 1)
}

// many is a count with its thousands apart.
func many(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// worst is the largest distance between said and came, with the number of tenths that were compared.
func worst(c *proof.Calibration) string {
	off, tenths := c.Worst(1000)
	if tenths == 0 {
		return "–"
	}
	return fmt.Sprintf("%.3f (%d)", off, tenths)
}

// label names a rule in a table.
func label(r *proof.Rule) string {
	switch r.Measure {
	case "", "shoulder_internal_rotation", "shoulder_total_arc":
		return fmt.Sprintf("%s, %d years", r.Name, r.Age)
	}
	return r.Name
}

// span is the smallest and the largest of some percentages.
type span struct {
	lo, hi float64
	n      int
}

func (s *span) see(a, n, least int) {
	if n < least {
		return
	}
	x := 100 * float64(a) / float64(n)
	if s.n == 0 {
		s.lo, s.hi = x, x
	}
	s.lo, s.hi = min(s.lo, x), max(s.hi, x)
	s.n++
}

func (s *span) String() string { return fmt.Sprintf("%.1f to %.1f %%", s.lo, s.hi) }
