package clinic

import (
	"slices"
	"time"
)

// A pace is said of the last finishes only, and only if they are recent: a station slows down, pauses,
// or sends what it kept all at once.
const (
	paceOver   = 10 // finishes looked at
	paceLeast  = 3
	paceRecent = 30 * time.Minute
)

// pace is how many athletes an hour a station lately got through, from the times at which they were
// through, and when the last of the remaining ones would be; 0 and the zero time if that cannot be said.
func pace(finished []time.Time, remaining int, now time.Time) (perHour float64, end time.Time) {
	t := slices.Clone(finished)
	slices.SortFunc(t, time.Time.Compare)
	t = t[max(0, len(t)-paceOver):]
	if len(t) < paceLeast {
		return 0, time.Time{}
	}
	first, last := t[0], t[len(t)-1]
	span := last.Sub(first)
	if span < time.Minute || now.Sub(last) > paceRecent {
		return 0, time.Time{}
	}
	each := span / time.Duration(len(t)-1)
	perHour = float64(time.Hour) / float64(each)
	if remaining > 0 {
		end = now.Add(time.Duration(remaining) * each).UTC()
	}
	return perHour, end
}
