package exchange

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"evenhand/internal/screen"
)

// readingsLayout is the columns of a file of readings, one reading a row.
var readingsLayout = layout{
	required: []string{"athlete", "date", "measure", "side", "trial1"},
	optional: append([]string{"sign", "examiner", "instrument", "position", "device", "taken", "step", "kind", "screen", "reading"}, athleteColumns...),
	trials:   true,
}

// ReadCSV reads readings, one a row. Required columns: athlete, date, measure, side, trial1; optional
// are trial2 …, sign, examiner, instrument, position, device, taken, step, kind (preseason if absent),
// screen and reading (ids), and the athlete's name, born, sex, throws, sport, level, positions,
// height_cm, mass_kg and external_id. With any of these the athletes come from the file; without, they
// are found by Options.Known, or the document stays Unresolved. The cells may be separated by comma,
// semicolon or tab. The readings of one athlete on one day and of one kind are one screen. All faults
// up to a hundred are told at once, as screen.Faults with row and column; any other error is one of r.
func ReadCSV(r io.Reader, p *screen.Protocol, opt Options) (*Document, error) {
	data, err := readLimited(r, opt)
	if err != nil {
		return nil, err
	}
	return parseCSV(data, p, opt)
}

func parseCSV(data []byte, p *screen.Protocol, opt Options) (*Document, error) {
	text, notes, err := decodeText(data)
	if err != nil {
		return nil, err
	}
	c := csvReader{p: p, opt: opt, doc: &Document{Notes: notes}, people: people{byRef: map[string]*person{}},
		screens: map[screenKey]*csvScreen{}, byID: map[string]*csvScreen{}, readings: map[string]int{}, words: map[string]string{}}
	c.t = openTable(text, readingsLayout, &c.faults)
	if c.t == nil {
		return nil, c.faults.err()
	}
	c.own = hasAny(c.t, athleteColumns)
	c.doc.Unresolved = !c.own && opt.Known == nil
	c.t.each(c.row)
	c.finish()
	if err := c.faults.err(); err != nil {
		return nil, err
	}
	c.doc.ask(p)
	return c.doc, nil
}

func hasAny(t *table, columns []string) bool {
	for _, name := range columns {
		if t.has(name) {
			return true
		}
	}
	return false
}

// csvReader gathers rows into screens.
type csvReader struct {
	p      *screen.Protocol
	opt    Options
	doc    *Document
	faults collector
	t      *table
	own    bool // the athletes come from the file

	people   people
	screens  map[screenKey]*csvScreen
	byID     map[string]*csvScreen
	order    []*csvScreen
	readings map[string]int    // id -> row
	words    map[string]string // one copy of each text, so that rows need not be kept
	decimals decimals
	noKind   int // rows that name no kind
	rows     int
}

type screenKey struct{ athlete, on, kind, id string }

// csvScreen is a screen in the making, with the row in which it was met first.
type csvScreen struct {
	rec    *screen.Record
	person *person
	row    int
	rows   int    // readings met, also those at fault
	on     string // as typed
	kind   string
	id     string
}

// readingColumns says which column a part of a reading stands in, where the names differ.
var readingColumns = map[string]string{"id": "reading", "trials": "trial1"}

func (c *csvReader) row() {
	c.rows++
	before := c.faults.total
	person := c.person()
	trials := c.trials()
	r := screen.Reading{ID: strings.Clone(c.t.text("reading")), Measure: c.t.text("measure"), Side: screen.Side(c.t.word("side")), Trials: trials,
		Examiner: c.word("examiner"), Instrument: c.word("instrument"), Position: c.word("position"), Device: c.word("device"),
		Step: c.t.number("step", &c.decimals)}
	c.taken(&r)
	if person == nil || c.faults.total > before {
		return
	}
	s := c.screen(person)
	if s == nil {
		return
	}
	m := c.p.Measure(r.Measure)
	if m == nil && c.faults.count() {
		return
	}
	if m != nil {
		r.Measure = m.ID // the protocol's own copy of the text
		if r.Side == "" && !m.Paired {
			r.Side = screen.NoSide
		}
		var faults screen.Faults
		r.Trials, faults = m.ApplySign(r.Trials, signIn(m, c.t.text("sign")), "")
		if len(faults) > 0 {
			c.t.place(faults, readingColumns)
			return
		}
	}
	r.Screen = s.rec.Screen.ID
	if r.ID == "" {
		r.ID = partID(r.Screen, kindReading, s.rows-1)
	}
	c.t.place(c.p.CheckReading(&r, ""), readingColumns)
	if first, ok := c.readings[r.ID]; ok {
		c.t.fault("reading", &screen.Fault{Problem: fmt.Sprintf("the id of the reading stands in row %d already", first), Want: "each id once"})
	}
	c.readings[r.ID] = c.t.row
	if c.faults.total == before {
		r.Side = sideWord(r.Side)
		s.rec.Readings = append(s.rec.Readings, r)
	}
}

// signIn is the measure's sign word that a cell means: a spreadsheet writes words with a capital.
func signIn(m *screen.Measure, cell string) string {
	words := []string{screen.AsWritten}
	if m.SignWords != nil {
		words = append(words, m.SignWords.Positive, m.SignWords.Negative)
	}
	for _, w := range words {
		if strings.EqualFold(w, cell) {
			return w
		}
	}
	return cell
}

// sideWord is the side as a constant, so that the row it was read from need not be kept.
func sideWord(s screen.Side) screen.Side {
	switch s {
	case screen.Left:
		return screen.Left
	case screen.Right:
		return screen.Right
	}
	return screen.NoSide
}

// word is a text of which there are few different ones in a file.
func (c *csvReader) word(column string) string {
	s := c.t.text(column)
	if s == "" {
		return ""
	}
	if w, ok := c.words[s]; ok {
		return w
	}
	s = strings.Clone(s)
	c.words[s] = s
	return s
}

func (c *csvReader) taken(r *screen.Reading) {
	s := c.t.text("taken")
	if s == "" {
		return
	}
	t, ok := parseInstant(s)
	if !ok {
		c.t.fault("taken", &screen.Fault{Problem: "this is not a time", Want: wantInstant})
	}
	r.Taken = t
}

// trials reads the trials of a row. Empty cells at the end are trials that were not made; an empty
// cell before a filled one is a fault, because a value may have been lost there.
func (c *csvReader) trials() []float64 {
	out := make([]float64, 0, len(c.t.trials))
	gap := 0
	for k, i := range c.t.trials {
		s := strings.TrimSpace(c.t.index(i))
		if s == "" {
			if gap == 0 {
				gap = k + 1
			}
			continue
		}
		column := "trial" + strconv.Itoa(k+1)
		if gap > 0 {
			c.t.fault("trial"+strconv.Itoa(gap), &screen.Fault{Problem: "the cell is empty, but a later trial is there", Want: "empty cells only after the last trial"})
			return nil
		}
		x, f := c.decimals.parse(cellAt{c.t.row, column, s})
		if f != nil {
			c.t.fault(column, f)
			continue
		}
		out = append(out, x)
	}
	if gap == 1 {
		c.t.fault("trial1", &screen.Fault{Problem: "the row has no trial", Want: "at least one; leave out the row of a reading that was not taken"})
	}
	return out
}

// person is the athlete of the row, nil and a fault if there is none.
func (c *csvReader) person() *person {
	ref := c.t.text("athlete")
	if ref == "" {
		c.t.fault("athlete", &screen.Fault{Problem: "the athlete is missing", Want: "the athlete's id"})
		return nil
	}
	q, ok := c.people.byRef[ref]
	if !ok {
		q = c.people.add(strings.Clone(ref), c.t)
		c.identify(q)
	}
	if c.own {
		q.compare(c.t)
	}
	if q.unknown {
		return nil
	}
	return q
}

// identify finds the athlete whom a text refers to when it is met first.
func (c *csvReader) identify(q *person) {
	switch {
	case c.own:
		q.athlete.ID = idFor(q.ref)
	case c.opt.Known == nil:
		q.athlete.ID = q.ref
		var f screen.Faults
		screen.CheckText(q.ref, screen.MaxNameLen, "athlete", &f)
		c.t.place(f, nil)
	default:
		a := c.opt.Known(q.ref)
		if a == nil {
			q.unknown = true
			c.t.fault("athlete", &screen.Fault{Problem: "no such athlete is on record", Want: "the id, name or number of an athlete, or the athlete's own columns (name, born, …)"})
			return
		}
		q.athlete = *a
	}
}

// idFor is a text as an id: itself if it can be one, otherwise an id derived from it.
func idFor(ref string) string {
	var f screen.Faults
	screen.CheckID(ref, "", &f)
	if len(f) > 0 {
		return derivedID("athlete", ref)
	}
	return ref
}
