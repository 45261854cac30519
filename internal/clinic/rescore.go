package clinic

import (
	"context"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Tally counts the verdicts of one rule.
type Tally struct{ Deficit, Unsettled, Clear int }

func (t *Tally) add(v score.Verdict) {
	switch v {
	case score.Deficit:
		t.Deficit++
	case score.Clear:
		t.Clear++
	default:
		t.Unsettled++
	}
}

func (t *Tally) plus(o Tally) {
	t.Deficit, t.Unsettled, t.Clear = t.Deficit+o.Deficit, t.Unsettled+o.Unsettled, t.Clear+o.Clear
}

// RuleTally is what a rule says of all screens on file.
type RuleTally struct {
	Rule, Name    string
	Before, After Tally // After: by the other protocol, if one was given
	Changed       int   // findings with another verdict; a finding that only one of the two has is none
}

// Rescored is what became of the verdicts of all screens on file.
type Rescored struct {
	Screens int
	Rules   []RuleTally // in the order of the protocol, then those that only the other one has
}

// Rescore scores every screen on file and counts the verdicts. With another scorer each screen is scored
// by both, without what is usual in the squad and without its own errors, so that only the protocols
// differ. Verdicts are never stored: nothing is changed. Teams are read side by side, a few screens of
// each at a time, so that memory does not grow with what is on file.
func (c *Clinic) Rescore(ctx context.Context, who Person, other *score.Scorer) (Rescored, error) {
	if err := c.read(ctx, who, access.SeeRecords, gate.Programme(), func(*store.Tx) error { return nil }); err != nil {
		return Rescored{}, err
	}
	teams, err := c.allTeams(ctx, who)
	if err != nil {
		return Rescored{}, err
	}
	out := newTallies(c.Protocol(), other)
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for _, t := range teams {
		group.Go(func() error { return c.rescoreTeam(ctx, who, t.ID, other, out) })
	}
	if err := group.Wait(); err != nil {
		return Rescored{}, err
	}
	return out.sum, nil
}

func (c *Clinic) allTeams(ctx context.Context, who Person) (out []screen.Team, err error) {
	p := Page{Limit: 200}
	for {
		list, next, err := c.Teams(ctx, who, p)
		if err != nil {
			return nil, err
		}
		out = append(out, list...)
		if next == "" {
			return out, nil
		}
		p.After = next
	}
}

func (c *Clinic) rescoreTeam(ctx context.Context, who Person, team string, other *score.Scorer, out *tallies) error {
	own := newTallies(c.Protocol(), other)
	err := c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		by, err := c.scoring(tx, team)
		if err != nil {
			return err
		}
		return tx.EachMeasured(team, func(rec *screen.Record) error {
			own.sum.Screens++
			if other == nil {
				own.count(by.Score(rec), nil)
				return ctx.Err()
			}
			opt := score.Options{Heaped: by.heaped} // what is usual in the squad was worked out by one of the two only
			own.count(c.scorer.Score(rec, opt), other.Score(rec, opt))
			return ctx.Err()
		})
	})
	out.merge(own)
	return err
}

// tallies gathers counts by rule.
type tallies struct {
	mu  sync.Mutex
	sum Rescored
	at  map[string]int
}

func newTallies(p *screen.Protocol, other *score.Scorer) *tallies {
	t := &tallies{at: map[string]int{}}
	list := p.Rules
	if other != nil {
		list = append(list[:len(list):len(list)], other.Protocol().Rules...)
	}
	for i := range list {
		if _, ok := t.at[list[i].ID]; !ok {
			t.at[list[i].ID] = len(t.sum.Rules)
			t.sum.Rules = append(t.sum.Rules, RuleTally{Rule: list[i].ID, Name: list[i].Name})
		}
	}
	return t
}

// count adds the findings of a screen. Findings of one rule and side are the same finding.
func (t *tallies) count(before, after *score.Report) {
	for i := range before.Findings {
		t.sum.Rules[t.at[before.Findings[i].Rule]].Before.add(before.Findings[i].Verdict)
	}
	if after == nil {
		return
	}
	for i := range after.Findings {
		f := &after.Findings[i]
		r := &t.sum.Rules[t.at[f.Rule]]
		r.After.add(f.Verdict)
		for k := range before.Findings {
			if b := &before.Findings[k]; b.Rule == f.Rule && b.Side == f.Side && b.Verdict != f.Verdict {
				r.Changed++
			}
		}
	}
}

// merge adds what another one gathered over the same rules.
func (t *tallies) merge(o *tallies) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sum.Screens += o.sum.Screens
	for i := range o.sum.Rules {
		t.sum.Rules[i].Before.plus(o.sum.Rules[i].Before)
		t.sum.Rules[i].After.plus(o.sum.Rules[i].After)
		t.sum.Rules[i].Changed += o.sum.Rules[i].Changed
	}
}
