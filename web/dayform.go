package web

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// dayForm sets up a screening day or changes it. All fields hold what was typed.
type dayForm struct {
	Head
	ID                         string
	Revision                   int
	New                        bool
	Team                       screen.Team
	On, Kind, SideOrder, Every string
	Kinds, SideOrders          []labelled
	Stations                   []stationField
	Groups                     []takeGroup
	Athletes                   []twiceChoice // on the list; none yet while the day is new
	Members                    int           // who will be on the list of a new day
	Sum                        daySum
	Told                       []toldFault

	closed   screen.Day // what the form does not ask for
	protocol *screen.Protocol
	faults   map[string]string // by the field's name
}

func (*dayForm) file() string { return "dayform.html" }

// Fault says what is wrong with a field; its Text is empty if nothing is.
func (f *dayForm) Fault(field string) fieldFault { return fieldFault{field, f.faults[field]} }

type fieldFault struct{ Field, Text string }

// Date is the date as it is read.
func (f *dayForm) Date() string { return day(screen.Date(f.On)) }

// stationField is a station: its place among them, its name, and the code that its link ends in.
type stationField struct {
	Number     int
	Name, Code string
}

// takeGroup is what belongs to one link.
type takeGroup struct {
	Name string
	Rows []takeRow
}

// takeRow is one thing that a station can take. Key is the measure, or the kind of the step.
type takeRow struct {
	Key, Name, Note        string
	Measure                bool
	Planned                int
	Station, Place, Trials string
}

// twiceChoice is an athlete who may be measured twice.
type twiceChoice struct {
	ID, Name string
	Number   int
	ByNumber bool // every nth is, whatever is chosen
	Chosen   bool
}

// toldFault is a fault with the field that it belongs to.
type toldFault struct{ Field, Place, Text string }

// formStations is how many stations the form offers.
const formStations = 8

func (s *server) newDay(ctx *gin.Context) (answer, error) {
	c, who, id := ctx.Request.Context(), s.person(ctx), ctx.Param("team")
	f, err := s.dayFormFor(ctx)
	if err != nil {
		return answer{}, err
	}
	d, err := s.clinic.PlanDay(c, who, id)
	if err != nil {
		return answer{}, err
	}
	f.show(&d)
	return shown(f), nil
}

func (s *server) editDay(ctx *gin.Context) (answer, error) {
	f, err := s.dayFormFor(ctx)
	if err != nil {
		return answer{}, err
	}
	f.show(&f.closed)
	return shown(f), nil
}

// dayFormFor is the form with all that is not typed into it: of the day named in the address, or of a
// new one of the team.
func (s *server) dayFormFor(ctx *gin.Context) (*dayForm, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	f := &dayForm{Head: Head{Title: "Set up a screening day", Styles: []string{dayStyle}}, New: true, SideOrders: sideOrders,
		protocol: s.clinic.Protocol(), faults: map[string]string{}}
	for _, k := range []screen.Kind{screen.Preseason, screen.InSeason, screen.Rehab} {
		f.Kinds = append(f.Kinds, labelled{Label: string(k), Value: occasionWords(k)})
	}
	if id := ctx.Param("day"); id != "" {
		v, err := s.clinic.Day(c, who, id)
		if err != nil {
			return nil, err
		}
		f.of(&v)
		return f, nil
	}
	var err error
	if f.Team, err = s.clinic.Team(c, who, ctx.Param("team")); err != nil {
		return nil, err
	}
	list, _, err := s.clinic.Athletes(c, who, f.Team.ID, clinic.Page{Limit: membersAtOnce})
	f.Members = len(list)
	f.Crumbs = []Crumb{{"Teams", "/"}, {f.Team.Name, "/teams/" + f.Team.ID}}
	if f.Members == 0 {
		f.Needs = "This team has no athletes yet: add a roster first. The list of a screening day is made from it."
	}
	return f, err
}

func (f *dayForm) of(v *clinic.DayView) {
	f.Title, f.New, f.Team, f.closed = "Change the screening day", false, v.Team, v.Day
	f.Crumbs = []Crumb{{v.Team.Name, "/teams/" + v.Team.ID}, {"Screening day, " + day(v.Day.On), "/days/" + v.Day.ID}}
	f.Members = len(v.Athletes)
	for i := range v.Athletes {
		a := &v.Athletes[i]
		nth := v.Day.Every > 0 && a.Number%v.Day.Every == 0
		f.Athletes = append(f.Athletes, twiceChoice{a.Athlete, a.Person.Name, a.Number, nth, a.Twice && !nth})
	}
}

// show puts a day into the fields.
func (f *dayForm) show(d *screen.Day) {
	f.ID, f.Revision = d.ID, d.Revision
	f.On, f.Kind, f.SideOrder, f.Every = string(d.On), string(d.Kind), string(d.SideOrder), strconv.Itoa(d.Every)
	f.fields(len(d.Stations))
	at := map[string]takeRow{}
	for i := range d.Stations {
		st := &d.Stations[i]
		f.Stations[i].Name, f.Stations[i].Code = st.Name, st.Code
		for k, step := range st.Steps {
			row := takeRow{Station: strconv.Itoa(i + 1), Place: strconv.Itoa(k + 1)}
			if step.Trials > 0 {
				row.Trials = strconv.Itoa(step.Trials)
			}
			at[stepKey(&step)] = row
		}
	}
	f.each(func(row *takeRow) {
		x := at[row.Key]
		row.Station, row.Place, row.Trials = x.Station, x.Place, x.Trials
	})
	f.sum(d)
}

func stepKey(st *screen.Step) string {
	if st.Kind == screen.StepMeasure {
		return st.Measure
	}
	return string(st.Kind)
}

// fields makes the empty fields: of so many stations, and at least of those that the form offers.
func (f *dayForm) fields(stations int) {
	f.Stations, f.Groups = nil, nil
	for i := range min(max(formStations, stations), screen.MaxStations) {
		f.Stations = append(f.Stations, stationField{Number: i + 1})
	}
	f.Groups = append(f.Groups, takeGroup{"Check-in", []takeRow{{Key: string(screen.StepCheckIn), Name: "Check-in",
		Note: "symptoms, throwing in the last 48 hours, throwing hand"}}})
	for _, l := range f.protocol.Links {
		g := takeGroup{Name: l.Name}
		for i := range f.protocol.Measures {
			if m := &f.protocol.Measures[i]; m.Link == l.ID && m.Derived == nil {
				g.Rows = append(g.Rows, takeRow{Key: m.ID, Name: m.Name, Note: unitNote(m), Measure: true, Planned: m.Trials.Planned})
			}
		}
		if len(g.Rows) > 0 {
			f.Groups = append(f.Groups, g)
		}
	}
	if n := len(f.protocol.Checklist); n > 0 {
		f.Groups = append(f.Groups, takeGroup{"Throwing motion", []takeRow{{Key: string(screen.StepChecklist), Name: "Mechanics checklist",
			Note: count(n, "item", "items")}}})
	}
}

func unitNote(m *screen.Measure) string {
	sides := map[bool]string{true: "both sides", false: "no side"}[m.Paired]
	switch u := screen.UnitWords(m.Unit); {
	case m.Scale == screen.Category:
		return "a rating, " + sides
	case u == "":
		return "a count, " + sides
	default:
		return "in " + u + ", " + sides
	}
}

func (f *dayForm) each(fn func(*takeRow)) {
	for g := range f.Groups {
		for i := range f.Groups[g].Rows {
			fn(&f.Groups[g].Rows[i])
		}
	}
}

// saveDay takes the form. The id was made with the form, so that a form sent twice makes one day.
func (s *server) saveDay(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	f, err := s.dayFormFor(ctx)
	if err != nil {
		return answer{}, err
	}
	f.read(ctx)
	d, at := f.day()
	f.sum(&d)
	if ctx.PostForm("do") == "count" {
		return shown(f), nil
	}
	if len(f.Told) > 0 {
		return refused(f), nil
	}
	saved, err := s.clinic.PutDay(ctx.Request.Context(), s.person(ctx), d, f.twice(), f.Revision)
	if faults := faultsOf(err); faults != nil {
		f.place(faults, at)
		return refused(f), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/days/" + saved.ID), nil
}

// read takes the fields as they were typed.
func (f *dayForm) read(ctx *gin.Context) {
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	f.ID = text("id")
	if !f.New {
		f.ID = f.closed.ID
	}
	f.Revision, _ = strconv.Atoi(text("revision"))
	f.On, f.Kind, f.SideOrder, f.Every = text("on"), text("kind"), text("side_order"), text("every")
	stations, _ := strconv.Atoi(text("stations"))
	f.fields(stations)
	for i := range f.Stations {
		n := strconv.Itoa(i + 1)
		f.Stations[i].Name, f.Stations[i].Code = text("name-"+n), text("code-"+n)
	}
	f.each(func(row *takeRow) {
		row.Station, row.Place, row.Trials = text("at-"+row.Key), text("place-"+row.Key), text("trials-"+row.Key)
	})
	chosen := ctx.PostFormArray("twice")
	for i := range f.Athletes {
		f.Athletes[i].Chosen = slices.Contains(chosen, f.Athletes[i].ID)
	}
}

// twice are the athletes chosen by name, nil for a new day, which has no list yet.
func (f *dayForm) twice() []string {
	if f.New {
		return nil
	}
	out := []string{}
	for _, a := range f.Athletes {
		if a.Chosen {
			out = append(out, a.ID)
		}
	}
	return out
}

// placed is a row with the place that was typed for it.
type placed struct {
	row   *takeRow
	step  screen.Step
	place int
}

// day is the day that the fields describe, with the fields of its stations and steps, so that faults
// find their way back. A station with neither name nor anything to take is left out. Within a station
// the place decides; rows of the same place stand as in the form, those without one last.
func (f *dayForm) day() (d screen.Day, at dayPlaces) {
	d = screen.Day{ID: f.ID, Team: f.Team.ID, On: screen.Date(f.On), Kind: screen.Kind(f.Kind), SideOrder: screen.SideOrder(f.SideOrder),
		Closed: f.closed.Closed}
	d.Every = f.number("every", "Measured twice", f.Every, "0 for nobody, or 5 for every fifth")
	taken := map[string][]placed{}
	f.each(func(row *takeRow) {
		if row.Station == "" {
			return
		}
		x := placed{row: row, place: screen.MaxSteps + 1, step: screen.Step{Kind: screen.StepKind(row.Key)}}
		if row.Place != "" {
			x.place = f.number("place-"+row.Key, row.Name+", place", row.Place, "a number such as 1 for the first")
		}
		if row.Measure {
			x.step = screen.Step{Kind: screen.StepMeasure, Measure: row.Key}
			x.step.Trials = f.number("trials-"+row.Key, row.Name+", trials", row.Trials, fmt.Sprintf("a number, or left out for %d", row.Planned))
		}
		taken[row.Station] = append(taken[row.Station], x)
	})
	for i := range f.Stations {
		here := taken[strconv.Itoa(i+1)]
		if f.Stations[i].Name == "" && len(here) == 0 {
			continue
		}
		slices.SortStableFunc(here, func(a, b placed) int { return cmp.Compare(a.place, b.place) })
		st, p := screen.Station{Code: f.Stations[i].Code, Name: f.Stations[i].Name}, stationPlaces{number: i + 1}
		for _, x := range here {
			st.Steps = append(st.Steps, x.step)
			p.rows = append(p.rows, x.row)
		}
		d.Stations, at = append(d.Stations, st), append(at, p)
	}
	return d, at
}

// number reads a whole number, 0 for an empty field.
func (f *dayForm) number(field, place, text, want string) int {
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		f.tell(field, place, fmt.Sprintf("%q is not a whole number. Right would be: %s.", text, want))
	}
	return n
}
