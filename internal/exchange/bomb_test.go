package exchange

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"hash/crc32"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"
	wide16 "unicode/utf16"

	"evenhand/internal/screen"
)

const sheetPart = "xl/worksheets/sheet1.xml"

// part is a part of a workbook as it is packed: begin, then piece many times, then end.
type part struct {
	name              string
	begin, piece, end string
	times             int
	claims            uint64 // the size that the list of parts tells; 0: the true one
}

// packed writes a workbook with parts added or replaced. A piece is packed once and repeated, so that
// a gigabyte takes no time.
func packed(t testing.TB, parts ...part) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	good, err := zip.NewReader(bytes.NewReader(rosterSheet(t)), int64(len(rosterSheet(t))))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range good.File {
		replaced := false
		for _, p := range parts {
			replaced = replaced || p.name == f.Name
		}
		if !replaced {
			if err := w.Copy(f); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, p := range parts {
		p.write(t, w)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func rosterSheet(t testing.TB) []byte { return sheetOf(t, [][]any{plainHead, kim()}, nil) }

func (p *part) write(t testing.TB, w *zip.Writer) {
	t.Helper()
	if p.begin+p.piece+p.end == "" {
		if _, err := w.CreateHeader(&zip.FileHeader{Name: p.name}); err != nil {
			t.Fatal(err)
		}
		return
	}
	var body bytes.Buffer
	z, err := flate.NewWriter(&body, flate.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	put := func(s string) []byte {
		body.Reset()
		_, err := io.WriteString(z, s)
		if err == nil {
			err = z.Flush()
		}
		if err != nil {
			t.Fatal(err)
		}
		return bytes.Clone(body.Bytes())
	}
	unit := 1 // pieces that are packed together
	if p.piece != "" {
		unit = max(1, 256<<10/len(p.piece))
	}
	many := strings.Repeat(p.piece, unit)
	var out bytes.Buffer
	out.Write(put(p.begin))
	z.Reset(&body) // so that a block does not look back at what was before
	block := put(many)
	for range p.times / unit {
		out.Write(block)
	}
	rest := strings.Repeat(p.piece, p.times%unit) + p.end
	z.Reset(&body)
	body.Reset()
	_, err = io.WriteString(z, rest)
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	out.Write(body.Bytes())
	sum := crc32.NewIEEE()
	size := uint64(len(p.begin) + len(p.piece)*p.times + len(p.end))
	if size < 100<<20 { // the sum of what is larger is never looked at
		_, _ = io.WriteString(sum, p.begin)
		for range p.times / unit {
			_, _ = io.WriteString(sum, many)
		}
		_, _ = io.WriteString(sum, rest)
	}
	h := &zip.FileHeader{Name: p.name, Method: zip.Deflate, CRC32: sum.Sum32(), CompressedSize64: uint64(out.Len()), UncompressedSize64: size}
	if p.claims > 0 {
		h.UncompressedSize64 = p.claims
	}
	raw, err := w.CreateRaw(h)
	if err == nil {
		_, err = raw.Write(out.Bytes())
	}
	if err != nil {
		t.Fatal(err)
	}
}

// peak is the most memory that is in use while fn runs, beyond what was in use before.
func peak(fn func()) uint64 {
	runtime.GC()
	var before, now runtime.MemStats
	runtime.ReadMemStats(&before)
	stop, most := make(chan struct{}), make(chan uint64)
	go func() {
		top := before.HeapAlloc
		tick := time.NewTicker(2 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				most <- top - before.HeapAlloc
				return
			case <-tick.C:
				runtime.ReadMemStats(&now)
				top = max(top, now.HeapAlloc)
			}
		}
	}()
	fn()
	close(stop)
	return <-most
}

// boundedMemory is what a file may take at most. Two are read at a time.
const boundedMemory = 256 << 20

const (
	sheetHead = `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`
	sheetTail = `</sheetData></worksheet>`
)

func wide(s string) string { // as UTF-16, in which the byte of "<" may be half of another character
	out := []byte{0xff, 0xfe}
	for _, u := range wide16.Encode([]rune(s)) {
		out = append(out, byte(u), byte(u>>8))
	}
	return string(out)
}

// Small files that would become enormous are refused in words, in little memory.
func TestWorkbookBombs(t *testing.T) {
	laughs := `<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">`
	for i := 1; i < 30; i++ {
		laughs += fmt.Sprintf(`<!ENTITY a%d "&a%d;&a%d;">`, i, i-1, i-1)
	}
	var empty []part
	for i := range 100_000 {
		empty = append(empty, part{name: fmt.Sprintf("xl/media/%d", i)})
	}
	nested := packed(t, part{name: sheetPart, begin: sheetHead, piece: " ", times: 38 << 20, end: sheetTail})
	for _, c := range []struct {
		name  string
		parts []part
	}{
		{"a gigabyte of nothing", []part{{name: sheetPart, piece: "\x00", times: 1 << 30}}},
		{"a gigabyte that says it is small", []part{{name: sheetPart, begin: sheetHead, piece: " ", times: 1 << 30, claims: 5000}}},
		{"a part that is no sheet", []part{{name: "xl/styles.xml", piece: " ", times: 38 << 20}}},
		{"a hundred thousand parts", empty},
		{"many sheets", []part{{name: sheetPart, piece: " ", times: 30 << 20}, {name: "xl/worksheets/sheet2.xml", piece: " ", times: 30 << 20}}},
		{"billion laughs", []part{{name: sheetPart, begin: laughs + `]><worksheet><sheetData><row><c t="inlineStr"><is><t>&a29;</t></is></c></row>`, end: sheetTail}}},
		{"billion laughs in the styles", []part{{name: "xl/styles.xml", begin: laughs + `]><styleSheet>&a29;</styleSheet>`}}},
		{"a file of this machine", []part{{name: sheetPart, begin: `<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><worksheet><sheetData><row><c t="inlineStr"><is><t>&e;</t></is></c></row>`, end: sheetTail}}},
		{"deep elements", []part{{name: sheetPart, begin: sheetHead, piece: "<a>", times: 13 << 20}}},
		{"deep elements in a cell", []part{{name: sheetPart, begin: sheetHead + `<row r="1"><c r="A1" t="inlineStr"><is>`, piece: "<t>x", times: 9 << 20}}},
		{"deep shared texts", []part{{name: sharedStringsPart, begin: "<sst><si>", piece: "<t>x", times: 9 << 20}}},
		{"many attributes", []part{{name: sheetPart, begin: sheetHead + "<row ", piece: `a="" `, times: 7 << 20, end: "/>" + sheetTail}}},
		{"many attributes in UTF-16", []part{{name: sheetPart, begin: wide(`<?xml version="1.0" encoding="utf-16"?>`) + wide(sheetHead + "<row ")[2:], piece: wide("a=\"\u3c00\" ")[2:], times: 3 << 20}}},
		{"one long text", []part{{name: sheetPart, begin: sheetHead + `<row r="1"><c r="A1" t="inlineStr"><is><t>`, piece: "x", times: 38 << 20, end: "</t></is></c></row>" + sheetTail}}},
		{"many cells", []part{{name: sheetPart, begin: sheetHead, piece: `<row><c t="str"><v>x</v></c></row>`, times: 1_200_000, end: sheetTail}}},
		{"cells far to the right", []part{{name: sheetPart, begin: sheetHead, piece: `<row><c r="XFD1" t="str"><v>x</v></c></row>`, times: 900_000, end: sheetTail}}},
		{"many texts", []part{{name: sharedStringsPart, begin: "<sst>", piece: "<si><t>x</t></si>", times: 2_400_000, end: "</sst>"}}},
		{"many empty texts", []part{{name: sharedStringsPart, begin: "<sst>", piece: "<si/>", times: 8_000_000, end: "</sst>"}}},
		{"a workbook in a workbook", []part{{name: sheetPart, begin: string(nested)}}},
	} {
		data := packed(t, c.parts...)
		if len(data) > DefaultMaxBytes {
			t.Fatalf("%s: %d bytes would not be read at all", c.name, len(data))
		}
		var err error
		used := peak(func() { _, err = ReadRosterFile(bytes.NewReader(data), Options{Today: today}) })
		faults, ok := err.(screen.Faults) //nolint:errorlint // it is returned as it is
		if !ok || len(faults) == 0 || faults[0].Want == "" {
			t.Errorf("%s: %v", c.name, err)
		}
		if used > boundedMemory {
			t.Errorf("%s: %d MiB in use", c.name, used>>20)
		}
		t.Logf("%-34s %8d bytes, %4d MiB: %.70v", c.name, len(data), used>>20, err)
	}
}

// What is packed in a workbook but is none of its sheets is not unpacked further.
func TestPackedPartsAreLeftAlone(t *testing.T) {
	nested := packed(t, part{name: sheetPart, begin: sheetHead, piece: " ", times: 38 << 20, end: sheetTail})
	data := packed(t, part{name: "xl/embeddings/book.xlsx", begin: string(nested)})
	var tables []RosterTable
	var err error
	used := peak(func() { tables, err = ReadRosterFile(bytes.NewReader(data), Options{Today: today}) })
	if err != nil || len(tables) != 1 || len(tables[0].Rows) != 1 || used > 32<<20 {
		t.Errorf("%d tables, %v, %d MiB", len(tables), err, used>>20)
	}
}
