package store

import (
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// studyOf is a study of a team, made some time after the start.
func studyOf(id, team string, after time.Duration) screen.KeptStudy {
	return screen.KeptStudy{ID: id, Team: team, Name: "Study " + id, From: "2026-01-05", To: "2026-01-06", Protocol: "p 1",
		Hash: "abc", Made: start.Add(after), By: "U1", Body: []byte(`{"of":"` + id + `"}`), Data: []byte("[1]")}
}

func TestStudyRoundTrip(t *testing.T) {
	s := squad(t)
	x := filled[screen.KeptStudy](t)
	x.Team = "T"
	write(t, s, func(tx *Tx) error { return second(tx.PutStudy(x)) })
	read(t, s, func(tx *Tx) error {
		got, err := tx.Study(x.ID)
		equal(t, "by its id", got, x)
		list, e2 := tx.Studies("T")
		x.Body, x.Data = nil, nil
		equal(t, "in the list", list, []screen.KeptStudy{x})
		return firstOf(err, e2)
	})
}

// TestStudies lists a team's studies, those made last in front.
func TestStudies(t *testing.T) {
	s := league(t)
	write(t, s, func(tx *Tx) error {
		for _, x := range []screen.KeptStudy{studyOf("b", "T", 0), studyOf("a", "T", time.Hour), studyOf("c", "T", 0), studyOf("d", "U", 0)} {
			if added, err := tx.PutStudy(x); err != nil || !added {
				t.Errorf("%s: added %v (%v)", x.ID, added, err)
			}
		}
		again := studyOf("a", "T", 2*time.Hour)
		added, err := tx.PutStudy(again)
		if added {
			t.Error("the same was added again")
		}
		return err
	})
	read(t, s, func(tx *Tx) error {
		for team, want := range map[string]string{"T": "acb", "U": "d", "nowhere": ""} {
			list, err := tx.Studies(team)
			got := ""
			for _, x := range list {
				got += x.ID
			}
			if err != nil || got != want {
				t.Errorf("of %s: %q (%v), want %q", team, got, err, want)
			}
		}
		if _, err := tx.Study("x"); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("no such study: %v", err)
		}
		return nil
	})
}

func TestStudiesRefused(t *testing.T) {
	s := league(t)
	study := studyOf("X", "T", 0)
	write(t, s, func(tx *Tx) error { return second(tx.PutStudy(study)) })
	for name, c := range map[string]struct {
		change func(*screen.KeptStudy)
		code   screen.Code
	}{
		"team":         {func(x *screen.KeptStudy) { x.Team = "U" }, screen.Conflict},
		"name":         {func(x *screen.KeptStudy) { x.Name = "x" }, screen.Conflict},
		"from":         {func(x *screen.KeptStudy) { x.From = "" }, screen.Conflict},
		"to":           {func(x *screen.KeptStudy) { x.To = "" }, screen.Conflict},
		"protocol":     {func(x *screen.KeptStudy) { x.Protocol = "x" }, screen.Conflict},
		"hash":         {func(x *screen.KeptStudy) { x.Hash = "x" }, screen.Conflict},
		"by":           {func(x *screen.KeptStudy) { x.By = "x" }, screen.Conflict},
		"body":         {func(x *screen.KeptStudy) { x.Body = append(x.Body, ' ') }, screen.Conflict},
		"data":         {func(x *screen.KeptStudy) { x.Data = nil }, screen.Conflict},
		"no id":        {func(x *screen.KeptStudy) { x.ID = "" }, screen.Invalid},
		"unknown team": {func(x *screen.KeptStudy) { x.ID, x.Team = "Y", "nowhere" }, screen.Invalid},
	} {
		x := study
		x.Body, x.Data = slices.Clone(study.Body), slices.Clone(study.Data)
		c.change(&x)
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutStudy(x)) })
		})
	}
}
