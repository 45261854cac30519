package clinic

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// DaySummary is a screening day as its trainer takes it home.
type DaySummary struct {
	Day      screen.Day
	Team     screen.Team
	Screened int // athletes of whom something was entered
	Complete int // of those, athletes of whom nothing is missing and who are not on hold
	NotSeen  []SummaryAthlete
	Holds    []SummaryHold
	Rows     []SummaryRow // in the order of triage
	Links    []SummaryLink
	OfAll    []string // what is missing of everybody who was screened and is not on hold
	Missing  []SummaryMissing
	Again    []SummaryAgain
	Twice    []SummaryTwice
}

// SummaryAthlete names an athlete of a day and, if there is one, the screen.
type SummaryAthlete struct {
	Athlete, Name, Screen string
	Number                int
}

// SummaryHold is an athlete with referral signs, in words.
type SummaryHold struct {
	SummaryAthlete
	Signs []string
}

// SummaryRow is an athlete's place in the day's triage with the main reason.
type SummaryRow struct {
	SummaryAthlete
	Rank     int
	Group    string
	Expected float64
	Why      string
}

// SummaryLink says at how many athletes a link is beyond threshold, of those at whom any counted rule
// of it was measured.
type SummaryLink struct {
	Name              string
	Deficit, Measured int
}

// SummaryMissing is what is missing of an athlete, in words.
type SummaryMissing struct {
	SummaryAthlete
	What []string
}

// OnPaper is how many of What are printed; the others are on screen.
const OnPaper = 4

// More is how many of What are not printed.
func (m SummaryMissing) More() int { return max(0, len(m.What)-OnPaper) }

// SummaryAgain is what should be measured or looked at again at an athlete: measures with the reason.
type SummaryAgain struct {
	SummaryAthlete
	What []string
}

// SummaryTwice is an athlete who was to be measured twice.
type SummaryTwice struct {
	SummaryAthlete
	Taken, Missing int // of the second measurement
}

// DaySummary sums a screening day up for its trainer. Returns NotFound.
func (c *Clinic) DaySummary(ctx context.Context, who Person, day string) (out DaySummary, err error) {
	board, err := c.Board(ctx, who, day)
	if err != nil {
		return out, err
	}
	err = c.read(ctx, who, access.SeeRecords, gate.Day(day), func(tx *store.Tx) error {
		view, records, err := c.dayRecords(tx, day)
		if err != nil {
			return err
		}
		by, err := c.scoring(tx, view.Team.ID)
		if err != nil {
			return err
		}
		reports := make([]*score.Report, 0, len(records))
		for i := range view.Athletes {
			if rec := records[view.Athletes[i].Athlete]; rec != nil {
				reports = append(reports, by.Score(rec))
			}
		}
		out = daySummary(by.Scorer, &view, &board, reports)
		return nil
	})
	return out, err
}

// daySummary puts a day's list, board and reports together; reports are of those of whom something was
// entered.
func daySummary(s *score.Scorer, view *DayView, board *Board, reports []*score.Report) DaySummary {
	out := DaySummary{Day: view.Day, Team: view.Team, Screened: len(reports)}
	byAthlete := make(map[string]*score.Report, len(reports))
	for _, r := range reports {
		byAthlete[r.Athlete] = r
	}
	people := make(map[string]SummaryAthlete, len(view.Athletes))
	for i := range view.Athletes {
		a := &view.Athletes[i]
		x := SummaryAthlete{Athlete: a.Athlete, Name: a.Person.Name, Number: a.Number}
		rep := byAthlete[a.Athlete]
		if rep != nil {
			x.Screen = rep.Screen
		}
		people[a.Athlete] = x
		switch {
		case rep == nil:
			out.NotSeen = append(out.NotSeen, x)
		case len(rep.Referral) > 0:
			out.Holds = append(out.Holds, SummaryHold{x, signNames(s.Protocol(), rep)})
		}
	}
	for _, r := range s.Triage(reports) {
		why, _, _ := strings.Cut(r.Why, "; ")
		out.Rows = append(out.Rows, SummaryRow{people[r.Athlete], r.Rank, r.Group, r.Expected, why})
	}
	out.Links = linkCounts(s.Protocol(), reports)
	out.fromBoard(s.Protocol(), board, people)
	return out
}

func signNames(p *screen.Protocol, rep *score.Report) (out []string) {
	for _, id := range rep.Referral {
		if def := p.Symptom(id); def != nil && !slices.Contains(out, def.Name) {
			out = append(out, def.Name)
		}
	}
	return out
}

// linkCounts counts deficits link by link, the most frequent first.
func linkCounts(p *screen.Protocol, reports []*score.Report) (out []SummaryLink) {
	at := make([]SummaryLink, len(p.Links))
	for i := range p.Links {
		at[i].Name = p.Links[i].Name
	}
	for _, rep := range reports {
		for i := range rep.Links {
			k := p.LinkIndex(rep.Links[i].Link)
			if k < 0 || rep.Links[i].P == nil {
				continue
			}
			at[k].Measured++
			if rep.Links[i].Verdict == score.Deficit {
				at[k].Deficit++
			}
		}
	}
	for _, l := range at {
		if l.Measured > 0 {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, func(a, b SummaryLink) int { return cmp.Compare(b.Deficit, a.Deficit) })
	return out
}

// fromBoard takes over what the board knows: what is missing of those who were seen and are not on
// hold, what to measure again, and how far the second measurements are.
func (d *DaySummary) fromBoard(p *screen.Protocol, b *Board, people map[string]SummaryAthlete) {
	for i := range b.Rows {
		row := &b.Rows[i]
		who, ok := people[row.Athlete]
		if !ok {
			continue
		}
		twice := SummaryTwice{SummaryAthlete: who}
		what := row.missing(p, b.Stations)
		for k := range row.Cells {
			twice.Taken += row.Cells[k].Second
			twice.Missing += row.Cells[k].SecondMissing
		}
		if row.Complete && !row.Hold && who.Screen != "" {
			d.Complete++
		}
		if who.Screen != "" && !row.Hold {
			d.Missing = append(d.Missing, SummaryMissing{who, what})
		}
		if row.Twice && who.Screen != "" {
			d.Twice = append(d.Twice, twice)
		}
	}
	d.shareMissing()
	d.Again = againBy(p, b.Again, people)
}

// shareMissing says once what is missing of everybody, such as a station that was not held, and leaves
// those out of whom nothing else is missing.
func (d *DaySummary) shareMissing() {
	n := map[string]int{}
	for i := range d.Missing {
		for _, x := range d.Missing[i].What {
			if n[x]++; n[x] == len(d.Missing) && n[x] > 1 {
				d.OfAll = append(d.OfAll, x)
			}
		}
	}
	for i := range d.Missing {
		m := &d.Missing[i]
		m.What = slices.DeleteFunc(m.What, func(x string) bool { return slices.Contains(d.OfAll, x) })
	}
	d.Missing = slices.DeleteFunc(d.Missing, func(m SummaryMissing) bool { return len(m.What) == 0 })
}

// missing says what is missing of an athlete's first measurement: a station by its name if nothing was
// taken there, a measure once if both sides of it are missing; and what was not done, with the reasons.
func (r *BoardRow) missing(p *screen.Protocol, stations []BoardStation) (out []string) {
	for k := range r.Cells {
		cell := &r.Cells[k]
		switch {
		case cell.Missing == 0:
		case cell.Taken+cell.NotDone == 0 && k < len(stations):
			out = append(out, "all of "+stations[k].Name)
		default:
			for _, name := range bothSides(cell.Names) {
				out = append(out, shortName(p, name))
			}
		}
		if cell.Others != "" {
			out = append(out, cell.Others)
		}
	}
	return out
}

// bothSides writes "x, left" and "x, right" as "x".
func bothSides(names []string) (out []string) {
	for _, name := range names {
		stem, right := strings.CutSuffix(name, ", right")
		if n := len(out); right && n > 0 && out[n-1] == stem+", left" {
			out[n-1] = stem
			continue
		}
		out = append(out, name)
	}
	return out
}

// shortName writes a measure's name, with or without a side behind it, as it is written in narrow columns.
func shortName(p *screen.Protocol, name string) string {
	for i := range p.Measures {
		m := &p.Measures[i]
		if side, ok := strings.CutPrefix(name, m.Name); ok && m.Short != "" && (side == "" || side == ", left" || side == ", right") {
			return m.Short + strings.TrimPrefix(side, ",")
		}
	}
	return name
}

// againWords are the reasons to measure or look again, in the order in which they are said.
var againWords = []struct{ kind, words string }{
	{"other_hand", "throwing hand or sides exchanged?"},
	{"digits_swapped", "digits exchanged?"},
	{"unusual", "unusual"},
	{"trials_apart", "trials apart"},
	{"unsettled", "not settled"},
}

// againBy gathers the day's questions by athlete, in the order of their numbers, and of each by reason.
func againBy(p *screen.Protocol, list []DayQuestion, people map[string]SummaryAthlete) (out []SummaryAgain) {
	about := map[string]map[string][]string{} // athlete -> kind -> measures
	for i := range list {
		q := &list[i]
		kinds := about[q.Athlete]
		if kinds == nil {
			kinds = map[string][]string{}
			about[q.Athlete] = kinds
		}
		name := q.Measure
		if m := p.Measure(q.Measure); m != nil {
			name = cmp.Or(m.Short, m.Name)
		}
		if q.Side == screen.Left || q.Side == screen.Right {
			name += " " + string(q.Side)
		}
		if !slices.Contains(kinds[q.Kind], name) {
			kinds[q.Kind] = append(kinds[q.Kind], name)
		}
	}
	for id, kinds := range about {
		who, ok := people[id]
		if !ok {
			continue
		}
		x := SummaryAgain{SummaryAthlete: who}
		for _, w := range againWords {
			if names := kinds[w.kind]; len(names) > 0 {
				x.What = append(x.What, w.words+": "+fewOf(names))
			}
		}
		out = append(out, x)
	}
	slices.SortFunc(out, func(a, b SummaryAgain) int { return cmp.Compare(a.Number, b.Number) })
	return out
}

// fewOf lists at most four names and says how many more there are: they are on the athlete's page.
func fewOf(names []string) string {
	if n := len(names) - 4; n > 1 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:4], ", "), n)
	}
	return strings.Join(names, ", ")
}

// Listed is how many athletes are on the day's list.
func (d *DaySummary) Listed() int { return d.Screened + len(d.NotSeen) }

// Words says in a line how a second measurement stands.
func (t SummaryTwice) Words() string {
	switch {
	case t.Taken == 0:
		return "not measured a second time"
	case t.Missing == 0:
		return "measured twice"
	}
	return fmt.Sprintf("%d taken a second time, %d missing", t.Taken, t.Missing)
}
