package web

import (
	"context"
	"fmt"
	"strings"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// useView says which errors are in use, and has the forms that change it.
type useView struct {
	useForm
	InUse   string // in a sentence
	Stale   string
	Squad   bool // what is usual in the squad rests on other errors
	Own     bool // a study's errors are in use
	Same    bool // those of the study shown
	WhyNot  string
	Effect  *effectView // of the study shown
	Back    *effectView // of the published errors
	History []switchRow
	Studies []keptRow
	Faults  map[string]string // by the field's name
	Told    []toldFault
}

// useForm is what was typed.
type useForm struct{ Do, ID, Name, Why string }

type switchRow struct{ On, By, What, Why string }

type keptRow struct {
	ID, Name, Made, Days string
	InUse, Shown         bool
}

// effectView is what a switch would change, in words.
type effectView struct {
	Line    string
	Changes []string
}

func (u *useView) told() bool { return len(u.Told) > 0 }

// Fault says what is wrong with a field; its Text is empty if nothing is.
func (u *useView) Fault(field string) fieldFault { return fieldFault{field, u.Faults[field]} }

// tell notes faults at their fields. Those of no field stand at the form given.
func (u *useView) tell(form string, faults []screen.Fault) {
	for _, f := range faults {
		field, place := form, "The form"
		for _, x := range []labelled{{Label: "name", Value: "Name"}, {Label: "why", Value: "Why"}, {Label: "from", Value: "First day"}, {Label: "to", Value: "Last day"}} {
			if f.Where == x.Label {
				field, place = x.Label, x.Value
			}
		}
		text := upperFirst(f.Problem)
		if f.Want != "" {
			text += ". Right would be: " + f.Want
		}
		text += "."
		u.Told = append(u.Told, toldFault{field, place, text})
		u.Faults[field] = strings.TrimSpace(u.Faults[field] + " " + text)
	}
}

// errorsInUse adds which errors are in use, and what switching would change.
func (s *server) errorsInUse(c context.Context, who clinic.Person, p *retestPage) error {
	e, err := s.clinic.ErrorsInUse(c, who, p.Team.ID)
	if err != nil {
		return err
	}
	u := &p.Use
	u.of(&e)
	if p.Kept != nil {
		u.Same = e.Now.Study == p.Kept.ID
		u.show(p.Kept.ID)
	}
	if p.Measure != nil {
		return nil
	}
	if p.Study != nil && !u.Same {
		switch {
		case p.Kept != nil && p.Kept.Stale != "":
			u.WhyNot = "Its errors cannot be used: " + p.Kept.Stale + ". Make the study anew from the same readings."
		case len(p.Study.study.Errors()) == 0:
			u.WhyNot = "There are too few repeats for errors of your own: no measure has enough of them. The study can be kept all the same."
		default:
			if u.Effect, err = s.effect(c, who, p.Team.ID, p.Study); err != nil {
				return err
			}
		}
	}
	if u.Own {
		u.Back, err = s.effect(c, who, p.Team.ID, nil)
	}
	return err
}

func (u *useView) of(e *clinic.ErrorsInUse) {
	u.Own, u.Stale, u.Squad = e.Own(), e.Stale, e.OldSquad
	u.InUse = inUseWords(&e.Now)
	for i := range e.Switches {
		x := &e.Switches[i]
		what := "published errors"
		if x.Study != "" {
			what = "errors of the study “" + x.Name + "”"
		}
		u.History = append(u.History, switchRow{On: dayOf(x.At), By: x.By, What: what, Why: x.Why})
	}
	for i := range e.Studies {
		k := &e.Studies[i]
		row := keptRow{ID: k.ID, Name: k.Name, Made: dayOf(k.Made), Days: "from a file", InUse: k.ID == e.Now.Study}
		if k.From != "" {
			row.Days = "records of " + spanWords(k.From, k.To)
		}
		u.Studies = append(u.Studies, row)
	}
}

func (u *useView) show(id string) {
	for i := range u.Studies {
		u.Studies[i].Shown = u.Studies[i].ID == id
	}
}

// dayOf is the day of a moment where the program runs.
func dayOf(t time.Time) string { return day(screen.DateOf(t.Local())) }

func inUseWords(x *clinic.NamedSwitch) string {
	switch {
	case x.ID == "":
		return "The published errors are in use, as they were from the start."
	case x.Study == "":
		return fmt.Sprintf("The published errors are in use again since %s, switched by %s: %s.", dayOf(x.At), x.By, strings.TrimSuffix(x.Why, "."))
	}
	return fmt.Sprintf("The errors of the study “%s” are in use since %s, switched on by %s: %s.", x.Name, dayOf(x.At), x.By, strings.TrimSuffix(x.Why, "."))
}

// effect puts into words what switching to a study, or to the published errors if it is nil, would change.
func (s *server) effect(c context.Context, who clinic.Person, team string, v *retestStudy) (*effectView, error) {
	to := (*retestStudy).errors(v)
	e, err := s.clinic.SwitchView(c, who, team, to)
	if err != nil {
		return nil, err
	}
	n := e.Before.Deficit + e.Before.Clear + e.Before.Unsettled
	out := &effectView{}
	switch {
	case e.Screens == 0:
		out.Line = "No athlete of the team has a screen yet, so no verdict changes."
	case e.Changed == 0:
		out.Line = fmt.Sprintf("In the newest screens of %s none of %d verdicts would change.", count(e.Screens, "athlete", "athletes"), n)
	default:
		out.Line = fmt.Sprintf("In the newest screens of %s %d of %d verdicts would be another one: deficits %d, before %d; unsettled %d, before %d; clear %d, before %d.",
			count(e.Screens, "athlete", "athletes"), e.Changed, n, e.After.Deficit, e.Before.Deficit, e.After.Unsettled, e.Before.Unsettled, e.After.Clear, e.Before.Clear)
	}
	for _, x := range e.Changes {
		out.Changes = append(out.Changes, fmt.Sprintf("%s: %d from %s to %s", x.Name, x.N, x.From, x.To))
	}
	return out, nil
}

// errorsNote says on an athlete's page that the squad's own errors were taken.
func errorsNote(e *screen.ErrorSwitch) []string {
	if e.Study == "" {
		return nil
	}
	return []string{fmt.Sprintf("scored with the squad's own measurement errors, switched on by %s on %s", e.By, dayOf(e.At))}
}
