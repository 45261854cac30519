package clinic

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// ErrorsInUse says which errors a team's screens are scored with, and how that came about.
type ErrorsInUse struct {
	Now      NamedSwitch   // the switch that holds; zero: the published errors, never switched
	Stale    string        // why the study in use no longer fits; empty: it does, or there is none
	OldSquad bool          // what is usual in the squad was worked out with the errors in use before
	Switches []NamedSwitch // all, the newest first
	Studies  []screen.KeptStudy
}

// NamedSwitch is a switch with the name of its study.
type NamedSwitch struct {
	screen.ErrorSwitch
	Name string `json:"study_name,omitempty" doc:"name of the study; absent: the published errors"`
}

// Own reports whether a study's errors are in use.
func (e *ErrorsInUse) Own() bool { return e.Now.Study != "" }

// ErrorsInUse is the state of a team. Returns NotFound.
func (c *Clinic) ErrorsInUse(ctx context.Context, who Person, team string) (out ErrorsInUse, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		out, err = c.errorsInUse(tx, team)
		return err
	})
	return out, err
}

func (c *Clinic) errorsInUse(tx *store.Tx, team string) (out ErrorsInUse, err error) {
	if out.Studies, err = tx.Studies(team); err != nil {
		return out, err
	}
	list, err := tx.ErrorSwitches(team)
	if err != nil {
		return out, err
	}
	for i := range list {
		n := NamedSwitch{ErrorSwitch: list[i]}
		for k := range out.Studies {
			if s := &out.Studies[k]; s.ID == n.Study {
				n.Name = s.Name
				if i == 0 {
					out.Stale = c.stale(s)
				}
			}
		}
		out.Switches = append(out.Switches, n)
	}
	if len(list) == 0 {
		return out, nil
	}
	out.Now = out.Switches[0]
	priors, err := tx.KeptPriors(team)
	for i := range priors {
		out.OldSquad = out.OldSquad || priors[i].Made.Before(out.Now.At)
	}
	return out, err
}

// SwitchErrors has a team's screens scored with the errors of a kept study from now on, or with the
// published ones if study is empty, and keeps who did it and why. Errors that are in use already are
// not switched again. Returns NotFound, Faults, or Invalid if the study was made by another protocol or
// has no error to offer.
func (c *Clinic) SwitchErrors(ctx context.Context, who Person, team, study, why string) (out screen.ErrorSwitch, err error) {
	err = c.write(ctx, who, access.ManageMethod, gate.Team(team), func(tx *store.Tx) error {
		out, err = c.switchErrors(tx, who, team, study, why)
		return err
	})
	return out, err
}

// KeepAndUse keeps a study and switches to its errors, both or neither.
func (c *Clinic) KeepAndUse(ctx context.Context, who Person, team string, in StudyToKeep, why string) (out screen.KeptStudy, err error) {
	err = c.write(ctx, who, access.ManageMethod, gate.Team(team), func(tx *store.Tx) error {
		if out, err = c.keepStudy(tx, who, team, &in); err != nil {
			return err
		}
		_, err = c.switchErrors(tx, who, team, out.ID, why)
		return err
	})
	return out, err
}

func (c *Clinic) switchErrors(tx *store.Tx, who Person, team, id, why string) (out screen.ErrorSwitch, err error) {
	if _, err := tx.Team(team); err != nil {
		return out, err
	}
	if err := checkWhy(why).Err(); err != nil {
		return out, err
	}
	if id != "" {
		kept, err := c.studyOfTeam(tx, team, id)
		if err == nil {
			err = usable(&kept)
		}
		if err != nil {
			return out, err
		}
	}
	if now, _, err := tx.ErrorInUse(team); err != nil || now.Study == id {
		return now, err
	}
	out = screen.ErrorSwitch{ID: c.newID(), Team: team, Study: id, At: c.now().UTC(), By: who.Name, Why: strings.TrimSpace(why)}
	_, err = tx.PutErrorSwitch(out)
	return out, err
}

func checkWhy(why string) screen.Faults {
	var f screen.Faults
	if strings.TrimSpace(why) == "" {
		f.Add("why", "a few words that somebody who reads it next year understands", "the reason is missing")
	}
	screen.CheckText(why, screen.MaxNoteLen, "why", &f)
	return f
}

// usable refuses a study whose errors cannot be switched on.
func usable(s *KeptStudy) error {
	switch {
	case s.Stale != "":
		return invalid("make the study anew by the protocol in use, from the same readings", "the study does not fit the protocol in use: %s", s.Stale)
	case len(s.Study.Errors()) == 0:
		return noOwnErrors()
	}
	return nil
}

func noOwnErrors() error {
	return invalid(fmt.Sprintf("of at least one measure %d sides read again by the same examiner on the same day", study.EnoughRepeats),
		"the study says too little: it gives no measure an error of its own")
}

// SwitchEffect says what a switch of errors would change in the newest screens of a team's athletes.
type SwitchEffect struct {
	Measures int // with an error of their own in the study
	Screens  int
	Before   Tally
	After    Tally
	Changed  int             // verdicts that would be another one
	Changes  []VerdictChange // by rule, in the order of the protocol
}

// VerdictChange is how many findings by one rule would go from one verdict to another.
type VerdictChange struct {
	Rule string        `json:"rule"`
	Name string        `json:"name"`
	From score.Verdict `json:"from" enum:"deficit,clear,unsettled"`
	To   score.Verdict `json:"to" enum:"deficit,clear,unsettled"`
	N    int           `json:"n"`
}

// SwitchView is what switching to the errors of a study, or to the published ones if it is nil, would
// change now. Nothing is written. Returns NotFound.
func (c *Clinic) SwitchView(ctx context.Context, who Person, team string, to *study.Study) (out SwitchEffect, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		out, err = c.switchView(tx, team, to)
		return err
	})
	return out, err
}

// EffectOfSwitch is SwitchView of a kept study, or of the published errors if it is empty. Returns the
// errors of SwitchErrors for a study that cannot be switched to.
func (c *Clinic) EffectOfSwitch(ctx context.Context, who Person, team, id string) (out SwitchEffect, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		var to *study.Study
		if id != "" {
			kept, err := c.studyOfTeam(tx, team, id)
			if err == nil {
				err = usable(&kept)
			}
			if err != nil {
				return err
			}
			to = kept.Study
		}
		out, err = c.switchView(tx, team, to)
		return err
	})
	return out, err
}

func (c *Clinic) switchView(tx *store.Tx, team string, to *study.Study) (out SwitchEffect, err error) {
	now, err := c.scoring(tx, team)
	if err != nil {
		return out, err
	}
	then := now
	then.Scorer = c.scorer
	if to != nil {
		own := to.Errors()
		out.Measures = len(own)
		then.Scorer = score.New(c.Protocol().WithErrors(own))
	}
	latest, err := tx.LatestScreens(team, c.Today())
	if err != nil {
		return out, err
	}
	var ids []string
	for i := range latest {
		if latest[i].Screen != nil {
			ids = append(ids, latest[i].Screen.ID)
		}
	}
	records, err := tx.Records(ids)
	if err != nil {
		return out, err
	}
	out.Screens = len(records)
	changes := map[VerdictChange]int{}
	for _, rec := range records {
		out.compare(now.Score(rec), then.Score(rec), changes)
	}
	out.list(changes, c.Protocol())
	return out, nil
}

// compare counts the verdicts of two reports on one record. A rule that only one of them has a finding
// by counts there alone.
func (e *SwitchEffect) compare(now, then *score.Report, changes map[VerdictChange]int) {
	type key struct {
		rule string
		side screen.Side
	}
	before := map[key]score.Verdict{}
	for i := range now.Findings {
		f := &now.Findings[i]
		before[key{f.Rule, f.Side}] = f.Verdict
		e.Before.add(f.Verdict)
	}
	for i := range then.Findings {
		f := &then.Findings[i]
		e.After.add(f.Verdict)
		if v, ok := before[key{f.Rule, f.Side}]; ok && v != f.Verdict {
			e.Changed++
			changes[VerdictChange{Rule: f.Rule, Name: f.Name, From: v, To: f.Verdict}]++
		}
	}
}

func (e *SwitchEffect) list(changes map[VerdictChange]int, p *screen.Protocol) {
	e.Changes = make([]VerdictChange, 0, len(changes))
	for x, n := range changes {
		x.N = n
		e.Changes = append(e.Changes, x)
	}
	slices.SortFunc(e.Changes, func(a, b VerdictChange) int {
		if d := p.RuleIndex(a.Rule) - p.RuleIndex(b.Rule); d != 0 {
			return d
		}
		return strings.Compare(string(a.From)+string(a.To), string(b.From)+string(b.To))
	})
}
