// Package storetest helps the tests of packages above the store.
package storetest

import (
	"database/sql"
	"net/url"
	"path/filepath"
	"testing"

	_ "modernc.org/sqlite" // the engine that the store uses
)

// Consent gives everybody who is entered into the database file at path from now on a consent for
// screening, given by a guardian on the day of birth: for tests that are about something else. What a
// consent is needed for is tested without it.
func Consent(t testing.TB, path string) {
	t.Helper()
	run(t, path, `CREATE TRIGGER consent_of_everybody AFTER INSERT ON athletes BEGIN
		INSERT INTO consents (id, athlete_id, purpose, on_day, version, given_by, giver, recorded, by_id, by_name, withdrawn_on, withdrawn, withdrawn_by, why)
		VALUES (NEW.id, NEW.id, 'screening', max(NEW.born, '1900-01-01'), 'example 1', 'guardian', '', 1, '', '', '', 0, '', '');
	END`)
}

// NoConsent ends that: who is entered from now on has none.
func NoConsent(t testing.TB, path string) {
	t.Helper()
	run(t, path, "DROP TRIGGER consent_of_everybody")
}

func run(t testing.TB, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: filepath.ToSlash(path)}).EscapedPath()+"?_pragma=busy_timeout(10000)")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}()
	if _, err := db.ExecContext(t.Context(), statement); err != nil {
		t.Fatal(err)
	}
}
