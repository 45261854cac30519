package clinic

import (
	"context"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Explained is the arithmetic of one finding, with the record it was worked out from.
type Explained struct {
	Record      *screen.Record
	Explanation *score.Explanation
}

// Explain works out a finding of a screen step by step, with what the team's screens are scored with.
// side chooses between the findings of a rule that looks at each side; without one the first is taken.
// Returns NotFound.
func (c *Clinic) Explain(ctx context.Context, who Person, screenID, rule string, side screen.Side) (out Explained, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Screen(screenID), func(tx *store.Tx) error {
		rec, by, err := c.recordToScore(tx, screenID)
		if err != nil {
			return err
		}
		out.Record = rec
		out.Explanation, err = by.Explain(out.Record, by.options(out.Record), rule, side)
		return err
	})
	return out, err
}
