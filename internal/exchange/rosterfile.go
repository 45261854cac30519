package exchange

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"evenhand/internal/screen"
)

// The largest roster that is read: more is a mistake, or meant to keep the server busy.
const (
	MaxRosterRows    = 20_000
	MaxRosterColumns = 100
)

// RosterTable is a roster as text, before anybody has said what its columns mean.
type RosterTable struct {
	Sheet    string // name of the sheet, empty if the file has no sheets
	Hidden   bool   // the sheet is hidden in its file
	Headings []string
	Rows     []RosterRow
	Notes    []string // what was taken for granted in reading
}

// RosterRow is a row below the headings.
type RosterRow struct {
	Row   int      // as a spreadsheet counts
	Cells []string // as many as there are headings, without the space around them
	Marks []CellMark
}

// CellMark says that there is something wrong with a cell itself, whatever its column means.
type CellMark struct {
	Column int
	Kind   byte
}

// The kinds of CellMark.
const (
	NotComputed byte = 'f' // a formula without a stored result
	ErrorValue  byte = 'e' // a result such as #REF!
	TooWide     byte = 'w' // the row has more cells than there are headings
)

// ReadRosterFile reads a roster of any layout: CSV as ReadCSV takes it, text copied from a spreadsheet,
// or a workbook (XLSX, XLSM). There is one table for each sheet that holds anything, those that are
// shown first. Returns screen.Faults; any other error is one of r.
func ReadRosterFile(r io.Reader, opt Options) ([]RosterTable, error) {
	tables, err := readTables(r, opt)
	size := 0
	for i := range tables {
		size += len(tables[i].Text())
	}
	if err == nil && int64(size) > opt.most() {
		return nil, tooMuchText(opt.most())
	}
	return tables, err
}

func readTables(r io.Reader, opt Options) ([]RosterTable, error) {
	data, err := readLimited(r, opt)
	if err != nil {
		return nil, err
	}
	if isWorkbook(data) {
		return readWorkbook(data, opt.most())
	}
	text, notes, err := decodeText(data)
	if err != nil {
		return nil, err
	}
	var faults collector
	rows := textRows(text, &faults)
	if err := faults.err(); err != nil {
		return nil, err
	}
	t, ok := tableOf(rows, false)
	if !ok {
		return nil, screen.Faults{{Problem: "there is nothing in it", Want: "a row of headings, and an athlete in each row below"}}
	}
	t.Notes = append(notes, t.Notes...)
	return []RosterTable{t}, nil
}

// textRows reads all rows that hold anything. A quote inside a cell, as in 5'10", is taken as it stands
// if every row is on a line of its own then: otherwise it may have swallowed the rows that follow.
func textRows(text []byte, faults *collector) []RosterRow {
	sep := rosterSeparator(text)
	out, _ := rowsOf(newCSV(text, sep), faults)
	if faults.total == 0 {
		return out
	}
	lazy, again := newCSV(text, sep), collector{}
	lazy.LazyQuotes = true
	if rows, lines := rowsOf(lazy, &again); again.total == 0 && !lines {
		*faults = collector{}
		return rows
	}
	return nil
}

// rowsOf reads all rows that hold anything, and says whether there is a cell of several lines.
func rowsOf(r *csv.Reader, faults *collector) (out []RosterRow, lines bool) {
	t := &table{csv: r, faults: faults, next: 1}
	for t.read() {
		cells := make([]string, len(t.cells))
		for i, c := range t.cells {
			cells[i] = unescape(oneLine(c))
			lines = lines || strings.Contains(c, "\n")
		}
		if row := (RosterRow{Row: t.row, Cells: cells}); !row.empty() {
			out = append(out, row)
		}
		if len(out) > MaxRosterRows+headingWithin || len(cells) > MaxRosterColumns {
			faults.add(tooLarge(t.row))
			return nil, lines
		}
	}
	return out, lines
}

func tooMuchText(most int64) error {
	return screen.Faults{{Problem: "the text in it is larger than " + bytesWords(most), Want: "a smaller one: split it, by team or by season"}}
}

func tooLarge(row int) screen.Fault {
	return screen.Fault{Where: fmt.Sprintf("row %d", row), Problem: fmt.Sprintf("the table has more than %d rows or %d columns", MaxRosterRows, MaxRosterColumns),
		Want: "a smaller one: split it, by team or by season"}
}

// oneLine is a cell's text with single spaces in it, and without lines.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func (r *RosterRow) empty() bool {
	return len(r.Marks) == 0 && !slices.ContainsFunc(r.Cells, func(c string) bool { return c != "" })
}

// rosterSeparator is what splits one of the first rows into the most headings that are known.
func rosterSeparator(text []byte) rune {
	best, most := ',', -1
	for _, sep := range []rune{',', ';', '\t'} {
		r := newCSV(text, sep)
		for range headingWithin {
			cells, err := r.Read()
			if err != nil {
				break
			}
			if score := len(cells) + 1000*recognised(cells); score > most {
				best, most = sep, score
			}
		}
	}
	return best
}

// headingWithin is how many rows may stand above the headings.
const headingWithin = 20

// tableOf finds the headings among rows that are not empty and makes the others as wide as they are.
// In a text a row that is wider is marked; in a sheet the columns without a heading get a name.
func tableOf(rows []RosterRow, sheet bool) (RosterTable, bool) {
	if len(rows) == 0 {
		return RosterTable{}, false
	}
	at := 0
	for i := range rows[:min(len(rows), headingWithin)] {
		if recognised(rows[i].Cells) >= 2 {
			at = i
			break
		}
	}
	t := RosterTable{Headings: slices.Clone(rows[at].Cells), Rows: rows[at+1:]}
	if at > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("The headings were found in row %d; what stands above was left out.", rows[at].Row))
	}
	if recognised(t.Headings) == 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("No heading was recognised, and row %d was taken for the headings. If it holds an athlete, put a row of headings above it.", rows[at].Row))
	}
	t.square(sheet)
	return t, true
}

// square makes every row as wide as the headings, and leaves out columns that hold nothing.
func (t *RosterTable) square(sheet bool) {
	width := len(t.Headings)
	if sheet {
		for i := range t.Rows {
			width = max(width, len(t.Rows[i].Cells))
		}
	}
	used := make([]bool, width)
	t.Headings = append(t.Headings, make([]string, width-len(t.Headings))...)
	for i := range t.Rows {
		r := &t.Rows[i]
		if len(r.Cells) > width && slices.ContainsFunc(r.Cells[width:], func(c string) bool { return c != "" }) {
			r.Marks = append(r.Marks, CellMark{width, TooWide})
		}
		r.Cells = append(r.Cells, make([]string, max(0, width-len(r.Cells)))...)[:width]
		for k, c := range r.Cells {
			used[k] = used[k] || c != ""
		}
		for _, m := range r.Marks {
			if m.Column < width {
				used[m.Column] = true
			}
		}
	}
	t.keep(used)
}

// keep leaves out the columns without a heading that are not used.
func (t *RosterTable) keep(used []bool) {
	place := make([]int, len(used)+1) // new place of each column
	kept := 0
	for k := range used {
		place[k] = -1
		if used[k] || t.Headings[k] != "" {
			if t.Headings[k] == "" {
				t.Headings[k] = "column " + columnLetters(k)
			}
			place[k] = kept
			kept++
		}
	}
	place[len(used)] = kept
	move := func(cells []string) []string {
		out := cells[:0]
		for k, c := range cells {
			if place[k] >= 0 {
				out = append(out, c)
			}
		}
		return out
	}
	t.Headings = move(t.Headings)
	for i := range t.Rows {
		t.Rows[i].Cells = move(t.Rows[i].Cells)
		for j := range t.Rows[i].Marks {
			t.Rows[i].Marks[j].Column = place[t.Rows[i].Marks[j].Column]
		}
	}
}

// columnLetters is the name that a spreadsheet gives the column at place k, from 0: A, B … Z, AA.
func columnLetters(k int) string {
	if k < 26 {
		return string(rune('A' + k))
	}
	return columnLetters(k/26-1) + string(rune('A'+k%26))
}

// plainTable is the first cell of the form in which a table travels through a page.
const plainTable = "evenhand roster"

// Text is the table in the one form that ParseRosterTable reads, whatever file it came from.
func (t *RosterTable) Text() string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	write := func(cells ...string) { _ = w.Write(cells) } // a Builder takes everything
	write(append([]string{plainTable, t.Sheet, strconv.FormatBool(t.Hidden)}, t.Notes...)...)
	write(slices.Concat([]string{"row"}, t.Headings, []string{"marks"})...)
	for i := range t.Rows {
		r := &t.Rows[i]
		var marks []string
		for _, m := range r.Marks {
			marks = append(marks, strconv.Itoa(m.Column)+string(m.Kind))
		}
		write(slices.Concat([]string{strconv.Itoa(r.Row)}, r.Cells, []string{strings.Join(marks, " ")})...)
	}
	w.Flush()
	return b.String()
}

// ParseRosterTable reads what Text wrote. Returns Faults if it is anything else.
func ParseRosterTable(text string) (*RosterTable, error) {
	r := newCSV([]byte(text), ',')
	head, err := r.Read()
	if err != nil || len(head) < 3 || head[0] != plainTable {
		return nil, notWhole()
	}
	t := &RosterTable{Sheet: head[1], Hidden: head[2] == "true", Notes: slices.Clone(head[3:])}
	names, err := r.Read()
	if err != nil || len(names) < 3 || len(names) > MaxRosterColumns+2 {
		return nil, notWhole()
	}
	t.Headings = slices.Clone(names[1 : len(names)-1])
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil || len(cells) != len(t.Headings)+2 || len(t.Rows) > MaxRosterRows {
			return nil, notWhole()
		}
		last := len(cells) - 1
		row := RosterRow{Cells: slices.Clone(cells[1:last])}
		if row.Row, err = strconv.Atoi(cells[0]); err != nil {
			return nil, notWhole()
		}
		if row.Marks, err = parseMarks(cells[last], len(t.Headings)); err != nil {
			return nil, notWhole()
		}
		t.Rows = append(t.Rows, row)
	}
}

func parseMarks(s string, width int) (out []CellMark, err error) {
	for _, x := range strings.Fields(s) {
		column, err := strconv.Atoi(x[:len(x)-1])
		if err != nil || column < 0 || column > width {
			return nil, notWhole()
		}
		out = append(out, CellMark{column, x[len(x)-1]})
	}
	return out, nil
}

func notWhole() error {
	return screen.Faults{{Problem: "the table did not come back from the page whole", Want: "choose the file again"}}
}

// asCSV writes the table in the form of a CSV file, with its rows where they stood, so that faults
// name the same rows. Cells that are at fault in themselves are told.
func (t *RosterTable) asCSV() ([]byte, error) {
	var b bytes.Buffer
	var faults collector
	w := csv.NewWriter(&b)
	line := 1
	write := func(row int, cells []string) {
		for ; line < row; line++ {
			w.Flush()
			b.WriteByte('\n')
		}
		out := make([]string, len(cells))
		for i, c := range cells {
			out[i] = escape(c)
		}
		_ = w.Write(out) // a Buffer takes everything
		line++
	}
	first := 1
	if len(t.Rows) > 0 {
		first = max(1, t.Rows[0].Row-1)
	}
	write(first, t.Headings)
	for i := range t.Rows {
		for _, m := range t.Rows[i].Marks {
			f := t.markFault(&t.Rows[i], m)
			faults.add(f)
		}
		write(t.Rows[i].Row, t.Rows[i].Cells)
	}
	w.Flush()
	return b.Bytes(), faults.err()
}

// markFault is what is wrong with a marked cell.
func (t *RosterTable) markFault(r *RosterRow, m CellMark) screen.Fault {
	f := screen.Fault{Where: fmt.Sprintf("row %d", r.Row), Problem: fmt.Sprintf("the row has more cells than the %d headings", len(t.Headings)),
		Want: "a heading above each cell; with decimal commas, a semicolon between the cells"}
	if m.Kind == TooWide || m.Column >= len(t.Headings) {
		return f
	}
	f.Where, f.Value = placeOf(r.Row, t.Headings[m.Column]), clip(r.Cells[m.Column], 80)
	f.Problem, f.Want = "the cell holds a formula without a result", "the value itself; or open the file in a spreadsheet program and save it again"
	if m.Kind == ErrorValue {
		f.Problem, f.Want = "the cell shows an error instead of a value", "the value itself"
	}
	return f
}
