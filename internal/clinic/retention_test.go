package clinic

import (
	"context"
	"errors"
	"testing"

	"evenhand/internal/screen"
)

// Days by hand: the later of the two rules counts, and a leap day falls on the 1 March.
func TestDueOn(t *testing.T) {
	for _, x := range []struct {
		r          Retention
		born, last screen.Date
		want       screen.Date
	}{
		{Retention{}, "2010-05-01", "2020-01-01", ""},
		{Retention{Years: 7}, "2010-05-01", "2020-01-01", "2027-01-01"},
		{Retention{UntilAge: 21}, "2010-05-01", "2020-01-01", "2031-05-01"},
		{Retention{Years: 7, UntilAge: 21}, "2010-05-01", "2020-01-01", "2031-05-01"},
		{Retention{Years: 7, UntilAge: 21}, "2000-05-01", "2020-01-01", "2027-01-01"},
		{Retention{UntilAge: 21}, "1990-05-01", "2020-01-01", "2020-01-01"},
		{Retention{Years: 1}, "2010-05-01", "2024-02-29", "2025-03-01"},
		{Retention{UntilAge: 21}, "", "2020-01-01", "2020-01-01"},
	} {
		if got := x.r.dueOn(x.born, x.last); got != x.want {
			t.Errorf("%+v, born %s, last %s: %s, want %s", x.r, x.born, x.last, got, x.want)
		}
	}
}

// Today is 2026-02-10. a1 was born 2011, a2 on 2006-11-05; the last record of a2 is of 2024.
func TestRetentionList(t *testing.T) {
	c, ctx := unasked(t), context.Background()
	if got := must[RetentionList](t)(c.RetentionList(ctx, boss)); got.Set() || len(got.Due)+len(got.Soon) != 0 {
		t.Errorf("nothing is set, and falls due: %+v", got)
	}
	if _, _, err := c.PutEvent(ctx, boss, screen.Event{ID: "e", Athlete: "a2", On: "2024-01-15", Kind: screen.EventTraining}); err != nil {
		t.Fatal(err)
	}
	given(t, c, "2026-02-01")
	if err := c.SetRetention(ctx, boss, Retention{Years: 2}); err != nil {
		t.Fatal(err)
	}
	got := must[RetentionList](t)(c.RetentionList(ctx, boss))
	if len(got.Due) != 1 || got.Due[0].Athlete.ID != "a2" || got.Due[0].Due != "2026-01-15" || got.Due[0].Last != "2024-01-15" || !got.Due[0].Member || len(got.Soon) != 0 {
		t.Errorf("%+v", got)
	}
	if err := c.HoldRetention(ctx, boss, "a2", "a claim is open"); err != nil {
		t.Fatal(err)
	}
	if got = must[RetentionList](t)(c.RetentionList(ctx, boss)); got.Held != 1 || got.Due[0].Hold.Why != "a claim is open" {
		t.Errorf("%+v", got)
	}
	if err := c.SetRetention(ctx, boss, Retention{Years: 2, UntilAge: 20}); err != nil {
		t.Fatal(err)
	}
	if got = must[RetentionList](t)(c.RetentionList(ctx, boss)); len(got.Due) != 0 || len(got.Soon) != 1 || got.Soon[0].Due != "2026-11-05" {
		t.Errorf("not before the twentieth birthday: %+v", got)
	}
	for _, r := range []Retention{{Years: -1}, {Years: 51}, {UntilAge: -1}, {UntilAge: 100}} {
		var f screen.Faults
		if err := c.SetRetention(ctx, boss, r); !errors.As(err, &f) {
			t.Errorf("%+v: %v", r, err)
		}
	}
	if err := c.HoldRetention(ctx, boss, "nobody", "x"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("nobody is held: %v", err)
	}
}
