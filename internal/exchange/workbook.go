package exchange

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"path"
	"strings"

	"github.com/xuri/excelize/v2"

	"evenhand/internal/screen"
)

// What a workbook may hold at most. A roster of 5,000 athletes unpacks to about 3 MiB; what is larger
// than this is a mistake, or a small file made to fill the memory.
const (
	maxUnpacked  = 40 << 20 // all parts together
	maxSmallPart = 4 << 20  // a part that is not a sheet, its texts, a picture or the like
	maxParts     = 5_000
	maxSheets    = 50
)

// takenApart bounds how many workbooks are unpacked at a time, and so how much memory they take.
var takenApart = make(chan struct{}, 2)

var (
	zipStart = []byte("PK\x03\x04")
	oleStart = []byte{0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1} // old binary workbooks, and locked new ones
)

func isWorkbook(data []byte) bool {
	return bytes.HasPrefix(data, zipStart) || bytes.HasPrefix(data, oleStart)
}

func refuseFile(problem, want string) error {
	return screen.Faults{{Problem: problem, Want: want}}
}

// brokenWorkbook is the answer for a file that starts as a workbook and does not go on as one.
func brokenWorkbook() error {
	return refuseFile("the file is damaged or was not sent whole: it cannot be read as a workbook", "open it in a spreadsheet program, save it again as XLSX or CSV, and choose that file")
}

// utf16 is a name as it stands in the directory of an OLE file.
func utf16(s string) []byte {
	out := make([]byte, 0, 2*len(s))
	for i := range len(s) {
		out = append(out, s[i], 0)
	}
	return out
}

// refuseOLE says which of the files with the old kind of container it is. A locked workbook is not
// opened, also not by a guess at its password.
func refuseOLE(data []byte) error {
	switch {
	case bytes.Contains(data, utf16("EncryptedPackage")):
		return refuseFile("the file is protected by a password", "take the password off in the spreadsheet program (save it without one), or save it as CSV")
	case bytes.Contains(data, utf16("Workbook")) || bytes.Contains(data, utf16("Book")):
		return refuseFile("this is a workbook in the old binary form (.xls)", "open it in a spreadsheet program and save it as XLSX or CSV")
	}
	return refuseFile("this is not a workbook that can be read here: it is locked, or of an old binary form", "save it as XLSX or CSV, without a password")
}

// readWorkbook gives the tables of all sheets that hold anything, those that are shown first. Formulas
// are not computed and macros not run: only what is stored in the cells is read. most is how many
// bytes of text there may be.
func readWorkbook(data []byte, most int64) (tables []RosterTable, err error) {
	if bytes.HasPrefix(data, oleStart) {
		return nil, refuseOLE(data)
	}
	takenApart <- struct{}{}
	defer func() { <-takenApart }()
	defer func() { // a damaged file must not stop the program, whatever the library makes of it
		if recover() != nil {
			tables, err = nil, brokenWorkbook()
		}
	}()
	notes, err := checkParts(data)
	if err != nil {
		return nil, err
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true, UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: maxUnpacked})
	if err != nil {
		return nil, brokenWorkbook()
	}
	defer func() { _ = f.Close() }() // nothing was written to disk
	b := book{f: f, notes: notes, most: most, left: most, formats: map[int]numberFormat{}}
	return b.tables()
}

// checkParts looks at the list of parts before any of them is unpacked.
func checkParts(data []byte) (notes []string, err error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, brokenWorkbook()
	}
	total, isBook := uint64(0), false
	for _, p := range z.File {
		name := strings.ToLower(strings.ReplaceAll(p.Name, "\\", "/"))
		total += p.UncompressedSize64
		switch {
		case total > maxUnpacked || len(z.File) > maxParts || p.UncompressedSize64 > maxSmallPart && !mayBeLarge(name):
			return nil, refuseFile(fmt.Sprintf("unpacked, the workbook is larger than %s", bytesWords(maxUnpacked)), "only the sheet with the roster, saved as XLSX or CSV")
		case strings.HasSuffix(name, "/workbook.xml"):
			isBook = true
		case strings.HasSuffix(name, "vbaproject.bin"):
			notes = append(notes, "The workbook holds macros. They were not run.")
		}
	}
	if !isBook {
		return nil, refuseFile("this is a packed file, but not a workbook in the XLSX form", "save the roster as XLSX or CSV")
	}
	return notes, nil
}

// mayBeLarge says which parts are not taken apart into structures when a workbook is opened.
func mayBeLarge(name string) bool {
	return strings.HasPrefix(name, "xl/worksheets/") && !strings.HasSuffix(name, ".rels") || name == "xl/sharedstrings.xml" ||
		strings.HasPrefix(name, "xl/media/") || strings.HasPrefix(name, "xl/embeddings/")
}

// book is a workbook while it is read.
type book struct {
	f       *excelize.File
	notes   []string
	most    int64                // bytes of text that there may be
	left    int64                // of them, those that may still come
	formats map[int]numberFormat // by style
	strings []string             // texts that the cells share
	from904 bool                 // days are counted from 1904
}

func (b *book) tables() (out []RosterTable, err error) {
	props, err := b.f.GetWorkbookProps()
	if err != nil {
		return nil, brokenWorkbook()
	}
	b.from904 = props.Date1904 != nil && *props.Date1904
	paths, err := b.paths()
	if err != nil {
		return nil, err
	}
	names := b.f.GetSheetList()
	if len(names) > maxSheets {
		return nil, refuseFile(fmt.Sprintf("the workbook has %d sheets", len(names)), fmt.Sprintf("at most %d: save the sheet with the roster by itself", maxSheets))
	}
	if b.strings, err = b.sharedStrings(); err != nil {
		return nil, err
	}
	var hidden []RosterTable
	for _, name := range names {
		data, ok := b.part(paths[name])
		if !ok {
			continue // a sheet with a chart and no cells
		}
		t, ok, err := b.sheet(name, data)
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		if shown, err := b.f.GetSheetVisible(name); err == nil && !shown {
			t.Hidden = true
			t.Notes = append(t.Notes, fmt.Sprintf("The sheet %q is hidden in the workbook; it was read.", name))
			hidden = append(hidden, t)
			continue
		}
		out = append(out, t)
	}
	if out = append(out, hidden...); len(out) == 0 {
		return nil, refuseFile("the workbook has no sheet with anything in it", "a row of headings, and an athlete in each row below")
	}
	return out, nil
}

func (b *book) part(name string) ([]byte, bool) {
	x, ok := b.f.Pkg.Load(name)
	data, isBytes := x.([]byte)
	return data, ok && isBytes && strings.HasPrefix(name, "xl/worksheets/") || ok && isBytes && name == sharedStringsPart
}

const (
	sharedStringsPart = "xl/sharedStrings.xml"
	relationsPart     = "xl/_rels/workbook.xml.rels"
)

// paths says in which part each sheet stands.
func (b *book) paths() (map[string]string, error) {
	x, _ := b.f.Pkg.Load(relationsPart)
	data, _ := x.([]byte)
	var list struct {
		Relations []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	if err := xml.Unmarshal(data, &list); err != nil || b.f.WorkBook == nil {
		return nil, brokenWorkbook()
	}
	byID := map[string]string{}
	for _, r := range list.Relations {
		target := r.Target
		if !strings.HasPrefix(target, "/") {
			target = path.Join("xl", target)
		}
		byID[r.ID] = strings.TrimPrefix(path.Clean(target), "/")
	}
	out := map[string]string{}
	for _, s := range b.f.WorkBook.Sheets.Sheet {
		out[s.Name] = byID[s.ID]
	}
	return out, nil
}

// numberFormat is how a style shows a number.
type numberFormat struct {
	day    bool // as a day of the calendar
	digits int  // filled up with zeros to so many digits; 0: as it is
}

func (b *book) format(style int) numberFormat {
	if f, ok := b.formats[style]; ok {
		return f
	}
	var f numberFormat
	if s := b.f.Styles; s != nil && s.CellXfs != nil && style >= 0 && style < len(s.CellXfs.Xf) && s.CellXfs.Xf[style].NumFmtID != nil {
		id := *s.CellXfs.Xf[style].NumFmtID
		// The formats that every spreadsheet program knows by number: 14 to 17 and 22 are dates, 27 to 36
		// and 50 to 58 the same in East Asian forms (ECMA-376 part 1, 18.8.30).
		f.day = id >= 14 && id <= 17 || id == 22 || id >= 27 && id <= 31 || id == 36 || id >= 50 && id <= 54 || id == 57 || id == 58
		if s.NumFmts != nil {
			for _, n := range s.NumFmts.NumFmt {
				if n.NumFmtID == id {
					f = numberFormat{day: showsDay(n.FormatCode)}
					if strings.Trim(n.FormatCode, "0") == "" {
						f.digits = min(len(n.FormatCode), 20)
					}
				}
			}
		}
	}
	b.formats[style] = f
	return f
}

// showsDay reports whether a format writes a year or a day, and not only hours or an amount.
func showsDay(format string) bool {
	plain := make([]byte, 0, len(format))
	for i := 0; i < len(format); i++ {
		switch format[i] {
		case '"':
			for i++; i < len(format) && format[i] != '"'; i++ { // words that are shown as they are
			}
		case '[':
			for i++; i < len(format) && format[i] != ']'; i++ { // colours, countries
			}
		case '\\', '_', '*':
			i++
		case ';':
			return strings.ContainsAny(string(plain), "yYdD")
		default:
			plain = append(plain, format[i])
		}
	}
	return strings.ContainsAny(string(plain), "yYdD")
}
