package screen

import (
	"fmt"
	"strings"
)

// Fault says what is wrong with an input, where, and what would be right.
type Fault struct {
	Where   string `json:"location"`       // path, row and column, or line of the input
	Problem string `json:"message"`        // what is wrong
	Want    string `json:"want,omitempty"` // what would be right
	Value   string `json:"value,omitempty"`
}

func (f Fault) String() string {
	s := f.Problem
	if f.Where != "" {
		s = f.Where + ": " + s
	}
	if f.Want != "" {
		s += "; " + f.Want
	}
	return s
}

// Faults is all that is wrong with one input. It is an error if it is not empty.
type Faults []Fault

func (f Faults) Error() string {
	lines := make([]string, 0, len(f))
	for i, x := range f {
		if i == 20 {
			lines = append(lines, fmt.Sprintf("and %d more", len(f)-i))
			break
		}
		lines = append(lines, x.String())
	}
	return strings.Join(lines, "\n")
}

// Err is f as an error, nil if f is empty.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// Add appends a fault. want says what would be right.
func (f *Faults) Add(where, want, problem string, args ...any) {
	*f = append(*f, Fault{Where: where, Problem: fmt.Sprintf(problem, args...), Want: want})
}

// Nearest is the candidate with the smallest edit distance to s, or "" if none is near.
func Nearest(s string, candidates []string) string {
	best, at := "", len(s)/2+2
	for _, c := range candidates {
		if d := editDistance(s, c, at); d < at {
			best, at = c, d
		}
	}
	return best
}

// editDistance counts the letters to add, drop, change or exchange with a neighbour to make b of a
// (optimal string alignment), or gives limit if that is not smaller.
func editDistance(a, b string, limit int) int {
	if len(a)-len(b) >= limit || len(b)-len(a) >= limit || len(a) > 100 || len(b) > 100 {
		return limit
	}
	var buf [3][101]int
	before, last, row := &buf[0], &buf[1], &buf[2]
	for j := range len(b) + 1 {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j-1]+cost, last[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return min(last[len(b)], limit)
}
