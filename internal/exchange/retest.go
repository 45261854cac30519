package exchange

import (
	"fmt"
	"io"
	"slices"

	"evenhand/internal/screen"
	"evenhand/internal/study"
)

// MaxRetestReadings is how many readings a file of repeated readings may have. A squad of 60 of whom
// everybody is measured twice on 40 paired measures has 9,600.
const MaxRetestReadings = 20_000

// retestLayout is the columns of a file of repeated readings.
var retestLayout = layout{
	required: []string{"athlete", "measure", "side", "examiner", "day", "trial1"},
	optional: []string{"sign"},
	trials:   true,
}

// ReadRetest reads repeated readings of a retest study, one a row, from CSV or from the first sheet of
// a workbook (XLSX). Columns: athlete (any label: volunteers need not be on record), measure, side,
// examiner (may be left empty: then all such rows are by one person), day, trial1, trial2 … and, for
// measures that need one, sign. Rows with the same athlete, measure, side and day are new placings; a
// row that stands twice is two of them. notes say what was taken for granted. All faults up to a
// hundred are told at once, as screen.Faults with row and column, and nothing is handed out then; any
// other error is one of r.
func ReadRetest(r io.Reader, p *screen.Protocol, opt Options) (out []study.Reading, notes []string, err error) {
	data, err := readLimited(r, opt)
	if err != nil {
		return nil, nil, err
	}
	var more []string
	if isWorkbook(data) {
		if data, more, err = firstSheet(data, opt.most()); err != nil {
			return nil, nil, err
		}
	}
	text, notes, err := decodeText(data)
	if err != nil {
		return nil, nil, err
	}
	c := retestReader{csvReader: csvReader{p: p, opt: opt, words: map[string]string{}}}
	if c.t = openTable(text, retestLayout, &c.faults); c.t == nil {
		return nil, nil, c.faults.err()
	}
	c.t.each(c.row)
	c.finish()
	if err := c.faults.err(); err != nil {
		return nil, nil, err
	}
	return c.readings, slices.Concat(more, notes, c.notes()), nil
}

// retestReader gathers rows; of the reader of readings it takes how cells are read.
type retestReader struct {
	csvReader
	readings []study.Reading
	unnamed  int // rows without an examiner
}

// retestColumns says which column a part of a reading stands in, where the names differ.
var retestColumns = map[string]string{"trials": "trial1", "on": "day"}

func (c *retestReader) row() {
	if c.rows++; c.rows > MaxRetestReadings {
		return // only counted
	}
	before := c.faults.total
	out := study.Reading{Athlete: c.label("athlete"), Examiner: c.label("examiner"), Occasion: c.day(), Trials: c.trials()}
	if out.Athlete == "" {
		c.t.fault("athlete", &screen.Fault{Problem: "the athlete is missing", Want: "any label that is the same for every row of one person"})
	}
	if c.faults.total > before {
		return
	}
	m := c.p.Measure(c.t.text("measure"))
	if m == nil && c.faults.count() {
		return
	}
	r := screen.Reading{ID: "r", Measure: c.t.text("measure"), Side: screen.Side(c.t.word("side")), Trials: out.Trials}
	if m != nil {
		if r.Measure = m.ID; r.Side == "" && !m.Paired {
			r.Side = screen.NoSide
		}
		var faults screen.Faults
		if r.Trials, faults = m.ApplySign(r.Trials, signIn(m, c.t.text("sign")), ""); len(faults) > 0 {
			c.t.place(faults, retestColumns)
			return
		}
	}
	c.t.place(c.p.CheckReading(&r, ""), retestColumns)
	if c.faults.total == before {
		out.Measure, out.Side, out.Trials = r.Measure, sideWord(r.Side), r.Trials
		c.readings = append(c.readings, out)
	}
}

// label is the text of a cell that names a person.
func (c *retestReader) label(column string) string {
	s := c.word(column)
	var f screen.Faults
	screen.CheckText(s, screen.MaxNameLen, column, &f)
	c.t.place(f, nil)
	if s == "" && column == "examiner" {
		c.unnamed++
	}
	return s
}

// day is the day of a row. It is one of the calendar and not in the future.
func (c *retestReader) day() screen.Date {
	s := c.word("day")
	d, err := screen.ParseDate(s)
	switch {
	case err != nil:
		c.t.fault("day", &screen.Fault{Problem: fmt.Sprintf("%q is not a day", clip(s, 40)), Want: "a day such as 2026-02-10"})
	case c.opt.Today != "" && d > c.opt.Today:
		c.t.fault("day", &screen.Fault{Problem: "the day is in the future", Want: "a day up to " + string(c.opt.Today)})
	}
	return d
}

// notes say what was taken for granted.
func (c *retestReader) notes() []string {
	out := c.decimals.note()
	if c.unnamed > 0 && c.unnamed < c.rows {
		out = append(out, fmt.Sprintf("%d of %d rows name no examiner; they were taken as one person's.", c.unnamed, c.rows))
	}
	if c.unnamed == c.rows {
		out = append(out, "No row names an examiner: all were taken as one person's.")
	}
	return out
}

func (c *retestReader) finish() {
	switch {
	case c.rows > MaxRetestReadings:
		c.faults.add(screen.Fault{Problem: fmt.Sprintf("the file has %d readings", c.rows),
			Want: fmt.Sprintf("at most %d: only the athletes who were measured twice are needed", MaxRetestReadings)})
	case c.rows == 0 && c.faults.total == 0:
		c.faults.add(screen.Fault{Problem: "the file has no row below its header", Want: "one reading a row, and at least two of the same athlete, measure and side"})
	}
}
