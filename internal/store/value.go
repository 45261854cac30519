package store

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// micros is t as it is stored: whole microseconds since 1970, 0 if t is not given.
func micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

// instant undoes micros, in UTC.
func instant(us int64) time.Time {
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}

// now is the clock, as it is stored.
func (tx *Tx) now() int64 { return micros(tx.store.now()) }

// maybe is NULL for an empty reference: an empty text would be looked for among the keys.
func maybe(id string) sql.NullString { return sql.NullString{String: id, Valid: id != ""} }

// trialsText writes trials as compact text, which reads back to the same bits.
func trialsText(trials []float64) string {
	var b []byte
	for i, x := range trials {
		if i > 0 {
			b = append(b, ' ')
		}
		b = strconv.AppendFloat(b, x, 'g', -1, 64)
	}
	return string(b)
}

// parseTrials undoes trialsText; no trials are nil.
func parseTrials(text string) ([]float64, error) {
	if text == "" {
		return nil, nil
	}
	out := make([]float64, 0, 1+strings.Count(text, " "))
	for more := true; more; {
		var word string
		word, text, more = strings.Cut(text, " ")
		x, err := strconv.ParseFloat(word, 64)
		if err != nil {
			return nil, fmt.Errorf("store: trials: %w", err)
		}
		out = append(out, x)
	}
	return out, nil
}

// textList is a list of texts as JSON, which is also how ids go into a query; "" for none.
func textList(list []string) string {
	if len(list) == 0 {
		return ""
	}
	b, err := json.Marshal(list)
	if err != nil {
		panic(err) // a list of strings is always JSON
	}
	return string(b)
}

// parseTextList undoes textList; an empty list is nil.
func parseTextList(text string) ([]string, error) {
	if text == "" {
		return nil, nil
	}
	var out []string
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		return nil, fmt.Errorf("store: list: %w", err)
	}
	return out, nil
}

// idList is textList for json_each, which wants a list also if it is empty.
func idList(ids []string) string {
	if len(ids) == 0 {
		return "[]"
	}
	return textList(ids)
}

// personKey is a name without what people write differently: case and spaces.
func personKey(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), " "))
}

// put inserts r, or writes all of its columns over the row with its key.
func (tx *Tx) put(over bool, r any) error {
	if over {
		// All columns by name: gorm would leave out those that are zero.
		return tx.gorm.Select("*").Updates(r).Error
	}
	return tx.gorm.Create(r).Error
}
