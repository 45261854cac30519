package exchange

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"evenhand/internal/screen"
)

// WriteJSON writes a document in the form that ReadJSON reads, one athlete, screen or event a line.
// Readings that were corrected and symptoms and events that were withdrawn are left out, and of several
// answers to one item the last is written: a document says what holds. Notes and questions are not part
// of it. Consents are written with their withdrawals. Without events and consents it is one that earlier
// versions read.
// An error is one of w, or of a number that JSON cannot hold.
func WriteJSON(w io.Writer, p *screen.Protocol, d *Document) error {
	out := bufio.NewWriter(w)
	if err := writeLines(out, `{"athletes":[`, len(d.Athletes), func(i int) any { return athleteJSON(&d.Athletes[i]) }); err != nil {
		return err
	}
	if err := writeLines(out, `],"screens":[`, len(d.Records), func(i int) any { return recordJSON(p, &d.Records[i]) }); err != nil {
		return err
	}
	if events := standing(d.Events); len(events) > 0 {
		if err := writeLines(out, `],"events":[`, len(events), func(i int) any { return events[i] }); err != nil {
			return err
		}
	}
	if consents := d.Consents; len(consents) > 0 {
		if err := writeLines(out, `],"consents":[`, len(consents), func(i int) any { return consentJSON(&consents[i]) }); err != nil {
			return err
		}
	}
	if _, err := out.WriteString("]}\n"); err != nil {
		return fmt.Errorf("write document: %w", err)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write document: %w", err)
	}
	return nil
}

func writeLines(w *bufio.Writer, head string, n int, item func(int) any) error {
	if _, err := w.WriteString(head); err != nil {
		return fmt.Errorf("write document: %w", err)
	}
	for i := range n {
		line, err := json.Marshal(item(i))
		if err != nil {
			return fmt.Errorf("write document: %w", err)
		}
		sep := ",\n"
		if i == 0 {
			sep = "\n"
		}
		if _, err := w.WriteString(sep + string(line)); err != nil {
			return fmt.Errorf("write document: %w", err)
		}
	}
	return nil
}

type jsonHand struct {
	Hand screen.Hand `json:"hand"`
	From screen.Date `json:"from,omitempty"`
}

type jsonAthlete struct {
	ID         string       `json:"id"`
	Name       string       `json:"name"`
	Born       screen.Date  `json:"born"`
	Sex        screen.Sex   `json:"sex"`
	Throws     screen.Hand  `json:"throws,omitempty"`
	Hands      []jsonHand   `json:"hands,omitempty"`
	Sport      string       `json:"sport"`
	Positions  []string     `json:"positions,omitempty"`
	Level      screen.Level `json:"level"`
	HeightCM   float64      `json:"height_cm,omitempty"`
	MassKG     float64      `json:"mass_kg,omitempty"`
	ExternalID string       `json:"external_id,omitempty"`
}

func athleteJSON(a *screen.Athlete) jsonAthlete {
	out := jsonAthlete{ID: a.ID, Name: a.Name, Born: a.Born, Sex: a.Sex, Sport: a.Sport, Positions: a.Positions,
		Level: a.Level, HeightCM: a.HeightCM, MassKG: a.MassKG, ExternalID: a.ExternalID}
	if len(a.Hands) == 1 && a.Hands[0].From == "" {
		out.Throws = a.Hands[0].Hand
		return out
	}
	for _, h := range a.Hands {
		out.Hands = append(out.Hands, jsonHand(h))
	}
	return out
}

type jsonReading struct {
	ID         string      `json:"id,omitempty"`
	Measure    string      `json:"measure"`
	Side       screen.Side `json:"side"`
	Trials     []float64   `json:"trials"`
	Sign       string      `json:"sign,omitempty"`
	Examiner   string      `json:"examiner,omitempty"`
	Instrument string      `json:"instrument,omitempty"`
	Position   string      `json:"position,omitempty"`
	Device     string      `json:"device,omitempty"`
	Taken      time.Time   `json:"taken,omitzero"`
	Step       float64     `json:"step,omitempty"`
}

type jsonNotDone struct {
	ID      string        `json:"id,omitempty"`
	Measure string        `json:"measure"`
	Side    screen.Side   `json:"side"`
	Reason  screen.Reason `json:"reason"`
}

type jsonAnswer struct {
	ID       string        `json:"id,omitempty"`
	Item     string        `json:"item"`
	Answer   screen.Answer `json:"answer"`
	Examiner string        `json:"examiner,omitempty"`
}

type jsonSymptom struct {
	ID      string      `json:"id,omitempty"`
	Symptom string      `json:"symptom"`
	Side    screen.Side `json:"side,omitempty"`
	Note    string      `json:"note,omitempty"`
}

type jsonRecord struct {
	ID         string        `json:"id"`
	Athlete    string        `json:"athlete"`
	Team       string        `json:"team,omitempty"`
	On         screen.Date   `json:"on"`
	Kind       screen.Kind   `json:"kind"`
	Examiner   string        `json:"examiner,omitempty"`
	ThrewIn48h *bool         `json:"threw_in_48h,omitempty"`
	Note       string        `json:"note,omitempty"`
	Readings   []jsonReading `json:"readings"`
	NotDone    []jsonNotDone `json:"not_done,omitempty"`
	Checklist  []jsonAnswer  `json:"checklist,omitempty"`
	Symptoms   []any         `json:"symptoms,omitempty"` // text, or jsonSymptom where there is more to say
}

type jsonEvent struct {
	ID      string           `json:"id"`
	Athlete string           `json:"athlete"`
	On      screen.Date      `json:"on"`
	Kind    screen.EventKind `json:"kind"`
	Link    string           `json:"link,omitempty"`
	Side    screen.Side      `json:"side,omitempty"`
	Note    string           `json:"note,omitempty"`
	Limits  string           `json:"limits,omitempty"`
}

type jsonConsent struct {
	ID          string         `json:"id"`
	Athlete     string         `json:"athlete"`
	Purpose     screen.Purpose `json:"purpose"`
	On          screen.Date    `json:"on"`
	Version     string         `json:"version"`
	GivenBy     screen.Giver   `json:"given_by"`
	Giver       string         `json:"giver,omitempty"`
	WithdrawnOn screen.Date    `json:"withdrawn_on,omitempty"`
	Why         string         `json:"why,omitempty"`
}

func consentJSON(c *screen.Consent) jsonConsent {
	return jsonConsent{c.ID, c.Athlete, c.Purpose, c.On, c.Version, c.GivenBy, c.Giver, c.WithdrawnOn, c.Why}
}

// standing are the events that hold, as they are written.
func standing(events []screen.Event) (out []jsonEvent) {
	for i := range events {
		if e := &events[i]; e.Stands() {
			out = append(out, jsonEvent{e.ID, e.Athlete, e.On, e.Kind, e.Link, e.Side, e.Note, e.Limits})
		}
	}
	return out
}

func recordJSON(p *screen.Protocol, r *screen.Record) jsonRecord {
	s := &r.Screen
	out := jsonRecord{ID: s.ID, Athlete: s.Athlete, Team: s.Team, On: s.On, Kind: s.Kind, Examiner: s.Examiner,
		ThrewIn48h: s.ThrewIn48h, Note: s.Note, Readings: []jsonReading{}}
	for _, x := range r.Current() {
		out.Readings = append(out.Readings, jsonReading{ID: ownID(x.ID, s.ID, kindReading, len(out.Readings)),
			Measure: x.Measure, Side: x.Side, Trials: x.Trials, Sign: signWord(p, x.Measure), Examiner: x.Examiner,
			Instrument: x.Instrument, Position: x.Position, Device: x.Device, Taken: x.Taken.UTC(), Step: x.Step})
	}
	for i, n := range r.NotDone {
		out.NotDone = append(out.NotDone, jsonNotDone{ownID(n.ID, s.ID, kindNotDone, i), n.Measure, n.Side, n.Reason})
	}
	for _, c := range lastAnswers(r.Checklist) {
		out.Checklist = append(out.Checklist, jsonAnswer{ownID(c.ID, s.ID, kindAnswer, len(out.Checklist)), c.Item, c.Answer, c.Examiner})
	}
	for _, x := range r.Symptoms {
		if x.Withdrawn != "" {
			continue
		}
		y := jsonSymptom{ownID(x.ID, s.ID, kindSymptom, len(out.Symptoms)), x.Symptom, x.Side, x.Note}
		if y == (jsonSymptom{Symptom: x.Symptom}) {
			out.Symptoms = append(out.Symptoms, x.Symptom)
		} else {
			out.Symptoms = append(out.Symptoms, y)
		}
	}
	return out
}

// ownID is an id, or nothing if the reader derives the same one by itself.
func ownID(id, screenID, kind string, index int) string {
	if id == partID(screenID, kind, index) {
		return ""
	}
	return id
}

// signWord marks values that carry the protocol's signs, for measures where that could be doubted.
func signWord(p *screen.Protocol, measure string) string {
	if m := p.Measure(measure); m != nil && m.SignWords != nil {
		return screen.AsWritten
	}
	return ""
}

// lastAnswers is the answers that hold: the last to each item, in the order of the first.
func lastAnswers(all []screen.ChecklistAnswer) []screen.ChecklistAnswer {
	out := make([]screen.ChecklistAnswer, 0, len(all))
	at := map[string]int{}
	for _, c := range all {
		if i, ok := at[c.Item]; ok {
			out[i] = c
			continue
		}
		at[c.Item] = len(out)
		out = append(out, c)
	}
	return out
}
