package clinic

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"evenhand/internal/screen"
)

func injury(id string) screen.Event {
	return screen.Event{ID: id, Athlete: "a1", On: "2026-02-01", Kind: screen.EventInjury, Link: "shoulder", Side: screen.Right, Note: " sore after throwing "}
}

func TestEventTwiceIsOnce(t *testing.T) {
	c, ctx := squad(t), context.Background()
	e := injury("e1")
	e.EnteredBy, e.Withdrawn, e.Entered = "somebody else", "no", time.Unix(1, 0)
	got, added, err := c.PutEvent(ctx, boss, e)
	if err != nil || !added || got.EnteredBy != boss.ID || got.Withdrawn != "" || got.Note != "sore after throwing" || !got.Entered.Equal(c.now()) {
		t.Fatalf("%+v, added %v, %v", got, added, err)
	}
	if again := must[bool](t)(event(c, e)); again {
		t.Error("the same event was added twice")
	}
	if list := must[[]screen.Event](t)(c.Events(ctx, boss, "a1")); len(list) != 1 || list[0] != got {
		t.Errorf("%+v", list)
	}
	e.On = "2026-02-02"
	if _, err := event(c, e); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("the same id with another day: %v", err)
	}
}

func TestBadEvents(t *testing.T) {
	c := squad(t)
	for _, x := range []struct {
		where string
		bad   func(*screen.Event)
	}{
		{"id", func(e *screen.Event) { e.ID = "" }},
		{"on", func(e *screen.Event) { e.On = "2026-02-11" }}, // tomorrow
		{"on", func(e *screen.Event) { e.On = "2011-04-01" }}, // the day before the birth
		{"kind", func(e *screen.Event) { e.Kind = "rest" }},
		{"link", func(e *screen.Event) { e.Link = "neck" }},
		{"side", func(e *screen.Event) { e.Side = "both" }},
		{"note", func(e *screen.Event) { e.Note = strings.Repeat("x", screen.MaxNoteLen+1) }},
		{"note", func(e *screen.Event) { e.Kind, e.Note = screen.EventClearance, "  " }},
		{"limits", func(e *screen.Event) { e.Limits = "no pitching" }},
		{"limits", func(e *screen.Event) {
			e.Kind, e.Limits = screen.EventClearance, strings.Repeat("x", screen.MaxNoteLen+1)
		}},
	} {
		e := injury("e1")
		x.bad(&e)
		_, err := event(c, e)
		var f screen.Faults
		if !errors.As(err, &f) || len(f) != 1 || f[0].Where != x.where || f[0].Want == "" {
			t.Errorf("%s: %v", x.where, err)
		}
	}
	e := injury("e1")
	e.Athlete = "nobody"
	if _, err := event(c, e); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("an unknown athlete: %v", err)
	}
	if list := must[[]screen.Event](t)(c.Events(context.Background(), boss, "a1")); len(list) != 0 {
		t.Errorf("something was kept: %+v", list)
	}
	if _, err := c.Events(context.Background(), boss, "nobody"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("events of nobody: %v", err)
	}
}

func TestWithdrawnEvent(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[bool](t)(event(c, injury("e1")))
	if v := c.mustCourse(t, "a1"); !v.Hold || len(v.Events) != 1 {
		t.Errorf("an injury without a clearance: hold %v, %d events", v.Hold, len(v.Events))
	}
	for _, why := range []string{"", "  ", strings.Repeat("x", screen.MaxNoteLen+1)} {
		var f screen.Faults
		if err := c.WithdrawEvent(ctx, boss, "e1", why); !errors.As(err, &f) || f[0].Where != "why" {
			t.Errorf("reason %.5q: %v", why, err)
		}
	}
	for range 2 { // the second time changes nothing
		if err := c.WithdrawEvent(ctx, boss, "e1", "another athlete"); err != nil {
			t.Fatal(err)
		}
	}
	if err := c.WithdrawEvent(ctx, boss, "e1", "another reason"); !screen.IsCode(err, screen.Conflict) {
		t.Errorf("withdrawn for another reason: %v", err)
	}
	if err := c.WithdrawEvent(ctx, boss, "e9", "none"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("an unknown event: %v", err)
	}
	v := c.mustCourse(t, "a1")
	if v.Hold || len(v.Events) != 0 || len(v.All) != 1 || v.All[0].Withdrawn != "another athlete" {
		t.Errorf("hold %v, events %+v, all %+v", v.Hold, v.Events, v.All)
	}
}

func TestClearanceEndsHold(t *testing.T) {
	c := squad(t)
	must[bool](t)(event(c, injury("e1")))
	clear := screen.Event{ID: "e2", Athlete: "a1", On: "2026-02-05", Kind: screen.EventClearance, Note: "Dr A. Example, no limits"}
	must[bool](t)(event(c, clear))
	if v := c.mustCourse(t, "a1"); v.Hold {
		t.Error("on hold after a clearance")
	}
	again := injury("e3")
	again.On = "2026-02-08"
	must[bool](t)(event(c, again))
	if v := c.mustCourse(t, "a1"); !v.Hold || v.Events[2].ID != "e3" {
		t.Errorf("an injury after the clearance: %+v", v.Events)
	}
}
