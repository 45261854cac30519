package store

import (
	"regexp"
	"strings"
	"testing"
)

// TestPlans asks the engine how it would run each statement: none reads a whole table or sorts. A list
// of ids given as JSON is read from end to end, as it should be.
func TestPlans(t *testing.T) {
	s := squad(t)
	place := regexp.MustCompile(`\?[0-9]*`)
	for _, q := range statements {
		args := make([]any, len(place.FindAllString(q, -1)))
		for i := range args {
			args[i] = ""
		}
		rows, err := s.read.sql.QueryContext(t.Context(), "EXPLAIN QUERY PLAN "+q, args...)
		if err != nil {
			t.Errorf("%s\n%v", q, err)
			continue
		}
		for rows.Next() {
			var id, parent, unused int
			var detail string
			if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
				t.Fatal(err)
			}
			scan := strings.HasPrefix(detail, "SCAN") && !strings.HasPrefix(detail, "SCAN j VIRTUAL TABLE")
			if scan || strings.Contains(detail, "TEMP B-TREE") {
				t.Errorf("%s\n  %s", q, detail)
			}
		}
		if err := rows.Err(); err != nil {
			t.Error(err)
		}
	}
}

// TestStatementList finds a statement that was declared and forgotten in the list.
func TestStatementList(t *testing.T) {
	seen := map[string]bool{}
	for _, q := range statements {
		if seen[q] {
			t.Errorf("twice in the list: %s", q)
		}
		seen[q] = true
	}
	s := squad(t)
	read(t, s, func(tx *Tx) error {
		if _, err := tx.rows("SELECT 1"); err == nil {
			t.Error("a statement outside the list was run")
		}
		if err := tx.exec("DELETE FROM teams"); err == nil {
			t.Error("a statement outside the list was run")
		}
		return nil
	})
}
