package store

import (
	"bytes"

	"evenhand/internal/screen"
)

const (
	handoutOf = "h.id, h.day_id, h.athlete_id, h.screen_id, h.revision, h.protocol, h.hash, h.made, h.by_id, h.body"
	// Each athlete's newest is one look-up in the index by athlete and time.
	qHandouts = "SELECT " + handoutOf + " FROM participants p CROSS JOIN handouts h ON h.id = (SELECT x.id FROM handouts x" +
		" WHERE x.day_id = p.day_id AND x.athlete_id = p.athlete_id ORDER BY x.made DESC, x.id DESC LIMIT 1)" +
		" WHERE p.day_id = ? ORDER BY p.number"
	qHandoutsIn    = "SELECT " + handoutOf + " FROM json_each(?) j CROSS JOIN handouts h ON h.id = j.value"
	qHandoutNewest = "SELECT " + handoutOf + " FROM handouts h WHERE h.athlete_id = ? ORDER BY h.made DESC, h.id DESC LIMIT 1"
)

type handoutRow struct {
	ID        string
	DayID     string
	AthleteID string
	ScreenID  string
	Revision  int
	Protocol  string
	Hash      string
	Made      int64
	By        string `gorm:"column:by_id"`
	Body      []byte
}

// TableName is the table of handouts.
func (handoutRow) TableName() string { return "handouts" }

func (r *handoutRow) dest() []any {
	return []any{&r.ID, &r.DayID, &r.AthleteID, &r.ScreenID, &r.Revision, &r.Protocol, &r.Hash, &r.Made, &r.By, &r.Body}
}

func handoutRowOf(h *screen.Handout, now int64) handoutRow {
	r := handoutRow{ID: h.ID, DayID: h.Day, AthleteID: h.Athlete, ScreenID: h.Screen, Revision: h.Revision,
		Protocol: h.Protocol, Hash: h.Hash, Made: micros(h.Made), By: h.By, Body: h.Body}
	if r.Made == 0 {
		r.Made = now
	}
	if r.Body == nil {
		r.Body = []byte{} // nil would be written as NULL
	}
	return r
}

func (r *handoutRow) handout() screen.Handout {
	return screen.Handout{ID: r.ID, Day: r.DayID, Athlete: r.AthleteID, Screen: r.ScreenID, Revision: r.Revision,
		Protocol: r.Protocol, Hash: r.Hash, Made: instant(r.Made), By: r.By, Body: r.Body}
}

// same reports whether both say the same, whenever they were made.
func (r *handoutRow) same(o *handoutRow) bool {
	return r.ID == o.ID && r.DayID == o.DayID && r.AthleteID == o.AthleteID && r.ScreenID == o.ScreenID &&
		r.Revision == o.Revision && r.Protocol == o.Protocol && r.Hash == o.Hash && r.By == o.By &&
		bytes.Equal(r.Body, o.Body)
}

// Handouts are the newest handout of each athlete on the list of a screening day who has one, by the
// athlete's number. None for an unknown day.
func (tx *Tx) Handouts(day string) ([]screen.Handout, error) {
	rows, err := all[handoutRow](tx, qHandouts, day)
	return convert(rows, (*handoutRow).handout), err
}

// Handout is the handout with the id given. Returns NotFound if there is none.
func (tx *Tx) Handout(id string) (screen.Handout, error) {
	r, found, err := one[handoutRow](tx, qHandoutsIn, idList([]string{id}))
	if err == nil && !found {
		err = notFound("handout")
	}
	return r.handout(), err
}

// NewestHandout is the newest handout that was made for an athlete, of whichever day; ok is false if there
// is none.
func (tx *Tx) NewestHandout(athlete string) (h screen.Handout, ok bool, err error) {
	r, ok, err := one[handoutRow](tx, qHandoutNewest, athlete)
	if err != nil || !ok {
		return screen.Handout{}, false, err
	}
	return r.handout(), true, nil
}

// PutHandouts keeps handouts, of any days, and returns how many were new; those that are on file with
// the same content are left alone. Made is set to now where it is zero. Returns Conflict if an id is
// taken by another handout, Invalid for an id that cannot be kept or an athlete who is not on the list
// of the day.
func (tx *Tx) PutHandouts(list []screen.Handout) (added int, err error) {
	defer tx.fail(&err)
	now, ids, known := tx.now(), make([]string, len(list)), map[string]handoutRow{}
	for i := range list {
		ids[i] = list[i].ID
		if err := checkID("handout", ids[i]); err != nil {
			return 0, err
		}
	}
	err = each(tx, qHandoutsIn, func(r *handoutRow) error { known[r.ID] = *r; return nil }, idList(ids))
	if err != nil {
		return 0, err
	}
	var rows []handoutRow
	for i := range list {
		r := handoutRowOf(&list[i], now)
		have, ok := known[r.ID]
		if ok && !have.same(&r) {
			return 0, taken("handout")
		}
		if !ok {
			known[r.ID] = r
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		return 0, nil
	}
	if err := tx.gorm.CreateInBatches(&rows, 200).Error; err != nil {
		return 0, tx.refusedHandout(err)
	}
	return len(rows), nil
}

func (tx *Tx) refusedHandout(err error) error {
	if code(err) == codeForeignKey {
		return &screen.Problem{Code: screen.Invalid,
			Text: "a handout is for an athlete who is not on the list of its screening day",
			Want: "put the athlete on the list first"}
	}
	return tx.refused(err, "handout")
}
