package clinic

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/exchange"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// scatter is a fixed list of draws from a normal distribution of mean 0 and SD 1.
var scatter = []float64{0.42, -1.31, 0.88, -0.05, 1.72, -0.64, -0.97, 0.31, 0.09, -1.84, 0.55, 1.13, -0.22, 0.76, -0.48, 1.41, -1.09, 0.17, -0.71, 0.03}

// squadTwice has team t1 with n athletes whose shoulders were read twice on the day, alternately by the
// same and by another examiner, with an error of size sd; and team t2 with one of its own.
func squadTwice(t testing.TB, n int, sd float64, days ...screen.Date) *Clinic {
	t.Helper()
	c, ctx := squad(t), context.Background()
	k := 0
	noise := func() float64 { k++; return sd * scatter[k%len(scatter)] }
	for i := range n {
		id := fmt.Sprintf("b%02d", i)
		a := screen.Athlete{ID: id, Name: "Thrower " + id, Born: "2010-04-02", Sex: screen.Male, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
		must[screen.Athlete](t)(c.PutAthlete(ctx, boss, a, "t1", 0))
		for _, on := range days {
			s := screen.Screen{ID: id + string(on), Athlete: id, Team: "t1", On: on, Kind: screen.Preseason}
			must[screen.Screen](t)(c.PutScreen(ctx, boss, s, 0))
			var list []Entry
			for j, m := range []string{irID, "shoulder_external_rotation"} {
				for _, side := range []screen.Side{screen.Left, screen.Right} {
					truth := []float64{55, 105}[j] + float64(i%7)
					for turn := range 2 {
						e := entry(fmt.Sprint(s.ID, m, side, turn), m, side, math.Round(truth+noise()), math.Round(truth+noise()/4))
						e.Examiner = []string{"KD", "MO"}[turn*(i%2)]
						list = append(list, e)
					}
				}
			}
			must[Saved](t)(c.SaveReadings(ctx, boss, s.ID, list))
		}
	}
	must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: "s2", Athlete: "a2", Team: "t2", On: "2026-02-09", Kind: screen.Preseason}, 0))
	must[Saved](t)(c.SaveReadings(ctx, boss, "s2", []Entry{ir("x1", screen.Left, 40), ir("x2", screen.Left, 44)}))
	return c
}

func TestRetestTakesTheNewestDay(t *testing.T) {
	c, ctx := squadTwice(t, 4, 3, "2026-01-10", "2026-02-08"), context.Background()
	got := must[Retest](t)(c.Retest(ctx, boss, "t1", "", ""))
	want := []RetestDay{{"2026-02-08", 4, 16}, {"2026-01-10", 4, 16}}
	if got.From != "2026-02-08" || got.To != got.From || !slices.Equal(got.Days, want) || got.Team.ID != "t1" {
		t.Errorf("%+v", got)
	}
	if s := got.Study; s == nil || s.Athletes != 4 || !slices.Equal(s.Examiners, []string{"KD", "MO"}) || s.Hash != c.Protocol().Hash {
		t.Errorf("%+v", s)
	}
	other := must[Retest](t)(c.Retest(ctx, boss, "t1", "2026-01-10", ""))
	if other.From != "2026-01-10" || other.To != "2026-01-10" || other.Study == nil || len(other.Notes) > 0 {
		t.Errorf("%+v", other)
	}
	both := must[Retest](t)(c.Retest(ctx, boss, "t1", "2026-01-10", "2026-02-08"))
	if m := measured(both.Study, irID); m == nil || m.Days == 0 || m.Same+m.Other != 16 || len(both.Notes) != 1 {
		t.Errorf("%+v", both)
	}
	if readings := must[[]study.Reading](t)(c.RetestReadings(ctx, boss, "t1", "", "")); len(readings) != 32 || readings[0].Occasion != "2026-02-08" {
		t.Errorf("%d readings", len(readings))
	}
}

func measured(s *study.Study, id string) *study.Measure {
	for i := range s.Measures {
		if s.Measures[i].Measure == id {
			return &s.Measures[i]
		}
	}
	return nil
}

// Another team's athletes are no part of it, and a reading taken back is none.
func TestRetestIsOfTheTeamsOwnScreens(t *testing.T) {
	c, ctx := squadTwice(t, 4, 3, "2026-02-09"), context.Background()
	got := must[Retest](t)(c.Retest(ctx, boss, "t2", "", ""))
	if len(got.Days) != 1 || got.Days[0].Athletes != 1 || got.Study.Athletes != 1 {
		t.Errorf("%+v", got)
	}
	must[bool](t)(withdrawn(c, "x2"))
	got = must[Retest](t)(c.Retest(ctx, boss, "t2", "", ""))
	if len(got.Days) != 0 || got.Study != nil || got.From != "" {
		t.Errorf("%+v", got)
	}
	if _, err := c.RetestReadings(ctx, boss, "t2", "", ""); !screen.IsCode(err, screen.Invalid) {
		t.Errorf("readings of nobody: %v", err)
	}
	if got := must[Retest](t)(c.Retest(ctx, boss, "t1", "2026-02-01", "2026-02-08")); got.Study != nil || len(got.Days) != 1 {
		t.Errorf("days without screens: %+v", got)
	}
}

func withdrawn(c *Clinic, reading string) (ok bool, err error) {
	err = c.gate.Store().Write(context.Background(), func(tx *store.Tx) error {
		ok, err = tx.WithdrawReading(reading, "read on the wrong side")
		return err
	})
	return ok, err
}

func TestRetestRefusesDays(t *testing.T) {
	c, ctx := squadTwice(t, 1, 3, "2026-02-09"), context.Background()
	for _, x := range [][2]screen.Date{{"2026-02-31", ""}, {"2026-02-09", "2026-02-08"}, {"", "soon"}} {
		_, err := c.Retest(ctx, boss, "t1", x[0], x[1])
		var f screen.Faults
		if !errors.As(err, &f) || f[0].Want == "" {
			t.Errorf("%v: %v", x, err)
		}
	}
	if _, err := c.Retest(ctx, boss, "none", "", ""); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("%v", err)
	}
	if _, err := c.Retest(ctx, Person{ID: "x"}, "t1", "", ""); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("%v", err)
	}
}

const fileOfRepeats = "athlete,measure,side,examiner,day,trial1\n" +
	"v1,shoulder_internal_rotation,left,K,2026-02-01,41\nv1,shoulder_internal_rotation,left,M,2026-02-01,44\n"

func TestRetestOfFile(t *testing.T) {
	c, ctx := squad(t), context.Background()
	got := must[FileStudy](t)(c.RetestOfFile(ctx, boss, "t1", strings.NewReader(fileOfRepeats), 0))
	if got.Study.Athletes != 1 || len(got.Readings) != 2 {
		t.Errorf("%+v", got)
	}
	_, err := c.RetestOfFile(ctx, boss, "t1", strings.NewReader(strings.Replace(fileOfRepeats, ",44", ",x", 1)), 0)
	var f screen.Faults
	if !errors.As(err, &f) || f[0].Where != "row 3, column trial1" {
		t.Errorf("%v", err)
	}
	_, err = c.RetestOfFile(ctx, boss, "t1", strings.NewReader(strings.Replace(fileOfRepeats, "left,M", "right,M", 1)), 0)
	if !screen.IsCode(err, screen.Invalid) || !strings.Contains(err.Error(), "no side was read twice") {
		t.Errorf("%v", err)
	}
	if _, err := c.RetestOfFile(ctx, boss, "none", strings.NewReader(fileOfRepeats), 0); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("%v", err)
	}
	must[screen.KeptStudy](t)(c.KeepStudy(ctx, boss, "t1", StudyToKeep{ID: "k", Name: "File", Readings: got.Readings}))
	kept := must[KeptStudy](t)(c.StudyKept(ctx, boss, "k"))
	var data []study.Reading
	if err := json.Unmarshal(kept.Data, &data); err != nil || len(data) != 2 || kept.From != "" || kept.Study.Athletes != 1 {
		t.Errorf("%+v %v", kept.KeptStudy, err)
	}
}

// What cannot be answered is said in words, whatever is given, and is kept and read back as it is.
func TestOddStudiesAreKept(t *testing.T) {
	c, ctx := squad(t), context.Background()
	one := study.Reading{Athlete: "v", Measure: irID, Side: screen.Left, Examiner: "K", Occasion: "2026-02-01", Trials: []float64{50, 52}}
	many := func(n int, change func(i int, r *study.Reading)) (out []study.Reading) {
		for i := range n {
			r := one
			r.Trials = slices.Clone(one.Trials)
			change(i, &r)
			out = append(out, r)
		}
		return out
	}
	for name, readings := range map[string][]study.Reading{
		"identical":       many(30, func(i int, r *study.Reading) { r.Athlete = fmt.Sprint("v", i/2) }),
		"nine times":      many(9, func(i int, r *study.Reading) { r.Trials[0] = 50 + scatter[i] }),
		"two athletes":    many(4, func(i int, r *study.Reading) { r.Athlete, r.Trials[0] = fmt.Sprint("v", i/2), 50+scatter[i] }),
		"one examiner":    many(40, func(i int, r *study.Reading) { r.Athlete, r.Trials[0] = fmt.Sprint("v", i/2), 50+3*scatter[i%20] }),
		"each by another": many(40, func(i int, r *study.Reading) { r.Athlete, r.Examiner = fmt.Sprint("v", i/2), fmt.Sprint("E", i) }),
		"nobody is named": many(6, func(i int, r *study.Reading) { r.Athlete, r.Examiner = fmt.Sprint("v", i/2), "" }),
		"a day for each":  many(20, func(i int, r *study.Reading) { r.Occasion = screen.Date("2025-12-01").AddDays(i) }),
		"a rating": many(20, func(i int, r *study.Reading) {
			r.Athlete, r.Measure, r.Trials = fmt.Sprint("v", i/2), rating(c), []float64{float64(i % 2)}
		}),
		"twice in a row alike":  append(many(2, func(int, *study.Reading) {}), many(2, func(_ int, r *study.Reading) { r.Athlete = "w" })...),
		"one repeat of several": append(many(2, func(int, *study.Reading) {}), many(9, func(i int, r *study.Reading) { r.Athlete = fmt.Sprint("x", i) })...),
	} {
		kept, err := c.KeepStudy(ctx, boss, "t1", StudyToKeep{Name: name, Readings: readings})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		back := must[KeptStudy](t)(c.StudyKept(ctx, boss, kept.ID))
		m := back.Study.Measures
		if back.Stale != "" || len(m) == 0 || m[0].Statement == "" {
			t.Errorf("%s: %+v", name, back)
		}
		if body := string(kept.Body); strings.Contains(body, "NaN") || strings.Contains(body, "Inf") {
			t.Errorf("%s: %s", name, body)
		}
	}
}

// rating is a paired measure in categories.
func rating(c *Clinic) string {
	for i := range c.Protocol().Measures {
		if m := &c.Protocol().Measures[i]; m.Scale == screen.Category && m.Paired {
			return m.ID
		}
	}
	return ""
}

func TestReadingsToKeepAreChecked(t *testing.T) {
	c, ctx := squad(t), context.Background()
	good := study.Reading{Athlete: "v", Measure: irID, Side: screen.Left, Occasion: "2026-02-01", Trials: []float64{50}}
	for name, x := range map[string]struct {
		change func(r *study.Reading)
		where  string
	}{
		"athlete": {func(r *study.Reading) { r.Athlete = " " }, "readings[1].athlete"},
		"measure": {func(r *study.Reading) { r.Measure = "of_another_protocol" }, "readings[1].measure"},
		"arc":     {func(r *study.Reading) { r.Measure = "shoulder_total_arc" }, "readings[1].measure"},
		"side":    {func(r *study.Reading) { r.Side = screen.NoSide }, "readings[1].side"},
		"day":     {func(r *study.Reading) { r.Occasion = "2026-13-01" }, "readings[1].occasion"},
		"future":  {func(r *study.Reading) { r.Occasion = "2026-02-11" }, "readings[1].occasion"},
		"trials":  {func(r *study.Reading) { r.Trials = nil }, "readings[1].trials"},
		"value":   {func(r *study.Reading) { r.Trials = []float64{math.NaN()} }, "readings[1].trials[0]"},
		"range":   {func(r *study.Reading) { r.Trials = []float64{900} }, "readings[1].trials[0]"},
	} {
		bad := good
		x.change(&bad)
		_, err := c.KeepStudy(ctx, boss, "t1", StudyToKeep{Name: "n", Readings: []study.Reading{good, bad}})
		var f screen.Faults
		if !errors.As(err, &f) || len(f) != 1 || f[0].Where != x.where || f[0].Want == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	for where, in := range map[string]StudyToKeep{"name": {Name: " ", Readings: []study.Reading{good}}, "id": {ID: "a b", Name: "n"},
		"readings": {Name: "n", Readings: make([]study.Reading, exchange.MaxRetestReadings+1)}} {
		_, err := c.KeepStudy(ctx, boss, "t1", in)
		var f screen.Faults
		if !errors.As(err, &f) || f[0].Where != where {
			t.Errorf("%s: %v", where, err)
		}
	}
	var crowd []study.Reading
	for i := range retestExaminers + 1 {
		r := good
		r.Examiner = fmt.Sprint("E", i)
		crowd = append(crowd, r)
	}
	if _, err := c.KeepStudy(ctx, boss, "t1", StudyToKeep{Name: "n", Readings: crowd}); !screen.IsCode(err, screen.Invalid) || !strings.Contains(err.Error(), "51 examiners") {
		t.Errorf("a crowd of examiners: %v", err)
	}
	if list := must[[]screen.KeptStudy](t)(c.StudiesKept(ctx, boss, "t1")); len(list) != 0 {
		t.Errorf("%d studies were kept", len(list))
	}
}

func BenchmarkSwitchView(b *testing.B) {
	r := fullDay(b)
	ctx := context.Background()
	if err := r.gate.Store().Write(ctx, everybodyTwice); err != nil {
		b.Fatal(err)
	}
	s := must[Retest](b)(r.Retest(ctx, boss, "t1", "", "")).Study
	for b.Loop() {
		must[SwitchEffect](b)(r.SwitchView(ctx, boss, "t1", s))
	}
}

func BenchmarkRetest(b *testing.B) {
	r := fullDay(b)
	ctx := context.Background()
	if err := r.gate.Store().Write(ctx, everybodyTwice); err != nil {
		b.Fatal(err)
	}
	got := must[Retest](b)(r.Retest(ctx, boss, "t1", "", ""))
	for b.Loop() {
		must[Retest](b)(r.Retest(ctx, boss, "t1", "", ""))
	}
	b.ReportMetric(float64(got.Study.Athletes), "athletes")
	b.ReportMetric(float64(len(got.Study.Measures)), "measures")
}

// everybodyTwice adds to every screen of team t1 each of its readings once more, by another examiner and
// off by a little.
func everybodyTwice(tx *store.Tx) error {
	ids, err := tx.TeamScreensBetween("t1", "2000-01-01", "2100-01-01")
	if err != nil {
		return err
	}
	records, err := tx.Records(ids)
	if err != nil {
		return err
	}
	for n, rec := range records {
		again := rec.Current()
		for i := range again {
			again[i].ID += "again"
			again[i].Examiner = []string{"KD", "MO", "TS"}[(n+i)%3]
			again[i].Trials = slices.Clone(again[i].Trials)
			if again[i].Trials[0] > 30 {
				again[i].Trials[0] += math.Round(3 * scatter[(n*7+i)%len(scatter)])
			}
		}
		if _, err := tx.PutReadings(rec.Screen.ID, again, func(screen.Reading) (bool, bool) { return false, false }); err != nil {
			return err
		}
	}
	return nil
}
