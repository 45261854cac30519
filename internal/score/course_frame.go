package score

import (
	"fmt"

	"evenhand/internal/screen"
)

// frame says what a line's change and trend are counted from.
type frame struct {
	pick     int // the reading that the athlete was picked by: an extreme one comes back by itself; −1: none
	baseline int // −1: none
	why      string
	start    int  // of the trend
	flat     bool // the squad is not the athlete's population: nothing is known before the first reading
	stale    bool // an injury after the newest visit: the trend no longer holds
	note     string
}

// frame finds baseline and start of a line. The baseline is the last preseason screen without a referral
// sign. If that found a deficit and the measure was read once more, on another day soon after and before
// exercises began, the second reading alone is the baseline: it did not pick the athlete. The trend
// starts at the screen that picked, or later: at the first visit after an injury of this link, or of none
// in particular, or in rehabilitation.
func (c *courser) frame(l *line) frame {
	fr := frame{pick: -1, baseline: -1, why: "No preseason screen without a referral sign has this measure."}
	for k := range l.f {
		v := &c.out.Visits[l.at[k]]
		if v.Kind != screen.Preseason {
			continue
		}
		fr.start = k
		if !v.Pain {
			fr.baseline, fr.pick = k, k
		}
	}
	if fr.baseline >= 0 {
		fr.why = fmt.Sprintf("Baseline: the last preseason screen without a referral sign, %s.", c.on(l, fr.baseline))
		c.secondReading(l, &fr)
	}
	if fr.pick < 0 {
		fr.pick = 0
	}
	c.afterInjury(l, &fr)
	if fr.flat && fr.start == fr.pick {
		fr.pick = -1
	}
	return fr
}

func (c *courser) on(l *line, k int) screen.Date { return c.out.Visits[l.at[k]].On }

// secondReading moves the baseline to the second reading of a deficit, if there is one. It may have been
// entered as another preseason screen, and is then the baseline already.
func (c *courser) secondReading(l *line, fr *frame) {
	k := fr.baseline
	switch {
	case k > 0 && c.out.Visits[l.at[k-1]].Kind == screen.Preseason && c.isSecond(l, k-1):
		fr.pick = k - 1
		if fr.start == k {
			fr.start = k - 1
		}
	case k < l.last() && c.isSecond(l, k):
		fr.baseline = k + 1
	default:
		return
	}
	fr.why = fmt.Sprintf("Baseline: the second reading, %s. The first, %s, picked the athlete out and is too high on average.",
		c.on(l, fr.baseline), c.on(l, fr.pick))
}

// isSecond reports whether the visit after k is the second reading of a deficit found at k.
func (c *courser) isSecond(l *line, k int) bool {
	first, second := &c.out.Visits[l.at[k]], &c.out.Visits[l.at[k+1]]
	gap := c.days[l.at[k+1]] - c.days[l.at[k]]
	within := c.s.p.FollowUp.SecondReadingDays.Value
	if l.f[k].Verdict != Deficit || first.Pain || second.Pain || second.Kind == screen.Rehab || gap < 1 || float64(gap) > within {
		return false
	}
	for i := range c.out.Events {
		e := &c.out.Events[i]
		if e.On >= first.On && (e.Kind == screen.EventTraining && e.On < second.On || e.Kind == screen.EventInjury && e.On <= second.On) && c.concerns(e, l) {
			return false
		}
	}
	return true
}

// concerns reports whether an event is about the line's link, or about none in particular.
func (c *courser) concerns(e *screen.Event, l *line) bool {
	return e.Link == "" || e.Link == c.s.rules[l.rule].Link
}

// afterInjury moves the start of the trend to the first visit after the last injury, or to the first one
// in rehabilitation, and sees whether what is known of the squad holds there.
func (c *courser) afterInjury(l *line, fr *frame) {
	if injury := c.lastInjury(l, "9999-12-31"); injury != "" {
		for k := fr.start; k < len(l.f); k++ {
			if c.on(l, k) < injury {
				continue
			}
			if k > fr.start {
				fr.start = k
				fr.note = fmt.Sprintf("The trend starts at the first visit after the injury of %s.", injury)
			}
			break
		}
		fr.stale = c.on(l, l.last()) < injury
		if fr.stale {
			fr.note = fmt.Sprintf("An injury was entered for %s; nothing has been measured since, so no trend is drawn.", injury)
		}
	}
	for k := fr.start; k < len(l.f) && !fr.stale; k++ {
		if c.out.Visits[l.at[k]].Kind == screen.Rehab {
			if c.lastInjury(l, c.on(l, k)) == "" {
				fr.start = k
				fr.note = "The trend starts at the first visit in rehabilitation; no injury is on record."
			}
			break
		}
	}
	start := &c.out.Visits[l.at[fr.start]]
	fr.flat = start.Pain || start.Kind == screen.Rehab || c.justBack(l, start.On)
}

// lastInjury is the day of the last injury up to a day, "" if there is none.
func (c *courser) lastInjury(l *line, until screen.Date) (on screen.Date) {
	for i := range c.out.Events {
		if e := &c.out.Events[i]; e.Kind == screen.EventInjury && e.On <= until && c.concerns(e, l) {
			on = e.On
		}
	}
	return on
}

// justBack reports whether on a day the athlete is injured, or was cleared too short a time ago.
func (c *courser) justBack(l *line, day screen.Date) bool {
	injury := c.lastInjury(l, day)
	if injury == "" {
		return false
	}
	back := int(c.s.p.FollowUp.BackDays.Value)
	for i := range c.out.Events {
		if e := &c.out.Events[i]; e.Kind == screen.EventClearance && e.On >= injury && e.On.AddDays(back) <= day {
			return false
		}
	}
	return true
}
