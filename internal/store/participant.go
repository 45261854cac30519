package store

import (
	"strconv"

	"evenhand/internal/screen"
)

const (
	qParticipants = "SELECT day_id, athlete_id, number, code, screen_id, twice, added FROM participants" +
		" WHERE day_id = ? ORDER BY number"
	qParticipantTwice = "UPDATE participants SET twice = ? WHERE day_id = ? AND athlete_id = ?"
)

type participantRow struct {
	DayID     string `gorm:"primaryKey"`
	AthleteID string `gorm:"primaryKey"`
	Number    int
	Code      string
	ScreenID  string
	Twice     bool
	Added     int64
}

// TableName is the table of athletes on the lists of screening days.
func (participantRow) TableName() string { return "participants" }

func (r *participantRow) dest() []any {
	return []any{&r.DayID, &r.AthleteID, &r.Number, &r.Code, &r.ScreenID, &r.Twice, &r.Added}
}

func participantRowOf(p *screen.Participant) participantRow {
	return participantRow{DayID: p.Day, AthleteID: p.Athlete, Number: p.Number, Code: p.Code, ScreenID: p.Screen,
		Twice: p.Twice, Added: micros(p.Added)}
}

func (r *participantRow) participant() screen.Participant {
	return screen.Participant{Day: r.DayID, Athlete: r.AthleteID, Number: r.Number, Code: r.Code, Screen: r.ScreenID,
		Twice: r.Twice, Added: instant(r.Added)}
}

// fixed is r without what may change once the athlete is on the list, and without when that was.
func (r participantRow) fixed() participantRow {
	r.Twice, r.Added = false, 0
	return r
}

// Participants are the athletes on the list of a screening day, by number. None for an unknown day.
func (tx *Tx) Participants(day string) ([]screen.Participant, error) {
	rows, err := all[participantRow](tx, qParticipants, day)
	return convert(rows, (*participantRow).participant), err
}

// PutParticipants puts athletes on the list of a screening day and returns how many were new. Of one
// who is on it already, Twice is set; Added stays what it was. It bumps the day's revision if anything
// was written. Returns NotFound if there is no such day, Conflict if the number, the code or the screen
// is another athlete's or if that of an athlete on the list is to change, Invalid for an entry of
// another day, an athlete who is not on record, or a number, code or screen that cannot be kept.
func (tx *Tx) PutParticipants(day string, list []screen.Participant) (added int, err error) {
	defer tx.fail(&err)
	if _, found, err := one[flagRow](tx, qDayExists, day); err != nil {
		return 0, err
	} else if !found {
		return 0, notFound("screening day")
	}
	fresh, changed, err := tx.sortParticipants(day, list)
	if err != nil || len(fresh)+len(changed) == 0 {
		return 0, err
	}
	for _, r := range changed {
		if err := tx.exec(qParticipantTwice, r.Twice, day, r.AthleteID); err != nil {
			return 0, err
		}
	}
	if len(fresh) > 0 {
		if err := tx.gorm.CreateInBatches(&fresh, 200).Error; err != nil {
			return 0, tx.refusedParticipant(err, fresh)
		}
	}
	return len(fresh), tx.exec(qDayBump, tx.now(), day)
}

// sortParticipants tells those who are not on the day's list yet from those whose Twice changes.
func (tx *Tx) sortParticipants(day string, list []screen.Participant) (fresh, changed []participantRow, err error) {
	known := map[string]participantRow{}
	err = each(tx, qParticipants, func(r *participantRow) error { known[r.AthleteID] = *r; return nil }, day)
	if err != nil {
		return nil, nil, err
	}
	for i := range list {
		r := participantRowOf(&list[i])
		if err := checkParticipant(&r, day); err != nil {
			return nil, nil, err
		}
		have, listed := known[r.AthleteID]
		switch {
		case !listed:
			fresh = append(fresh, r)
		case have.fixed() != r.fixed():
			return nil, nil, &screen.Problem{Code: screen.Conflict,
				Text: "an athlete is on the list already, as number " + strconv.Itoa(have.Number),
				Want: "leave the number, the code and the screen as they are"}
		case have.Twice != r.Twice:
			changed = append(changed, r)
		}
		known[r.AthleteID] = r
	}
	return fresh, changed, nil
}

func checkParticipant(r *participantRow, day string) error {
	if r.DayID != day {
		return anotherDay("participant")
	}
	if r.Number < 1 {
		return &screen.Problem{Code: screen.Invalid,
			Text: "a participant has the number " + strconv.Itoa(r.Number), Want: "numbers begin with 1"}
	}
	if err := checkID("participant's code", r.Code); err != nil {
		return err
	}
	return checkID("participant's screen", r.ScreenID)
}

// anotherDay refuses an entry that names another day than the one it is put to.
func anotherDay(kind string) error {
	return &screen.Problem{Code: screen.Invalid,
		Text: "the " + kind + " names another screening day than the one it is entered at", Want: "name the same day"}
}

func (tx *Tx) refusedParticipant(err error, rows []participantRow) error {
	if c := code(err); c == codeUnique || c == codePrimaryKey {
		return &screen.Problem{Code: screen.Conflict,
			Text: "the number, the code or the screen of a participant is taken by another one",
			Want: "read the list again, then number who is new behind it"}
	}
	refs := make([]ref, len(rows))
	for i := range rows {
		refs[i] = ref{"athlete", qAthleteExists, rows[i].AthleteID}
	}
	return tx.refused(err, "participant", refs...)
}
