package screen

import (
	"slices"
	"strconv"
	"strings"
	"time"
)

// Purpose is what a consent is given for.
type Purpose string

// The purposes. Each is asked for by itself: to be screened says nothing of the coach.
const (
	ForScreening   Purpose = "screening"   // measurements, checklist and symptoms are stored
	ForPhotographs Purpose = "photographs" // pictures and video of a throw
	ForCoach       Purpose = "coach"       // the coach sees whether the athlete may throw, and what to work on
)

// Purposes lists the purposes in the order in which they are asked for.
func Purposes() []Purpose { return []Purpose{ForScreening, ForPhotographs, ForCoach} }

// Words is the purpose as a reader sees it.
func (p Purpose) Words() string {
	switch p {
	case ForScreening:
		return "screening"
	case ForPhotographs:
		return "photographs and video"
	case ForCoach:
		return "sharing with the coach"
	}
	return string(p)
}

// Giver is who gives a consent.
type Giver string

// The givers. Who is of age gives it herself or himself; for everybody else a guardian does.
const (
	ByGuardian Giver = "guardian"
	ByAthlete  Giver = "athlete"
)

// DefaultMajority is the age in years from which a person gives a consent without a guardian where
// nothing else was set. It is common practice: local law decides.
const DefaultMajority = 18

// Consent is an athlete's consent to one purpose, as it was given on paper or by word. It is never
// changed but for its withdrawal, which is set once.
type Consent struct {
	ID      string  `json:"id" doc:"made by whoever records the consent; the same id again is the same consent"`
	Athlete string  `json:"athlete"`
	Purpose Purpose `json:"purpose" enum:"screening,photographs,coach"`
	On      Date    `json:"on" doc:"the day on which it was given"`
	Version string  `json:"version" doc:"of the text that was agreed to"`
	GivenBy Giver   `json:"given_by" enum:"guardian,athlete"`
	Giver   string  `json:"giver,omitempty" doc:"name of the guardian; may be left out"`

	Recorded time.Time `json:"recorded,omitzero" doc:"when it was entered"`
	ByID     string    `json:"by,omitempty" doc:"id of who recorded it"`
	ByName   string    `json:"by_name,omitempty"`

	WithdrawnOn Date      `json:"withdrawn_on,omitempty" doc:"from this day on it does not hold; empty: it holds"`
	Withdrawn   time.Time `json:"withdrawn,omitzero" doc:"when that was entered"`
	WithdrawnBy string    `json:"withdrawn_by,omitempty" doc:"name of who entered it"`
	Why         string    `json:"why,omitempty" doc:"why it was withdrawn"`
}

// InForce reports whether the consent holds on a day: given by then, and not withdrawn by then.
func (c *Consent) InForce(on Date) bool {
	return c.On <= on && (c.WithdrawnOn == "" || c.WithdrawnOn > on)
}

// ConsentOn is the consent of a list to a purpose that holds on a day, the one given last; nil if none
// does.
func ConsentOn(list []Consent, p Purpose, on Date) *Consent {
	var best *Consent
	for i := range list {
		c := &list[i]
		if c.Purpose == p && c.InForce(on) && (best == nil || c.On >= best.On) {
			best = c
		}
	}
	return best
}

// ConsentText is a version of the text that people agree to.
type ConsentText struct {
	ID      string    `json:"id"`
	Purpose Purpose   `json:"purpose" enum:"screening,photographs,coach"`
	Version string    `json:"version" doc:"what it is called in a consent"`
	Body    string    `json:"body"`
	Made    time.Time `json:"made,omitzero"`
	ByID    string    `json:"by,omitempty"`
}

// MaxConsentText bounds a text, in bytes: several pages.
const MaxConsentText = 20000

// OfAge reports whether a, on a day, has the age of majority given, in years.
func (a *Athlete) OfAge(on Date, majority int) bool {
	return a.Born.Valid() && on.Valid() && a.Born.YearsTo(on) >= float64(majority)
}

// CheckConsent finds what is wrong with a consent of a. today is the last day on which it can have been
// given; majority is the age of majority in years.
func CheckConsent(c *Consent, a *Athlete, today Date, majority int, where string) Faults {
	var f Faults
	CheckID(c.ID, join(where, "id"), &f)
	if !slices.Contains(Purposes(), c.Purpose) {
		f.Add(join(where, "purpose"), "screening, photographs or coach", "unknown purpose %q", clip(string(c.Purpose), 40))
	}
	switch {
	case !c.On.Valid():
		f.Add(join(where, "on"), "a day such as 2026-02-10", "%q is not a day", string(c.On))
	case c.On > today:
		f.Add(join(where, "on"), "a day up to today, "+string(today), "%s is in the future", c.On)
	case c.On < a.Born:
		f.Add(join(where, "on"), "a day from "+string(a.Born)+" on", "%s lies before the athlete's birth", c.On)
	default:
		c.checkGiver(a, majority, where, &f)
	}
	if strings.TrimSpace(c.Version) == "" {
		f.Add(join(where, "version"), "the version of the text that was agreed to", "the version is missing")
	}
	CheckText(c.Version, MaxNameLen, join(where, "version"), &f)
	CheckText(c.Giver, MaxNameLen, join(where, "giver"), &f)
	return append(f, checkWithdrawal(c, today, where)...)
}

// checkGiver says who may give a consent on its day.
func (c *Consent) checkGiver(a *Athlete, majority int, where string, f *Faults) {
	at, years := join(where, "given_by"), strconv.Itoa(majority)
	switch ofAge := a.OfAge(c.On, majority); {
	case c.GivenBy != ByGuardian && c.GivenBy != ByAthlete:
		f.Add(at, "guardian or athlete", "unknown giver %q", clip(string(c.GivenBy), 40))
	case c.GivenBy == ByAthlete && !ofAge:
		f.Add(at, "the consent of a guardian", "the athlete was not of age on %s: under %s", c.On, years)
	case c.GivenBy == ByGuardian && ofAge:
		f.Add(at, "the consent of the athlete", "the athlete was of age on %s: %s or more", c.On, years)
	}
}

func checkWithdrawal(c *Consent, today Date, where string) Faults {
	var f Faults
	CheckText(c.Why, MaxNoteLen, join(where, "why"), &f)
	if c.WithdrawnOn == "" {
		return f
	}
	switch {
	case !c.WithdrawnOn.Valid():
		f.Add(join(where, "withdrawn_on"), "a day such as 2026-02-10", "%q is not a day", string(c.WithdrawnOn))
	case c.WithdrawnOn > today:
		f.Add(join(where, "withdrawn_on"), "a day up to today, "+string(today), "%s is in the future", c.WithdrawnOn)
	case c.On.Valid() && c.WithdrawnOn < c.On:
		f.Add(join(where, "withdrawn_on"), "a day from "+string(c.On)+" on", "%s lies before the day on which it was given", c.WithdrawnOn)
	}
	return f
}

// CheckConsentText finds what is wrong with a version of a text.
func CheckConsentText(t *ConsentText, where string) Faults {
	var f Faults
	CheckID(t.ID, join(where, "id"), &f)
	if !slices.Contains(Purposes(), t.Purpose) {
		f.Add(join(where, "purpose"), "screening, photographs or coach", "unknown purpose %q", clip(string(t.Purpose), 40))
	}
	if strings.TrimSpace(t.Version) == "" {
		f.Add(join(where, "version"), "a short label such as 2026-08", "the version is missing")
	}
	CheckText(t.Version, MaxNameLen, join(where, "version"), &f)
	if strings.TrimSpace(t.Body) == "" {
		f.Add(join(where, "body"), "the words that people agree to", "the text is empty")
	}
	if len(t.Body) > MaxConsentText {
		f.Add(join(where, "body"), "at most "+strconv.Itoa(MaxConsentText)+" bytes", "the text has %d", len(t.Body))
	}
	return f
}
