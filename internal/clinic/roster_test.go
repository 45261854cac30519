package clinic

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"evenhand/internal/exchange"
	"evenhand/internal/screen"
)

func rosterOf(t testing.TB, text string) *RosterInput {
	t.Helper()
	tables, err := exchange.ReadRosterFile(strings.NewReader(text), exchange.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return &RosterInput{Table: &tables[0], Same: map[int]SameAnswer{},
		Settings: exchange.RosterSettings{Means: exchange.Recognise(tables[0].Headings), Sport: "baseball", Level: screen.School}}
}

// outcomes is what becomes of each row, in one line.
func outcomes(p *RosterPreview) string {
	out := make([]string, len(p.Lines))
	for i := range p.Lines {
		out[i] = string(p.Lines[i].Outcome)
	}
	return strings.Join(out, " ")
}

func preview(t testing.TB, c *Clinic, team string, in *RosterInput) *RosterPreview {
	t.Helper()
	return must[*RosterPreview](t)(c.PreviewRoster(context.Background(), boss, team, in))
}

func add(t testing.TB, c *Clinic, team string, in *RosterInput, leaveOut bool) *RosterPreview {
	t.Helper()
	seen := preview(t, c, team, in).Seen
	return must[*RosterPreview](t)(c.AddRoster(context.Background(), boss, team, in, seen, leaveOut))
}

func membersOf(t testing.TB, c *Clinic, team string) []screen.Athlete {
	t.Helper()
	list, _, err := c.Athletes(context.Background(), boss, team, Page{Limit: 500})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

const newcomers = "Name,Born,Sex,Throws,ID\nKim Tandrel,2011-04-02,F,L,17\nBo Quillmere,2010-01-02,M,R,\n"

func TestRosterTwiceAddsNobody(t *testing.T) {
	c := squad(t)
	before := len(membersOf(t, c, "t1"))
	p := preview(t, c, "t1", rosterOf(t, newcomers))
	if outcomes(p) != "new new" || !p.Ready() || len(membersOf(t, c, "t1")) != before {
		t.Fatalf("%s, or the preview wrote something", outcomes(p))
	}
	if p = add(t, c, "t1", rosterOf(t, newcomers), false); !p.Added {
		t.Fatalf("%+v", p)
	}
	list := membersOf(t, c, "t1")
	if len(list) != before+2 || list[2].Name != "Kim Tandrel" || list[2].ExternalID != "17" || list[2].HandOn("2026-02-10") != screen.LeftHand {
		t.Errorf("%+v", list)
	}
	p = preview(t, c, "t1", rosterOf(t, newcomers))
	if outcomes(p) != "known known" || p.Ready() || p.Lines[0].With.By != "number" || p.Lines[1].With.By != "name and birth date" {
		t.Errorf("again: %s %+v", outcomes(p), p.Lines)
	}
	if p = add(t, c, "t1", rosterOf(t, newcomers), false); p.Added || len(membersOf(t, c, "t1")) != before+2 {
		t.Errorf("again: %+v", p)
	}
	// In another team they are on record, and join. The number of one team means nothing in another.
	if p = add(t, c, "t2", rosterOf(t, newcomers), false); outcomes(p) != "joins joins" || !p.Added {
		t.Errorf("another team: %s", outcomes(p))
	}
	if p = preview(t, c, "t2", rosterOf(t, newcomers)); outcomes(p) != "known known" {
		t.Errorf("another team again: %s", outcomes(p))
	}
	if list := membersOf(t, c, ""); len(list) != 4 {
		t.Errorf("%d athletes on record", len(list))
	}
}

// Who is who: by number within the team, otherwise by name and birth date.
func TestRosterMatches(t *testing.T) {
	c := squad(t)
	add(t, c, "t1", rosterOf(t, newcomers), false)
	head := "Name,Born,Sex,Throws,ID\n"
	for name, x := range map[string]struct{ rows, want, says string }{
		"another spelling":             {"kim  TANDREL,2011-04-02,F,L,\n", "known", ""},
		"number, name changed":         {"Kim Newname,2011-04-02,F,L,17\n", "known", "on record as Kim Tandrel"},
		"number of another":            {"Jo Else,2009-04-02,F,L,17\n", "faulty", "is that of Kim Tandrel"},
		"another number":               {"Kim Tandrel,2011-04-02,F,L,18\n", "ask", ""},
		"number where none was":        {"Bo Quillmere,2010-01-02,M,R,5\n", "known", ""},
		"of another team":              {"Athlete a2,2011-04-02,M,R,\n", "joins", ""},
		"twice":                        {"A,2011-01-01,F,L,\na,2011-01-01,F,L,\n", "new twice", ""},
		"twice, number once":           {"A,2011-01-01,F,L,\nA,2011-01-01,F,L,4\n", "new twice", ""},
		"twice by number":              {"A,2011-01-01,F,L,4\nA,2011-01-01,F,L,4\n", "new twice", ""},
		"twice, contradicting":         {"A,2011-01-01,F,L,\nA,2011-01-01,F,R,\n", "new faulty", "row 2 already"},
		"one number, two people":       {"A,2011-01-01,F,L,4\nB,2011-01-01,F,L,4\n", "new faulty", "stands in row 2"},
		"two numbers, same name, born": {"A,2011-01-01,F,L,4\nA,2011-01-01,F,L,5\n", "new ask", ""},
		"joins twice":                  {"Athlete a2,2011-04-02,M,R,\nathlete a2,2011-04-02,M,R,\n", "joins twice", ""},
	} {
		p := preview(t, c, "t1", rosterOf(t, head+x.rows))
		if outcomes(p) != x.want {
			t.Errorf("%s: %s, want %s", name, outcomes(p), x.want)
			continue
		}
		last := p.Lines[len(p.Lines)-1]
		if !strings.Contains(last.Note+last.Faults.Error(), x.says) {
			t.Errorf("%s: %+v", name, last)
		}
		if last.Outcome != RosterNew && last.Outcome != RosterFaulty && last.With == nil {
			t.Errorf("%s: it is not said whom the row matches", name)
		}
	}
}

func TestRosterAsksAboutAnotherNumber(t *testing.T) {
	c := squad(t)
	add(t, c, "t1", rosterOf(t, newcomers), false)
	two := "Name,Born,Sex,Throws,ID\nKim Tandrel,2011-04-02,F,L,18\nKim Tandrel,2011-04-02,F,L,19\n"
	in := rosterOf(t, two)
	if p := add(t, c, "t1", in, true); p.Added || outcomes(p) != "ask ask" {
		t.Fatalf("added without an answer: %s", outcomes(p))
	}
	in.SameAll, in.Same[3] = SamePerson, OtherPerson
	if p := preview(t, c, "t1", in); outcomes(p) != "known new" {
		t.Errorf("%s", outcomes(p))
	}
	in.SameAll, in.Same = OtherPerson, nil
	if p := add(t, c, "t1", in, false); !p.Added || outcomes(p) != "new new" {
		t.Errorf("%s", outcomes(p))
	}
	if p := preview(t, c, "t1", rosterOf(t, two)); outcomes(p) != "known known" {
		t.Errorf("the same file again: %s", outcomes(p))
	}
	// Without a number, one of three is meant and it cannot be told which.
	p := preview(t, c, "t1", rosterOf(t, "Name,Born,Sex,Throws\nKim Tandrel,2011-04-02,F,L\n"))
	if outcomes(p) != "faulty" || !strings.Contains(p.Lines[0].Faults.Error(), "3 athletes on record") {
		t.Errorf("%+v", p.Lines)
	}
}

func TestFaultyRosterAddsNobody(t *testing.T) {
	c := squad(t)
	faulty := newcomers + "No Date,2010-02-30,M,R,\n"
	if p := add(t, c, "t1", rosterOf(t, faulty), false); p.Added || len(membersOf(t, c, "t1")) != 1 {
		t.Fatalf("%s", outcomes(p))
	}
	if p := add(t, c, "t1", rosterOf(t, faulty), true); !p.Added || len(membersOf(t, c, "t1")) != 3 {
		t.Fatalf("%s", outcomes(p))
	}
	open := rosterOf(t, "Name,Born,Sex,Throws\nAda,3/5/2012,F,L\nUma,2011-04-02,F,L\n")
	if p := add(t, c, "t1", open, true); p.Added || !p.Dates.Ask {
		t.Errorf("added while the order of dates was not known: %+v", p)
	}
	unknown := rosterOf(t, "Who,Born,Sex,Throws\nAda,2011-04-02,F,L\n")
	if p := add(t, c, "t1", unknown, true); p.Added || len(p.Faults) != 1 {
		t.Errorf("added without names: %+v", p)
	}
}

// What was not seen is not added: other settings, or a record that was changed in between.
func TestRosterIsAddedAsSeen(t *testing.T) {
	c, ctx := squad(t), context.Background()
	in := rosterOf(t, newcomers)
	seen := preview(t, c, "t1", in).Seen
	in.Settings.Level = screen.Youth
	if p := must[*RosterPreview](t)(c.AddRoster(ctx, boss, "t1", in, seen, false)); p.Added || !p.Changed {
		t.Errorf("%+v", p)
	}
	seen = preview(t, c, "t1", in).Seen
	kim := screen.Athlete{ID: "k", Name: "Kim Tandrel", Born: "2011-04-02", Sex: screen.Female, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.LeftHand}}}
	must[screen.Athlete](t)(c.PutAthlete(ctx, boss, kim, "t1", 0))
	p := must[*RosterPreview](t)(c.AddRoster(ctx, boss, "t1", in, seen, false))
	if p.Added || !p.Changed || outcomes(p) != "known new" {
		t.Errorf("%+v", p)
	}
	if p = must[*RosterPreview](t)(c.AddRoster(ctx, boss, "t1", in, p.Seen, false)); !p.Added {
		t.Errorf("%+v", p)
	}
}

func TestRosterNeedsTeamAndLeave(t *testing.T) {
	c, ctx := squad(t), context.Background()
	in := rosterOf(t, newcomers)
	if _, err := c.PreviewRoster(ctx, boss, "none", in); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
	if _, err := c.AddRoster(ctx, boss, "none", in, "", true); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
	stranger := Person{ID: "x"}
	if _, err := c.PreviewRoster(ctx, stranger, "t1", in); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
	if _, err := c.AddRoster(ctx, stranger, "t1", in, "", true); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
}

// If one row cannot be written, none is: the second new athlete gets an id that is taken.
func TestRosterIsAllOrNone(t *testing.T) {
	c := squad(t)
	in := rosterOf(t, newcomers)
	n := 0
	c.newID = func() string { n++; return []string{"new-1", "member-1", "a1", "member-2"}[n-1] }
	p := preview(t, c, "t1", in)
	if _, err := c.AddRoster(context.Background(), boss, "t1", in, p.Seen, false); !screen.IsCode(err, screen.Conflict) && !screen.IsCode(err, screen.Stale) {
		t.Fatalf("%v", err)
	}
	if len(membersOf(t, c, "")) != 2 || len(membersOf(t, c, "t1")) != 1 {
		t.Error("a part was written")
	}
}

func thousands(n int) string {
	var b strings.Builder
	b.WriteString("Name,Born,Sex,Throws,ID\n")
	for i := range n {
		fmt.Fprintf(&b, "Athlete %d,20%02d-04-02,F,L,N%d\n", i, 5+i%10, i)
	}
	return b.String()
}

func TestLargeRoster(t *testing.T) {
	c := squad(t)
	in := rosterOf(t, thousands(5000))
	for _, want := range []RosterOutcome{RosterNew, RosterKnown} {
		begin := time.Now()
		p := preview(t, c, "t1", in)
		seen := time.Since(begin)
		begin = time.Now()
		done := must[*RosterPreview](t)(c.AddRoster(context.Background(), boss, "t1", in, p.Seen, false))
		t.Logf("5,000 rows %s: previewed in %v, added in %v", want, seen, time.Since(begin))
		if p.Count[want] != 5000 || done.Added != (want == RosterNew) {
			t.Errorf("%v", p.Count)
		}
	}
}

func BenchmarkPreviewRoster5000(b *testing.B) {
	c := squad(b)
	in := rosterOf(b, thousands(5000))
	for b.Loop() {
		preview(b, c, "t1", in)
	}
}

// A number that another team has already is no hint at who somebody is, also in Import.
func TestImportTakesNumbersWithinATeam(t *testing.T) {
	c, ctx := squad(t), context.Background()
	for team, row := range map[string]string{"t1": "Kim Tandrel,2011-04-02,female,left", "t2": "Jo Else,2009-04-02,male,right"} {
		in := strings.NewReader("name,born,sex,throws,sport,level,external_id\n" + row + ",baseball,youth,17\n")
		if got := must[Imported](t)(c.Import(ctx, boss, team, in, ImportOptions{})); got.Athletes != 1 {
			t.Errorf("%s: %+v", team, got)
		}
	}
	if n := len(membersOf(t, c, "")); n != 4 {
		t.Errorf("%d athletes on record", n)
	}
}
