package web

import (
	"cmp"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/chart"
	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// coursePages are the pages of this file and those beside it.
var coursePages = []page{&coursePage{}}

func (s *server) courseRoutes(r *gin.RouterGroup) {
	s.page(r, "/athletes/:athlete/course", s.course)
	s.form(r, "/athletes/:athlete/course/events", s.toCourse, s.addEvent)
	s.form(r, "/athletes/:athlete/course/events/:event/withdraw", s.toCourse, s.withdrawEvent)
}

// coursePage is an athlete from visit to visit.
type coursePage struct {
	Head
	Athlete screen.Athlete
	Team    screen.Team // of the newest screen
	Today   string
	Hold    bool
	Due     *dueView
	Opened  *courseMeasure // asked for by the address, neither followed nor met
	Open    []*courseMeasure
	Met     []*courseMeasure
	Rest    []courseLine // clear, or only shown
	Visits  []courseVisit
	Events  []courseEvent
	Form    eventForm
	Notes   []string
}

func (*coursePage) file() string { return "course.html" }

// dueView says when to screen again, and what.
type dueView struct {
	On, Why  string
	Overdue  bool
	Measures []dueLine
}

type dueLine struct{ Name, Trials, Why string }

// courseLine is a measure in one line, with where it is shown whole.
type courseLine struct {
	Name, Link, Words, Href string
	Current                 bool
}

// courseVisit is a day on which the athlete was measured.
type courseVisit struct {
	Screen, On, Kind string
	Pain             bool
}

// tableRows is how many visits a measure's table has on the page; the picture has all.
const tableRows = 60

func (s *server) course(ctx *gin.Context) (answer, error) {
	p, err := s.coursePage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

// toCourse leads from the address of one of its forms to the page.
func (s *server) toCourse(ctx *gin.Context) (answer, error) {
	return goOn("/athletes/" + url.PathEscape(ctx.Param("athlete")) + "/course#events"), nil
}

// coursePage is the page as it is without anything typed into its forms.
func (s *server) coursePage(ctx *gin.Context) (*coursePage, error) {
	v, err := s.clinic.Course(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"))
	if err != nil {
		return nil, err
	}
	p := &coursePage{Head: Head{Title: "Course of " + v.Athlete.Name, Styles: []string{dayStyle}, Charts: len(v.Measures) > 0},
		Athlete: v.Athlete, Team: v.Team, Hold: v.Hold, Today: string(s.clinic.Today())}
	p.Crumbs = []Crumb{{"Teams", "/"}}
	if v.Team.ID != "" {
		p.Crumbs = []Crumb{{v.Team.Name, "/teams/" + v.Team.ID}}
	}
	p.Crumbs = append(p.Crumbs, Crumb{v.Athlete.Name, "/athletes/" + v.Athlete.ID}, Crumb{"course", ""})
	if err := s.courseMeasures(p, &v, ctx.Query("rule"), screen.Side(ctx.Query("side"))); err != nil {
		return nil, err
	}
	if v.Due != nil && !v.Hold {
		p.Due = s.dueView(v.Due)
	}
	for _, x := range slices.Backward(v.Visits) {
		p.Visits = append(p.Visits, courseVisit{x.Screen, day(x.On), kindWords(x.Kind), x.Pain})
	}
	for _, n := range v.Notes {
		p.Notes = append(p.Notes, sentenceOf(n))
	}
	p.events(&v, s.clinic.Protocol())
	p.Form = s.newEventForm()
	p.needs(&v)
	return p, nil
}

// courseMeasures puts each measure where it belongs: followed ones by need, the one asked for first, then those whose target is
// met, then the rest in one line each.
func (s *server) courseMeasures(p *coursePage, v *clinic.CourseView, rule string, side screen.Side) error {
	asked := v.Measure(rule, side)
	if rule != "" && asked == nil {
		return &screen.Problem{Code: screen.NotFound, Text: "this athlete has no values by such a rule", Want: "choose a measure of the athlete's course"}
	}
	order := make([]*score.MeasureCourse, len(v.Measures))
	for i := range v.Measures {
		order[i] = &v.Measures[i]
	}
	first := func(m *score.MeasureCourse) float64 {
		if m == asked {
			return 2
		}
		return latestP(m)
	}
	slices.SortStableFunc(order, func(a, b *score.MeasureCourse) int { return cmp.Compare(first(b), first(a)) })
	for _, m := range order {
		switch m.State {
		case score.StateOpen, score.StateConfirm:
			x := s.courseMeasure(m, v)
			x.Marked = m.State == score.StateConfirm
			p.Open = append(p.Open, x)
		case score.StateMet:
			p.Met = append(p.Met, s.courseMeasure(m, v))
		}
	}
	for i := range v.Measures {
		m := &v.Measures[i]
		if m.State != score.StateClear && m.State != score.StateShown {
			continue
		}
		p.Rest = append(p.Rest, s.courseLine(m, v, m == asked))
		if m == asked {
			p.Opened = s.courseMeasure(m, v)
			p.Opened.Marked = true
		}
	}
	return nil
}

// latestP is the probability of a deficit at the newest visit at which it was measured.
func latestP(m *score.MeasureCourse) float64 {
	if n := len(m.Points); n > 0 {
		return m.Points[n-1].P
	}
	return -1
}

// dueView has each measure once, also where several rules look at it.
func (s *server) dueView(d *score.Due) *dueView {
	out := &dueView{On: day(d.On), Why: sentenceOf(d.Why), Overdue: d.Overdue}
	seen := map[string]bool{}
	for i := range d.Measures {
		x := &d.Measures[i]
		if seen[x.Measure] {
			continue
		}
		seen[x.Measure] = true
		line, m := dueLine{Name: x.Name, Trials: count(x.Trials, "trial", "trials")}, s.clinic.Protocol().Measure(x.Measure)
		if m != nil {
			line.Name = m.Name
		}
		if m == nil || m.Paired {
			line.Trials += " on each side"
		}
		if x.On != d.On {
			line.Trials += ", from " + day(x.On)
		}
		if !strings.HasPrefix(d.Why, x.Why) { // else it is said above
			line.Why = sentenceOf(x.Why)
		}
		out.Measures = append(out.Measures, line)
	}
	return out
}

// needs says what needs the reader, in one line.
func (p *coursePage) needs(v *clinic.CourseView) {
	confirm := 0
	for _, m := range p.Open {
		if m.State == score.StateConfirm {
			confirm++
		}
	}
	followed := len(p.Open)
	switch {
	case len(v.Visits) == 0:
		p.Needs = "Not screened yet: there is no course."
	case v.Hold && v.Visits[len(v.Visits)-1].Pain:
		p.Needs, p.Urgent = "Referral sign on "+day(v.Visits[len(v.Visits)-1].On)+", no clearance since. Stop throwing and see a licensed clinician.", true
	case v.Hold:
		p.Needs = "On hold: an injury is on file, and no clearance since."
	case p.Due != nil && p.Due.Overdue:
		p.Needs = "Screen again: it was due on " + p.Due.On + ", " + count(len(p.Due.Measures), "measure", "measures") + "."
	case confirm > 0:
		p.Needs = count(confirm, "target was", "targets were") + " met once: a second look on another day decides."
	case followed > 0 && p.Due != nil:
		p.Needs = count(followed, "measure is", "measures are") + " followed. Screen again on " + p.Due.On + "."
	case followed > 0:
		p.Needs = count(followed, "measure is", "measures are") + " followed."
	case len(p.Met) > 0:
		p.Needs = "Nothing is open: " + count(len(p.Met), "target is", "targets are") + " met."
	default:
		p.Needs = "Nothing needs to be followed."
	}
}

// courseLine is a measure that needs nothing, in one line.
func (s *server) courseLine(m *score.MeasureCourse, v *clinic.CourseView, current bool) courseLine {
	w := s.courseWords(m, v)
	line := courseLine{Name: w.title(), Link: w.link(), Current: current, Words: w.state()}
	if n := len(m.Points); n > 0 {
		last := &m.Points[n-1]
		line.Words += fmt.Sprintf(", %s on %s, %s", w.value(last), day(last.On), count(n, "visit", "visits"))
	}
	q := url.Values{"rule": {m.Rule}}
	if m.Side == screen.Left || m.Side == screen.Right {
		q.Set("side", string(m.Side))
	}
	line.Href = "/athletes/" + v.Athlete.ID + "/course?" + q.Encode() + "#" + w.anchor()
	return line
}

// coursePicture is the picture of a measure; the table on the page has the newest visits.
func (s *server) coursePicture(m *score.MeasureCourse, v *clinic.CourseView) (pic *chartView, cut int) {
	address := "/api/v1/athletes/" + url.PathEscape(v.Athlete.ID) + "/charts/course/" + url.PathEscape(m.Rule)
	if m.Side == screen.Left || m.Side == screen.Right {
		address += "?side=" + string(m.Side)
	}
	pic = view(address, chart.CourseText(m, v.Course, s.clinic.Protocol()))
	pic.Title, pic.Said, pic.Fold = "Each visit with its error", true, true
	if n := len(pic.Table.Rows); n > tableRows {
		pic.Table.Rows, cut = pic.Table.Rows[:tableRows], n
	}
	return pic, cut
}

var plainDate = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)

// sentenceOf is a text as a sentence, with its dates as the page writes them.
func sentenceOf(s string) string {
	s = upperFirst(strings.TrimSpace(s))
	s = plainDate.ReplaceAllStringFunc(s, func(d string) string { return day(screen.Date(d)) })
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
