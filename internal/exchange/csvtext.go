package exchange

import (
	"bytes"
	"fmt"
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
// = + - @, tab or carriage return gets a leading apostrophe. So does one that starts with apostrophes
// before such a sign, so that unescape can tell them apart.
func escape(s string) string {
	if looksLikeFormula(s) {
		return "'" + s
	}
	return s
}

// unescape takes off the apostrophe that escape put before a text.
func unescape(s string) string {
	if len(s) > 1 && s[0] == '\'' && looksLikeFormula(s) {
		return s[1:]
	}
	return s
}

// CSVText is a text as a cell of a CSV file that no spreadsheet takes for a formula (see escape).
func CSVText(s string) string { return escape(s) }

func looksLikeFormula(s string) bool {
	for i := range len(s) {
		switch s[i] {
		case '\'':
		case '=', '+', '-', '@', '\t', '\r':
			return true
		default:
			return false
		}
	}
	return false
}
