package store

// KnownScreens says which of the ids belong to screens on record. An id may be given before its screen
// is made: that of an athlete on the list of a screening day.
func (tx *Tx) KnownScreens(ids []string) (map[string]bool, error) {
	out := make(map[string]bool, len(ids))
	err := each(tx, qRevisionsIn, func(r *revisionRow) error { out[r.ID] = true; return nil }, idList(ids))
	return out, err
}
