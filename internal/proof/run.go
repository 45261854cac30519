package proof

import (
	"evenhand/internal/screen"
)

// What is simulated for the document, with its seeds. The tests assert the first two as they are, the
// others with fewer draws.
var (
	ForVerdicts  = Settings{200_000, 11}
	ForThreshold = Settings{200_000, 12}
	ForWrong     = Settings{100_000, 13}
	ForSquads    = Settings{200_000, 14} // athletes counted in squads, of each size
	ForOutlier   = Settings{4_000, 15}
	ForSettled   = Settings{100_000, 16}
	ForUnchanged = Settings{200_000, 17}
	ForTrend     = Settings{10_000, 18}
	ForGrid      = Settings{2_000, 19}
	ForMet       = Settings{5_000, 20}
)

// Of is the same with another number of draws.
func (s Settings) Of(draws int) Settings { return Settings{draws, s.Seed} }

// The ages simulated: thresholds and priors of the shoulder's rotation switch at 19.
const (
	Young = 16
	Grown = 21
)

// Shoulder is what the older athletes are measured in: all that depends on age, and the rest of the
// shoulder's link.
var Shoulder = []string{"shoulder_internal_rotation", "shoulder_external_rotation", "shoulder_flexion", "shoulder_horizontal_adduction"}

// Wrong are the ways in which the truth departs from what is assumed.
var Wrong = []Truth{{Errors: 0.7}, {Errors: 1.5}, {Errors: 2}, {Shift: 0.5}, {Shift: -0.5}, {Step: true}}

// SquadSizes are the squads simulated.
var SquadSizes = []int{5, 12, 20, 60}

// followedRule is a rule whose course is simulated.
type followedRule struct{ Rule, Measure string }

// Followed are the rules for which repeated looks are simulated.
var Followed = []followedRule{
	{"internal_rotation_loss", "shoulder_internal_rotation"},
	{"flexion_loss", "shoulder_flexion"},
	{"horizontal_adduction_loss", "shoulder_horizontal_adduction"},
	{"trunk_rotation_difference", "trunk_rotation"},
	{"lunge_distance_difference", "lunge_distance"},
}

// Standings are the truths between which a target is or is not met: at the threshold all along, found by
// chance; a deficit that is quite gone; a deficit that stays.
var Standings = []struct{ Found, At Standing }{
	{Standing{1, 0}, Standing{1, 0}},
	{Standing{1, 2}, Standing{0, 0}},
	{Standing{1, 1}, Standing{1, 1}},
}

// rhythm is how often and how long an athlete is followed. Slower rhythms go with slower changes.
type rhythm struct {
	Every, Visits int
	pace          float64
}

// Rhythms are weekly, fortnightly, and the protocol's four weeks.
var Rhythms = []rhythm{{1, 8, 1}, {2, 6, 1}, {4, 6, 0.5}}

// Paths are the truths that athletes are followed through in a rhythm; the first is the trend's own
// model.
func (r rhythm) Paths() []Path {
	return []Path{
		{Name: "the model's own", Wanders: true},
		{Name: "constant"},
		{Name: "linear", Slope: -r.pace},
		{Name: "fast linear", Slope: -2 * r.pace},
		{Name: "levelling off", Drop: -8, Fade: 4 / r.pace},
	}
}

// The grid of what the trend takes for known: weeks in which a pace fades, and pace in degrees a week.
var (
	GridLambda = []float64{4, 6, 9, 12}
	GridPace   = []float64{1, 1.5, 2, 3}
)

// Setting is one way to follow athletes picked by a deficit of internal rotation.
func (r rhythm) Setting(path Path, lambda, pace float64) TrendSetting {
	return TrendSetting{Rule: "internal_rotation_loss", Measure: "shoulder_internal_rotation", Age: Young,
		Every: r.Every, Visits: r.Visits, Picked: true, Lambda: lambda, Pace: pace, Path: path}
}

// Results is all that the document shows.
type Results struct {
	Young, Grown *Verdicts
	At           []AtThreshold
	Wrong        []*Verdicts
	Squads       [][]Squads // by size
	Outliers     [][]Outlier
	Settled      []Settled
	Unchanged    []Unchanged
	Trends       []*TrendResult // the protocol's own model, by rhythm and path
	Grid         []*TrendResult // by rhythm, path (without the first), fading and pace
	Met          [][]*Met       // by rule and standing
}

// Measure simulates all of it. progress is told what is done.
func Measure(p *screen.Protocol, progress func(what string)) *Results {
	r := &Results{}
	progress("verdicts")
	r.Young = SimulateVerdicts(p, Young, Truth{}, ForVerdicts)
	r.Grown = SimulateVerdicts(p, Grown, Truth{}, Settings{ForVerdicts.Draws, ForVerdicts.Seed + 100}, Shoulder...)
	r.At = SimulateAtThreshold(p, Young, ForThreshold)
	progress("wrong assumptions")
	for _, t := range Wrong {
		r.Wrong = append(r.Wrong, SimulateVerdicts(p, Young, t, ForWrong))
	}
	for _, beyond := range []float64{1, 2} {
		r.Outliers = append(r.Outliers, SimulateOutlier(p, Young, 20, beyond, ForOutlier))
	}
	progress("squads")
	for _, n := range SquadSizes {
		r.Squads = append(r.Squads, SimulateSquads(p, Young, n, ForSquads.Of((ForSquads.Draws+n-1)/n)))
	}
	progress("measuring again")
	r.Settled = SimulateSettled(p, Young, ForSettled)
	progress("nothing changed")
	r.Unchanged = SimulateUnchanged(p, Young, ForUnchanged)
	progress("trends")
	r.trends(p)
	progress("repeated looks")
	r.met(p)
	return r
}

func (r *Results) trends(p *screen.Protocol) {
	for _, every := range Rhythms {
		for i, path := range every.Paths() {
			r.Trends = append(r.Trends, SimulateTrend(p, every.Setting(path, 0, 0), ForTrend))
			if i == 0 {
				continue
			}
			for _, lambda := range GridLambda {
				for _, pace := range GridPace {
					r.Grid = append(r.Grid, SimulateTrend(p, every.Setting(path, lambda, pace), ForGrid))
				}
			}
		}
	}
}

func (r *Results) met(p *screen.Protocol) {
	for _, f := range Followed {
		var list []*Met
		for _, c := range Standings {
			list = append(list, SimulateMet(p, Young, f.Rule, f.Measure, c.Found, c.At, 6, ForMet))
		}
		r.Met = append(r.Met, list)
	}
}
