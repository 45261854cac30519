package store

import "evenhand/internal/screen"

// What a score looks at of the readings that stand; a third of the columns is a third of the time.
const (
	qMeasuredIn = "SELECT j.key, concat_ws(char(31), r.measure, r.side, r.trials, r.examiner), r.step" +
		" FROM json_each(?) j CROSS JOIN readings r ON r.screen_id = j.value" +
		" WHERE r.superseded_by IS NULL AND r.withdrawn = ''"
	measuredTexts = 4
)

type measuredRow struct {
	At    int
	Texts string
	Step  float64
}

func (r *measuredRow) dest() []any { return []any{&r.At, &r.Texts, &r.Step} }

func (r *measuredRow) reading() (screen.Reading, error) {
	var t [measuredTexts]string
	if err := unpack(r.Texts, t[:]); err != nil {
		return screen.Reading{}, err
	}
	trials, err := parseTrials(t[2])
	return screen.Reading{Measure: t[0], Side: screen.Side(t[1]), Trials: trials, Examiner: t[3], Step: r.Step}, err
}

// EachMeasured is EachRecord with only what the findings of a score rest on: the screen, its athlete, and
// of the readings that stand measure, side, trials, examiner and step. Nothing else that was entered is
// in these records.
func (tx *Tx) EachMeasured(team string, fn func(*screen.Record) error) error {
	return tx.eachBatch(team, tx.loadMeasured, fn)
}

func (tx *Tx) loadMeasured(ids []string) (map[string]*screen.Record, error) {
	list, recs, err := tx.loadScreens(ids)
	if err != nil || len(recs) == 0 {
		return nil, err
	}
	err = each(tx, qMeasuredIn, func(r *measuredRow) error {
		x, err := r.reading()
		rec := recs[ids[r.At]]
		rec.Readings = append(rec.Readings, x)
		return err
	}, list)
	return recs, err
}
