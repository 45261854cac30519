package web

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// correctPage is the form that corrects one reading.
type correctPage struct {
	Head
	Screen  screen.Screen
	Reading screen.Reading
	Name    string // of the measure
	Side    string
	Unit    string
	Was     string
	NewID   string
	Trials  []trialField
	Signs   []string // words for either sign, where the measure has them
	Options []labelled
	Input   correctInput
	Faults  []screen.Fault
	Already bool // it was corrected before
}

func (*correctPage) file() string { return "correct.html" }

func (p *correctPage) Fault(field string) string { return faultAt(p.Faults, field) }

type trialField struct {
	Number       int
	Value, Fault string
}

type correctInput struct{ Examiner, Sign, Why string }

func (s *server) correctForm(ctx *gin.Context) (answer, error) {
	p, err := s.correctPage(ctx)
	if err != nil {
		return answer{}, err
	}
	for i := range p.Trials {
		if i < len(p.Reading.Trials) {
			p.Trials[i].Value = plainNumber(p.Reading.Trials[i])
		}
	}
	p.Input.Examiner = p.Reading.Examiner
	return shown(p), nil
}

func (s *server) correctPage(ctx *gin.Context) (*correctPage, error) {
	rec, err := s.clinic.Record(ctx.Request.Context(), s.person(ctx), ctx.Param("screen"))
	if err != nil {
		return nil, err
	}
	for i := range rec.Readings {
		if rec.Readings[i].ID == ctx.Param("reading") {
			return s.correctPageFor(rec, rec.Readings[i]), nil
		}
	}
	return nil, &screen.Problem{Code: screen.NotFound, Text: "there is no such reading at this screen", Want: "choose one from the screen's readings"}
}

func (s *server) correctPageFor(rec *screen.Record, r screen.Reading) *correctPage {
	protocol := s.clinic.Protocol()
	m := protocol.Measure(r.Measure)
	hand := rec.Athlete.HandOn(rec.Screen.On)
	subject := protocol.SubjectOn(&rec.Athlete, rec.Screen.On)
	named := subject.Throws && (hand == screen.LeftHand || hand == screen.RightHand)
	p := &correctPage{Head: Head{Title: "Correct a reading"}, Screen: rec.Screen, Reading: r, Name: r.Measure,
		Side: sideWords(hand, named, m, r.Side), Was: trialWords(&r, m), NewID: s.clinic.NewID(), Already: !r.Stands()}
	p.Crumbs = []Crumb{{rec.Athlete.Name, athleteURL(rec)}, {"Readings of " + day(rec.Screen.On), "/screens/" + rec.Screen.ID}}
	fields := max(len(r.Trials), 1)
	if m != nil {
		p.Name, p.Unit = m.Name, screen.UnitWords(m.Unit)
		fields = max(fields, min(m.Trials.Most, max(m.Trials.Planned, 3)))
		if m.SignWords != nil {
			p.Signs = []string{m.SignWords.Positive, m.SignWords.Negative}
		}
		if m.Scale == screen.Category {
			for i, c := range m.Categories {
				p.Options = append(p.Options, labelled{strconv.Itoa(i), c, ""})
			}
		}
	}
	for i := range fields {
		p.Trials = append(p.Trials, trialField{Number: i + 1})
	}
	p.Needs = "The earlier value stays on record, struck through, with your reason."
	if p.Already {
		p.Needs = "This reading was corrected before: correct the newer one instead."
	}
	return p
}

// correct takes the form. Decimals may have a comma; empty trials are left out.
func (s *server) correct(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	p, err := s.correctPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Input = correctInput{ctx.PostForm("examiner"), ctx.PostForm("sign"), strings.TrimSpace(ctx.PostForm("why"))}
	if id := ctx.PostForm("id"); id != "" {
		p.NewID = id
	}
	trials := p.readTrials(ctx)
	if len(p.Faults) > 0 {
		return refused(p), nil
	}
	e := clinic.Entry{Sign: p.Input.Sign, Reading: screen.Reading{ID: p.NewID, Trials: trials, Why: p.Input.Why, Examiner: p.Input.Examiner,
		Instrument: p.Reading.Instrument, Position: p.Reading.Position, Device: p.Reading.Device, Taken: p.Reading.Taken, Step: p.Reading.Step}}
	_, err = s.clinic.Correct(ctx.Request.Context(), s.person(ctx), p.Reading.ID, e)
	if faults := faultsOf(err); faults != nil {
		p.Faults = faults
		p.placeFaults()
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/screens/" + p.Screen.ID + "#reading-" + p.NewID), nil
}

func (p *correctPage) readTrials(ctx *gin.Context) (trials []float64) {
	for i := range p.Trials {
		f := &p.Trials[i]
		f.Value = strings.TrimSpace(ctx.PostForm("trial" + strconv.Itoa(f.Number)))
		if f.Value == "" {
			continue
		}
		text := strings.NewReplacer(",", ".", "−", "-").Replace(f.Value)
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			f.Fault = "This is not a number. Right would be: a number such as 45 or 45.5."
			p.Faults = append(p.Faults, screen.Fault{Where: fmt.Sprintf("trial%d", f.Number), Problem: fmt.Sprintf("trial %d is not a number", f.Number),
				Want: "a number such as 45 or 45.5", Value: f.Value})
			continue
		}
		trials = append(trials, x)
	}
	return trials
}

// placeFaults puts a fault at trial k beside its field.
func (p *correctPage) placeFaults() {
	given := 0
	for i := range p.Trials {
		if p.Trials[i].Value == "" {
			continue
		}
		p.Trials[i].Fault = faultAt(p.Faults, fmt.Sprintf("trials[%d]", given))
		given++
	}
}

// plainNumber writes a number as it would be typed.
func plainNumber(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
