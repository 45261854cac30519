package exchange

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenhand/internal/screen"
)

// number is a number as it is written to a file: with a decimal point, without an exponent, and
// exactly, so that it is the same number when it is read again.
func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// decimals reads numbers that have a decimal point all through a file, or a decimal comma all
// through it. A file that has both is at fault: 1,5 and 1.5 may then mean different things.
type decimals struct {
	point, comma cellAt // where each was seen first
	told         bool
}

type cellAt struct {
	row    int
	column string
	value  string
}

// parse reads the number in a cell. The fault has no place yet.
func (d *decimals) parse(at cellAt) (float64, *screen.Fault) {
	s, mark := plainNumber(at.value)
	if s == "" {
		return 0, notNumber(at.value)
	}
	switch {
	case mark == '.' && d.point.row == 0:
		d.point = at
	case mark == ',' && d.comma.row == 0:
		d.comma = at
	}
	if d.point.row > 0 && d.comma.row > 0 && !d.told {
		d.told = true
		return 0, d.disagree()
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, &screen.Fault{Problem: clip(at.value, 40) + " is not a finite number", Want: "a number"}
	}
	return x, nil
}

// disagree names the first row with a decimal point and the first with a decimal comma.
func (d *decimals) disagree() *screen.Fault {
	a, b, mark, other := d.point, d.comma, "point", "comma"
	if b.row < a.row {
		a, b, mark, other = b, a, other, mark
	}
	return &screen.Fault{
		Problem: fmt.Sprintf("%s in row %d, column %s, has a decimal %s, but %s in row %d, column %s, a decimal %s",
			a.value, a.row, a.column, mark, b.value, b.row, b.column, other),
		Want: "the same decimal sign all through the file"}
}

// note says that the file has decimal commas.
func (d *decimals) note() []string {
	if d.comma.row == 0 {
		return nil
	}
	return []string{fmt.Sprintf("The file has a decimal comma: %s in row %d was read as %s.", d.comma.value, d.comma.row,
		strings.Replace(d.comma.value, ",", ".", 1))}
}

func notNumber(s string) *screen.Fault {
	want := "a number such as 41 or 41.5"
	if strings.Contains(s, "°") || strings.HasSuffix(s, "cm") || strings.HasSuffix(s, "kg") {
		want = "the number without its unit"
	}
	return &screen.Fault{Problem: fmt.Sprintf("%q is not a number", clip(s, 40)), Want: want}
}

// plainNumber gives a number in the form that strconv reads, and its decimal sign, 0 if it has none.
// It is empty for everything that is no decimal number: also for the words, the hexadecimal form and
// the underscores that strconv would take.
func plainNumber(s string) (plain string, mark byte) {
	digits := 0
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= '0' && c <= '9':
			digits++
		case (c == '.' || c == ',') && mark == 0:
			mark = c
		case (c == '-' || c == '+') && (i == 0 || s[i-1] == 'e' || s[i-1] == 'E'):
		case (c == 'e' || c == 'E') && digits > 0 && !strings.ContainsAny(s[i+1:], "eE.,") && i+1 < len(s):
		default:
			return "", 0
		}
	}
	if digits == 0 {
		return "", 0
	}
	if mark == ',' {
		s = strings.Replace(s, ",", ".", 1)
	}
	if _, err := strconv.ParseFloat(s, 64); err != nil && !errors.Is(err, strconv.ErrRange) {
		return "", 0
	}
	return s, mark
}
