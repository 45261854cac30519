package store

import (
	"encoding/base64"
	"strings"

	"evenhand/internal/screen"
)

// Page asks for part of a list: up to Limit entries after the place After, the mark that came with
// the page before. Without After it is the first page.
type Page struct {
	After string
	Limit int // 0: 50; more than 500 are not given at once
}

const (
	defaultLimit = 50
	maxLimit     = 500
)

func (p Page) limit() int {
	if p.Limit <= 0 {
		return defaultLimit
	}
	return min(p.Limit, maxLimit)
}

// key is the place after which the page begins, first if it is the first page.
func (p Page) key(first [2]string) ([2]string, error) {
	if p.After == "" {
		return first, nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(p.After)
	id, sort, ok := strings.Cut(string(raw), "\x00") // no id has a NUL, a name may
	if err != nil || !ok {
		return first, &screen.Problem{Code: screen.Invalid,
			Text: "the mark of the page is not one that was given out", Want: "start from the first page"}
	}
	return [2]string{sort, id}, nil
}

// The places before the first entry: of a list that ascends by name or day and id, and of one that
// descends by day and id. Days are digits, which sort before a tilde.
var (
	beforeAll = [2]string{"", ""}
	afterAll  = [2]string{"~", "~"}
)

// pageOf is one page of a query that takes args, the two parts of a key and a limit. One row more than
// asked for is read, to know whether there is another page.
func pageOf[T any, P row[T]](tx *Tx, query string, p Page, first [2]string, key func(P) [2]string, args ...any) ([]T, string, error) {
	from, err := p.key(first)
	if err != nil {
		return nil, "", err
	}
	n := p.limit()
	rows, err := all[T, P](tx, query, append(args, from[0], from[1], n+1)...)
	if err != nil || len(rows) <= n {
		return rows, "", err
	}
	k := key(P(&rows[n-1]))
	return rows[:n], base64.RawURLEncoding.EncodeToString([]byte(k[1] + "\x00" + k[0])), nil
}

// convert turns rows into what they stand for.
func convert[T, U any](rows []T, to func(*T) U) []U {
	out := make([]U, len(rows))
	for i := range rows {
		out[i] = to(&rows[i])
	}
	return out
}
