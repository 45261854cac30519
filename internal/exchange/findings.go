package exchange

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"

	"evenhand/internal/score"
)

var findingsHeader = []string{"athlete", "screen", "date", "rule", "link", "measure", "difference", "se", "threshold",
	"p_measured", "p", "verdict", "reason", "unit", "source"}

// WriteFindingsCSV writes the findings of reports, one a row: difference, se and threshold in the unit
// named, to six digits; p_measured and p from 0 to 1. It is meant for spreadsheets and statistics and
// is not read back. An error is one of w.
func WriteFindingsCSV(w io.Writer, reports []*score.Report) error {
	out := csv.NewWriter(w)
	if err := out.Write(findingsHeader); err != nil {
		return fmt.Errorf("write findings: %w", err)
	}
	for _, r := range reports {
		for i := range r.Findings {
			f := &r.Findings[i]
			row := []string{escape(r.Athlete), escape(r.Screen), string(r.On), escape(f.Rule), escape(f.Link), escape(f.Measure),
				sixDigits(f.Difference), sixDigits(f.SE), sixDigits(f.Threshold), sixDigits(f.PMeasured), sixDigits(f.P),
				string(f.Verdict), escape(f.Reason), escape(f.Unit), escape(f.Source)}
			if err := out.Write(row); err != nil {
				return fmt.Errorf("write findings: %w", err)
			}
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write findings: %w", err)
	}
	return nil
}

// sixDigits is a computed number; nothing where it is not finite.
func sixDigits(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	return strconv.FormatFloat(x, 'g', 6, 64)
}
