package proof

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// TrendSetting is one way to follow an athlete, and what is simulated.
type TrendSetting struct {
	Rule    string
	Measure string
	Age     int
	Every   int // weeks between visits
	Visits  int
	Picked  bool // only athletes whose first visit calls a deficit
	// What the trend takes for known; 0: the protocol's.
	Lambda, Pace float64
	Path         Path
}

// TrendResult is what the trend said at the newest visit.
type TrendResult struct {
	TrendSetting
	N             int // athletes followed
	SE            float64
	Level, Slope  int     // 90 % intervals that contain the truth
	Band          int     // of all visits' levels, as drawn at the end
	BandN         int     //
	Width         float64 // sum of the level's intervals
	SlopeN        int
	SlopeWidth    float64
	Better        int // called improving
	Worse         int // called worsening
	Now, In2, In4 Calibration
}

// SimulateTrend follows athletes from a first visit on, at which their true difference is drawn from the
// protocol's prior, through the real scores and the real course. Draws counts athletes followed.
func SimulateTrend(p *screen.Protocol, t TrendSetting, set Settings) *TrendResult {
	w := newWorld(followedWith(p, &t), t.Age, t.Measure)
	r := draw(set, func(rng *rand.Rand, n int) *TrendResult { return w.trends(rng, n, &t) }, addTrends)
	r.TrendSetting = t
	r.SE = w.rules[w.ruleAt(t.Rule)].SE
	return r
}

// followedWith is the protocol with another pace and fading. It writes the protocol's own into a setting
// that names none; a path that wanders, and says not how, wanders as the trend takes for known.
func followedWith(p *screen.Protocol, t *TrendSetting) *screen.Protocol {
	out := p.WithErrors(nil)
	if t.Lambda > 0 {
		out.FollowUp.FadeWeeks.Value = t.Lambda
	}
	m := p.Measure(t.Measure)
	out.FollowUp.Paces = slices.Clone(p.FollowUp.Paces)
	for i := range out.FollowUp.Paces {
		if x := &out.FollowUp.Paces[i]; x.Unit == m.Unit && t.Pace > 0 {
			x.Value = t.Pace
		}
	}
	t.Lambda = out.FollowUp.FadeWeeks.Value
	t.Pace, _ = out.Pace(m)
	if t.Path.Wanders && t.Path.Lambda == 0 {
		t.Path.Lambda, t.Path.Pace = t.Lambda, t.Pace
	}
	return out
}

func addTrends(sum, part *TrendResult) *TrendResult {
	if sum == nil {
		return part
	}
	sum.N += part.N
	sum.Level += part.Level
	sum.Slope += part.Slope
	sum.Band += part.Band
	sum.BandN += part.BandN
	sum.Width += part.Width
	sum.SlopeN += part.SlopeN
	sum.SlopeWidth += part.SlopeWidth
	sum.Better += part.Better
	sum.Worse += part.Worse
	sum.Now.add(&part.Now)
	sum.In2.add(&part.In2)
	sum.In4.add(&part.In4)
	return sum
}

func (w *world) trends(rng *rand.Rand, n int, t *TrendSetting) *TrendResult {
	out := &TrendResult{}
	f := w.newFollowed(t.Visits)
	rule := w.ruleAt(t.Rule)
	for out.N < n {
		w.truth(rng, &f.person, 0)
		from := w.rules[rule].difference(f.person.d)
		f.visit(rng, 0, 0)
		if t.Picked && !f.says(0, t.Rule, score.Deficit) {
			continue
		}
		weeks := float64(t.Every * (t.Visits - 1))
		walk := t.Path.walk(rng, from, weeks+4)
		for k := 1; k < t.Visits; k++ {
			level, _ := walk.at(float64(k * t.Every))
			w.rules[rule].set(&f.person, level)
			f.visit(rng, k, 7*k*t.Every)
		}
		out.see(f.course(t.Visits, t.Rule), walk, weeks, w.rules[rule].Tau)
	}
	return out
}

func (r *TrendResult) see(m *score.MeasureCourse, walk *walk, weeks, tau float64) {
	r.N++
	if m == nil || m.Trend == nil {
		return
	}
	t := m.Trend
	level, slope := walk.at(weeks)
	count(&r.Level, t.Level90[0] <= level && level <= t.Level90[1])
	r.Width += t.Level90[1] - t.Level90[0]
	r.Now.see(t.PMetNow, level <= tau)
	for _, p := range m.Points {
		i := slices.Index(t.Weeks, p.Week)
		then, _ := walk.at(p.Week)
		r.BandN++
		count(&r.Band, i >= 0 && t.Lo[i] <= then && then <= t.Hi[i])
	}
	if t.Slope == nil {
		return
	}
	r.SlopeN++
	count(&r.Slope, t.Slope90[0] <= slope && slope <= t.Slope90[1])
	r.SlopeWidth += t.Slope90[1] - t.Slope90[0]
	count(&r.Better, t.Direction == "improving")
	count(&r.Worse, t.Direction == "worsening")
	in2, _ := walk.at(weeks + 2)
	in4, _ := walk.at(weeks + 4)
	r.In2.see(*t.PMet2, in2 <= tau)
	r.In4.see(*t.PMet4, in4 <= tau)
}

// followed is one athlete who is screened again and again.
type followed struct {
	w      *world
	person person
	take   *visit
	visits []score.Visited
}

func (w *world) newFollowed(visits int) *followed {
	return &followed{w: w, person: w.newPerson(), take: w.newVisit(1), visits: make([]score.Visited, visits)}
}

// visit measures and scores the athlete so many days after the first visit.
func (f *followed) visit(rng *rand.Rand, k, days int) {
	rec := *f.take.take(rng, &f.person)
	rec.Screen.On = day.AddDays(days)
	rec.Screen.ID = fmt.Sprintf("s%02d", k)
	if k > 0 {
		rec.Screen.Kind = screen.InSeason
	}
	f.visits[k] = score.Visited{Record: &rec, Report: f.w.s.Score(&rec, score.Options{})}
}

func (f *followed) finding(k int, rule string) *score.Finding {
	fs := f.visits[k].Report.Findings
	for i := range fs {
		if fs[i].Rule == rule {
			return &fs[i]
		}
	}
	return nil
}

func (f *followed) says(k int, rule string, v score.Verdict) bool {
	x := f.finding(k, rule)
	return x != nil && x.Verdict == v
}

// course is what the first visits say of a rule.
func (f *followed) course(visits int, rule string) *score.MeasureCourse {
	c := f.w.s.Course(score.CourseInput{Visits: f.visits[:visits], Today: f.visits[visits-1].Record.Screen.On})
	for i := range c.Measures {
		if c.Measures[i].Rule == rule {
			return &c.Measures[i]
		}
	}
	return nil
}
