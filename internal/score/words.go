package score

import (
	"fmt"
	"math"
	"strings"

	"evenhand/internal/screen"
)

// Sentence says a finding in words: "Throwing side: shoulder internal rotation 14° less than the other
// (give or take 6°). Threshold 13°. Probably a true deficit: 66 in 100." give or take is 1.96 standard
// errors.
func (s *Scorer) Sentence(f *Finding) string {
	var b strings.Builder
	m := s.p.Measure(f.Measure)
	if m == nil {
		return f.Name
	}
	switch f.RuleKind {
	case screen.AllOf:
		fmt.Fprintf(&b, "%s: both conditions together.", f.Name)
	case screen.SideDifference, screen.SidePercent:
		b.WriteString(differenceWords(f, m))
	default:
		side := strings.TrimSpace(f.Role + " " + sideWord(f.Side))
		fmt.Fprintf(&b, "%s, %s: %s (give or take %s). %s %s.", m.Name, side, f.amount(f.Difference, m), f.amount(1.96*f.SE, m),
			limitWord(f.RuleKind), f.amount(f.Threshold, nil))
	}
	fmt.Fprintf(&b, " %s", VerdictSentence(f))
	return b.String()
}

func limitWord(k screen.RuleKind) string {
	if k == screen.Ceiling {
		return "Looked at above"
	}
	return "Looked at below"
}

// amount writes a number of the finding in its unit, as finely as the measure is read.
func (f *Finding) amount(x float64, m *screen.Measure) string {
	return screen.Amount(number(x, m), f.Unit)
}

func differenceWords(f *Finding, m *screen.Measure) string {
	who := "The " + f.Worse + " side"
	if f.Kind == "signed" || f.Role != "" {
		who = "Throwing side"
		if m.Limb == screen.Leg {
			who = "Lead leg"
		}
	}
	size, word := f.Difference, "less"
	if f.Kind == "absolute" {
		size = math.Abs(size)
	}
	if m.Worse != "lower" {
		word = "more"
	}
	if size < 0 {
		size, word = -size, map[string]string{"less": "more", "more": "less"}[word]
	}
	limit := fmt.Sprintf("Threshold %s.", f.amount(math.Abs(f.Threshold), nil))
	if f.Threshold < 0 { // a gain of the throwing side is asked for
		limit = fmt.Sprintf("At least %s more is looked for.", f.amount(math.Abs(f.Threshold), nil))
	}
	return fmt.Sprintf("%s: %s %s %s than the other (give or take %s). %s", who, strings.ToLower(m.Name[:1])+m.Name[1:],
		f.amount(size, m), word, f.amount(1.96*f.SE, m), limit)
}

// VerdictSentence says verdict and probability: "Very likely a true deficit: 87 in 100."
func VerdictSentence(f *Finding) string {
	switch {
	case f.Verdict == Deficit && f.P >= 0.95:
		return fmt.Sprintf("Very likely a true deficit: %s.", OutOf100(f.P))
	case f.Verdict == Deficit:
		return fmt.Sprintf("Likely a true deficit: %s.", OutOf100(f.P))
	case f.Verdict == Clear:
		return fmt.Sprintf("Clear: a true deficit in %s.", OutOf100(f.P))
	}
	return fmt.Sprintf("Unsettled, a true deficit in %s: %s.", OutOf100(f.P), f.Reason)
}

// Headline counts links: "Of 8 links measured: 5 clear, 1 deficit, 2 unsettled."
func Headline(r *Report) string {
	if r.LinksMeasured == 0 {
		return "No link is fully measured yet."
	}
	return fmt.Sprintf("Of %d %s measured: %d clear, %d deficit, %d unsettled.", r.LinksMeasured,
		plural(r.LinksMeasured, "link", "links"), r.LinksClear, r.LinksDeficit, r.LinksUnsettled)
}

// Usual compares the expected number of clear links with what is usual, on the links for which that
// is known; empty if it is known for none.
func Usual(r *Report) string {
	if r.LinksClearUsual == nil {
		return ""
	}
	return fmt.Sprintf("Expected clear among the %d whose usual is known: %.1f; usual %.1f.", r.LinksCompared, r.ExpectedCompared, *r.LinksClearUsual)
}

func sideWord(s screen.Side) string {
	if s == screen.NoSide {
		return ""
	}
	return string(s)
}

// number writes a value as finely as the measure is read, at most two decimals.
func number(x float64, m *screen.Measure) string {
	digits := 1
	switch {
	case m != nil && m.Step >= 1, m == nil && x == math.Trunc(x):
		digits = 0
	case m != nil && m.Unit == "1", m == nil && x*10 != math.Trunc(x*10):
		digits = 2
	}
	out := fmt.Sprintf("%.*f", digits, x)
	if strings.Trim(out, "-0.") == "" {
		out = strings.TrimPrefix(out, "-")
	}
	return out
}

// Number writes a value in the fineness in which its measure is read.
func Number(x float64, m *screen.Measure) string { return number(x, m) }

// WorseSide of a link is that of its most probable counted finding, the first of equals; NoSide if that
// finding has no side.
func WorseSide(rep *Report, link string) screen.Side {
	side, most := screen.NoSide, -1.0
	for i := range rep.Findings {
		f := &rep.Findings[i]
		if f.Link != link || !f.Counted || !(f.P > most) {
			continue
		}
		most, side = f.P, screen.NoSide
		for _, s := range []screen.Side{screen.Left, screen.Right} {
			if f.Side == s || f.Worse == string(s) {
				side = s
			}
		}
	}
	return side
}
