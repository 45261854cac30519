package exchange

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenhand/internal/screen"
)

// WriteReadingsCSV writes the readings of a document, one a row, in the form that ReadCSV reads:
// separated by commas, with a decimal point, dates as 2026-02-10. Readings that were corrected are
// left out. Values carry the protocol's signs, and the column sign says so where it matters. Text
// that a spreadsheet would take for a formula gets a leading apostrophe, which ReadCSV takes off.
// Columns that would be empty all through are not written. An error is one of w.
func WriteReadingsCSV(w io.Writer, p *screen.Protocol, d *Document) error {
	columns := readingColumnsOf(p, d)
	out := csv.NewWriter(w)
	head := make([]string, len(columns))
	for i := range columns {
		head[i] = columns[i].name
	}
	if err := out.Write(head); err != nil {
		return fmt.Errorf("write readings: %w", err)
	}
	row := make([]string, len(columns))
	for i := range d.Records {
		rec := &d.Records[i]
		current := rec.Current()
		for j := range current {
			for k := range columns {
				row[k] = columns[k].cell(&rowOf{p, rec, &current[j], j})
			}
			if err := out.Write(row); err != nil {
				return fmt.Errorf("write readings: %w", err)
			}
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write readings: %w", err)
	}
	return nil
}

// rowOf is what a row is about: a reading and its place among the current ones of its record.
type rowOf struct {
	p   *screen.Protocol
	rec *screen.Record
	r   *screen.Reading
	at  int
}

type csvColumn struct {
	name string
	cell func(*rowOf) string
}

// always are the columns that are written in any case.
var always = []string{"athlete", "screen", "date", "kind", "measure", "side", "trial1", "examiner"}

// readingColumnsOf is the columns that the document has something to write in.
func readingColumnsOf(p *screen.Protocol, d *Document) []csvColumn {
	all := []csvColumn{{"athlete", func(x *rowOf) string { return escape(x.rec.Screen.Athlete) }}}
	if !d.Unresolved {
		all = append(all, personColumns...)
	}
	all = append(all, screenColumns...)
	most := 1
	for i := range d.Records {
		for j := range d.Records[i].Readings {
			most = max(most, len(d.Records[i].Readings[j].Trials))
		}
	}
	for k := range most {
		all = append(all, csvColumn{"trial" + strconv.Itoa(k+1), func(x *rowOf) string {
			if k < len(x.r.Trials) {
				return number(x.r.Trials[k])
			}
			return ""
		}})
	}
	all = append(all, entryColumns...)
	used := filled(p, d, all)
	out := all[:0]
	for i, c := range all {
		if used[i] || slices.Contains(always, c.name) || !d.Unresolved && slices.Contains(rosterLayout.required, c.name) {
			out = append(out, c)
		}
	}
	return out
}

// filled says which columns hold anything.
func filled(p *screen.Protocol, d *Document, columns []csvColumn) []bool {
	used := make([]bool, len(columns))
	for i := range d.Records {
		current := d.Records[i].Current()
		for j := range current {
			x := rowOf{p, &d.Records[i], &current[j], j}
			for k := range columns {
				used[k] = used[k] || columns[k].cell(&x) != ""
			}
		}
	}
	return used
}

var personColumns = []csvColumn{
	{"name", func(x *rowOf) string { return escape(x.rec.Athlete.Name) }},
	{"born", func(x *rowOf) string { return string(x.rec.Athlete.Born) }},
	{"sex", func(x *rowOf) string { return string(x.rec.Athlete.Sex) }},
	{"throws", func(x *rowOf) string { return handWords(x.rec.Athlete.Hands) }},
	{"sport", func(x *rowOf) string { return escape(x.rec.Athlete.Sport) }},
	{"level", func(x *rowOf) string { return string(x.rec.Athlete.Level) }},
	{"positions", func(x *rowOf) string { return escape(strings.Join(x.rec.Athlete.Positions, "; ")) }},
	{"height_cm", func(x *rowOf) string { return positive(x.rec.Athlete.HeightCM) }},
	{"mass_kg", func(x *rowOf) string { return positive(x.rec.Athlete.MassKG) }},
	{"external_id", func(x *rowOf) string { return escape(x.rec.Athlete.ExternalID) }},
}

var screenColumns = []csvColumn{
	{"screen", func(x *rowOf) string { return x.rec.Screen.ID }},
	{"date", func(x *rowOf) string { return string(x.rec.Screen.On) }},
	{"kind", func(x *rowOf) string { return string(x.rec.Screen.Kind) }},
	{"measure", func(x *rowOf) string { return escape(x.r.Measure) }},
	{"side", func(x *rowOf) string { return string(x.r.Side) }},
	{"sign", func(x *rowOf) string { return signWord(x.p, x.r.Measure) }},
}

var entryColumns = []csvColumn{
	{"examiner", func(x *rowOf) string {
		if x.r.Examiner == "" {
			return escape(x.rec.Screen.Examiner)
		}
		return escape(x.r.Examiner)
	}},
	{"instrument", func(x *rowOf) string { return escape(x.r.Instrument) }},
	{"position", func(x *rowOf) string { return escape(x.r.Position) }},
	{"step", func(x *rowOf) string { return positive(x.r.Step) }},
	{"device", func(x *rowOf) string { return escape(x.r.Device) }},
	{"taken", func(x *rowOf) string {
		if x.r.Taken.IsZero() {
			return ""
		}
		return x.r.Taken.UTC().Format(time.RFC3339Nano)
	}},
	{"reading", func(x *rowOf) string { return ownID(x.r.ID, x.rec.Screen.ID, kindReading, x.at) }},
}

// positive writes a number of which 0 means "not given".
func positive(x float64) string {
	if x == 0 {
		return ""
	}
	return number(x)
}
