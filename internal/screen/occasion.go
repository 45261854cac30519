package screen

import (
	"slices"
	"strings"
)

// Occasions puts an athlete's records in the order of their days, and joins those of one day into one:
// the same day adds its error once, and what was read twice on it is combined, not counted as two
// visits. The records given are not changed; a joined one shares their entries and has the id, kind and
// team of the first. Records of one day stand in the order of their ids.
func Occasions(records []*Record) []*Record {
	list := slices.Clone(records)
	slices.SortStableFunc(list, func(a, b *Record) int {
		if a.Screen.On != b.Screen.On {
			return strings.Compare(string(a.Screen.On), string(b.Screen.On))
		}
		return strings.Compare(a.Screen.ID, b.Screen.ID)
	})
	out := make([]*Record, 0, len(list))
	for i, rec := range list {
		if i > 0 && rec.Screen.On == list[i-1].Screen.On {
			out[len(out)-1] = joined(out[len(out)-1], rec)
			continue
		}
		out = append(out, rec)
	}
	return out
}

// joined is both records as one. A reading without an examiner of its own was read by its screen's.
func joined(a, b *Record) *Record {
	out := *a
	out.Readings = slices.Clone(a.Readings)
	for _, r := range b.Readings {
		if r.Examiner == "" {
			r.Examiner = b.Screen.Examiner
		}
		out.Readings = append(out.Readings, r)
	}
	out.NotDone = slices.Concat(a.NotDone, b.NotDone)
	out.Checklist = slices.Concat(a.Checklist, b.Checklist)
	out.Symptoms = slices.Concat(a.Symptoms, b.Symptoms)
	return &out
}
