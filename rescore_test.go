package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The verdicts on file by rule, and beside them those of a protocol with a threshold that nobody reaches.
func TestRescoreCommand(t *testing.T) {
	dir := t.TempDir()
	db, other := filepath.Join(dir, "t.db"), filepath.Join(dir, "other.yaml")
	file := strings.Replace(document, `"numbness"`, `"`+referralSign(t)+`"`, 1)
	if code, _, errs := call(t, file, "import", "--db", db, "--consent-on", "2026-02-01", "--team", "Team", "-"); code != 0 {
		t.Fatal(errs)
	}
	code, out, errs := call(t, "", "rescore", "--db", db)
	if code != 0 || !strings.Contains(out, "2 screens by evenhand-default") || !strings.Contains(row(out, "internal_rotation_loss"), "1 0 0") {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
	own := `
extends: default
name: own
version: "1"
title: Another threshold
rules:
  - {id: internal_rotation_loss, name: Loss of internal rotation, link: shoulder, kind: side_difference, measure: shoulder_internal_rotation, signed: true, why: a test, thresholds: [{value: 90, unit: deg, status: assumed}]}
`
	if err := os.WriteFile(other, []byte(own), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs = call(t, "", "rescore", "--db", db, "--with", other)
	if code != 0 || !strings.Contains(out, "then by own 1") || row(out, "internal_rotation_loss") != "internal_rotation_loss 1 0 0 0 0 1 1" {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
	missing := filepath.Join(dir, "missing.db")
	if code, _, errs := call(t, "", "rescore", "--db", missing); code != 1 || !strings.Contains(errs, "no database file") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if _, err := os.Stat(missing); err == nil {
		t.Error("a file was made")
	}
}

// row is a line of a table, with single blanks.
func row(table, first string) string {
	for _, line := range strings.Split(table, "\n") {
		if strings.HasPrefix(line, first+" ") {
			return strings.Join(strings.Fields(line), " ")
		}
	}
	return ""
}
