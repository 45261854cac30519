package web

import (
	"fmt"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// ladder is the chain as it is drawn: from the hand at the top to the ground at the bottom. The
// throwing side grows to the right of the spine for left-handers too; where sides are only compared
// the right side does.
type ladder struct {
	Left, Right string // what the two sides of the drawing are
	Compared    bool   // sides are only compared: neither has the colour of the throwing side
	Rungs       []rung // hand first
}

// rung is one link. Bars are lengths in hundredths of half the ladder's width.
type rung struct {
	Name, Words string
	Verdict     score.Verdict
	Measured    bool
	Partly      bool
	OnLeft      int // length of the bar to the left, 0: none
	OnRight     int
	Both        bool // no side is the worse one: half of the bar stands on either side
	Usual       int  // place of the mark of what is usual, as a length; -1: not known
	UsualLeft   bool // the mark stands on the left
	Text        string
}

func ladderOf(rep *score.Report, p *screen.Protocol) *ladder {
	l := &ladder{Left: "Left side", Right: "Right side", Compared: !rep.Sides}
	far := screen.Right
	if rep.Sides {
		far = screen.Side(rep.Hand)
		l.Right, l.Left = "Throwing side ("+string(far)+")", "Other side ("+string(far.Other())+")"
	}
	for i := len(p.Links) - 1; i >= 0; i-- {
		l.Rungs = append(l.Rungs, rungOf(rep, &p.Links[i], far))
	}
	return l
}

func rungOf(rep *score.Report, link *screen.Link, far screen.Side) rung {
	r := rung{Name: link.Name, Words: "not measured", Verdict: score.Unsettled, Usual: -1}
	for i := range rep.Links {
		x := &rep.Links[i]
		if x.Link != link.ID || x.P == nil {
			continue
		}
		r.Measured, r.Partly, r.Verdict = true, x.Partly, x.Verdict
		r.Words = string(x.Verdict)
		if x.Partly {
			r.Words += ", partly measured"
		}
		r.Text = score.OutOf100(*x.P)
		r.place(score.WorseSide(rep, link.ID), far, hundredths(*x.P))
		if x.PUsual != nil {
			r.Text += fmt.Sprintf(" (usual: %.0f)", 100**x.PUsual)
			r.Usual = hundredths(*x.PUsual)
			if r.Both {
				r.Usual /= 2
			}
		}
	}
	return r
}

func (r *rung) place(worse, far screen.Side, length int) {
	switch worse {
	case far:
		r.OnRight = length
	case far.Other():
		r.OnLeft, r.UsualLeft = length, true
	default:
		r.Both, r.OnLeft, r.OnRight = true, length/2, length/2
	}
}

// hundredths of a probability; what is more than nothing is drawn as something.
func hundredths(p float64) int { return max(1, int(100*p+0.5)) }
