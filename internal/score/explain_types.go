package score

import "evenhand/internal/screen"

// Explanation is the arithmetic of one finding in plain steps, with the athlete's own numbers.
type Explanation struct {
	Screen   string      `json:"screen"`
	Rule     string      `json:"rule"`
	Name     string      `json:"name"`
	Side     screen.Side `json:"side,omitempty"`
	Verdict  Verdict     `json:"verdict" enum:"deficit,clear,unsettled"`
	Sentence string      `json:"sentence"`
	Steps    []Step      `json:"steps" nullable:"false"`
	Parts    []Part      `json:"conditions,omitempty" doc:"of a rule of two conditions: its conditions, each with an explanation of its own"`
	Change   []string    `json:"what_would_change_it" nullable:"false" doc:"in sentences"`
	Source   string      `json:"source"`
}

// Part is a condition of a rule of two conditions.
type Part struct {
	Rule    string  `json:"rule"`
	Name    string  `json:"name"`
	Verdict Verdict `json:"verdict" enum:"deficit,clear,unsettled"`
}

// Step is one step: what is done, in a sentence, and the numbers that go in and come out.
type Step struct {
	Title string `json:"title"`
	Text  string `json:"text"`
	Terms []Term `json:"terms,omitempty"`
}

// Term is a number of a step, as it is shown. Result marks what the step comes to.
type Term struct {
	Label  string   `json:"label"`
	Value  string   `json:"value" doc:"rounded, with its unit"`
	Note   string   `json:"note,omitempty"`
	Number *float64 `json:"number,omitempty" doc:"the same without rounding, in the unit shown; a probability from 0 to 1"`
	Result bool     `json:"result,omitempty"`
}
