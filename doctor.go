package main

import (
	"context"
	"encoding/json"
	"fmt"

	"evenhand/internal/keeping"
)

type doctorCmd struct {
	DB   string `help:"Database file; it may be in use." default:"evenhand.db" placeholder:"FILE" env:"EVENHAND_DB"`
	JSON bool   `name:"json" help:"Print it as JSON."`
}

// Run looks whether all is well with a database file. Nothing is changed.
func (c *doctorCmd) Run(ctx context.Context, w *world) error {
	if err := existing(c.DB); err != nil {
		return err
	}
	d, err := keeping.Diagnose(ctx, w.keeps(), c.DB)
	if err != nil {
		return err
	}
	if c.JSON {
		enc := json.NewEncoder(w.out)
		enc.SetIndent("", " ")
		err = enc.Encode(d)
	} else {
		rows := make([]string, len(d.Points))
		for i, p := range d.Points {
			rows[i] = p.Name + "\t" + string(p.State) + "\t" + p.Text
		}
		err = w.table(rows)
	}
	if err == nil && d.Wrong() {
		return fmt.Errorf("something is wrong with %s; docs/backup.md says what to do", c.DB)
	}
	return err
}
