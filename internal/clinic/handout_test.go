package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/demo"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func shipped(t testing.TB) *score.Scorer {
	t.Helper()
	return score.New(must[*screen.Protocol](t)(screen.Default()))
}

// thrower is a record of a fifteen-year-old right-hander without entries.
func thrower(hand screen.Hand) *screen.Record {
	return &screen.Record{
		Screen:  screen.Screen{ID: "s", Athlete: "a", Team: "t", On: "2026-02-10", Kind: screen.Preseason, Revision: 3},
		Athlete: screen.Athlete{ID: "a", Name: "Some One", Born: "2011-01-10", Sex: screen.Male, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: hand}}},
	}
}

// both adds a reading of each side; without trials none.
func both(rec *screen.Record, measure string, left, right []float64) {
	for side, trials := range map[screen.Side][]float64{screen.Left: left, screen.Right: right} {
		if len(trials) > 0 {
			rec.Readings = append(rec.Readings, screen.Reading{ID: measure + string(side), Screen: "s", Measure: measure, Side: side, Trials: trials, Examiner: "k"})
		}
	}
}

func textOf(t testing.TB, rec *screen.Record, cells ...screen.Cell) HandoutText {
	t.Helper()
	s := shipped(t)
	return handoutText(s, rec, s.Score(rec, score.Options{}), "Team", cells)
}

func cellsOf(measure string) []screen.Cell {
	return []screen.Cell{{About: measure, Side: screen.Left}, {About: measure, Side: screen.Right}}
}

// The elbow straightens to 0° on one side and to 20° short of straight on the other: 20° less, against
// the protocol's 5°. The protocol asks for a clinician then.
func TestHandoutOfADeficit(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "elbow_extension", []float64{0, 0, 0}, []float64{-20, -20, -20})
	got := textOf(t, rec)
	if len(got.Deficits) != 1 || got.More != 0 {
		t.Fatalf("%+v", got.Deficits)
	}
	d := got.Deficits[0]
	if !regexp.MustCompile(`^Your throwing \(right\) elbow straightens 20° less than the other one \(give or take \d+°\)\.$`).MatchString(d.Say) {
		t.Error(d.Say)
	}
	if d.Limit != "That is more than the 5° this screen allows for." {
		t.Error(d.Limit)
	}
	if !regexp.MustCompile(`^We are (quite|very) sure \((over )?\d+ in 100\)\.$`).MatchString(d.Sure) {
		t.Error(d.Sure)
	}
	if len(got.Now) != 1 || !strings.HasPrefix(got.Now[0], "A licensed clinician looks at the elbow") {
		t.Errorf("%q", got.Now)
	}
	if len(got.Regions) != 1 || got.Regions[0].Name != "Elbow" || !slices.Equal(got.Regions[0].Measured, []string{"how far the elbow straightens"}) {
		t.Errorf("%+v", got.Regions)
	}
	if len(got.Stop) > 0 || len(got.Doctor) != 13 || got.Next[0] != nextUsual[0] {
		t.Errorf("stop %q, %d signs, next %q", got.Stop, len(got.Doctor), got.Next)
	}
}

// Inward 30° against 70° and outward equal: 40° less inward and 40° less together, both beyond any of
// the protocol's limits, in one sentence.
func TestHandoutOfTwoConditions(t *testing.T) {
	rec := thrower(screen.LeftHand)
	both(rec, "shoulder_internal_rotation", []float64{30, 30, 30}, []float64{70, 70, 70})
	both(rec, "shoulder_external_rotation", []float64{95, 95, 95}, []float64{95, 95, 95})
	got := textOf(t, rec)
	if len(got.Deficits) != 1 {
		t.Fatalf("%+v", got.Deficits)
	}
	want := regexp.MustCompile(`^Your throwing \(left\) shoulder turns inward 40° less than the other one \(give or take \d+°\), and inward and outward together 40° less \(give or take \d+°\)\.$`)
	if d := got.Deficits[0]; !want.MatchString(d.Say) || !strings.HasPrefix(d.Limit, "Both are more than this screen allows for (") {
		t.Errorf("%+v", d)
	}
}

// A floor speaks of the lead leg, which is the left one of a right-hander, and of less than is looked for.
func TestHandoutOfALegAndAFloor(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "hip_internal_rotation", []float64{10, 10}, []float64{45, 45})
	got := textOf(t, rec)
	all := fmt.Sprint(got.Deficits)
	for _, want := range []string{"Your left hip turns inward 35° less than the right one", "Your front (left) hip turns inward 10° (give or take", "That is less than the 30° this screen looks for."} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is missing in %s", want, all)
		}
	}
}

// A difference right at the threshold is a deficit in about 50 of 100: neither clear nor a deficit.
func TestHandoutUnsettledOnly(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "lunge_distance", []float64{10, 10}, []float64{8.5, 8.5})
	got := textOf(t, rec)
	if len(got.Deficits) > 0 || !slices.Equal(got.Unclear, []string{"how far from the wall the foot can stand while the knee touches it, left against right"}) {
		t.Errorf("%+v, %q", got.Deficits, got.Unclear)
	}
}

func TestHandoutAllClear(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "trunk_rotation", []float64{60, 60, 60}, []float64{60, 60, 60})
	got := textOf(t, rec)
	if len(got.Deficits)+len(got.Unclear)+got.More+len(got.Now)+len(got.Stop) > 0 || len(got.Regions) != 1 {
		t.Errorf("%+v", got)
	}
}

func TestHandoutOfNothingMeasured(t *testing.T) {
	rec := thrower(screen.RightHand)
	rec.NotDone = []screen.NotDone{{Measure: "grip_strength", Side: screen.Left, Reason: screen.ReasonNoTime}, {Measure: "grip_strength", Side: screen.Right, Reason: screen.ReasonNoTime}}
	got := textOf(t, rec, append(cellsOf("grip_strength"), cellsOf("elbow_flexion")...)...)
	want := []HandoutRegion{
		{Name: "Elbow", Missing: []HandoutBlank{{Why: "no reason was noted"}}},
		{Name: "Wrist and hand", Missing: []HandoutBlank{{Why: "there was no time"}}},
	}
	if fmt.Sprint(got.Regions) != fmt.Sprint(want) || len(got.Deficits)+len(got.Unclear) > 0 {
		t.Errorf("%+v", got)
	}
}

// What was left out on one side says so with its reason; what hurt asks for a clinician.
func TestHandoutSaysWhatIsMissing(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "elbow_flexion", []float64{140}, nil)
	rec.NotDone = []screen.NotDone{{Measure: "elbow_flexion", Side: screen.Right, Reason: screen.ReasonPain}}
	got := textOf(t, rec, append(cellsOf("elbow_flexion"), cellsOf("elbow_extension")...)...)
	want := HandoutRegion{Name: "Elbow", Measured: []string{"how far the elbow bends"}, Missing: []HandoutBlank{
		{What: []string{"how far the elbow straightens"}, Why: "no reason was noted"},
		{What: []string{"how far the elbow bends (right)"}, Why: "it hurt"},
	}}
	if len(got.Regions) != 1 || fmt.Sprint(got.Regions[0]) != fmt.Sprint(want) {
		t.Errorf("%+v", got.Regions)
	}
	if len(got.Now) != 1 || !strings.Contains(got.Now[0], "how far the elbow bends (right). A licensed clinician looks at it before you throw again.") {
		t.Errorf("%q", got.Now)
	}
}

func TestHandoutOfAReferralSign(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "elbow_extension", []float64{0, 0, 0}, []float64{-20, -20, -20})
	rec.Symptoms = []screen.Symptom{
		{ID: "x", Symptom: "pain_at_rest_or_night", Side: screen.Right},
		{ID: "y", Symptom: "numbness_or_tingling", Withdrawn: "the other athlete"},
		{ID: "z", Symptom: "tiredness"},
	}
	got := textOf(t, rec, cellsOf("grip_strength")...)
	if !slices.Equal(got.Stop, []string{"pain when you rest or at night (right)"}) || !slices.Equal(got.Next, nextStopped) {
		t.Errorf("stop %q, next %q", got.Stop, got.Next)
	}
	if len(got.Deficits) != 1 || !slices.Equal(got.Notes, []string{"You told us about this: feeling tired."}) {
		t.Errorf("%+v, %q", got.Deficits, got.Notes)
	}
	if r := got.Regions[1]; r.Missing[0].Why != stoppedWords {
		t.Errorf("%+v", r)
	}
}

// Who throws with both arms has no throwing side: sides go by left and right.
func TestHandoutOfASwitchThrower(t *testing.T) {
	rec := thrower(screen.BothHands)
	both(rec, "elbow_extension", []float64{-20, -20, -20}, []float64{0, 0, 0})
	threw := true
	rec.Screen.ThrewIn48h = &threw
	got := textOf(t, rec)
	if len(got.Deficits) != 1 || !strings.HasPrefix(got.Deficits[0].Say, "Your left elbow straightens 20° less than the right one (give or take") {
		t.Errorf("%+v", got.Deficits)
	}
	if len(got.Notes) != 2 || !strings.Contains(got.Notes[0], "both arms") || !strings.Contains(got.Notes[1], "two days before") {
		t.Errorf("%q", got.Notes)
	}
}

// Six things stand far out: four are on the page, that of which the protocol asks something first.
func TestHandoutKeepsToFour(t *testing.T) {
	rec := thrower(screen.RightHand)
	both(rec, "lunge_distance", []float64{2, 2}, []float64{14, 14})
	both(rec, "reach_anterior", []float64{40, 40, 40}, []float64{80, 80, 80})
	both(rec, "trunk_rotation", []float64{20, 20, 20}, []float64{70, 70, 70})
	both(rec, "shoulder_flexion", []float64{180, 180, 180}, []float64{120, 120, 120})
	both(rec, "elbow_flexion", []float64{145, 145, 145}, []float64{90, 90, 90})
	both(rec, "elbow_extension", []float64{0, 0, 0}, []float64{-20, -20, -20})
	got := textOf(t, rec)
	if len(got.Deficits) != 4 || got.More != 2 || got.Deficits[0].Then == "" {
		t.Errorf("%d and %d more; first %+v", len(got.Deficits), got.More, got.Deficits[0])
	}
}

// A protocol without plain words is spoken by its own names.
func TestHandoutWithoutPlainWords(t *testing.T) {
	q := *must[*screen.Protocol](t)(screen.Default()) // the shipped one is shared
	p := &q
	p.Measures, p.Rules, p.Symptoms = slices.Clone(q.Measures), slices.Clone(q.Rules), slices.Clone(q.Symptoms)
	for i := range p.Measures {
		p.Measures[i].Plain = ""
	}
	for i := range p.Rules {
		p.Rules[i].Plain = ""
	}
	for i := range p.Symptoms {
		p.Symptoms[i].Plain = ""
	}
	rec := thrower(screen.RightHand)
	both(rec, "elbow_extension", []float64{0, 0, 0}, []float64{-20, -20, -20})
	s := score.New(p)
	got := handoutText(s, rec, s.Score(rec, score.Options{}), "Team", nil)
	if len(got.Deficits) != 1 || !strings.HasPrefix(got.Deficits[0].Say, "Loss of elbow extension: 20° (give or take") {
		t.Errorf("%+v", got.Deficits)
	}
	if got.Regions[0].Measured[0] != "elbow extension" || got.Doctor[0] != "pain at rest or at night" {
		t.Errorf("%q, %q", got.Regions[0].Measured, got.Doctor[0])
	}
}

// words that a page for a twelve-year-old does without.
var latin = regexp.MustCompile(`(?i)\b(flexion|extension|hyperextension|abduction|adduction|rotation|scapula|pronation|supination|anterior|posterior\w*|medial|lateral|valgus|varus|bilateral|deficit|threshold|SEM)\b`)

func TestShippedProtocolHasPlainWords(t *testing.T) {
	p := shipped(t).Protocol()
	check := func(what, text string) {
		if text == "" {
			t.Errorf("%s has no plain words", what)
		}
		if w := latin.FindString(text); w != "" {
			t.Errorf("%s: %q is no plain word", what, w)
		}
		badWords(t, text)
	}
	for i := range p.Measures {
		check("measure "+p.Measures[i].ID, p.Measures[i].Plain)
	}
	for i := range p.Rules {
		if r := &p.Rules[i]; r.Counted {
			check("rule "+r.ID, r.Plain)
		}
	}
	for i := range p.Symptoms {
		check("symptom "+p.Symptoms[i].ID, p.Symptoms[i].Plain)
	}
	for i := range p.Links {
		if l := &p.Links[i]; l.Plain != "" {
			check("link "+l.ID, l.Plain)
		}
	}
}

// badWords looks for words of a risk, and for a diagnosis other than the caution that this is none.
func badWords(t testing.TB, text string) {
	t.Helper()
	low := strings.ReplaceAll(strings.ToLower(text), "not a diagnosis", "")
	for _, w := range []string{"risk", "diagnos", "fault", "well done", "great", "!", "%!", "nan°"} {
		if strings.Contains(low, w) {
			t.Errorf("%q stands in %.200s", w, text)
		}
	}
}

// Every page of the invented squad: no word of a risk or a diagnosis, no hole left open, no number of a
// sentence without its give or take, and a sentence for each deficit that is counted.
func TestHandoutsOfTheDemo(t *testing.T) {
	s := shipped(t)
	squad := demo.Squad(s.Protocol(), 1, "2026-03-10")
	said, dated := map[string]bool{}, map[bool]int{}
	for i := range squad.Records {
		rec := &squad.Records[i]
		rep := s.Score(rec, score.Options{})
		got := handoutText(s, rec, rep, "Team", nil)
		body := must[[]byte](t)(json.Marshal(got))
		badWords(t, string(body))
		n := 0
		for k := range rep.Findings {
			if f := &rep.Findings[k]; f.Counted && f.Verdict == score.Deficit {
				n++
				said[f.Rule] = true
			}
		}
		if last := got.Next[len(got.Next)-1]; len(got.Stop) == 0 {
			dated[strings.HasPrefix(last, "When to measure again: around ")]++
			if !strings.HasPrefix(last, "When to measure again: ") {
				t.Errorf("%q", last)
			}
		}
		if n != len(got.Deficits)+got.More || len(got.Deficits) > mostDeficits {
			t.Errorf("%d deficits, %d said and %d more", n, len(got.Deficits), got.More)
		}
		for _, d := range got.Deficits {
			if !strings.Contains(d.Say, "(give or take ") || d.Limit == "" || d.Sure == "" || latin.MatchString(d.Say) || strings.ContainsAny(d.Say, "{}") {
				t.Errorf("%+v", d)
			}
		}
	}
	if dated[true] == 0 || dated[false] == 0 {
		t.Errorf("with a day of the next measurement, without: %v", dated)
	}
	if len(said) < 5 {
		t.Errorf("only %d rules were said", len(said))
	}
}

// dayOf is a screening day of team t1 with its only member on the list and two readings.
func dayOf(t *testing.T) (*Clinic, screen.Day, screen.Participant) {
	t.Helper()
	c, ctx := squad(t), context.Background()
	d := must[screen.Day](t)(c.PlanDay(ctx, boss, "t1"))
	d = must[screen.Day](t)(c.PutDay(ctx, boss, d, nil, 0))
	view := must[DayView](t)(c.Day(ctx, boss, d.ID))
	if len(view.Athletes) != 1 {
		t.Fatalf("%d athletes", len(view.Athletes))
	}
	p := view.Athletes[0].Participant
	must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: p.Screen, Athlete: "a1", Team: "t1", On: d.On, Kind: d.Kind}, 0))
	return c, d, p
}

func elbow(c *Clinic, t *testing.T, screenID string) {
	t.Helper()
	must[Saved](t)(c.SaveReadings(context.Background(), boss, screenID, []Entry{
		signed(entry("e1", "elbow_extension", screen.Left, 0, 0, 0)), signed(entry("e2", "elbow_extension", screen.Right, -20, -20, -20)),
	}))
}

func signed(e Entry) Entry {
	e.Sign = "as_written"
	return e
}

// What was given out stays as it was when a reading is corrected, and says that it is out of date; made
// again, the page says the new number.
func TestHandoutStaysAsItWas(t *testing.T) {
	c, d, p := dayOf(t)
	ctx := context.Background()
	if n := must[int](t)(c.MakeHandouts(ctx, boss, d.ID)); n != 0 {
		t.Errorf("%d handouts of nobody", n)
	}
	if h := must[DayHandouts](t)(c.Handouts(ctx, boss, d.ID)); len(h.Empty) != 1 || len(h.Sheets)+len(h.Unmade) != 0 {
		t.Errorf("%+v", h)
	}
	elbow(c, t, p.Screen)
	if h := must[DayHandouts](t)(c.Handouts(ctx, boss, d.ID)); len(h.Unmade) != 1 {
		t.Errorf("%+v", h)
	}
	for i, want := range []int{1, 0} { // the second time the newest says the same already
		if n := must[int](t)(c.MakeHandouts(ctx, boss, d.ID)); n != want {
			t.Errorf("the %d. time %d were made, want %d", i+1, n, want)
		}
	}
	first := must[DayHandouts](t)(c.Handouts(ctx, boss, d.ID)).Sheets[0]
	if first.Outdate != "" || first.Handout.By != boss.ID || first.Handout.Protocol != c.Protocol().NameAndVersion() || first.Handout.Hash != c.Protocol().Hash {
		t.Errorf("%+v", first)
	}
	if _, err := c.Correct(ctx, boss, "e2", Entry{Sign: "as_written", Reading: screen.Reading{ID: "e3", Trials: []float64{-12, -12, -12}, Why: "slip"}}); err != nil {
		t.Fatal(err)
	}
	after := must[DayHandouts](t)(c.Handouts(ctx, boss, d.ID)).Sheets[0]
	if string(after.Handout.Body) != string(first.Handout.Body) || after.Outdate != outdatedRecord {
		t.Errorf("the page changed, or does not say that it is out of date: %q, %+v", after.Outdate, after.Text.Deficits)
	}
	must[int](t)(c.MakeHandouts(ctx, boss, d.ID))
	again := must[DayHandouts](t)(c.Handouts(ctx, boss, d.ID)).Sheets[0]
	if again.Outdate != "" || !strings.Contains(again.Text.Deficits[0].Say, "straightens 12° less") || again.Handout.ID == first.Handout.ID {
		t.Errorf("%q, %+v", again.Outdate, again.Text.Deficits)
	}
	if !strings.Contains(first.Text.Deficits[0].Say, "straightens 20° less") {
		t.Errorf("%+v", first.Text.Deficits)
	}
}

func TestHandoutsOfNoDay(t *testing.T) {
	c, ctx := squad(t), context.Background()
	if _, err := c.Handouts(ctx, boss, "none"); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
	if _, err := c.MakeHandouts(ctx, boss, "none"); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
	if _, err := c.DaySummary(ctx, boss, "none"); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
	if _, err := c.MakeHandouts(ctx, Person{ID: "x"}, "none"); !screen.IsCode(err, screen.NotFound) {
		t.Error(err)
	}
}
