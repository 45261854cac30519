package screen

import (
	"fmt"
	"math"
	"strings"
)

// DefaultTransfer widens a published error of one laboratory for use by others: understating an
// error is expensive, overstating it nearly free. Assumed.
const DefaultTransfer = 1.25

// SEMFromMDC95 is the standard error of measurement that a minimal detectable change at 95 %
// belongs to: MDC₉₅ = 1.96·√2·SEM (Weir JP. J Strength Cond Res 2005;19:231-240).
func SEMFromMDC95(mdc float64) float64 { return mdc / (1.96 * math.Sqrt2) }

// SEMFromMDC90 is the same for a change at 90 %: MDC₉₀ = 1.645·√2·SEM.
func SEMFromMDC90(mdc float64) float64 { return mdc / (1.645 * math.Sqrt2) }

// MDC95 is the minimal detectable change at 95 % of a measure with the SEM given.
func MDC95(sem float64) float64 { return 1.96 * math.Sqrt2 * sem }

// StandardError is the SEM that a published error states, in its own unit; 0 for nil.
func (e *PublishedError) StandardError() float64 {
	switch {
	case e == nil:
		return 0
	case e.MDC95 != 0:
		return SEMFromMDC95(e.MDC95)
	case e.MDC90 != 0:
		return SEMFromMDC90(e.MDC90)
	}
	return e.SEM
}

// resolve turns published errors into the four standard deviations of a measure. A same-examiner
// error contains the trials' own scatter and the placing (and, if the sessions were on different
// days, the day, halved between the two); what another examiner adds is the excess of the error
// between examiners. A measure with only an error between examiners gets all of it as placing and
// day: that overstates, and never understates, the error of a side difference.
func (s *ErrorSpec) resolve(scale Scale, sources map[string]Source) Error {
	unit := 1.0
	if scale == Log {
		unit = 0.01 // percent of the value; to first order the SD of the logarithm
	}
	var e Error
	if s.Trial != nil {
		e.Trial = s.Trial.Value * unit
	}
	base := s.Within
	if base == nil {
		base = s.Between
	}
	if base == nil {
		return e
	}
	excess := excessOver(base, e.Trial, unit, 0)
	if base.SameSession {
		e.Placing, e.LowerBound = math.Sqrt(excess), true
	} else {
		e.Placing = math.Sqrt(excess / 2)
		e.Day = e.Placing
	}
	if s.Within != nil && s.Between != nil {
		e.Examiner = math.Sqrt(excessOver(s.Between, e.Trial, unit, excess))
	}
	t := s.Transfer
	if t == 0 {
		t = DefaultTransfer
	}
	e.Placing, e.Day, e.Examiner = e.Placing*t, e.Day*t, e.Examiner*t
	e.Source = s.words(t, sources)
	return e
}

func excessOver(p *PublishedError, trial, unit, known float64) float64 {
	sem := p.StandardError() * unit
	return max(0, sem*sem-trial*trial/float64(max(1, p.Trials))-known)
}

// words names where a measure's error comes from.
func (s *ErrorSpec) words(transfer float64, sources map[string]Source) string {
	var parts []string
	name := func(label, source string, st Status) {
		text := st.Words()
		if c := sources[source].Cite; c != "" {
			text = c
			if st != Seen {
				text += " (" + st.Words() + ")"
			}
		}
		parts = append(parts, label+": "+text)
	}
	if s.Within != nil {
		name("same examiner", s.Within.Source, s.Within.Status)
	}
	if s.Between != nil {
		name("another examiner", s.Between.Source, s.Between.Status)
	}
	if transfer != 1 {
		parts = append(parts, fmt.Sprintf("widened by %g for use elsewhere (assumed)", transfer))
	}
	return strings.Join(parts, "; ")
}
