package exchange

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"evenhand/internal/screen"
)

// decodeText turns the bytes of a spreadsheet's file into UTF-8. The whole file is looked at, because
// the first byte that shows the encoding may stand in its last row. What is not UTF-8 is taken for
// Windows-1252, which Latin-1 is a part of, and that is said.
func decodeText(data []byte) (text []byte, notes []string, err error) {
	if bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) || bytes.IndexByte(data, 0) >= 0 {
		return nil, nil, screen.Faults{{Problem: "the file is no plain text in UTF-8 or Latin-1", Want: "save it as CSV (UTF-8)"}}
	}
	data = bytes.TrimPrefix(data, byteOrderMark)
	if utf8.Valid(data) {
		return data, nil, nil
	}
	text, err = charmap.Windows1252.NewDecoder().Bytes(data)
	if err != nil {
		return nil, nil, fmt.Errorf("decode Windows-1252: %w", err)
	}
	return text, []string{"The file is not UTF-8; it was read as Windows-1252 (Latin-1). Check the accented letters in names."}, nil
}

// separator finds what stands between the cells: whichever of comma, semicolon and tab splits the
// header into the most known names, and into the most cells where that is even.
func separator(text []byte, known func(string) bool) rune {
	best, most := ',', -1
	for _, sep := range []rune{',', ';', '\t'} {
		cells, err := newCSV(text, sep).Read()
		if err != nil {
			continue
		}
		score := len(cells)
		for _, c := range cells {
			if known(headerName(c)) {
				score += 1000
			}
		}
		if score > most {
			best, most = sep, score
		}
	}
	return best
}

// escape protects a text cell from being taken for a formula by a spreadsheet: one that starts with
// = + - @, tab or carriage return gets a leading apostrophe. So does what follows a semicolon, a tab or a
// line end inside the cell: where a spreadsheet splits by these, a cell starts there. Apostrophes before
// such a sign get one more, so that unescape can tell them apart.
func escape(s string) string { return guarded(s, "'", 0) }

// CSVText is a text as a cell of a CSV file that is written elsewhere, so that no spreadsheet takes it for
// a formula.
func CSVText(s string) string { return escape(s) }

// unescape takes off the apostrophes that escape put into a text.
func unescape(s string) string { return guarded(s, "", 1) }

// guarded puts add before, and drops so many of, the apostrophes in front of every sign at which a cell
// could be taken for a formula.
func guarded(s, add string, drop int) string {
	var b strings.Builder
	start := true
	for i := 0; i < len(s); i++ {
		if from, sign := signAt(s, i); start && sign >= 0 {
			b.WriteString(s[i:from] + add + s[min(from+drop, sign):sign])
			i = sign
		}
		b.WriteByte(s[i])
		start = strings.IndexByte(";\t\r\n", s[i]) >= 0
	}
	return b.String()
}

// signAt finds the sign of a formula behind spaces and apostrophes from i on, the latter from the place
// from; sign is -1 if there is none.
func signAt(s string, i int) (from, sign int) {
	for from = i; from < len(s) && s[from] == ' '; from++ {
	}
	for sign = from; sign < len(s) && s[sign] == '\''; sign++ {
	}
	if sign == len(s) || strings.IndexByte("=+-@\t\r", s[sign]) < 0 {
		return from, -1
	}
	return from, sign
}
