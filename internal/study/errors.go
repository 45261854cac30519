package study

import "evenhand/internal/screen"

// Errors are the errors that scoring takes if the study is switched on, by measure. Measures of which
// the study says too little are not in it: they keep the published ones.
func (s *Study) Errors() map[string]screen.Error {
	out := map[string]screen.Error{}
	for i := range s.Measures {
		if m := &s.Measures[i]; m.Own != nil {
			out[m.Measure] = *m.Own
		}
	}
	return out
}
