package main

import (
	"encoding/json"
	"strings"
	"testing"

	"evenhand/internal/score"
)

// Invented One turns 32° on the throwing side and 61° on the other: 29° less.
func TestScoreExplained(t *testing.T) {
	file := strings.Replace(document, `"numbness"`, `"`+referralSign(t)+`"`, 1)
	code, out, errs := call(t, file, "score", "--explain", "internal_rotation_loss", "-")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var got []score.Explanation
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || got[0].Screen != "s1" || got[0].Verdict != score.Deficit || len(got[0].Change) == 0 {
		t.Fatalf("%+v", got)
	}
	if !strings.Contains(out, `"61.0° − 32.0°`) || !strings.Contains(out, `"31, 33 → 32.0°"`) {
		t.Error(out)
	}
	if code, _, errs := call(t, file, "score", "--explain", "nothing", "-"); code != 1 || !strings.Contains(errs, `no finding by the rule "nothing"`) {
		t.Errorf("exit %d: %s", code, errs)
	}
}
