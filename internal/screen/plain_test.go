package screen

import (
	"strings"
	"testing"
)

// A sentence for the athlete names what the code fills in, and nothing else: a hole would be printed.
func TestPlainSentencesAreChecked(t *testing.T) {
	for sentence, want := range map[string]string{
		"Your {side} elbow bends {amount} less (give or take {error})":                      "",
		"Your {side} elbow bends {amount} less than the {other} one (give or take {error})": "",
		"Your {side} elbow bends less (give or take {error})":                               "does not name {amount}",
		"Your elbow bends {amount} less (give or take {error})":                             "does not name {side}",
		"Your {side} elbow bends {amount} less (give or take {error}) on {day}":             "unknown part {day}",
		"Your {side} elbow bends {amount1} less (give or take {error}), {amount}":           "unknown part {amount1}",
		"Your {side} elbow} bends {amount} less (give or take {error})":                     "a brace stands alone",
	} {
		_, err := LoadProtocol("mine", strings.NewReader(`extends: default
name: mine
version: 1.0.0
title: Mine
rules:
  - id: elbow_flexion_loss
    name: Loss of elbow flexion
    plain: "`+sentence+`"
    link: elbow
    kind: side_difference
    measure: elbow_flexion
    signed: true
    thresholds:
      - {value: 10, unit: deg, status: common_practice}
    counted: true
    core: false
`))
		switch {
		case want == "" && err != nil:
			t.Errorf("%s: %v", sentence, err)
		case want != "" && (err == nil || !strings.Contains(err.Error(), want)):
			t.Errorf("%s: %v, want %s", sentence, err, want)
		}
	}
}
