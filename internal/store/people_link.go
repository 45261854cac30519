package store

import (
	"encoding/json"
	"fmt"
	"time"

	"evenhand/internal/access"
)

const (
	linkCols      = "hash, id, kind, account_id, athlete_id, name, grants, made, by_id, expires, used, revoked"
	qLink         = "SELECT " + linkCols + " FROM links WHERE hash = ?"
	qLinkByID     = "SELECT " + linkCols + " FROM links WHERE id = ?"
	qLinksOpen    = "SELECT " + linkCols + " FROM links WHERE kind = ? AND used = 0 AND revoked = 0 AND expires > ? ORDER BY made DESC, id DESC"
	qLinksAthlete = "SELECT " + linkCols + " FROM links WHERE athlete_id = ? ORDER BY made DESC, id DESC"
	qLinkUse      = "UPDATE links SET used = ? WHERE hash = ?"
	qLinkRevoke   = "UPDATE links SET revoked = ? WHERE hash = ? AND revoked = 0"
	// Of an account, or with none of no account, of one kind.
	qLinksRevoke = "UPDATE links SET revoked = ? WHERE account_id = ? AND kind = ? AND used = 0 AND revoked = 0"
)

var linkStatements = []string{qLink, qLinkByID, qLinksOpen, qLinksAthlete, qLinkUse, qLinkRevoke, qLinksRevoke}

type linkRow struct {
	Hash      string `gorm:"primaryKey"`
	ID        string `gorm:"column:id"`
	Kind      string
	AccountID string
	AthleteID string
	Name      string
	Grants    string
	Made      int64
	By        string `gorm:"column:by_id"`
	Expires   int64
	Used      int64
	Revoked   int64
}

// TableName is the table of links.
func (linkRow) TableName() string { return "links" }

func (r *linkRow) dest() []any {
	return []any{&r.Hash, &r.ID, &r.Kind, &r.AccountID, &r.AthleteID, &r.Name, &r.Grants, &r.Made, &r.By, &r.Expires, &r.Used, &r.Revoked}
}

func (r *linkRow) link() (access.Link, error) {
	l := access.Link{Hash: r.Hash, ID: r.ID, Kind: access.LinkKind(r.Kind), Account: r.AccountID, Athlete: r.AthleteID, Name: r.Name,
		Made: instant(r.Made), By: r.By, Expires: instant(r.Expires), Used: instant(r.Used), Revoked: instant(r.Revoked)}
	if r.Grants == "" {
		return l, nil
	}
	if err := json.Unmarshal([]byte(r.Grants), &l.Grants); err != nil {
		return l, fmt.Errorf("store: roles of a link: %w", err)
	}
	return l, nil
}

// grantsText is a list of roles as JSON; "" for none.
func grantsText(grants []access.Grant) string {
	if len(grants) == 0 {
		return ""
	}
	b, err := json.Marshal(grants)
	if err != nil {
		panic(err) // texts are always JSON
	}
	return string(b)
}

// Link is the link with a secret's hash, and whether there is one, past ones included.
func (tx *Tx) Link(hash string) (access.Link, bool, error) { return tx.oneLink(qLink, hash) }

// LinkByID is the link with an id, and whether there is one, past ones included.
func (tx *Tx) LinkByID(id string) (access.Link, bool, error) { return tx.oneLink(qLinkByID, id) }

func (tx *Tx) oneLink(query, key string) (access.Link, bool, error) {
	r, found, err := one[linkRow](tx, query, key)
	if err != nil || !found {
		return access.Link{}, false, err
	}
	l, err := r.link()
	return l, err == nil, err
}

// OpenLinks are those of a kind that can still be used, the newest first.
func (tx *Tx) OpenLinks(kind access.LinkKind, now time.Time) ([]access.Link, error) {
	return tx.links(qLinksOpen, string(kind), micros(now))
}

// AthleteLinks are the links of an athlete, the newest first, past ones included.
func (tx *Tx) AthleteLinks(athlete string) ([]access.Link, error) {
	return tx.links(qLinksAthlete, athlete)
}

func (tx *Tx) links(query string, args ...any) (out []access.Link, err error) {
	err = each(tx, query, func(r *linkRow) error {
		l, err := r.link()
		out = append(out, l)
		return err
	}, args...)
	return out, err
}

// AddLink keeps a link. Returns Conflict if its hash or id is taken.
func (tx *Tx) AddLink(l *access.Link) (err error) {
	defer tx.fail(&err)
	r := linkRow{Hash: l.Hash, ID: l.ID, Kind: string(l.Kind), AccountID: l.Account, AthleteID: l.Athlete, Name: l.Name, Grants: grantsText(l.Grants),
		Made: micros(l.Made), By: l.By, Expires: micros(l.Expires), Used: micros(l.Used), Revoked: micros(l.Revoked)}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return tx.refused(err, "link")
	}
	return nil
}

// UseLink notes when a link was used.
func (tx *Tx) UseLink(hash string, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qLinkUse, micros(at), hash)
}

// RevokeLink ends a link; one that was revoked before stays so since then.
func (tx *Tx) RevokeLink(hash string, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qLinkRevoke, micros(at), hash)
}

// RevokeLinks ends the links of a kind for an account ("": those that are for none) that nobody used.
func (tx *Tx) RevokeLinks(kind access.LinkKind, account string, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qLinksRevoke, micros(at), account, string(kind))
}
