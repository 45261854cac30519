package store

import (
	"strings"

	"evenhand/internal/screen"
)

// A board reads a whole day's log, so its texts cross from the engine as one, like a reading's.
const (
	dayEntryTexts = 13
	dayEntryOf    = "e.seq, concat_ws(char(31), e.day_id, e.id, e.kind, e.athlete_id, e.screen_id, e.station, e.about, e.side," +
		" e.examiner, e.device, e.undoes, e.digest, e.reason), e.round, e.again + 2 * e.late, e.taken, e.at, e.received"
	qDayEntries   = "SELECT " + dayEntryOf + " FROM day_entries e WHERE e.day_id = ? AND e.seq > ? ORDER BY e.seq"
	qDayEntriesIn = "SELECT " + dayEntryOf + " FROM json_each(?) j CROSS JOIN day_entries e ON e.id = j.value"
	qDayEntryLast = "SELECT coalesce(max(seq), 0) FROM day_entries WHERE day_id = ?"
)

type dayEntryRow struct {
	DayID     string `gorm:"primaryKey"`
	Seq       int    `gorm:"primaryKey;autoIncrement:false"`
	ID        string `gorm:"column:id"`
	Kind      string
	AthleteID string
	ScreenID  string
	Station   string
	About     string
	Side      string
	Round     int
	Again     bool
	Examiner  string
	Device    string
	Taken     int64
	At        int64
	Received  int64
	Late      bool
	Undoes    string
	Digest    string
	Reason    string
}

// TableName is the table of what stations sent.
func (dayEntryRow) TableName() string { return "day_entries" }

func dayEntryRowOf(e *screen.DayEntry) dayEntryRow {
	return dayEntryRow{DayID: e.Day, Seq: e.Seq, ID: e.ID, Kind: string(e.Kind), AthleteID: e.Athlete, ScreenID: e.Screen,
		Station: e.Station, About: e.About, Side: string(e.Side), Round: e.Round, Again: e.Again, Examiner: e.Examiner,
		Device: e.Device, Taken: micros(e.Taken), At: micros(e.At), Received: micros(e.Received), Late: e.Late,
		Undoes: e.Undoes, Digest: e.Digest, Reason: string(e.Reason)}
}

// check refuses an entry that cannot be kept.
func (r *dayEntryRow) check(day string) error {
	if r.DayID != day {
		return anotherDay("entry")
	}
	for _, s := range [...]string{r.Kind, r.AthleteID, r.ScreenID, r.Station, r.About, r.Side, r.Examiner, r.Device, r.Undoes,
		r.Digest, r.Reason} {
		if strings.Contains(s, unit) {
			return hasUnit("entry")
		}
	}
	return checkID("entry", r.ID)
}

// packedDayEntry is an entry whose texts are packed into one, and whose flags are: 1 again, 2 late.
type packedDayEntry struct {
	Seq                 int
	Texts               string
	Round, Flags        int
	Taken, At, Received int64
}

func (r *packedDayEntry) dest() []any {
	return []any{&r.Seq, &r.Texts, &r.Round, &r.Flags, &r.Taken, &r.At, &r.Received}
}

func (r *packedDayEntry) entry() (screen.DayEntry, error) {
	var t [dayEntryTexts]string
	err := unpack(r.Texts, t[:])
	return screen.DayEntry{Day: t[0], Seq: r.Seq, ID: t[1], Kind: screen.DayEntryKind(t[2]), Athlete: t[3], Screen: t[4],
		Station: t[5], About: t[6], Side: screen.Side(t[7]), Round: r.Round, Again: r.Flags&1 != 0, Examiner: t[8],
		Device: t[9], Taken: instant(r.Taken), At: instant(r.At), Received: instant(r.Received), Late: r.Flags&2 != 0,
		Undoes: t[10], Digest: t[11], Reason: screen.Reason(t[12])}, err
}

// dayEntries are the entries that a query finds.
func (tx *Tx) dayEntries(query string, args ...any) (out []screen.DayEntry, err error) {
	err = each(tx, query, func(r *packedDayEntry) error {
		e, err := r.entry()
		out = append(out, e)
		return err
	}, args...)
	return out, err
}

// DayEntries are the entries of a screening day with a Seq above after, in the order of Seq. None for
// an unknown day.
func (tx *Tx) DayEntries(day string, after int) ([]screen.DayEntry, error) {
	return tx.dayEntries(qDayEntries, day, after)
}

// DayEntriesByID are the entries with the ids given, of any days, in the order of ids; ids that no
// entry has are left out.
func (tx *Tx) DayEntriesByID(ids []string) ([]screen.DayEntry, error) {
	return tx.dayEntries(qDayEntriesIn, idList(ids))
}

// LastDayEntry is the Seq of the last entry of a screening day; 0 if there is none.
func (tx *Tx) LastDayEntry(day string) (seq int, err error) {
	r, _, err := one[flagRow](tx, qDayEntryLast, day)
	return r.N, err
}

// AddDayEntries logs entries of a screening day, behind those that it has, and returns the Seq of the
// last one. Seq is set in list too, and Received, where it is zero, to now. The day's revision stays.
// Returns NotFound if there is no such day, Conflict if an id is taken, by whatever entry, Invalid for
// an entry of another day or with a text that cannot be kept.
func (tx *Tx) AddDayEntries(day string, list []screen.DayEntry) (last int, err error) {
	defer tx.fail(&err)
	if last, err = tx.LastDayEntry(day); err != nil || len(list) == 0 {
		return last, err
	}
	now, rows := tx.now(), make([]dayEntryRow, len(list))
	for i := range list {
		rows[i] = dayEntryRowOf(&list[i])
		if err := rows[i].check(day); err != nil {
			return 0, err
		}
		rows[i].Seq = last + 1 + i
		if rows[i].Received == 0 {
			rows[i].Received = now
		}
	}
	if err := tx.gorm.CreateInBatches(&rows, 200).Error; err != nil {
		return 0, tx.refusedDayEntry(err)
	}
	for i := range list {
		list[i].Seq, list[i].Received = rows[i].Seq, instant(rows[i].Received)
	}
	return last + len(list), nil
}

func (tx *Tx) refusedDayEntry(err error) error {
	if code(err) == codeForeignKey { // the only reference is to the day
		return notFound("screening day")
	}
	return tx.refused(err, "entry")
}
