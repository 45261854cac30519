package office

import (
	"context"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// How many days a family's link works: as chosen, 30 if nothing was, 180 at most.
const (
	familyDays     = 30
	mostFamilyDays = 180
)

// MakeFamilyLink makes a link to one athlete's handout and targets; name says for whom it is. days 0 is
// 30. Returns NotFound or Faults (name, days).
func (o *Office) MakeFamilyLink(ctx context.Context, who access.Person, athlete, name string, days int) (secret string, err error) {
	var f screen.Faults
	name = cleanName(&f, name)
	if days == 0 {
		days = familyDays
	}
	if days < 1 || days > mostFamilyDays {
		f.Add("days", "1 to 180", "a link cannot work for %d days", days)
	}
	err = o.gate.Write(ctx, who, access.ManageLinks, gate.Athlete(athlete), func(tx *store.Tx) error {
		if _, err := tx.Athlete(athlete); err != nil {
			return err
		}
		if err := f.Err(); err != nil {
			return err
		}
		l := access.Link{Kind: access.LinkFamily, Athlete: athlete, Name: name}
		secret, err = o.addLink(tx, who, &l, time.Duration(days)*day)
		return err
	})
	if err != nil {
		return "", err
	}
	return secret, nil
}

// FamilyLinks lists the links of an athlete, the newest first; Hash is left out. Used is when one was
// opened last, to the minute.
func (o *Office) FamilyLinks(ctx context.Context, who access.Person, athlete string) (list []access.Link, err error) {
	err = o.gate.Read(ctx, who, access.ManageLinks, gate.Athlete(athlete), func(tx *store.Tx) error {
		if _, err := tx.Athlete(athlete); err != nil {
			return err
		}
		list, err = tx.AthleteLinks(athlete)
		return err
	})
	for i := range list {
		list[i].Hash = ""
	}
	return list, err
}

// RevokeFamilyLink revokes a family's link by its id. Returns NotFound.
func (o *Office) RevokeFamilyLink(ctx context.Context, who access.Person, athlete, id string) error {
	return o.gate.Write(ctx, who, access.ManageLinks, gate.Athlete(athlete), func(tx *store.Tx) error {
		l, found, err := tx.LinkByID(id)
		if err != nil {
			return err
		}
		if !found || l.Kind != access.LinkFamily || l.Athlete != athlete {
			return notFound("link")
		}
		return tx.RevokeLink(l.Hash, o.opt.Now())
	})
}

// ByFamilyLink is who a family's link stands for. Returns NotFound or Throttled.
func (o *Office) ByFamilyLink(ctx context.Context, secret, address string) (access.Person, error) {
	l, err := o.seekLink(ctx, secret, address, access.LinkFamily)
	if err != nil {
		return access.Person{}, err
	}
	if now := o.opt.Now(); now.Sub(l.Used) >= usedEvery {
		err := o.gate.Store().Write(ctx, func(tx *store.Tx) error { return tx.UseLink(l.Hash, now) })
		if err != nil {
			return access.Person{}, err
		}
	}
	return access.Person{Athlete: l.Athlete, Link: l.ID, Name: string(access.Family)}, nil
}
