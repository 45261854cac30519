package store

import (
	"errors"
	"strings"

	"evenhand/internal/screen"
)

// A squad's triage reads thousands of readings, and what that costs is the number of columns that
// cross from the engine to Go, not their length. So all texts of a reading cross as one, separated by
// a control character that checkTexts keeps out of them: this is 2 to 3 times as fast.
const (
	unit   = "\x1f"
	texts  = 13
	packed = "concat_ws(char(31), r.id, r.measure, r.side, r.trials, r.examiner, r.instrument, r.position, r.device," +
		" r.entered_by, r.why, coalesce(r.supersedes, ''), coalesce(r.superseded_by, ''), r.withdrawn)"
)

// packedRow is a reading whose texts are packed into one; At is the place of its screen in the list
// that was asked for.
type packedRow struct {
	At      int
	Texts   string
	Taken   int64
	Step    float64
	Entered int64
}

func (r *packedRow) dest() []any { return []any{&r.At, &r.Texts, &r.Taken, &r.Step, &r.Entered} }

// reading is the reading, which is one of the screen given.
func (r *packedRow) reading(screenID string) (screen.Reading, error) {
	var t [texts]string
	if err := unpack(r.Texts, t[:]); err != nil {
		return screen.Reading{}, err
	}
	trials, err := parseTrials(t[3])
	return screen.Reading{Screen: screenID, ID: t[0], Measure: t[1], Side: screen.Side(t[2]), Trials: trials,
		Examiner: t[4], Instrument: t[5], Position: t[6], Device: t[7], EnteredBy: t[8], Why: t[9],
		Supersedes: t[10], Superseded: t[11], Withdrawn: t[12],
		Taken: instant(r.Taken), Step: r.Step, Entered: instant(r.Entered)}, err
}

// unpack takes the texts that were packed into one apart, as many as there are places for.
func unpack(packed string, into []string) error {
	n := 0
	for more := true; more; n++ {
		if n == len(into) {
			return errors.New("store: a packed row has a separator in its texts")
		}
		into[n], packed, more = strings.Cut(packed, unit)
	}
	if n != len(into) {
		return errors.New("store: a packed row has too few texts")
	}
	return nil
}

// checkTexts refuses a reading with the separator in one of its texts. Its id is checked elsewhere.
func checkTexts(r *readingRow) error {
	for _, s := range [...]string{r.Measure, r.Side, r.Examiner, r.Instrument, r.Position, r.Device, r.EnteredBy, r.Why,
		r.Withdrawn, r.Supersedes.String} {
		if strings.Contains(s, unit) {
			return hasUnit("reading")
		}
	}
	return nil
}

// hasUnit refuses what has the separator in one of its texts.
func hasUnit(kind string) error {
	return &screen.Problem{Code: screen.Invalid,
		Text: "a text of the " + kind + " has the control character U+001F in it", Want: "leave it out"}
}
