package web

import (
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/clinic"
)

func rowInWords(b *clinic.Board, r *clinic.BoardRow) boardRow {
	out := boardRow{Number: r.Number, Athlete: r.Athlete, Name: r.Person.Name, Hand: shortHand(r.Hand), Hold: r.Hold, Without: !r.Consent, Complete: r.Complete}
	if r.Twice {
		out.Notes = append(out.Notes, "measured twice")
	}
	if !r.Added.IsZero() {
		out.Notes = append(out.Notes, "came late")
	}
	if !r.CheckIn && begun(r) {
		out.Notes = append(out.Notes, "not checked in")
	}
	for i := range min(len(r.Cells), len(b.Stations)) {
		c := &r.Cells[i]
		m := markOf(c, i+1, b.Stations[i].Name)
		out.Marks = append(out.Marks, m)
		out.MissingN += c.Missing + c.SecondMissing
		if c.Missing+c.SecondMissing > 0 || len(m.More) > 0 {
			out.Details = append(out.Details, detailOf(c, &m))
		}
	}
	return out
}

// markOf says in a few letters how far an athlete is at a station. What was not done counts as seen to.
func markOf(c *clinic.BoardCell, number int, station string) boardMark {
	m := boardMark{Number: number, Station: station}
	seen, all := c.Taken+c.NotDone, c.Taken+c.NotDone+c.Missing
	switch {
	case all == 0:
		m.Text, m.Short, m.Nothing = "not here", "·", true
	case seen == 0:
		m.Text, m.Short, m.Nothing = "–", "–", true
	case c.Missing == 0:
		m.Text, m.Short = "done", "done"
	default:
		m.Text, m.Short = fmt.Sprintf("%d of %d", seen, all), fmt.Sprintf("%d/%d", seen, all)
	}
	if c.NotDone > 0 {
		text := c.Others
		if text == "" {
			text = fmt.Sprintf("%d not done", c.NotDone)
		}
		m.More = append(m.More, text)
	}
	switch second := c.Second + c.SecondMissing; {
	case second == 0:
	case c.SecondMissing == 0:
		m.More = append(m.More, "2nd: done")
	case c.Second == 0:
		m.More = append(m.More, "2nd: –")
	default:
		m.More = append(m.More, fmt.Sprintf("2nd: %d of %d", c.Second, second))
	}
	return m
}

// begun reports whether anything was taken of an athlete.
func begun(r *clinic.BoardRow) bool {
	return slices.ContainsFunc(r.Cells, func(c clinic.BoardCell) bool { return c.Taken+c.Second > 0 })
}

// detailOf says all that is to say of an athlete at one station. Where nothing was taken yet, nothing
// is listed.
func detailOf(c *clinic.BoardCell, m *boardMark) boardDetail {
	out := boardDetail{Station: m.Station}
	for _, words := range append([]string{m.Text}, m.More...) {
		out.Words = append(out.Words, strings.ReplaceAll(words, "–", "nothing yet"))
	}
	if c.Taken+c.NotDone > 0 {
		out.Missing = append(out.Missing, c.Names...)
	}
	if c.Second > 0 && c.SecondMissing > 0 {
		out.Missing = append(out.Missing, fmt.Sprintf("%d of the second measurement", c.SecondMissing))
	}
	return out
}
