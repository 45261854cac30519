package clinic

import (
	"context"
	"errors"

	"evenhand/internal/screen"
)

var errNotBuilt = errors.New("not built yet")

// PlanDay is a new screening day for a team as the protocol proposes it, with ids and station codes;
// it is not on record yet. Returns NotFound.
func (c *Clinic) PlanDay(ctx context.Context, who Person, team string) (out screen.Day, err error) {
	return out, errNotBuilt
}

// PutDay creates a screening day (ifRevision 0) or changes the one at that revision. A new day's list
// is the team's members on that date, numbered by name. twice names athletes who are measured twice
// besides every nth; nil leaves those of an existing day as they are. Stations without a code get one.
// Returns Faults, Conflict, NotFound, Stale or Invalid.
func (c *Clinic) PutDay(ctx context.Context, who Person, d screen.Day, twice []string, ifRevision int) (screen.Day, error) {
	return d, errNotBuilt
}

// Day is a screening day with its list. Returns NotFound.
func (c *Clinic) Day(ctx context.Context, who Person, id string) (out DayView, err error) {
	return out, errNotBuilt
}

// Days is a page of a team's screening days, the newest first.
func (c *Clinic) Days(ctx context.Context, who Person, team string, p Page) (out []screen.Day, next string, err error) {
	return out, "", errNotBuilt
}

// OpenDays lists the days of all teams that are dated today and not closed.
func (c *Clinic) OpenDays(ctx context.Context, who Person) (out []DayRef, err error) {
	return out, errNotBuilt
}

// CloseDay closes a day, or opens it again. Entries that come in for a closed day are taken and marked
// late. Returns NotFound or Stale.
func (c *Clinic) CloseDay(ctx context.Context, who Person, id string, closed bool, ifRevision int) (screen.Day, error) {
	return screen.Day{}, errNotBuilt
}

// AddToDay puts members of the team who came late on the list of a day.
func (c *Clinic) AddToDay(ctx context.Context, who Person, day string, athletes []string) error {
	return errNotBuilt
}

// WalkOn puts somebody on the list of a day who may not be on record: a new athlete, or the one with
// that name and birth date. Returns Faults or NotFound.
func (c *Clinic) WalkOn(ctx context.Context, who Person, day, id string, w WalkOn) (screen.Participant, error) {
	return screen.Participant{}, errNotBuilt
}

// Release lifts an athlete's hold on a day: the referral signs entered there are taken back with the
// reason. Returns Faults or NotFound.
func (c *Clinic) Release(ctx context.Context, who Person, day, athlete, why string) error {
	return errNotBuilt
}

// Board is the state of a screening day. Returns NotFound.
func (c *Clinic) Board(ctx context.Context, who Person, day string) (out Board, err error) {
	return out, errNotBuilt
}

// Station is all that a station needs to work, also without network. code is what its link ends in.
// Returns NotFound.
func (c *Clinic) Station(ctx context.Context, who Person, code string) (out StationSheet, err error) {
	return out, errNotBuilt
}

// SaveEntries takes in what a station sends. Each entry is added, already there, or refused with what
// is wrong with it; a refused one does not hold up the others. The same batch twice adds nothing.
// Returns NotFound if there is no such station, Faults if the batch itself is at fault.
func (c *Clinic) SaveEntries(ctx context.Context, who Person, code string, b Batch) (out BatchResult, err error) {
	return out, errNotBuilt
}

// WatchDay gives a channel that is told after something of the day changed, and a function that ends
// the watch. Several changes may be told as one.
func (c *Clinic) WatchDay(day string) (changed <-chan struct{}, stop func()) {
	ch := make(chan struct{})
	return ch, func() {}
}
