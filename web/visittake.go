package web

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// visitEntry is a reading with the fields that its trials came from.
type visitEntry struct {
	m      *screen.Measure
	place  string // for the list of faults
	fields []*visitField
	trials []float64
}

// saveVisit takes the form. Nothing is kept if anything is wrong.
func (s *server) saveVisit(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	id := ctx.Query("visit")
	if id == "" {
		id = s.clinic.NewID()
	}
	p, err := s.visitPage(ctx, id)
	if err != nil {
		return answer{}, err
	}
	s.readVisit(ctx, p)
	if ctx.PostForm("do") == "show" || ctx.PostForm("more") != "" {
		return s.formOrKept(ctx, p)
	}
	v, at := p.visit()
	for _, f := range s.clinic.CheckVisit(&p.Athlete, v) {
		p.place(f, at)
	}
	if len(p.Told) > 0 {
		p.order()
		return refused(p), nil
	}
	saved, err := s.clinic.SaveVisit(ctx.Request.Context(), s.person(ctx), v)
	if screen.IsCode(err, screen.Conflict) {
		return s.sentBefore(ctx, p)
	}
	if err != nil {
		return answer{}, err
	}
	if len(saved.Questions) > 0 {
		return goOn("/athletes/" + p.Athlete.ID + "?screen=" + saved.Screen), nil
	}
	return goOn("/athletes/" + p.Athlete.ID + "/course"), nil
}

// sentBefore says that the visit is on record with another content: going back and changing a value
// does not correct it.
func (s *server) sentBefore(ctx *gin.Context, p *visitPage) (answer, error) {
	rec, err := s.clinic.Record(ctx.Request.Context(), s.person(ctx), p.ID)
	if err != nil {
		return answer{}, err
	}
	p.kept(rec)
	p.Differs = true
	return answer{status: http.StatusConflict, page: p}, nil
}

// formOrKept shows the form, or of a visit on record that it is.
func (s *server) formOrKept(ctx *gin.Context, p *visitPage) (answer, error) {
	rec, err := s.clinic.Record(ctx.Request.Context(), s.person(ctx), p.ID)
	switch {
	case err == nil:
		p.kept(rec)
	case !screen.IsCode(err, screen.NotFound):
		return answer{}, err
	}
	return shown(p), nil
}

// readVisit takes the fields as they were typed.
func (s *server) readVisit(ctx *gin.Context, p *visitPage) {
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	p.On, p.Kind, p.Team, p.Examiner = text("on"), text("kind"), text("team"), text("examiner")
	p.Threw, p.Note, p.SymptomSide = text("threw"), text("note"), text("symptom_side")
	ticked := ctx.PostFormArray("symptom")
	for i := range p.Symptoms {
		p.Symptoms[i].Ticked = slices.Contains(ticked, p.Symptoms[i].ID)
	}
	s.visitFields(p, ctx.PostFormArray("measure"), false, text)
}

// visit is what the fields say, with the fields that each reading came from. What cannot be read is told.
func (p *visitPage) visit() (v clinic.Visit, at []visitEntry) {
	v.Screen = screen.Screen{ID: p.ID, Athlete: p.Athlete.ID, Team: p.Team, On: screen.Date(p.On), Kind: screen.Kind(p.Kind), Examiner: p.Examiner, Note: p.Note}
	if p.Threw != "" {
		threw := p.Threw == "yes"
		v.Screen.ThrewIn48h = &threw
	}
	if !slices.ContainsFunc(p.Teams, func(t labelled) bool { return t.Label == p.Team }) {
		p.tell("team", "Team", "Right would be: a team that the athlete belongs to.")
	}
	for _, m := range p.Measures {
		for _, side := range m.Sides {
			e := visitEntry{m: m.m, place: strings.TrimSuffix(m.Name+", "+lowerFirst(side.Name), ", ")}
			for _, f := range side.Fields {
				if x, ok := p.value(f, &e); ok {
					e.trials, e.fields = append(e.trials, x), append(e.fields, f)
				}
			}
			if len(e.trials) > 0 {
				at = append(at, e)
				v.Readings = append(v.Readings, clinic.Entry{Sign: screen.AsWritten, Reading: screen.Reading{Measure: m.ID, Side: side.Side, Trials: e.trials}})
			}
		}
	}
	for _, x := range p.Symptoms {
		if x.Ticked {
			v.Symptoms = append(v.Symptoms, screen.Symptom{Symptom: x.ID, Side: screen.Side(p.SymptomSide)})
		}
	}
	return v, at
}

var typedNumber = regexp.MustCompile(`^[+-]?(\d{1,6}(\.\d{0,6})?|\.\d{1,6})$`)

// value is the number in a field with the protocol's sign; ok is false if there is none, and what is
// wrong is told.
func (p *visitPage) value(f *visitField, e *visitEntry) (x float64, ok bool) {
	text, words := strings.NewReplacer(",", ".", "−", "-").Replace(f.Value), e.m.SayWords
	tell := func(what string, args ...any) {
		p.tell(f.Name, e.place+", "+lowerFirst(f.Label), fmt.Sprintf(what, args...))
	}
	switch {
	case words == nil:
		f.Word = ""
	case f.Word == "zero" && text == "":
		return 0, true
	case f.Word != "" && text == "":
		tell("The number is missing. Right would be: the number, or no word where it was not measured.")
		return 0, false
	}
	if text == "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !typedNumber.MatchString(text) {
		tell("%q is not a number. Right would be: a number such as 45 or 45.5.", f.Value)
		return 0, false
	}
	if words == nil {
		return x, true
	}
	switch {
	case f.Word == "" && x > 0:
		tell("It is not said which way. Right would be: %s, or %s.", words.Negative, words.Positive)
	case f.Word == "zero" && x != 0:
		tell("%s is said, and a number that is not 0. Right would be: one of the two.", upperFirst(words.Zero))
	case f.Word == "positive" && x < 0:
		tell("%s is said, and the number has a minus. Right would be: one of the two.", upperFirst(words.Positive))
	case f.Word == "negative":
		return -math.Abs(x), true
	default:
		return x, true
	}
	return 0, false
}

var readingFault = regexp.MustCompile(`^readings\[(\d+)\](?:\.trials\[(\d+)\])?`)

// place tells a fault at the field that it came from.
func (p *visitPage) place(f screen.Fault, at []visitEntry) {
	text := func(problem, want string) string {
		if want != "" {
			problem += ". Right would be: " + want
		}
		return upperFirst(problem) + "."
	}
	m := readingFault.FindStringSubmatch(f.Where)
	if m == nil {
		if f.Where == "readings" && len(p.Told) > 0 { // what was entered could not be read, which is told
			return
		}
		field, place := plainVisitField(f.Where)
		p.tell(field, place, text(strings.TrimSuffix(sentenceOf(f.Problem), "."), f.Want))
		return
	}
	i, _ := strconv.Atoi(m[1])
	e := &at[i]
	k, _ := strconv.Atoi(m[2])
	k = min(k, len(e.fields)-1)
	problem, want := strings.ReplaceAll(f.Problem, e.m.ID, lowerFirst(e.m.Name)), f.Want
	if e.m.SayWords != nil && m[2] != "" && len(e.m.Plausible) == 2 { // no minus was typed, and none is read out
		problem, want = e.m.Say(e.trials[k])+" is outside the plausible range", e.m.Say(e.m.Plausible[0])+" to "+e.m.Say(e.m.Plausible[1])
	}
	p.tell(e.fields[k].Name, e.place+", "+lowerFirst(e.fields[k].Label), text(problem, want))
}

// plainVisitField is the field of a fault that belongs to the visit itself.
func plainVisitField(where string) (field, place string) {
	for _, x := range []labelled{{Label: "on", Value: "Date"}, {Label: "kind", Value: "Occasion"}, {Label: "examiner", Value: "Examiner"}, {Label: "note", Value: "Note"}} {
		if where == x.Label {
			return x.Label, x.Value
		}
	}
	if strings.HasPrefix(where, "symptoms") {
		return "symptoms", "Symptoms"
	}
	return "measures", "Measures"
}

// tell notes a fault at a field.
func (p *visitPage) tell(field, place, text string) {
	p.Told = append(p.Told, toldFault{field, place, text})
	if p.faults[field] != "" {
		text = p.faults[field] + " " + text
	}
	p.faults[field] = text
}

// order puts the faults in the order of the fields.
func (p *visitPage) order() {
	at := map[string]int{}
	next := func(field string) { at[field] = len(at) }
	for _, x := range []string{"on", "kind", "examiner", "team", "symptoms", "measures"} {
		next(x)
	}
	for _, m := range p.Measures {
		for _, side := range m.Sides {
			for _, f := range side.Fields {
				next(f.Name)
			}
		}
	}
	next("note")
	slices.SortStableFunc(p.Told, func(a, b toldFault) int { return cmp.Compare(at[a.Field], at[b.Field]) })
}
