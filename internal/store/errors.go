package store

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"evenhand/internal/screen"
)

// SQLite's extended result codes that have a meaning for a user, and those of a busy and of a wrong file.
const (
	codeForeignKey = 787
	codePrimaryKey = 1555
	codeUnique     = 2067
	codeBusy       = 5  // in the low byte
	codeCorrupt    = 11 // in the low byte
	codeFull       = 13
	codeNotADB     = 26
	codeWrite      = 778  // the disk took less than was to be written, and did not say that it is full
	codeShmSize    = 4874 // no room for the index of the log
)

// maxID is the longest id that is kept, in bytes: a UUID has 36.
const maxID = 64

// code is the engine's result code of err, 0 if err is not the engine's.
func code(err error) int {
	var e interface{ Code() int }
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}

// fullError is a Problem for who asked, and the engine's error for who looks for the cause.
type fullError struct {
	problem *screen.Problem
	cause   error
}

func (e *fullError) Error() string   { return e.problem.Error() }
func (e *fullError) Unwrap() []error { return []error{e.problem, e.cause} }

// noRoom says in words that the disk took no more.
func noRoom(err error) error {
	switch code(err) {
	case codeFull, codeWrite, codeShmSize:
		return &fullError{&screen.Problem{Code: screen.Full, Text: "the disk is full, or takes no more from evenhand; nothing was changed",
			Want: "have who runs this evenhand make room, then send it again"}, err}
	}
	return err
}

// openError says what it means that a file could not be read as a database.
func openError(err error) error {
	if code(err) == codeNotADB {
		return ErrForeign
	}
	return err
}

// ref is a record that another one refers to.
type ref struct{ kind, exists, id string }

// refused turns the engine's error from writing a record of the kind given into a Problem. The engine
// does not say which reference led nowhere, so they are looked up.
func (tx *Tx) refused(err error, kind string, refs ...ref) error {
	switch code(err) {
	case codeUnique, codePrimaryKey:
		return taken(kind)
	case codeForeignKey:
		for _, r := range refs {
			if _, found, e := one[flagRow](tx, r.exists, r.id); e != nil {
				return e
			} else if !found {
				return &screen.Problem{Code: screen.Invalid,
					Text: "the " + r.kind + " that the " + kind + " refers to is not on record",
					Want: "enter the " + r.kind + " first"}
			}
		}
		return &screen.Problem{Code: screen.Invalid, Text: "the " + kind + " refers to something that is not on record"}
	}
	return fmt.Errorf("store: write a %s: %w", kind, err)
}

func taken(kind string) error {
	return &screen.Problem{Code: screen.Conflict,
		Text: "the id of the " + kind + " is taken by another one, which says something else",
		Want: "give what is new an id of its own"}
}

func notFound(kind string) error {
	return &screen.Problem{Code: screen.NotFound, Text: "there is no such " + kind}
}

// checkID refuses an id that cannot be kept.
func checkID(kind, id string) error {
	if id == "" || len(id) > maxID {
		return &screen.Problem{Code: screen.Invalid,
			Text: fmt.Sprintf("the id of the %s has %d characters", kind, len(id)),
			Want: fmt.Sprintf("it may have 1 to %d", maxID)}
	}
	if strings.ContainsFunc(id, unicode.IsControl) {
		return &screen.Problem{Code: screen.Invalid,
			Text: "the id of the " + kind + " has a control character in it", Want: "use a UUID"}
	}
	return nil
}

// decide says whether a record that has a revision is to be written: not if the same is on file.
// Returns Conflict if a new record meets another one with its id, NotFound if there is none to
// change, Stale if it is no longer at ifRevision.
func decide(kind string, found, same bool, revision, ifRevision int) (write bool, err error) {
	switch {
	case found && same:
		return false, nil
	case !found && ifRevision == 0:
		return true, nil
	case !found:
		return false, notFound(kind)
	case ifRevision == 0:
		return false, taken(kind)
	case revision != ifRevision:
		return false, &screen.Problem{Code: screen.Stale,
			Text: "the " + kind + " was changed by somebody else meanwhile",
			Want: "read it again, then change it"}
	}
	return true, nil
}
