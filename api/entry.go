package api

import (
	"context"
	"net/http"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// Entries beside readings: each has an id of its own, made by the client, and the same id again is the
// same entry.

type answerForm struct {
	ID       string `json:"id"`
	Item     string `json:"item" doc:"id of an item of the protocol's checklist"`
	Answer   string `json:"answer" enum:"met,not_met,not_seen"`
	Examiner string `json:"examiner,omitempty"`
}

type checklistForm struct {
	Checklist []answerForm `json:"checklist" nullable:"false" doc:"a later answer to an item supersedes an earlier one"`
}

type symptomForm struct {
	ID      string `json:"id"`
	Symptom string `json:"symptom" doc:"id of a symptom of the protocol"`
	Side    string `json:"side,omitempty" enum:"left,right,none"`
	Note    string `json:"note,omitempty"`
}

type symptomsForm struct {
	Symptoms []symptomForm `json:"symptoms" nullable:"false"`
}

type notDoneEntryForm struct {
	ID      string `json:"id"`
	Measure string `json:"measure" doc:"id of a measure of the protocol"`
	Side    string `json:"side" enum:"left,right,none"`
	Reason  string `json:"reason" enum:"pain,refused,absent,no_time"`
}

type notDoneForm struct {
	NotDone []notDoneEntryForm `json:"not_done" nullable:"false"`
}

type withdrawalForm struct {
	Why string `json:"why" doc:"why the entry does not hold"`
}

func (s *server) entries() {
	s.readingRoutes()
	conflict := []int{http.StatusConflict}
	add(s, route{method: http.MethodPut, path: "/screens/{screen}/checklist", id: "put-checklist", tag: "entries", summary: "Answer items of the throwing-mechanics checklist, all or none",
		errors: conflict}, s.putChecklist)
	add(s, route{method: http.MethodPut, path: "/screens/{screen}/symptoms", id: "put-symptoms", tag: "entries", summary: "Note symptoms, all or none",
		errors: conflict}, s.putSymptoms)
	add(s, route{method: http.MethodPut, path: "/screens/{screen}/not-done", id: "put-not-done", tag: "entries", summary: "Note what was not measured, and why, all or none",
		errors: conflict}, s.putNotDone)
	add(s, route{method: http.MethodPost, path: "/symptoms/{symptom}/withdrawal", id: "withdraw-symptom", tag: "entries", summary: "Take back a symptom that does not hold",
		text: "The entry stays on record.", status: http.StatusNoContent, errors: conflict}, s.withdrawSymptom)
}

func (s *server) putChecklist(ctx context.Context, in *struct {
	ScreenPath
	Body checklistForm
},
) (*one[clinic.Saved], error) {
	entries := make([]screen.ChecklistAnswer, len(in.Body.Checklist))
	for i, f := range in.Body.Checklist {
		entries[i] = screen.ChecklistAnswer{ID: f.ID, Item: f.Item, Answer: screen.Answer(f.Answer), Examiner: f.Examiner}
	}
	out, err := s.clinic.SaveChecklist(ctx, person(ctx), in.Screen, entries)
	if err != nil {
		return nil, err
	}
	return saved(out), nil
}

func (s *server) putSymptoms(ctx context.Context, in *struct {
	ScreenPath
	Body symptomsForm
},
) (*one[clinic.Saved], error) {
	entries := make([]screen.Symptom, len(in.Body.Symptoms))
	for i, f := range in.Body.Symptoms {
		entries[i] = screen.Symptom{ID: f.ID, Symptom: f.Symptom, Side: screen.Side(f.Side), Note: f.Note}
	}
	out, err := s.clinic.SaveSymptoms(ctx, person(ctx), in.Screen, entries)
	if err != nil {
		return nil, err
	}
	return saved(out), nil
}

func (s *server) putNotDone(ctx context.Context, in *struct {
	ScreenPath
	Body notDoneForm
},
) (*one[clinic.Saved], error) {
	entries := make([]screen.NotDone, len(in.Body.NotDone))
	for i, f := range in.Body.NotDone {
		entries[i] = screen.NotDone{ID: f.ID, Measure: f.Measure, Side: screen.Side(f.Side), Reason: screen.Reason(f.Reason)}
	}
	out, err := s.clinic.SaveNotDone(ctx, person(ctx), in.Screen, entries)
	if err != nil {
		return nil, err
	}
	return saved(out), nil
}

func (s *server) withdrawSymptom(ctx context.Context, in *struct {
	Symptom string `path:"symptom"`
	Body    withdrawalForm
},
) (*struct{}, error) {
	return nil, s.clinic.WithdrawSymptom(ctx, person(ctx), in.Symptom, in.Body.Why)
}
