package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"text/tabwriter"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
)

type rescoreCmd struct {
	DB   string `help:"Database file." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	With string `help:"Another protocol file: show what it would change." placeholder:"FILE" type:"existingfile"`
}

// Run counts the verdicts of all screens on file, and what another protocol would say of them.
func (r *rescoreCmd) Run(ctx context.Context, w *world) (err error) {
	if _, err := os.Stat(r.DB); err != nil { // opening would make one
		return fmt.Errorf("there is no database file %s: name one with --db", r.DB)
	}
	cl, closeStore, err := w.clinic(ctx, r.DB)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeStore()) }()
	var other *score.Scorer
	if r.With != "" {
		p, err := w.load(r.With)
		if err != nil {
			return err
		}
		other = score.New(p)
	}
	out, err := cl.Rescore(ctx, clinic.LocalAdministrator, other)
	if err != nil {
		return err
	}
	return w.rescored(&out, cl.Scorer(), other)
}

// rescored writes the counts as a table.
func (w *world) rescored(out *clinic.Rescored, by, other *score.Scorer) error {
	t := tabwriter.NewWriter(w.out, 0, 0, 2, ' ', 0)
	p := func(format string, args ...any) { _, _ = fmt.Fprintf(t, format, args...) } // Flush gives the error
	p("%d screens by %s", out.Screens, by.Protocol().NameAndVersion())
	if other != nil {
		p(", then by %s", other.Protocol().NameAndVersion())
	}
	p("\nrule\tdeficit\tunsettled\tclear\t")
	if other != nil {
		p("deficit\tunsettled\tclear\tchanged\t")
	}
	p("\n")
	for i := range out.Rules {
		r := &out.Rules[i]
		if r.Before == (clinic.Tally{}) && r.After == (clinic.Tally{}) {
			continue
		}
		p("%s\t%d\t%d\t%d\t", r.Rule, r.Before.Deficit, r.Before.Unsettled, r.Before.Clear)
		if other != nil {
			p("%d\t%d\t%d\t%d\t", r.After.Deficit, r.After.Unsettled, r.After.Clear, r.Changed)
		}
		p("\n")
	}
	return t.Flush()
}
