package clinic

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"evenhand/internal/exchange"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const documentWithEvents = `{"athletes":[
 {"id":"p1","name":"Invented One","born":"2011-04-02","sex":"male","throws":"left","sport":"baseball","level":"school"}],
 "events":[{"id":"v1","athlete":"p1","on":"2026-02-01","kind":"injury","link":"shoulder","side":"left","note":"a note"},
  {"id":"v2","athlete":"p1","on":"2026-01-01","kind":"training"},
  {"id":"v3","athlete":"a1","on":"2026-02-01","kind":"training"}]}`

// Events come in once, also for an athlete who is only on record. What is exported says them as they
// came in, of each athlete by day, and comes in again as it was: what was taken back since stays so.
func TestImportAndExportEvents(t *testing.T) {
	c, ctx := squad(t), context.Background()
	first := must[Imported](t)(c.Import(ctx, boss, "t1", strings.NewReader(documentWithEvents), ImportOptions{}))
	again := must[Imported](t)(c.Import(ctx, boss, "t1", strings.NewReader(documentWithEvents), ImportOptions{}))
	if first.Entries != 3 || first.Already != 0 || again.Entries != 0 || again.Already != 3 {
		t.Errorf("the first time %+v, the second time %+v", first, again)
	}
	doc := must[*exchange.Document](t)(c.ExportDocument(ctx, boss, "t1"))
	got := ""
	for _, e := range doc.Events {
		got += fmt.Sprintln(e.On, e.Kind, e.Link, e.Side, e.Note, e.EnteredBy)
	}
	want := fmt.Sprintln("2026-02-01 training   ", boss.ID) + fmt.Sprintln("2026-01-01 training   ", boss.ID) +
		fmt.Sprintln("2026-02-01 injury shoulder left a note", boss.ID)
	if got != want {
		t.Errorf("the events are\n%swant\n%s", got, want)
	}
	var out bytes.Buffer
	if err := c.gate.Store().Write(ctx, func(tx *store.Tx) error { return tx.WithdrawEvent(doc.Events[1].ID, "a mistake") }); err != nil {
		t.Fatal(err)
	}
	must[*exchange.Document](t)(doc, exchange.WriteJSON(&out, c.Protocol(), doc))
	third := must[Imported](t)(c.Import(ctx, boss, "t1", &out, ImportOptions{}))
	if third.Entries != 0 || third.Consents != 0 || third.Already != 3+len(doc.Consents) {
		t.Errorf("exported and imported: %+v", third)
	}
	for _, e := range must[*exchange.Document](t)(c.ExportDocument(ctx, boss, "t1")).Events {
		if e.Stands() != (e.ID != doc.Events[1].ID) {
			t.Errorf("after it was taken back: %+v", e)
		}
	}
}

// An event is one of an athlete of the team.
func TestImportEventOfAnotherTeam(t *testing.T) {
	c, ctx := squad(t), context.Background()
	in := `{"events":[{"id":"v1","athlete":"a1","on":"2026-02-01","kind":"training"}]}`
	var p *screen.Problem
	if _, err := c.Import(ctx, boss, "t2", strings.NewReader(in), ImportOptions{}); !errors.As(err, &p) || p.Code != screen.Invalid || !strings.Contains(err.Error(), "events[0]") {
		t.Errorf("%v", err)
	}
}
