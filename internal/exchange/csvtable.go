package exchange

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"evenhand/internal/screen"
)

// layout is the columns that a kind of file may have.
type layout struct {
	required []string
	optional []string
	trials   bool // columns trial1, trial2 … may follow
}

func (l layout) names() []string { return append(append([]string{}, l.required...), l.optional...) }

func (l layout) knows(name string) bool {
	for _, list := range [][]string{l.required, l.optional} {
		for _, n := range list {
			if n == name {
				return true
			}
		}
	}
	return l.trials && trialNumber(name) > 0
}

// aliases are other names of columns.
var aliases = map[string]string{"on": "date", "trial": "trial1", "birth_date": "born", "date_of_birth": "born"}

// headerName is the name of a column as it is known here: lower case, words joined by _.
func headerName(cell string) string {
	s := strings.ToLower(strings.TrimSpace(cell))
	s = strings.NewReplacer(" ", "_", "-", "_").Replace(s)
	if a, ok := aliases[s]; ok {
		return a
	}
	if n, ok := strings.CutPrefix(s, "trial_"); ok {
		return "trial" + n
	}
	return s
}

// trialNumber is k of the column trial‹k›, 0 for any other.
func trialNumber(name string) int {
	n, err := strconv.Atoi(strings.TrimPrefix(name, "trial"))
	if err != nil || n < 1 || name != "trial"+strconv.Itoa(n) {
		return 0
	}
	return n
}

func newCSV(text []byte, sep rune) *csv.Reader {
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma = sep
	r.FieldsPerRecord = -1
	r.ReuseRecord = true
	return r
}

// table reads a CSV file row by row and knows its columns by name.
type table struct {
	csv    *csv.Reader
	faults *collector
	column map[string]int // name -> place in the row, from 0
	trials []int          // places of trial1, trial2 …
	width  int
	cells  []string
	row    int // as a spreadsheet counts: the header is row 1
	next   int // line after the last row
}

// openTable reads the header. The faults are in the collector; the table is nil if no row can be read.
func openTable(text []byte, l layout, faults *collector) *table {
	t := &table{csv: newCSV(text, separator(text, l.knows)), faults: faults, column: map[string]int{}, next: 1}
	if !t.read() {
		if faults.total == 0 {
			faults.add(screen.Fault{Problem: "the file is empty", Want: "a header with the columns " + strings.Join(l.required, ", ")})
		}
		return nil
	}
	t.header(l)
	if faults.total > 0 {
		return nil
	}
	return t
}

func (t *table) header(l layout) {
	t.width = len(t.cells)
	most := 0
	for i, cell := range t.cells {
		name := headerName(cell)
		_, twice := t.column[name]
		switch {
		case name == "": // a column without a name must be empty
			continue
		case !l.knows(name):
			want := ""
			if !t.faults.full() {
				want = nearWords(name, l.names())
			}
			t.faults.add(screen.Fault{Where: t.at(clip(strings.TrimSpace(cell), 60)), Problem: "unknown column", Want: want, Value: clip(cell, 60)})
		case twice:
			t.faults.add(screen.Fault{Where: t.at(name), Problem: "the column stands twice", Want: "each column once"})
		}
		t.column[name] = i
		most = max(most, trialNumber(name))
	}
	for _, name := range l.required {
		if _, ok := t.column[name]; !ok {
			t.faults.add(screen.Fault{Where: t.at(name), Problem: "the column is missing", Want: "the columns " + strings.Join(l.required, ", ")})
		}
	}
	for k := 1; k <= min(most, t.width); k++ {
		i, ok := t.column["trial"+strconv.Itoa(k)]
		if !ok && k > 1 {
			t.faults.add(screen.Fault{Where: t.at("trial" + strconv.Itoa(k)), Problem: "the column is missing, but a later one is there", Want: "trial1, trial2 … without a gap"})
			return
		}
		t.trials = append(t.trials, i)
	}
}

// read reads the next row, header or not. It reports false at the end, and where no further row can
// be told from the text around it.
func (t *table) read() bool {
	cells, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return false
	}
	if err != nil {
		t.row++
		f := screen.Fault{Where: fmt.Sprintf("row %d", t.row), Problem: err.Error(), Want: `a cell with quotes in it as "so ""quoted"" "`}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			f.Problem = fmt.Sprintf("the quotes do not match, at line %d: %v", bad.Line, bad.Err)
		}
		t.faults.add(f)
		return false
	}
	line, _ := t.csv.FieldPos(0)
	t.row += 1 + line - t.next // lines without anything are rows of a spreadsheet, too
	t.next = line + 1
	for _, c := range cells {
		t.next += strings.Count(c, "\n") // a cell of several lines is one row
	}
	t.cells = cells
	return true
}

// each calls do for every row that is not empty.
func (t *table) each(do func()) {
	for t.read() {
		filled := false
		for i, c := range t.cells {
			if strings.TrimSpace(c) == "" {
				continue
			}
			filled = true
			if i >= t.width {
				t.faults.add(screen.Fault{Where: fmt.Sprintf("row %d", t.row), Problem: fmt.Sprintf("the row has %d cells, the header %d", len(t.cells), t.width),
					Want: "as many cells as the header; with decimal commas, a semicolon between the cells"})
				filled = false
				break
			}
		}
		if filled {
			do()
		}
	}
}

// at is the place of a column in the row that was read last.
func (t *table) at(column string) string { return placeOf(t.row, column) }

func placeOf(row int, column string) string { return fmt.Sprintf("row %d, column %s", row, column) }

func (t *table) has(column string) bool { _, ok := t.column[column]; return ok }

// typed is a cell as it was typed; empty if the file has no such column.
func (t *table) typed(column string) string {
	if i, ok := t.column[column]; ok {
		return t.index(i)
	}
	return ""
}

func (t *table) index(i int) string {
	if i < len(t.cells) {
		return t.cells[i]
	}
	return ""
}

// text is a cell's text without the space around it and without the apostrophe of escape.
func (t *table) text(column string) string { return unescape(strings.TrimSpace(t.typed(column))) }

// word is a cell that holds a word of a list: in lower case.
func (t *table) word(column string) string { return strings.ToLower(t.text(column)) }

// number reads a number; an empty cell is 0.
func (t *table) number(column string, d *decimals) float64 {
	s := strings.TrimSpace(t.typed(column))
	if s == "" {
		return 0
	}
	x, f := d.parse(cellAt{t.row, column, s})
	if f != nil {
		t.fault(column, f)
	}
	return x
}

// fault adds a fault of a cell of the present row.
func (t *table) fault(column string, f *screen.Fault) {
	f.Where, f.Value = t.at(column), clip(t.typed(column), 80)
	t.faults.add(*f)
}

// place adds faults of a validator: the paths of the record become columns of the present row.
func (t *table) place(faults screen.Faults, columns map[string]string) {
	for i := range faults {
		t.fault(columnOf(faults[i].Where, columns), &faults[i])
	}
}

// columnOf is the column that a path such as trials[2] speaks of.
func columnOf(path string, columns map[string]string) string {
	name, index, _ := strings.Cut(path, "[")
	if name == "trials" {
		k, _ := strconv.Atoi(strings.TrimSuffix(index, "]"))
		return "trial" + strconv.Itoa(k+1)
	}
	if c, ok := columns[name]; ok {
		return c
	}
	return name
}
