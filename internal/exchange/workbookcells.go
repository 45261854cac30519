package exchange

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// The cells are read here from the XML of the sheet, one pass in bounded memory. The library's own
// functions either tell only the texts (not formulas, formats, hidden rows), or first build the whole
// grid, which a small file with one cell far out to the right in each row makes enormous.

// cell is a cell as it stands in the sheet.
type cell struct {
	row, column int
	style       int
	kind        string // s shared text, str, inlineStr, b, e, d; otherwise a number
	value       string
	hasValue    bool
	formula     bool
}

// grid is a sheet while it is read.
type grid struct {
	b      *book
	rows   []RosterRow
	hidden []int // rows
	merged []area
	row    int
	column int
}

// area is a range of merged cells, places from 0, rows from 1.
type area struct{ row, rowEnd, column int }

// sheet reads a sheet into a table; ok is false if the sheet is empty.
func (b *book) sheet(name string, data []byte) (t RosterTable, ok bool, err error) {
	g := grid{b: b}
	d := b.decoder(data)
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return t, false, brokenWorkbook()
		}
		if start, is := tok.(xml.StartElement); is {
			if err := g.element(d, &start); err != nil {
				return t, false, err
			}
		}
	}
	merged := g.fillMerged()
	held := make(map[int]bool, len(g.rows))
	for i := range g.rows {
		held[g.rows[i].Row] = true
	}
	g.hidden = slices.DeleteFunc(g.hidden, func(row int) bool { return !held[row] })
	g.rows = slices.DeleteFunc(g.rows, func(r RosterRow) bool { return r.empty() })
	t, ok = tableOf(g.rows, true)
	t.Sheet = name
	t.Notes = slices.Concat(b.notes, t.Notes, merged, hiddenNote(g.hidden))
	if len(t.Headings) > MaxRosterColumns {
		return t, false, oneFault(tooLarge(1))
	}
	return t, ok, nil
}

func (g *grid) element(d *tokens, start *xml.StartElement) error {
	switch start.Name.Local {
	case "row":
		g.row++
		if n, err := strconv.Atoi(attribute(start, "r")); err == nil {
			g.row = n
		}
		g.column = -1
		if h := attribute(start, "hidden"); h == "1" || h == "true" {
			g.hidden = append(g.hidden, g.row)
		}
	case "c":
		c, err := g.cell(d, start)
		if err != nil {
			return err
		}
		return g.put(&c)
	case "mergeCell":
		from, to, _ := strings.Cut(attribute(start, "ref"), ":")
		c1, r1, err1 := excelize.CellNameToCoordinates(from)
		_, r2, err2 := excelize.CellNameToCoordinates(to)
		if err1 == nil && err2 == nil && len(g.merged) < MaxRosterRows {
			g.merged = append(g.merged, area{r1, r2, c1 - 1})
		}
	}
	return nil
}

func attribute(e *xml.StartElement, name string) string {
	for i := range e.Attr {
		if e.Attr[i].Name.Local == name {
			return e.Attr[i].Value
		}
	}
	return ""
}

// cell reads a cell with what stands in it.
func (g *grid) cell(d *tokens, start *xml.StartElement) (c cell, err error) {
	g.column++
	c = cell{row: g.row, column: g.column, kind: attribute(start, "t")}
	if ref := attribute(start, "r"); ref != "" {
		column, row, err := excelize.CellNameToCoordinates(ref)
		if err != nil {
			return c, brokenWorkbook()
		}
		c.row, c.column = row, column-1
		g.column = c.column
	}
	c.style, _ = strconv.Atoi(attribute(start, "s"))
	var text strings.Builder
	err = eachText(d, func(path []string, s string) {
		switch path[0] {
		case "f":
			c.formula = true
		case "v":
			c.hasValue = true
			text.WriteString(s)
		case "is":
			c.hasValue = true
			if path[len(path)-1] == "t" && !slices.Contains(path, "rPh") {
				text.WriteString(s)
			}
		}
	})
	c.value = text.String()
	return c, err
}

// eachText calls do for every element below the present one, and for the text in it, with the names of
// the elements on the way. It ends with the end of the present element.
func eachText(d *tokens, do func(path []string, text string)) error {
	var path []string
	for {
		tok, err := d.Token()
		if err != nil {
			return brokenWorkbook()
		}
		switch x := tok.(type) {
		case xml.StartElement:
			path = append(path, x.Name.Local)
			do(path, "")
		case xml.EndElement:
			if len(path) == 0 {
				return nil
			}
			path = path[:len(path)-1]
		case xml.CharData:
			if len(path) > 0 {
				do(path, string(x))
			}
		}
	}
}

// sharedStrings are the texts that the sheets share, without the readings of Japanese characters.
func (b *book) sharedStrings() (out []string, err error) {
	data, ok := b.part(sharedStringsPart)
	if !ok {
		return nil, nil
	}
	d := b.decoder(data)
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, brokenWorkbook()
		}
		start, is := tok.(xml.StartElement)
		if !is || start.Name.Local != "si" {
			continue
		}
		var text strings.Builder
		err = eachText(d, func(path []string, s string) {
			if path[len(path)-1] == "t" && !slices.Contains(path, "rPh") {
				text.WriteString(s)
			}
		})
		if err != nil {
			return nil, err
		}
		if len(out) == MaxRosterRows*MaxRosterColumns {
			return nil, tooMuchText(b.most)
		}
		out = append(out, oneLine(unescapeXML(text.String())))
	}
}

// unescapeXML takes off the form in which a workbook writes control characters: _x000D_ is a return.
func unescapeXML(s string) string {
	if !strings.Contains(s, "_x00") {
		return s
	}
	return strings.NewReplacer("_x000D_", "\r", "_x000A_", "\n", "_x0009_", "\t", "_x005F_", "_").Replace(s)
}

// put puts a cell into its row.
func (g *grid) put(c *cell) error {
	text, mark := g.b.text(c)
	if text == "" && mark == 0 {
		return nil
	}
	n := len(g.rows)
	if c.row < 1 || n > 0 && g.rows[n-1].Row > c.row {
		return brokenWorkbook() // rows stand in their order in a sheet
	}
	if c.column >= MaxRosterColumns || n > MaxRosterRows+headingWithin {
		return oneFault(tooLarge(c.row))
	}
	if n == 0 || g.rows[n-1].Row != c.row {
		g.rows = append(g.rows, RosterRow{Row: c.row})
	}
	if g.b.left -= int64(len(text)); g.b.left < 0 {
		return tooMuchText(g.b.most)
	}
	r := &g.rows[len(g.rows)-1]
	for len(r.Cells) <= c.column {
		r.Cells = append(r.Cells, "")
	}
	r.Cells[c.column] = text
	if mark != 0 {
		r.Marks = append(r.Marks, CellMark{c.column, mark})
	}
	return nil
}

// text is a cell as text: days as 2012-05-03, numbers in full, the stored result of a formula.
func (b *book) text(c *cell) (text string, mark byte) {
	if c.formula && !c.hasValue {
		return "", NotComputed
	}
	switch c.kind {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(c.value))
		if err != nil || i < 0 || i >= len(b.strings) {
			return "", 0
		}
		return b.strings[i], 0
	case "str", "inlineStr":
		return oneLine(unescapeXML(c.value)), 0
	case "e":
		return oneLine(c.value), ErrorValue
	case "b":
		if c.value == "1" {
			return "true", 0
		}
		return "false", 0
	case "d":
		return oneLine(c.value), 0
	}
	return b.number(c), 0
}

// number is a number as text, in full and without its format. A day is written as such; a time of day in it is left out.
func (b *book) number(c *cell) string {
	s := strings.TrimSpace(c.value)
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return oneLine(s)
	}
	format := b.format(c.style)
	if format.day && x >= 1 && x < 2_958_466 { // up to 9999-12-31
		if t, err := excelize.ExcelDateToTime(math.Floor(x), b.from904); err == nil {
			return t.Format("2006-01-02")
		}
	}
	out := strconv.FormatFloat(x, 'f', -1, 64)
	if n := format.digits - len(out); n > 0 && x >= 0 && x == math.Floor(x) {
		out = strings.Repeat("0", n) + out // a number such as 0017, as the sheet shows it
	}
	return out
}

// fillMerged gives every row of a merged cell the text that the sheet shows across them.
func (g *grid) fillMerged() (notes []string) {
	byRow := make(map[int]int, len(g.rows))
	for i := range g.rows {
		byRow[g.rows[i].Row] = i
	}
	first, cells := "", 0
	for _, m := range g.merged {
		top, ok := byRow[m.row]
		if !ok || m.rowEnd <= m.row || m.column >= len(g.rows[top].Cells) || g.rows[top].Cells[m.column] == "" {
			continue
		}
		text := g.rows[top].Cells[m.column]
		for i := top + 1; i < len(g.rows) && g.rows[i].Row <= m.rowEnd; i++ {
			r := &g.rows[i]
			for len(r.Cells) <= m.column {
				r.Cells = append(r.Cells, "")
			}
			if g.b.left -= int64(len(text)); g.b.left < 0 {
				return notes
			}
			r.Cells[m.column] = text
			cells++
		}
		if first == "" {
			first = fmt.Sprintf("%s%d to %s%d", columnLetters(m.column), m.row, columnLetters(m.column), m.rowEnd)
		}
	}
	if cells > 0 {
		notes = append(notes, fmt.Sprintf("Merged cells were read as the same text in each of their rows, first %s.", first))
	}
	return notes
}

func hiddenNote(rows []int) []string {
	if len(rows) == 0 {
		return nil
	}
	if len(rows) == 1 {
		return []string{fmt.Sprintf("Row %d is hidden in the sheet; it was read like the others.", rows[0])}
	}
	return []string{fmt.Sprintf("%d rows are hidden in the sheet, first row %d; they were read like the others.", len(rows), rows[0])}
}
