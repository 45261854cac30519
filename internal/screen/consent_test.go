package screen

import (
	"strings"
	"testing"
)

// Days by hand: given on the 1st, withdrawn on the 10th holds from the 1st to the 9th.
func TestConsentInForce(t *testing.T) {
	list := []Consent{
		{ID: "old", Purpose: ForScreening, On: "2026-01-01", WithdrawnOn: "2026-01-10"},
		{ID: "coach", Purpose: ForCoach, On: "2026-01-01"},
		{ID: "new", Purpose: ForScreening, On: "2026-02-01"},
	}
	for on, want := range map[Date]string{"2025-12-31": "", "2026-01-01": "old", "2026-01-09": "old", "2026-01-10": "", "2026-01-31": "", "2026-02-01": "new", "2027-01-01": "new"} {
		got := ""
		if c := ConsentOn(list, ForScreening, on); c != nil {
			got = c.ID
		}
		if got != want {
			t.Errorf("on %s it is %q, want %q", on, got, want)
		}
	}
	if ConsentOn(list, ForPhotographs, "2026-02-01") != nil {
		t.Error("a consent to another purpose counts")
	}
}

func TestCheckConsent(t *testing.T) {
	a := &Athlete{ID: "a", Born: "2008-02-10"} // of age on 2026-02-10
	good := Consent{ID: "c", Athlete: "a", Purpose: ForScreening, On: "2026-02-09", Version: "example 1", GivenBy: ByGuardian}
	for _, x := range []struct {
		name   string
		change func(*Consent)
		want   string // place of the only fault; empty: none
	}{
		{"a guardian the day before the birthday", func(*Consent) {}, ""},
		{"the athlete on the birthday", func(c *Consent) { c.On, c.GivenBy = "2026-02-10", ByAthlete }, ""},
		{"the athlete the day before", func(c *Consent) { c.GivenBy = ByAthlete }, "x.given_by"},
		{"a guardian on the birthday", func(c *Consent) { c.On = "2026-02-10" }, "x.given_by"},
		{"nobody", func(c *Consent) { c.GivenBy = "" }, "x.given_by"},
		{"tomorrow", func(c *Consent) { c.On = "2026-02-12" }, "x.on"},
		{"before birth", func(c *Consent) { c.On = "2008-02-09" }, "x.on"},
		{"no day", func(c *Consent) { c.On = "10.2.2026" }, "x.on"},
		{"another purpose", func(c *Consent) { c.Purpose = "research" }, "x.purpose"},
		{"no version", func(c *Consent) { c.Version = " " }, "x.version"},
		{"a bad id", func(c *Consent) { c.ID = "a b" }, "x.id"},
		{"a long name", func(c *Consent) { c.Giver = strings.Repeat("x", MaxNameLen+1) }, "x.giver"},
		{"withdrawn", func(c *Consent) { c.WithdrawnOn = "2026-02-11" }, ""},
		{"withdrawn before", func(c *Consent) { c.WithdrawnOn = "2026-02-08" }, "x.withdrawn_on"},
		{"withdrawn tomorrow", func(c *Consent) { c.WithdrawnOn = "2026-02-12" }, "x.withdrawn_on"},
		{"withdrawn sometime", func(c *Consent) { c.WithdrawnOn = "soon" }, "x.withdrawn_on"},
	} {
		c := good
		x.change(&c)
		f := CheckConsent(&c, a, "2026-02-11", DefaultMajority, "x")
		if x.want == "" && len(f) > 0 || x.want != "" && (len(f) != 1 || f[0].Where != x.want || f[0].Want == "") {
			t.Errorf("%s: %v, want a fault at %q", x.name, f, x.want)
		}
	}
	if f := CheckConsent(&good, &Athlete{ID: "a"}, "2026-02-11", DefaultMajority, ""); len(f) != 0 {
		t.Errorf("of somebody whose birth date is not known a guardian consents: %v", f)
	}
}

func TestCheckConsentText(t *testing.T) {
	good := ConsentText{ID: "t", Purpose: ForCoach, Version: "2026-08", Body: "I agree."}
	for place, change := range map[string]func(*ConsentText){
		"":        func(*ConsentText) {},
		"id":      func(x *ConsentText) { x.ID = "" },
		"purpose": func(x *ConsentText) { x.Purpose = "" },
		"version": func(x *ConsentText) { x.Version = "" },
		"body":    func(x *ConsentText) { x.Body = strings.Repeat("x", MaxConsentText+1) },
	} {
		x := good
		change(&x)
		f := CheckConsentText(&x, "")
		if place == "" && len(f) > 0 || place != "" && (len(f) != 1 || f[0].Where != place) {
			t.Errorf("%q: %v", place, f)
		}
	}
}
