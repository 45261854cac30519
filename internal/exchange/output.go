package exchange

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// ScoreOutput is what the score command prints.
type ScoreOutput struct {
	Protocol  score.ProtocolRef `json:"protocol"`
	Scores    []*score.Report   `json:"scores"`
	Triage    []score.Row       `json:"triage"`
	Questions []Question        `json:"questions,omitempty"`
	Notes     []string          `json:"notes,omitempty"`
}

// ScoreDocument scores every screen of a document, in its order, and puts the athletes in the order
// of triage, each by his or her newest screen; of two on one day the later in the document. A document
// that is Unresolved must not be scored: nothing is known of its athletes.
func ScoreDocument(s *score.Scorer, d *Document) ScoreOutput {
	out := ScoreOutput{Protocol: s.Ref(), Scores: make([]*score.Report, 0, len(d.Records)), Questions: d.Questions, Notes: d.Notes}
	opt := score.Options{Heaped: Heaped(s.Protocol(), d.Records)}
	if opt.Heaped {
		out.Notes = append(out.Notes[:len(out.Notes):len(out.Notes)], "More than 90 % of the angles end in 0 or 5; they were taken as read to 5 degrees, which adds to their error.")
	}
	newest := map[string]int{} // athlete -> place in the list of the newest
	var list []*score.Report
	for i := range d.Records {
		r := s.Score(&d.Records[i], opt)
		out.Scores = append(out.Scores, r)
		at, ok := newest[r.Athlete]
		switch {
		case !ok:
			newest[r.Athlete] = len(list)
			list = append(list, r)
		case r.On >= list[at].On:
			list[at] = r
		}
	}
	out.Triage = s.Triage(list)
	return out
}

// minHeaped is from how many angles on it is judged whether they were read to 5 degrees. Common
// practice, no source.
const minHeaped = 50

// Heaped reports whether more than 90 % of all angles end in 0 or 5, over every trial of the current
// readings in degrees; with fewer than 50 trials that is not judged.
func Heaped(p *screen.Protocol, records []screen.Record) bool {
	all, heaped := 0, 0
	for i := range records {
		for j := range records[i].Readings {
			r := &records[i].Readings[j]
			if m := p.Measure(r.Measure); !r.Stands() || m == nil || m.Unit != "deg" {
				continue
			}
			for _, x := range r.Trials {
				all++
				if math.Mod(x, 5) == 0 {
					heaped++
				}
			}
		}
	}
	return all >= minHeaped && 10*heaped > 9*all
}

// WriteScore writes the output of the score command as JSON. An error is one of w.
func WriteScore(w io.Writer, out ScoreOutput) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	if err := e.Encode(out); err != nil {
		return fmt.Errorf("write scores: %w", err)
	}
	return nil
}
