package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// readingForm is a reading as a station sends it.
type readingForm struct {
	ID      string    `json:"id" doc:"made by whoever enters the reading, best a UUIDv7; the same id again is the same reading"`
	Measure string    `json:"measure" doc:"id of a measure of the protocol"`
	Side    string    `json:"side" enum:"left,right,none" doc:"none for a measure that has no sides"`
	Trials  []float64 `json:"trials" nullable:"false" doc:"in the measure's unit"`
	Sign    string    `json:"sign,omitempty" doc:"one of the measure's sign words, or as_written; required where a plain number could mean either"`
	Circumstances
}

// Circumstances is how a reading was taken.
type Circumstances struct {
	Examiner   string    `json:"examiner,omitempty"`
	Instrument string    `json:"instrument,omitempty"`
	Position   string    `json:"position,omitempty"`
	Device     string    `json:"device,omitempty"`
	Taken      time.Time `json:"taken,omitzero" doc:"when it was measured, by the device's clock"`
	Step       float64   `json:"step,omitempty" doc:"smallest step the instrument was read to, in the measure's unit; absent: the protocol's"`
}

func (f *Circumstances) reading() screen.Reading {
	return screen.Reading{Examiner: f.Examiner, Instrument: f.Instrument, Position: f.Position, Device: f.Device, Taken: f.Taken, Step: f.Step}
}

func (f *readingForm) entry() clinic.Entry {
	r := f.reading()
	r.ID, r.Measure, r.Side, r.Trials = f.ID, f.Measure, screen.Side(f.Side), f.Trials
	return clinic.Entry{Reading: r, Sign: f.Sign}
}

type readingsForm struct {
	Readings []readingForm `json:"readings" nullable:"false" doc:"1 to 5000"`
}

// correctionForm is what a reading should have been.
type correctionForm struct {
	ID     string    `json:"id,omitempty" doc:"of the correction; left out: made here, and then the request is not to be sent twice"`
	Trials []float64 `json:"trials" nullable:"false"`
	Sign   string    `json:"sign,omitempty"`
	Why    string    `json:"why" doc:"why the earlier reading is wrong"`
	Circumstances
}

// correctionPlaces: a use case sees a correction as a list of one.
var correctionPlaces = []place{{"readings[0].", "body."}, {"readings[0]", "body"}, {"readings", "body"}}

func (s *server) readingRoutes() {
	add(s, route{method: http.MethodPut, path: "/screens/{screen}/readings", id: "put-readings", tag: "readings", summary: "Add readings to a screen, all or none",
		text: "A reading that is on record with the same content is left alone, so the same request may be sent twice.", errors: []int{http.StatusConflict}, rawBody: true}, s.putReadings)
	registry := s.api.OpenAPI().Components.Schemas
	add(s, route{method: http.MethodGet, path: "/screens/{screen}/readings", id: "list-readings", tag: "readings", summary: "All readings of a screen",
		text: "Also those that were corrected; they name the reading that supersedes them.", conditional: true,
		responses: answer(registry, typeJSON, part[screen.Reading]{})}, s.listReadings)
	add(s, route{method: http.MethodPost, path: "/readings/{reading}/correction", id: "correct-reading", tag: "readings", summary: "Correct a reading",
		text: "The earlier reading stays on record.", status: http.StatusCreated, errors: []int{http.StatusConflict}, places: correctionPlaces}, s.correctReading)
}

func (s *server) putReadings(ctx context.Context, in *struct {
	ScreenPath
	Body readingsForm
},
) (*one[clinic.Saved], error) {
	entries := make([]clinic.Entry, len(in.Body.Readings))
	var faults screen.Faults
	for i := range in.Body.Readings {
		entries[i] = in.Body.Readings[i].entry()
		checkTaken(entries[i].Taken, fmt.Sprintf("readings[%d]", i), &faults)
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	out, err := s.clinic.SaveReadings(ctx, person(ctx), in.Screen, entries)
	if err != nil {
		return nil, err
	}
	return saved(out), nil
}

// checkTaken refuses times that could be read but, in UTC, not be written again.
func checkTaken(t time.Time, where string, f *screen.Faults) {
	if y := t.UTC().Year(); !t.IsZero() && (y < 1901 || y > 9998) {
		f.Add(where+".taken", "a time such as 2026-02-10T16:20:00Z", "no reading can have been taken in the year %d", y)
	}
}

// saved is the answer to entries; the ETag is that of the screen.
func saved(out clinic.Saved) *one[clinic.Saved] {
	if out.Questions == nil {
		out.Questions = []screen.Question{}
	}
	return &one[clinic.Saved]{etag(out.Revision), out}
}

// encoded is an answer that is bytes already.
type encoded struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	ETag        string `header:"ETag"`
	Body        []byte
}

// answer describes an answer that is not made from the handler's own type.
func answer(registry huma.Registry, contentType string, body any) map[string]*huma.Response {
	return map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{
		contentType: {Schema: schemaOf(registry, body)}}}}
}

func (s *server) listReadings(ctx context.Context, in *struct {
	ScreenPath
	Cached
},
) (*encoded, error) {
	rec, err := s.clinic.Record(ctx, person(ctx), in.Screen)
	if err != nil {
		return nil, err
	}
	tag := etag(rec.Screen.Revision)
	if err := in.unless(tag); err != nil {
		return nil, err
	}
	body, err := s.readings.bytes(rec)
	return &encoded{typeJSON, tag, body}, err
}

func (s *server) correctReading(ctx context.Context, in *struct {
	Reading string `path:"reading"`
	Body    correctionForm
},
) (*written[screen.Reading], error) {
	var faults screen.Faults
	checkTaken(in.Body.Taken, "readings[0]", &faults)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	e := clinic.Entry{Reading: in.Body.reading(), Sign: in.Body.Sign}
	e.ID, e.Trials, e.Why = in.Body.ID, in.Body.Trials, in.Body.Why
	out, err := s.clinic.Correct(ctx, person(ctx), in.Reading, e)
	if err != nil {
		return nil, err
	}
	return &written[screen.Reading]{Status: http.StatusCreated, Body: out}, nil
}
