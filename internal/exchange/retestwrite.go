package exchange

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"evenhand/internal/screen"
	"evenhand/internal/study"
)

// WriteRetestCSV writes the readings of a retest study in the form that ReadRetest reads, exactly:
// separated by commas, with a decimal point, and as many columns of trials as there are. Values carry
// the protocol's signs, and the column sign says so where it matters. An error is one of w.
func WriteRetestCSV(w io.Writer, p *screen.Protocol, readings []study.Reading) error {
	most, signed := 1, false
	for i := range readings {
		most = max(most, len(readings[i].Trials))
		signed = signed || signWord(p, readings[i].Measure) != ""
	}
	head := []string{"athlete", "measure", "side", "examiner", "day"}
	if signed {
		head = append(head, "sign")
	}
	for k := range most {
		head = append(head, "trial"+strconv.Itoa(k+1))
	}
	out := csv.NewWriter(w)
	err := out.Write(head)
	row := make([]string, 0, len(head))
	for i := 0; i < len(readings) && err == nil; i++ {
		r := &readings[i]
		row = append(row[:0], escape(r.Athlete), escape(r.Measure), string(r.Side), escape(r.Examiner), string(r.Occasion))
		if signed {
			row = append(row, signWord(p, r.Measure))
		}
		for k := range most {
			cell := ""
			if k < len(r.Trials) {
				cell = number(r.Trials[k])
			}
			row = append(row, cell)
		}
		err = out.Write(row)
	}
	out.Flush()
	if err == nil {
		err = out.Error()
	}
	if err != nil {
		return fmt.Errorf("write repeated readings: %w", err)
	}
	return nil
}
