package score

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// The groups of a triage, in the order in which they stand.
const (
	GroupReferral     = "referral"
	GroupRanked       = "ranked"
	GroupMeasureFirst = "measure_first"
)

// Row is an athlete's place in the triage of a squad.
type Row struct {
	Athlete  string  `json:"athlete"`
	Screen   string  `json:"screen"`
	Rank     int     `json:"rank"`
	Group    string  `json:"group" enum:"referral,ranked,measure_first"`
	Expected float64 `json:"expected_deficits" doc:"expected number of links and unmeasured core rules with a true deficit, rounded to 0.5"`
	Why      string  `json:"why"`

	tie float64
}

// Triage orders the reports of a squad, one an athlete: referral signs first, then by the expected
// number of deficits. An unmeasured core rule counts (ΣP + 4r)/(n + 4), with the athlete's own n
// measured rules and the squad's mean r, so that nobody rises or falls for not being measured. With
// fewer than half of the core rules measured an athlete cannot be ranked: measure first.
func (s *Scorer) Triage(reports []*Report) []Row {
	r := squadMean(reports)
	rows := make([]Row, 0, len(reports))
	for _, rep := range reports {
		rows = append(rows, s.row(rep, r))
	}
	sort.SliceStable(rows, func(i, j int) bool { return before(&rows[i], &rows[j]) })
	for i := range rows {
		rows[i].Rank = i + 1
	}
	return rows
}

var groupOrder = map[string]int{GroupReferral: 0, GroupRanked: 1, GroupMeasureFirst: 2}

func before(a, b *Row) bool {
	switch {
	case a.Group != b.Group:
		return groupOrder[a.Group] < groupOrder[b.Group]
	case a.Expected != b.Expected:
		return a.Expected > b.Expected
	case a.tie != b.tie:
		return a.tie > b.tie
	}
	return a.Athlete < b.Athlete
}

func squadMean(reports []*Report) float64 {
	sum, n := 0.0, 0
	for _, r := range reports {
		sum += r.countedP
		n += r.countedN
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

func (s *Scorer) row(rep *Report, r float64) Row {
	expected := 0.0
	for i := range rep.Links {
		if p := rep.Links[i].P; p != nil {
			expected += *p
		}
	}
	missing := rep.CoreRules - rep.CoreMeasured
	expected += float64(missing) * (rep.countedP + 4*r) / (float64(rep.countedN) + 4)
	row := Row{Athlete: rep.Athlete, Screen: rep.Screen, Group: GroupRanked, Expected: math.Round(2*expected) / 2, tie: rep.worst}
	switch {
	case len(rep.Referral) > 0:
		row.Group = GroupReferral
	case 2*rep.CoreMeasured < rep.CoreRules || rep.CoreMeasured == 0:
		row.Group = GroupMeasureFirst
	}
	row.Why = s.why(rep, row.Group, missing)
	return row
}

// why says in a sentence why an athlete stands where he or she stands.
func (s *Scorer) why(rep *Report, group string, missing int) string {
	var parts []string
	if group == GroupReferral {
		names := make([]string, 0, len(rep.Referral))
		for _, id := range rep.Referral {
			names = append(names, s.p.Symptom(id).Name)
		}
		parts = append(parts, "Referral sign: "+strings.Join(names, ", ")+". Stop throwing, see a licensed clinician")
	}
	if group == GroupMeasureFirst {
		parts = append(parts, fmt.Sprintf("%d of %d core rules measured: measure first", rep.CoreMeasured, rep.CoreRules))
	}
	for _, f := range topFindings(rep, 3) {
		parts = append(parts, fmt.Sprintf("%s: %s, %s", f.Name, f.Verdict, OutOf100(f.P)))
	}
	if group == GroupRanked && missing > 0 {
		parts = append(parts, fmt.Sprintf("%d core %s not measured", missing, plural(missing, "rule", "rules")))
	}
	if len(parts) == 0 {
		parts = append(parts, "no counted rule stands out")
	}
	return strings.Join(parts, "; ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// topFindings are the counted findings that are not clear, the most probable first.
func topFindings(rep *Report, most int) []*Finding {
	var out []*Finding
	for i := range rep.Findings {
		if f := &rep.Findings[i]; f.Counted && f.Verdict != Clear && f.P > 0.2 {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(a, b *Finding) int {
		switch {
		case a.P > b.P:
			return -1
		case a.P < b.P:
			return 1
		}
		return 0
	})
	return out[:min(most, len(out))]
}

// OutOf100 is a probability as it is said: "87 in 100", "over 99 in 100", "under 1 in 100".
func OutOf100(p float64) string {
	switch {
	case p > 0.99:
		return "over 99 in 100"
	case p < 0.01:
		return "under 1 in 100"
	}
	return fmt.Sprintf("%.0f in 100", 100*p)
}

// NamedAthlete is an athlete by id and name.
type NamedAthlete struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}
