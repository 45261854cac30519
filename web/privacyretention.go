package web

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// retentionPage is how long records are kept, whose fall due, and what was erased.
type retentionPage struct {
	Head
	Set             bool
	Years, UntilAge string // as typed; empty: not set
	Due, Soon       []dueForErasure
	Erased          []erasedRow
	Faults          []screen.Fault
}

func (*retentionPage) file() string { return "privacyretention.html" }

// Invalid is a field with what is wrong with it.
func (p *retentionPage) Invalid(field string) fieldFault {
	return fieldFault{"retention-" + field, faultAt(p.Faults, field)}
}

type dueForErasure struct {
	ID, Name, Born, Teams, Last, Due, Held string
	Member                                 bool
}

type erasedRow struct {
	On, By, Why string
	Counts      []clinic.Counted
}

func (s *server) retention(ctx *gin.Context) (answer, error) {
	p, err := s.retentionPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) retentionPage(ctx *gin.Context) (*retentionPage, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	got, err := s.clinic.RetentionList(c, who)
	if err != nil {
		return nil, err
	}
	p := &retentionPage{Head: Head{Title: "Retention", Crumbs: []Crumb{{"Privacy", "/privacy"}}}, Set: got.Set(),
		Years: numberOrNone(got.Years), UntilAge: numberOrNone(got.UntilAge)}
	for i := range got.Due {
		p.Due = append(p.Due, dueInWords(&got.Due[i]))
	}
	for i := range got.Soon {
		p.Soon = append(p.Soon, dueInWords(&got.Soon[i]))
	}
	switch n := len(got.Due) - got.Held; {
	case !p.Set:
		p.Needs = "No time is set: nothing falls due."
	case n > 0:
		p.Needs = count(n, "athlete's records fall due", "athletes' records fall due") + ". Nothing is erased by itself."
	default:
		p.Needs = "Nothing falls due now."
	}
	list, err := s.clinic.Erasures(c, who)
	for i := range list {
		e := &list[i]
		p.Erased = append(p.Erased, erasedRow{On: day(screen.DateOf(e.At)), By: e.ByName, Why: e.Why, Counts: erasedInWords(e.Counts)})
	}
	return p, err
}

func dueInWords(x *clinic.FallsDue) dueForErasure {
	out := dueForErasure{ID: x.Athlete.ID, Name: x.Athlete.Name, Born: day(x.Athlete.Born), Teams: strings.Join(x.Teams, ", "),
		Last: day(x.Last), Due: day(x.Due), Member: x.Member}
	if x.Hold != nil {
		out.Held = x.Hold.Why
	}
	return out
}

func numberOrNone(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// erasedInWords is how much of what kind was erased, by kind.
func erasedInWords(counts map[string]int) (out []clinic.Counted) {
	for kind, n := range counts {
		out = append(out, clinic.Counted{Kind: kind, N: n})
	}
	slices.SortFunc(out, func(a, b clinic.Counted) int { return cmp.Compare(a.Kind, b.Kind) })
	return out
}

func (s *server) setRetention(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	years, age := strings.TrimSpace(ctx.PostForm("years")), strings.TrimSpace(ctx.PostForm("until_age"))
	var f screen.Faults
	number := func(field, typed string) int {
		n, err := strconv.Atoi(typed)
		if typed != "" && (err != nil || n < 1) {
			f.Add(field, "a whole number from 1 up, or nothing", "%q is no such number", typed)
		}
		return n
	}
	r := clinic.Retention{Years: number("years", years), UntilAge: number("until_age", age)}
	err := f.Err()
	if err == nil {
		err = s.clinic.SetRetention(ctx.Request.Context(), s.person(ctx), r)
	}
	faults := faultsOf(err)
	if err != nil && faults == nil {
		return answer{}, err
	}
	if faults == nil {
		return goOn("/privacy/retention"), nil
	}
	p, err := s.retentionPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Years, p.UntilAge, p.Faults = years, age, faults
	return refused(p), nil
}
