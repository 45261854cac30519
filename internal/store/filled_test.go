package store

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// setAll sets every field of what v is to a value of its own that is not zero: a field that is added to
// a type and forgotten in the store is then lost on the way, and seen.
func setAll(t *testing.T, v reflect.Value, n *int) {
	t.Helper()
	*n++
	switch v.Kind() {
	case reflect.String:
		v.SetString(fmt.Sprintf("text %d", *n))
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(*n))
	case reflect.Float64:
		v.SetFloat(float64(*n) + 0.5)
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Uint8:
		v.SetUint(uint64(*n % 256))
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range 2 {
			setAll(t, v.Index(i), n)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(start.Add(time.Duration(*n) * time.Microsecond)))
			return
		}
		for i := range v.NumField() {
			setAll(t, v.Field(i), n)
		}
	default:
		t.Fatalf("no value for %s", v.Type())
	}
}

// filled is a T with a value in every field.
func filled[T any](t *testing.T) T {
	t.Helper()
	var x T
	n := 0
	setAll(t, reflect.ValueOf(&x).Elem(), &n)
	return x
}

// equal fails unless got is want to the last field.
func equal(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s\n got %+v\nwant %+v", what, got, want)
	}
}

// TestDayRoundTrips writes each thing of a screening day with a value in every field, and reads it back
// by every way there is.
func TestDayRoundTrips(t *testing.T) {
	s := dayStore(t)
	d, p, e, h := filled[screen.Day](t), filled[screen.Participant](t), filled[screen.DayEntry](t), filled[screen.Handout](t)
	d.Team, d.Revision, d.Changed = "T", 1, start // the store's own
	p.Day, p.Athlete = d.ID, "A7"
	e.Day, e.Seq = d.ID, 1
	h.Day, h.Athlete = d.ID, "A7"
	write(t, s, func(tx *Tx) error {
		put, entries := d, []screen.DayEntry{e}
		put.Revision, put.Changed, entries[0].Seq = 0, time.Time{}, 0
		if err := second(tx.PutDay(&put, 0)); err != nil {
			return err
		}
		equal(t, "what the put gave back", put, d)
		if err := second(tx.PutParticipants(d.ID, []screen.Participant{p})); err != nil {
			return err
		}
		if err := second(tx.AddDayEntries(d.ID, entries)); err != nil {
			return err
		}
		equal(t, "what was added", entries[0], e)
		return second(tx.PutHandouts([]screen.Handout{h}))
	})
	d.Revision = 2 // by the participant
	read(t, s, func(tx *Tx) error {
		for what, list := range map[string]func() (any, any, error){
			"day":            func() (any, any, error) { x, err := tx.Day(d.ID); return x, d, err },
			"by its station": func() (any, any, error) { x, err := tx.DayByStation(d.Stations[1].Code); return x, d, err },
			"on its date":    func() (any, any, error) { x, err := tx.DaysOn(d.On); return x, []screen.Day{d}, err },
			"participants":   func() (any, any, error) { x, err := tx.Participants(d.ID); return x, []screen.Participant{p}, err },
			"entries":        func() (any, any, error) { x, err := tx.DayEntries(d.ID, 0); return x, []screen.DayEntry{e}, err },
			"entries by id": func() (any, any, error) {
				x, err := tx.DayEntriesByID([]string{"none", e.ID})
				return x, []screen.DayEntry{e}, err
			},
			"handout":  func() (any, any, error) { x, err := tx.Handout(h.ID); return x, h, err },
			"handouts": func() (any, any, error) { x, err := tx.Handouts(d.ID); return x, []screen.Handout{h}, err },
		} {
			got, want, err := list()
			if err != nil {
				t.Errorf("%s: %v", what, err)
			}
			equal(t, what, got, want)
		}
		return nil
	})
}

// TestReadingRoundTrip is a reading with a value in every field, by both ways it is read.
func TestReadingRoundTrip(t *testing.T) {
	s := squad(t)
	old := readings("S", 1)[0]
	r := filled[screen.Reading](t)
	r.Screen, r.Supersedes, r.Superseded = "S", old.ID, "" // superseded_by is the store's own
	write(t, s, func(tx *Tx) error { return second(tx.PutReadings("S", []screen.Reading{old, r}, nil)) })
	rec := record(t, s, "S")
	equal(t, "in the record", rec.Readings[1], r)
	read(t, s, func(tx *Tx) error {
		got, err := tx.Reading(r.ID)
		equal(t, "by its id", got, r)
		return err
	})
	if rec.Readings[0].Superseded != r.ID {
		t.Errorf("the corrected reading is %+v", rec.Readings[0])
	}
}

// TestLeastDay is a day with as little in it as can be kept: lists that are empty come back empty, not
// as null.
func TestLeastDay(t *testing.T) {
	s := dayStore(t)
	d := screen.Day{ID: "least", Team: "T", Stations: []screen.Station{{Code: "c"}}}
	write(t, s, func(tx *Tx) error { return second(tx.PutDay(&d, 0)) })
	want := screen.Day{ID: "least", Team: "T", Stations: []screen.Station{{Code: "c", Steps: []screen.Step{}}}, Revision: 1, Changed: start}
	equal(t, "the day", d, want)
	write(t, s, func(tx *Tx) error {
		wrote, err := tx.PutDay(&screen.Day{ID: "least", Team: "T", Stations: []screen.Station{{Code: "c"}}}, 1)
		if wrote {
			t.Error("the same day was written again")
		}
		return err
	})
	h := screen.Handout{ID: "H", Day: "D", Athlete: "A1"}
	write(t, s, func(tx *Tx) error {
		for i, want := range []int{1, 0} {
			added, err := tx.PutHandouts([]screen.Handout{h, h})
			if err != nil || added != want {
				t.Errorf("put %d: %d handouts are new (%v), want %d", i, added, err, want)
			}
		}
		got, err := tx.Handout("H")
		if got.Made != start || len(got.Body) != 0 {
			t.Errorf("the handout is %+v", got)
		}
		return err
	})
}
