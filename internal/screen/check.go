package screen

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strings"
)

var idForm = regexp.MustCompile(`^[a-z][a-z0-9_]{0,63}$`)

// units are the UCUM codes that measures may have.
var units = []string{"deg", "cm", "mm", "s", "kg", "N", "%", "{count}", "1"}

// validator finds what is wrong with a merged protocol. Each check is its own method.
type validator struct {
	*loader
	p *Protocol
}

func (v *validator) fault(kind, id, field, want, problem string, args ...any) {
	where := "protocol"
	if o, ok := v.origin[kind+"/"+id]; ok {
		where = o.part.at(join(o.path, field))
	} else if v.base != nil {
		where = v.base.at(field)
	}
	v.faults.Add(where, want, "%s %s: %s", strings.TrimSuffix(kind, "s"), id, fmt.Sprintf(problem, args...))
}

func (v *validator) all() {
	v.head()
	v.ids()
	v.figures()
	for i := range v.p.Measures {
		v.measure(&v.p.Measures[i])
	}
	v.cycles()
	for i := range v.p.Rules {
		v.rule(&v.p.Rules[i])
	}
	for i := range v.p.Checklist {
		v.item(&v.p.Checklist[i])
	}
	v.stations()
	v.followUp()
	if len(v.faults) == 0 {
		v.jointPriors()
	}
}

func (v *validator) head() {
	p := v.p
	if p.Name == "" || p.Version == "" {
		v.fault("protocol", "", "name", "give both, so that a score can name its protocol", "name and version are missing")
	}
	if c := p.Cutoffs; !(c.Deficit > 0.5 && c.Deficit < 1 && c.Clear > 0 && c.Clear < 0.5) {
		v.fault("protocol", p.Name, "cutoffs", "deficit between 0.5 and 1, clear between 0 and 0.5", "cut-offs are %g and %g", c.Deficit, c.Clear)
	}
	if len(p.Links) == 0 || len(p.Measures) == 0 {
		v.fault("protocol", p.Name, "measures", "list at least one link and one measure", "there is nothing to measure")
	}
	if len(p.Cautions) == 0 {
		v.fault("protocol", p.Name, "cautions", "say that a screen is not a diagnosis", "cautions are missing")
	}
}

// ids checks the form of every id, so that they can stand in addresses and columns.
func (v *validator) ids() {
	check := func(kind string, list []string) {
		for _, id := range list {
			if !idForm.MatchString(id) {
				v.fault(kind, id, "id", "a letter, then letters, digits and _, all lower case", "%q is not an id", id)
			}
		}
	}
	check("links", ids(v.p.Links, func(l *Link) string { return l.ID }))
	check("sports", v.p.SportIDs())
	check("symptoms", v.p.SymptomIDs())
	check("measures", v.p.MeasureIDs())
	check("rules", ids(v.p.Rules, func(r *Rule) string { return r.ID }))
	check("checklist", v.p.ItemIDs())
}

// figures walks every block of the protocol and asks of each figure that it says how well it is
// known, and that a source it names exists.
func (v *validator) figures() {
	for _, id := range sortedKeys(v.p.Sources) {
		if s := v.p.Sources[id]; s.Cite == "" || !s.Status.valid() {
			v.fault("sources", id, "cite", "a reference and a status", "reference or status is missing")
		}
	}
	walk := func(kind, id string, x any) {
		v.walkFigures(kind, id, "", reflect.ValueOf(x))
	}
	for i := range v.p.Measures {
		walk("measures", v.p.Measures[i].ID, v.p.Measures[i])
	}
	for i := range v.p.Rules {
		walk("rules", v.p.Rules[i].ID, v.p.Rules[i])
	}
	for i := range v.p.Checklist {
		walk("checklist", v.p.Checklist[i].ID, v.p.Checklist[i])
	}
	for i := range v.p.Symptoms {
		walk("symptoms", v.p.Symptoms[i].ID, v.p.Symptoms[i])
	}
	if v.p.FollowUp.Known() || len(v.p.FollowUp.Paces) > 0 {
		walk("follow_up", v.p.Name, v.p.FollowUp)
	}
}

func (s Status) valid() bool {
	return s == Seen || s == FromMemory || s == CommonPractice || s == Assumed
}

func (v *validator) walkFigures(kind, id, path string, x reflect.Value) {
	switch x.Kind() {
	case reflect.Pointer:
		if !x.IsNil() {
			v.walkFigures(kind, id, path, x.Elem())
		}
	case reflect.Slice:
		for i := range x.Len() {
			v.walkFigures(kind, id, fmt.Sprintf("%s[%d]", path, i), x.Index(i))
		}
	case reflect.Float64:
		if f := x.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			v.fault(kind, id, path, "a finite number", "%s is not a number", path)
		}
	case reflect.Struct:
		if w, ok := x.Interface().(When); ok {
			v.when(kind, id, path, &w)
			return
		}
		v.figureStatus(kind, id, path, x)
		for i := range x.NumField() {
			if tag := x.Type().Field(i).Tag.Get("yaml"); tag != "" && tag != "-" {
				v.walkFigures(kind, id, join(path, tag), x.Field(i))
			}
		}
	}
}

func (v *validator) figureStatus(kind, id, path string, x reflect.Value) {
	f := x.FieldByName("Status")
	if !f.IsValid() {
		return
	}
	st := Status(f.String())
	if !st.valid() {
		v.fault(kind, id, path, "seen, memory, common_practice or assumed", "%s has the status %q", orTop(path), string(st))
	}
	src := x.FieldByName("Source").String()
	if src == "" {
		if st == Seen {
			v.fault(kind, id, path, "name the source that it was seen in", "%s was seen, but has no source", orTop(path))
		}
		return
	}
	if _, ok := v.p.Sources[src]; !ok {
		v.fault(kind, id, path, nearWords(src, sortedKeys(v.p.Sources)), "%s names the unknown source %q", orTop(path), src)
	}
}

// when checks a condition: one that nobody can meet would switch a threshold off without a word.
func (v *validator) when(kind, id, path string, w *When) {
	if w.Sex != "" && !w.Sex.Valid() {
		v.fault(kind, id, join(path, "sex"), "male or female", "asks for the unknown sex %q", w.Sex)
	}
	for i, l := range w.Levels {
		if !l.Valid() {
			v.fault(kind, id, fmt.Sprintf("%s[%d]", join(path, "levels"), i), "youth, school, college or professional", "asks for the unknown level %q", l)
		}
	}
	for i, s := range w.Sports {
		if v.p.Sport(s) == nil {
			v.fault(kind, id, fmt.Sprintf("%s[%d]", join(path, "sports"), i), nearWords(s, v.p.SportIDs()), "asks for the unknown sport %q", s)
		}
	}
	if w.Profile != "" && !slices.ContainsFunc(v.p.Sports, func(s Sport) bool { return s.Profile == w.Profile }) {
		v.fault(kind, id, join(path, "profile"), "the profile of one of the protocol's sports", "asks for the unknown profile %q", w.Profile)
	}
	for i, a := range []*float64{w.AgeFrom, w.AgeBelow} {
		field := [...]string{"age_from", "age_below"}[i]
		if a != nil && !(*a >= 0 && *a <= MaxAge) {
			v.fault(kind, id, join(path, field), "an age in years", "asks for the age %g", *a)
		}
	}
	if w.AgeFrom != nil && w.AgeBelow != nil && *w.AgeFrom >= *w.AgeBelow {
		v.fault(kind, id, path, "age_from below age_below", "asks for ages from %g and below %g", *w.AgeFrom, *w.AgeBelow)
	}
}

func nearWords(id string, known []string) string {
	if n := Nearest(id, known); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "see the list in the protocol"
}

func oneOf[T ~string](x T, list ...T) bool { return slices.Contains(list, x) }

func (v *validator) item(c *ChecklistItem) {
	if v.p.Link(c.Link) == nil {
		v.fault("checklist", c.ID, "link", "one of the protocol's links", "unknown link %q", c.Link)
	}
	if c.Name == "" || c.Phase == "" {
		v.fault("checklist", c.ID, "name", "give name and phase", "name or phase is missing")
	}
	for i, b := range c.Behind {
		if v.p.Measure(b) == nil {
			v.fault("checklist", c.ID, fmt.Sprintf("behind[%d]", i), nearWords(b, v.p.MeasureIDs()), "unknown measure %q", b)
		}
	}
}
