package store

import (
	"slices"

	"evenhand/internal/screen"
)

const (
	consentOf = "c.id, c.athlete_id, c.purpose, c.on_day, c.version, c.given_by, c.giver, c.recorded, c.by_id, c.by_name," +
		" c.withdrawn_on, c.withdrawn, c.withdrawn_by, c.why"
	qConsents = "SELECT " + consentOf + " FROM consents c WHERE c.athlete_id = ? ORDER BY c.purpose, c.on_day, c.id"
	// The index by athlete, purpose and day gives them in order within each athlete.
	qConsentsIn      = "SELECT " + consentOf + " FROM json_each(?) j CROSS JOIN consents c ON c.athlete_id = j.value"
	qConsent         = "SELECT " + consentOf + " FROM consents c WHERE c.id = ?"
	qConsentWithdraw = "UPDATE consents SET withdrawn_on = ?, withdrawn = ?, withdrawn_by = ?, why = ? WHERE id = ? AND withdrawn_on = ''"

	consentTextCols = "id, purpose, version, body, made, by_id"
	qConsentTexts   = "SELECT " + consentTextCols + " FROM consent_texts WHERE purpose = ? ORDER BY version"
	qConsentText    = "SELECT " + consentTextCols + " FROM consent_texts WHERE id = ?"
)

// consentStatements are those of consents and their texts, of settings, retention and erasures.
var consentStatements = slices.Concat([]string{qConsents, qConsentsIn, qConsent, qConsentWithdraw, qConsentTexts, qConsentText},
	retentionStatements, eraseStatements, heldStatements)

type consentRow struct {
	ID          string
	AthleteID   string
	Purpose     string
	On          string `gorm:"column:on_day"`
	Version     string
	GivenBy     string
	Giver       string
	Recorded    int64
	ByID        string
	ByName      string
	WithdrawnOn string
	Withdrawn   int64
	WithdrawnBy string
	Why         string
}

// TableName is the table of consents.
func (consentRow) TableName() string { return "consents" }

func (r *consentRow) dest() []any {
	return []any{&r.ID, &r.AthleteID, &r.Purpose, &r.On, &r.Version, &r.GivenBy, &r.Giver, &r.Recorded, &r.ByID, &r.ByName,
		&r.WithdrawnOn, &r.Withdrawn, &r.WithdrawnBy, &r.Why}
}

func consentRowOf(c *screen.Consent, now int64) consentRow {
	r := consentRow{ID: c.ID, AthleteID: c.Athlete, Purpose: string(c.Purpose), On: string(c.On), Version: c.Version,
		GivenBy: string(c.GivenBy), Giver: c.Giver, Recorded: micros(c.Recorded), ByID: c.ByID, ByName: c.ByName,
		WithdrawnOn: string(c.WithdrawnOn), Withdrawn: micros(c.Withdrawn), WithdrawnBy: c.WithdrawnBy, Why: c.Why}
	if r.Recorded == 0 {
		r.Recorded = now
	}
	return r
}

func (r *consentRow) consent() screen.Consent {
	return screen.Consent{ID: r.ID, Athlete: r.AthleteID, Purpose: screen.Purpose(r.Purpose), On: screen.Date(r.On), Version: r.Version,
		GivenBy: screen.Giver(r.GivenBy), Giver: r.Giver, Recorded: instant(r.Recorded), ByID: r.ByID, ByName: r.ByName,
		WithdrawnOn: screen.Date(r.WithdrawnOn), Withdrawn: instant(r.Withdrawn), WithdrawnBy: r.WithdrawnBy, Why: r.Why}
}

// content leaves out who recorded it and the withdrawal: a consent that is sent again after it was
// withdrawn is still the same.
func (r consentRow) content() consentRow {
	r.Recorded, r.ByID, r.ByName = 0, "", ""
	r.WithdrawnOn, r.Withdrawn, r.WithdrawnBy, r.Why = "", 0, "", ""
	return r
}

// Consents are the consents of an athlete by purpose and day, withdrawn ones included. None for an
// unknown athlete.
func (tx *Tx) Consents(athlete string) ([]screen.Consent, error) {
	rows, err := all[consentRow](tx, qConsents, athlete)
	return convert(rows, (*consentRow).consent), err
}

// ConsentsOf are the consents of several athletes, of each by purpose and day, withdrawn ones included.
// Athletes without any are not in the map.
func (tx *Tx) ConsentsOf(athletes []string) (map[string][]screen.Consent, error) {
	ids := slices.Clone(athletes)
	slices.Sort(ids) // an athlete may be asked for twice
	out := make(map[string][]screen.Consent)
	err := each(tx, qConsentsIn, func(r *consentRow) error {
		out[r.AthleteID] = append(out[r.AthleteID], r.consent())
		return nil
	}, idList(slices.Compact(ids)))
	return out, err
}

// Consent is the consent with the id given, also if it was withdrawn. Returns NotFound if there is none.
func (tx *Tx) Consent(id string) (screen.Consent, error) {
	r, found, err := one[consentRow](tx, qConsent, id)
	if err == nil && !found {
		err = notFound("consent")
	}
	return r.consent(), err
}

// PutConsent keeps a consent and reports whether it was new; one that is on file with the same content
// is left alone, also if it was withdrawn since. Recorded is set to now where it is zero. Returns
// Conflict if the id is taken by another consent, Invalid for an id that cannot be kept or an athlete
// who is not on record.
func (tx *Tx) PutConsent(c screen.Consent) (added bool, err error) {
	defer tx.fail(&err)
	if err := checkID("consent", c.ID); err != nil {
		return false, err
	}
	r := consentRowOf(&c, tx.now())
	old, found, err := one[consentRow](tx, qConsent, c.ID)
	if err != nil {
		return false, err
	}
	if found {
		return false, takenUnless(old.content() == r.content(), "consent")
	}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return false, tx.refused(err, "consent", ref{"athlete", qAthleteExists, c.Athlete})
	}
	return true, nil
}

// WithdrawConsent sets the withdrawal of the consent c.ID to that of c; the consent is kept. Withdrawn
// is set to now where it is zero. To say so again for the same day and reason changes nothing. Returns
// NotFound if there is no such consent, Conflict if it was withdrawn otherwise, Invalid without a day or
// a reason.
func (tx *Tx) WithdrawConsent(c screen.Consent) (err error) {
	defer tx.fail(&err)
	if c.WithdrawnOn == "" || c.Why == "" {
		return &screen.Problem{Code: screen.Invalid,
			Text: "withdrawing a consent needs a day and a reason", Want: "say from when on it does not hold, and why"}
	}
	r := consentRowOf(&c, tx.now())
	if r.Withdrawn == 0 {
		r.Withdrawn = tx.now()
	}
	old, found, err := one[consentRow](tx, qConsent, c.ID)
	switch {
	case err != nil:
		return err
	case !found:
		return notFound("consent")
	case old.WithdrawnOn == r.WithdrawnOn && old.Why == r.Why:
		return nil
	case old.WithdrawnOn != "":
		return &screen.Problem{Code: screen.Conflict,
			Text: "the consent was withdrawn already, for another day or reason", Want: "read the athlete's consents again"}
	}
	return tx.exec(qConsentWithdraw, r.WithdrawnOn, r.Withdrawn, r.WithdrawnBy, r.Why, r.ID)
}

type consentTextRow struct {
	ID      string
	Purpose string
	Version string
	Body    string
	Made    int64
	ByID    string
}

// TableName is the table of the texts that people agree to.
func (consentTextRow) TableName() string { return "consent_texts" }

func (r *consentTextRow) dest() []any {
	return []any{&r.ID, &r.Purpose, &r.Version, &r.Body, &r.Made, &r.ByID}
}

func (r *consentTextRow) text() screen.ConsentText {
	return screen.ConsentText{ID: r.ID, Purpose: screen.Purpose(r.Purpose), Version: r.Version, Body: r.Body, Made: instant(r.Made), ByID: r.ByID}
}

// ConsentTexts are the versions of the text for a purpose that are on file, by version.
func (tx *Tx) ConsentTexts(p screen.Purpose) ([]screen.ConsentText, error) {
	rows, err := all[consentTextRow](tx, qConsentTexts, string(p))
	return convert(rows, (*consentTextRow).text), err
}

// PutConsentText keeps a version of a text and reports whether it was new; the same again is left
// alone. A text is never changed: people agreed to it. Returns Conflict if the id, or the version of
// that purpose, is taken.
func (tx *Tx) PutConsentText(t screen.ConsentText) (added bool, err error) {
	defer tx.fail(&err)
	if err := checkID("text", t.ID); err != nil {
		return false, err
	}
	r := consentTextRow{ID: t.ID, Purpose: string(t.Purpose), Version: t.Version, Body: t.Body, Made: micros(t.Made), ByID: t.ByID}
	if r.Made == 0 {
		r.Made = tx.now()
	}
	old, found, err := one[consentTextRow](tx, qConsentText, t.ID)
	if err != nil {
		return false, err
	}
	if found {
		old.Made, old.ByID = r.Made, r.ByID
		return false, takenUnless(old == r, "text")
	}
	if err := tx.gorm.Create(&r).Error; err != nil {
		if code(err) == codeUnique {
			return false, &screen.Problem{Code: screen.Conflict, Text: "there is a text of this version already", Want: "give the new text a version of its own"}
		}
		return false, tx.refused(err, "text")
	}
	return true, nil
}
