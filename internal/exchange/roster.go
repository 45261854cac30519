package exchange

import (
	"fmt"
	"io"
	"strings"

	"evenhand/internal/screen"
)

// rosterLayout is the columns of a roster, one athlete a row.
var rosterLayout = layout{
	required: []string{"name", "born", "sex", "throws", "sport", "level"},
	optional: []string{"id", "external_id", "positions", "height_cm", "mass_kg"},
}

// ReadRoster reads athletes, one a row. Required columns: name, born, sex, throws, sport, level;
// optional are id, external_id, positions (separated by ; or /), height_cm and mass_kg. An athlete
// without an id gets one derived from the external id, or else from name and birth date, so that the
// same roster twice is the same athletes. Faults are those of ReadCSV.
func ReadRoster(r io.Reader, p *screen.Protocol, opt Options) (*Document, error) {
	data, err := readLimited(r, opt)
	if err != nil {
		return nil, err
	}
	return parseRoster(data, p, opt)
}

func parseRoster(data []byte, p *screen.Protocol, opt Options) (*Document, error) {
	text, notes, err := decodeText(data)
	if err != nil {
		return nil, err
	}
	doc := &Document{Notes: notes}
	var faults collector
	t := openTable(text, rosterLayout, &faults)
	if t == nil {
		return nil, faults.err()
	}
	var d decimals
	people := people{byRef: map[string]*person{}}
	t.each(func() {
		id, column := rosterID(t, opt.Team)
		if first, ok := people.byRef[id]; ok {
			t.fault(column, &screen.Fault{Problem: fmt.Sprintf("the athlete stands in row %d already", first.row), Want: "each athlete once; tell two of one name and birth date apart by an id"})
			return
		}
		q := people.add(strings.Clone(id), t)
		q.column = "id"
		q.athlete.ID = q.ref
		q.compare(t)
		q.build(p, opt.Today, &d, &faults)
		doc.Athletes = append(doc.Athletes, q.athlete)
	})
	if err := faults.err(); err != nil {
		return nil, err
	}
	if len(doc.Athletes) == 0 {
		doc.Notes = append(doc.Notes, "The file has no rows below its header.")
	}
	doc.Notes = append(doc.Notes, d.note()...)
	return doc, nil
}

// rosterID is the id of the athlete of a row and the column that it comes from. A number counts within
// a team: two teams may have a number 17.
func rosterID(t *table, team string) (id, column string) {
	if id := t.text("id"); id != "" {
		return id, "id"
	}
	if x := t.text("external_id"); x != "" && team != "" {
		return derivedID("athlete", "external_id", x, team), "external_id"
	} else if x != "" {
		return derivedID("athlete", "external_id", x), "external_id"
	}
	return derivedID("athlete", "name", t.text("name"), t.text("born")), "name"
}
