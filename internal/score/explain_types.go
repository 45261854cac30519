package score

import "evenhand/internal/screen"

// Explanation is the arithmetic of one finding in plain steps, with the athlete's own numbers.
type Explanation struct {
	Screen   string      `json:"screen"`
	Rule     string      `json:"rule"`
	Name     string      `json:"name"`
	Side     screen.Side `json:"side,omitempty"`
	Verdict  Verdict     `json:"verdict"`
	Sentence string      `json:"sentence"`
	Steps    []Step      `json:"steps"`
	Change   []string    `json:"what_would_change_it" doc:"in sentences"`
	Source   string      `json:"source"`
}

// Step is one step: what is done, in a sentence, and the numbers that go in and come out.
type Step struct {
	Title string `json:"title"`
	Text  string `json:"text"`
	Terms []Term `json:"terms,omitempty"`
}

// Term is a number of a step, as it is shown. Result marks what the step comes to.
type Term struct {
	Label  string `json:"label"`
	Value  string `json:"value"`
	Note   string `json:"note,omitempty"`
	Result bool   `json:"result,omitempty"`
}
