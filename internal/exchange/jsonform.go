package exchange

import (
	"time"

	"evenhand/internal/screen"
)

// The form of a JSON document, field by field. What the fields mean is checked afterwards, because
// they may stand in any order. ok says that the form of a value was right: only then is its meaning
// looked at, so that one fault is told once.

type rawDocument struct {
	athletes    []rawAthlete
	screens     []rawScreen
	events      []rawPart[screen.Event]
	consents    []rawPart[screen.Consent]
	hasAthletes bool
	hasScreens  bool
	hasEvents   bool
}

type rawAthlete struct {
	screen.Athlete
	throws string
	hands  bool // the field hands was given
	ok     bool
}

type rawScreen struct {
	screen.Screen
	readings  []rawReading
	notDone   []rawPart[screen.NotDone]
	checklist []rawPart[screen.ChecklistAnswer]
	symptoms  []rawPart[screen.Symptom]
	ok        bool
}

type rawReading struct {
	screen.Reading
	sign string
	ok   bool
}

type rawPart[T any] struct {
	part T
	ok   bool
}

var documentFields = fields[rawDocument]{
	"athletes": func(w *walker, d *rawDocument, path string) {
		d.hasAthletes = true
		w.list(path, func(at string) {
			var a rawAthlete
			a.ok = object(w, at, athleteFields, &a)
			if w.keep(a.ok) {
				d.athletes = append(d.athletes, a)
			}
		})
	},
	"screens": func(w *walker, d *rawDocument, path string) {
		d.hasScreens = true
		w.list(path, func(at string) {
			var s rawScreen
			s.ok = object(w, at, screenFields, &s)
			if w.keep(s.ok) {
				d.screens = append(d.screens, s)
			}
		})
	},
	"events": func(w *walker, d *rawDocument, at string) {
		d.hasEvents = true
		d.events = parts(w, at, eventFields)
	},
	"consents": func(w *walker, d *rawDocument, at string) { d.consents = parts(w, at, consentFields) },
}

var athleteFields = fields[rawAthlete]{
	"id":          func(w *walker, a *rawAthlete, at string) { a.ID = w.text(at) },
	"name":        func(w *walker, a *rawAthlete, at string) { a.Name = w.text(at) },
	"born":        func(w *walker, a *rawAthlete, at string) { a.Born = screen.Date(w.text(at)) },
	"sex":         func(w *walker, a *rawAthlete, at string) { a.Sex = screen.Sex(w.text(at)) },
	"throws":      func(w *walker, a *rawAthlete, at string) { a.throws = w.text(at) },
	"sport":       func(w *walker, a *rawAthlete, at string) { a.Sport = w.text(at) },
	"level":       func(w *walker, a *rawAthlete, at string) { a.Level = screen.Level(w.text(at)) },
	"height_cm":   func(w *walker, a *rawAthlete, at string) { a.HeightCM = w.number(at) },
	"mass_kg":     func(w *walker, a *rawAthlete, at string) { a.MassKG = w.number(at) },
	"external_id": func(w *walker, a *rawAthlete, at string) { a.ExternalID = w.text(at) },
	"positions":   func(w *walker, a *rawAthlete, at string) { a.Positions = w.texts(at) },
	"hands": func(w *walker, a *rawAthlete, path string) {
		a.hands = true
		w.list(path, func(at string) {
			var h screen.HandSince
			object(w, at, handFields, &h)
			a.Hands = append(a.Hands, h)
		})
	},
}

var handFields = fields[screen.HandSince]{
	"hand": func(w *walker, h *screen.HandSince, at string) { h.Hand = screen.Hand(w.text(at)) },
	"from": func(w *walker, h *screen.HandSince, at string) { h.From = screen.Date(w.text(at)) },
}

var screenFields = fields[rawScreen]{
	"id":           func(w *walker, s *rawScreen, at string) { s.ID = w.text(at) },
	"athlete":      func(w *walker, s *rawScreen, at string) { s.Athlete = w.text(at) },
	"team":         func(w *walker, s *rawScreen, at string) { s.Team = w.text(at) },
	"on":           func(w *walker, s *rawScreen, at string) { s.On = screen.Date(w.text(at)) },
	"kind":         func(w *walker, s *rawScreen, at string) { s.Kind = screen.Kind(w.text(at)) },
	"examiner":     func(w *walker, s *rawScreen, at string) { s.Examiner = w.text(at) },
	"threw_in_48h": func(w *walker, s *rawScreen, at string) { s.ThrewIn48h = w.boolean(at) },
	"note":         func(w *walker, s *rawScreen, at string) { s.Note = w.text(at) },
	"readings": func(w *walker, s *rawScreen, path string) {
		w.list(path, func(at string) {
			var r rawReading
			r.ok = object(w, at, readingFields, &r)
			if w.keep(r.ok) {
				s.readings = append(s.readings, r)
			}
		})
	},
	"not_done":  func(w *walker, s *rawScreen, at string) { s.notDone = parts(w, at, notDoneFields) },
	"checklist": func(w *walker, s *rawScreen, at string) { s.checklist = parts(w, at, answerFields) },
	"symptoms":  func(w *walker, s *rawScreen, at string) { s.symptoms = w.symptoms(at) },
}

var readingFields = fields[rawReading]{
	"id":         func(w *walker, r *rawReading, at string) { r.ID = w.text(at) },
	"measure":    func(w *walker, r *rawReading, at string) { r.Measure = w.text(at) },
	"side":       func(w *walker, r *rawReading, at string) { r.Side = screen.Side(w.text(at)) },
	"sign":       func(w *walker, r *rawReading, at string) { r.sign = w.text(at) },
	"examiner":   func(w *walker, r *rawReading, at string) { r.Examiner = w.text(at) },
	"instrument": func(w *walker, r *rawReading, at string) { r.Instrument = w.text(at) },
	"position":   func(w *walker, r *rawReading, at string) { r.Position = w.text(at) },
	"device":     func(w *walker, r *rawReading, at string) { r.Device = w.text(at) },
	"taken":      func(w *walker, r *rawReading, at string) { r.Taken = w.instant(at) },
	"step":       func(w *walker, r *rawReading, at string) { r.Step = w.number(at) },
	"trials": func(w *walker, r *rawReading, path string) {
		w.list(path, func(at string) { r.Trials = append(r.Trials, w.number(at)) })
	},
}

var notDoneFields = fields[screen.NotDone]{
	"id":      func(w *walker, n *screen.NotDone, at string) { n.ID = w.text(at) },
	"measure": func(w *walker, n *screen.NotDone, at string) { n.Measure = w.text(at) },
	"side":    func(w *walker, n *screen.NotDone, at string) { n.Side = screen.Side(w.text(at)) },
	"reason":  func(w *walker, n *screen.NotDone, at string) { n.Reason = screen.Reason(w.text(at)) },
}

var answerFields = fields[screen.ChecklistAnswer]{
	"id":       func(w *walker, c *screen.ChecklistAnswer, at string) { c.ID = w.text(at) },
	"item":     func(w *walker, c *screen.ChecklistAnswer, at string) { c.Item = w.text(at) },
	"answer":   func(w *walker, c *screen.ChecklistAnswer, at string) { c.Answer = screen.Answer(w.text(at)) },
	"examiner": func(w *walker, c *screen.ChecklistAnswer, at string) { c.Examiner = w.text(at) },
}

var symptomFields = fields[screen.Symptom]{
	"id":      func(w *walker, s *screen.Symptom, at string) { s.ID = w.text(at) },
	"symptom": func(w *walker, s *screen.Symptom, at string) { s.Symptom = w.text(at) },
	"side":    func(w *walker, s *screen.Symptom, at string) { s.Side = screen.Side(w.text(at)) },
	"note":    func(w *walker, s *screen.Symptom, at string) { s.Note = w.text(at) },
}

var eventFields = fields[screen.Event]{
	"id":      func(w *walker, e *screen.Event, at string) { e.ID = w.text(at) },
	"athlete": func(w *walker, e *screen.Event, at string) { e.Athlete = w.text(at) },
	"on":      func(w *walker, e *screen.Event, at string) { e.On = screen.Date(w.text(at)) },
	"kind":    func(w *walker, e *screen.Event, at string) { e.Kind = screen.EventKind(w.text(at)) },
	"link":    func(w *walker, e *screen.Event, at string) { e.Link = w.text(at) },
	"side":    func(w *walker, e *screen.Event, at string) { e.Side = screen.Side(w.text(at)) },
	"note":    func(w *walker, e *screen.Event, at string) { e.Note = w.text(at) },
	"limits":  func(w *walker, e *screen.Event, at string) { e.Limits = w.text(at) },
}

var consentFields = fields[screen.Consent]{
	"id":           func(w *walker, c *screen.Consent, at string) { c.ID = w.text(at) },
	"athlete":      func(w *walker, c *screen.Consent, at string) { c.Athlete = w.text(at) },
	"purpose":      func(w *walker, c *screen.Consent, at string) { c.Purpose = screen.Purpose(w.text(at)) },
	"on":           func(w *walker, c *screen.Consent, at string) { c.On = screen.Date(w.text(at)) },
	"version":      func(w *walker, c *screen.Consent, at string) { c.Version = w.text(at) },
	"given_by":     func(w *walker, c *screen.Consent, at string) { c.GivenBy = screen.Giver(w.text(at)) },
	"giver":        func(w *walker, c *screen.Consent, at string) { c.Giver = w.text(at) },
	"withdrawn_on": func(w *walker, c *screen.Consent, at string) { c.WithdrawnOn = screen.Date(w.text(at)) },
	"why":          func(w *walker, c *screen.Consent, at string) { c.Why = w.text(at) },
}

func parts[T any](w *walker, path string, known fields[T]) (out []rawPart[T]) {
	w.list(path, func(at string) {
		var x rawPart[T]
		x.ok = object(w, at, known, &x.part)
		if w.keep(x.ok) {
			out = append(out, x)
		}
	})
	return out
}

// symptoms reads a list of symptom ids; an object in its place gives side and note as well.
func (w *walker) symptoms(path string) (out []rawPart[screen.Symptom]) {
	w.list(path, func(at string) {
		var x rawPart[screen.Symptom]
		if w.nextIs('{') {
			x.ok = object(w, at, symptomFields, &x.part)
		} else {
			before := w.faults.total
			x.part.Symptom = w.text(at)
			x.ok = w.faults.total == before
		}
		if w.keep(x.ok) {
			out = append(out, x)
		}
	})
	return out
}

// nextIs reports whether the next value begins with the sign.
func (w *walker) nextIs(sign byte) bool {
	for at := w.dec.InputOffset(); at < int64(len(w.data)); at++ {
		switch c := w.data[at]; c {
		case ' ', '\t', '\r', '\n', ',':
		default:
			return c == sign
		}
	}
	return false
}

// instant reads a time such as 2026-02-10T16:20:00Z.
func (w *walker) instant(path string) time.Time {
	before := w.faults.total
	s := w.text(path)
	if w.faults.total > before || w.broken {
		return time.Time{}
	}
	t, ok := parseInstant(s)
	if !ok {
		w.faults.add(screen.Fault{Where: path, Problem: "this is not a time", Want: wantInstant, Value: clip(s, 40)})
	}
	return t
}

const wantInstant = "a time such as 2026-02-10T16:20:00Z"

// parseInstant reads a time with its zone and gives it in UTC. Years that no record can be of are
// refused, and with them those that could not be written again.
func parseInstant(s string) (time.Time, bool) {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil || t.Year() < 1901 || t.Year() > 9998 {
		return time.Time{}, false
	}
	return t.UTC(), true
}
