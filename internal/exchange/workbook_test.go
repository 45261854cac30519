package exchange

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"evenhand/internal/screen"
)

// sheetOf makes a workbook; change may do the rest.
func sheetOf(t testing.TB, rows [][]any, change func(f *excelize.File), opt ...excelize.Options) []byte {
	t.Helper()
	f := excelize.NewFile()
	for i, row := range rows {
		if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	if change != nil {
		change(f)
	}
	var b bytes.Buffer
	if err := f.Write(&b, opt...); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func readTable(t testing.TB, data []byte) *RosterTable {
	t.Helper()
	tables, err := ReadRosterFile(bytes.NewReader(data), Options{Today: today})
	if err != nil {
		t.Fatal(err)
	}
	return &tables[0]
}

// repack writes a zip anew, with parts changed or added.
func repack(t testing.TB, data []byte, parts map[string]string) []byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	put := func(name string, body []byte) {
		p, err := w.Create(name)
		if err == nil {
			_, err = p.Write(body)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range z.File {
		if _, changed := parts[f.Name]; changed {
			continue
		}
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		put(f.Name, body)
	}
	for name, body := range parts {
		put(name, []byte(body))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var plainHead = []any{"Name", "Born", "Sex", "Throws", "Level", "Height cm", "ID"}

func kim() []any {
	return []any{"Kim Tandrel", "2011-04-02", "F", "L", "youth", 151.5, 17}
}

// The expected texts are what was put into the cells.
func TestWorkbookCells(t *testing.T) {
	day := time.Date(2012, 5, 3, 0, 0, 0, 0, time.UTC)
	data := sheetOf(t, [][]any{plainHead, kim(), {}, {"=SUM(A1)", day, "female", "R", "school", "151,5", "0017", "", "note"}}, func(f *excelize.File) {
		ok := func(err error) {
			if err != nil {
				t.Fatal(err)
			}
		}
		ok(f.SetCellStr("Sheet1", "A4", "=SUM(A1) & friends"))
		ok(f.SetRowVisible("Sheet1", 4, false))
		ok(f.SetCellValue("Sheet1", "A7", "Bo"))
		ok(f.SetCellFormula("Sheet1", "C7", `IF(TRUE,"M")`))
		ok(f.SetCellValue("Sheet1", "E2", "youth"))
		ok(f.MergeCell("Sheet1", "E4", "E7"))
		custom := "dd/mm/yyyy"
		style, err := f.NewStyle(&excelize.Style{CustomNumFmt: &custom})
		ok(err)
		ok(f.SetCellValue("Sheet1", "B7", 40000.75)) // 2009-07-06, in the afternoon
		ok(f.SetCellStyle("Sheet1", "B7", "B7", style))
		zeros := "0000"
		style, err = f.NewStyle(&excelize.Style{CustomNumFmt: &zeros})
		ok(err)
		ok(f.SetCellValue("Sheet1", "G7", 23))
		ok(f.SetCellStyle("Sheet1", "G7", "G7", style))
	})
	table := readTable(t, data)
	if !reflect.DeepEqual(table.Headings, []string{"Name", "Born", "Sex", "Throws", "Level", "Height cm", "ID", "column I"}) {
		t.Errorf("headings %q", table.Headings)
	}
	want := []RosterRow{
		{2, []string{"Kim Tandrel", "2011-04-02", "F", "L", "youth", "151.5", "17", ""}, nil},
		{4, []string{"=SUM(A1) & friends", "2012-05-03", "female", "R", "school", "151,5", "0017", "note"}, nil},
		{7, []string{"Bo", "2009-07-06", "", "", "school", "", "0023", ""}, []CellMark{{2, NotComputed}}},
	}
	if !reflect.DeepEqual(table.Rows, want) {
		t.Errorf("rows\n%+v\nwant\n%+v", table.Rows, want)
	}
	if !hasNote(table.Notes, "Row 4 is hidden") || !hasNote(table.Notes, "Merged cells") {
		t.Errorf("notes %q", table.Notes)
	}
	again, err := ParseRosterTable(strings.ReplaceAll(table.Text(), "\n", "\r\n")) // as a browser sends it
	if err != nil || !reflect.DeepEqual(again, table) {
		t.Errorf("%v\n%+v\nwant\n%+v", err, again, table)
	}
}

// A formula gives the result that is stored with it; it is not computed. The file is made by hand, as a
// spreadsheet program would store it.
func TestStoredResults(t *testing.T) {
	head := `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`
	data := repack(t, sheetOf(t, nil, nil), map[string]string{"xl/worksheets/sheet1.xml": head +
		`<row r="1"><c r="A1" t="inlineStr"><is><t>Name</t></is></c><c r="B1" t="inlineStr"><is><r><t>Date of </t></r><r><t>birth</t></r><rPh><t>x</t></rPh></is></c><c r="C1" t="inlineStr"><is><t>Hand</t></is></c></row>` +
		`<row r="2"><c r="A2" t="str"><f>B1&amp;"x"</f><v>Stored  name</v></c><c r="B2" t="d"><v>2011-04-02T00:00:00</v></c><c r="C2" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>` +
		`<row r="3"><c r="A3" t="b"><v>1</v></c><c r="B3" t="n"><v>1.5E3</v></c><c r="C3" t="s"><v>99</v></c></row>` +
		`</sheetData></worksheet>`})
	table := readTable(t, data)
	want := []RosterRow{{2, []string{"Stored name", "2011-04-02T00:00:00", "#DIV/0!"}, []CellMark{{2, ErrorValue}}}, {3, []string{"true", "1500", ""}, nil}}
	if !reflect.DeepEqual(table.Rows, want) || table.Headings[1] != "Date of birth" {
		t.Errorf("%+v", table)
	}
}

// 0 in the older count of days is 1904-01-01, 1,462 days after that of the newer one (ECMA-376 part 1,
// 18.17.4.1): the number 38538 is 2009-07-06 there, 40000 here.
func TestBothEpochs(t *testing.T) {
	for _, from1904 := range []bool{false, true} {
		data := sheetOf(t, [][]any{plainHead, kim()}, func(f *excelize.File) {
			if err := f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &from1904}); err != nil {
				t.Fatal(err)
			}
			style, err := f.NewStyle(&excelize.Style{NumFmt: 14})
			if err != nil {
				t.Fatal(err)
			}
			n := 40000
			if from1904 {
				n = 38538
			}
			if err := f.SetCellValue("Sheet1", "B2", n); err != nil {
				t.Fatal(err)
			}
			if err := f.SetCellStyle("Sheet1", "B2", "B2", style); err != nil {
				t.Fatal(err)
			}
		})
		if got := readTable(t, data).Rows[0].Cells[1]; got != "2009-07-06" {
			t.Errorf("1904 %v: %s", from1904, got)
		}
	}
}

// The formats are those that spreadsheet programs offer.
func TestShowsDay(t *testing.T) {
	for format, want := range map[string]bool{"General": false, "0.00": false, "dd/mm/yyyy": true, "[$-409]mmm d, yyyy;@": true, "m/d/yy h:mm": true,
		"h:mm:ss": false, "[h]:mm": false, "mm:ss": false, `0.0" days"`: false, `0\d`: false, `_(* #,##0_)`: false, "[Red]0": false, "yyyy\\-mm\\-dd": true} {
		if got := showsDay(format); got != want {
			t.Errorf("%s: %v", format, got)
		}
	}
}

func TestSeveralSheets(t *testing.T) {
	data := sheetOf(t, nil, func(f *excelize.File) { // Sheet1 stays empty
		for _, name := range []string{"Old", "Squad"} {
			if _, err := f.NewSheet(name); err != nil {
				t.Fatal(err)
			}
			for cell, v := range map[string]any{"A1": "Name", "B1": "Born", "A2": name + " athlete", "B2": "2011-04-02"} {
				if err := f.SetCellValue(name, cell, v); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := f.SetSheetVisible("Old", false); err != nil {
			t.Fatal(err)
		}
	})
	tables, err := ReadRosterFile(bytes.NewReader(data), Options{Today: today})
	if err != nil || len(tables) != 2 {
		t.Fatalf("%+v %v", tables, err)
	}
	if tables[0].Sheet != "Squad" || tables[1].Sheet != "Old" || !tables[1].Hidden || !hasNote(tables[1].Notes, "hidden") {
		t.Errorf("%+v", tables)
	}
}

func TestTitleAboveHeadings(t *testing.T) {
	table := readTable(t, sheetOf(t, [][]any{{"Spring squad"}, {}, plainHead, kim()}, nil))
	if table.Headings[0] != "Name" || len(table.Rows) != 1 || table.Rows[0].Row != 4 || !hasNote(table.Notes, "found in row 3") {
		t.Errorf("%+v", table)
	}
}

// Files that cannot be read are refused with what would be right.
func TestRefusedWorkbooks(t *testing.T) {
	good := sheetOf(t, [][]any{plainHead, kim()}, nil)
	ole := append(bytes.Clone(oleStart), make([]byte, 600)...)
	zeros := strings.Repeat("\x00", 8<<20)
	sheet := `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>`
	var many strings.Builder
	for i := range MaxRosterRows + 100 {
		fmt.Fprintf(&many, `<row r="%d"><c><v>1</v></c></row>`, i+1)
	}
	for name, x := range map[string]struct {
		data []byte
		says string
	}{
		"password":       {sheetOf(t, [][]any{plainHead}, nil, excelize.Options{Password: "x"}), "protected by a password"},
		"old binary":     {append(bytes.Clone(ole), utf16("Workbook")...), ".xls"},
		"only a header":  {ole, "locked, or of an old binary form"},
		"cut":            {good[:len(good)/2], "damaged"},
		"only a start":   {[]byte("PK\x03\x04"), "damaged"},
		"bit rot":        {rotten(good), "damaged"},
		"another packed": {repack(t, good, map[string]string{"xl/workbook.xml": ""}), "damaged"},
		"no workbook":    {zipOf(t, map[string]string{"content.xml": "<x/>"}), "not a workbook"},
		"bomb":           {zipOf(t, map[string]string{"xl/workbook.xml": "", "xl/worksheets/sheet1.xml": zeros, "a": zeros, "xl/media/b": zeros}), "larger than 40 MiB"},
		"large styles":   {zipOf(t, map[string]string{"xl/workbook.xml": "", "xl/styles.xml": zeros}), "larger than 40 MiB"},
		"many rows":      {repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": fmt.Sprintf(sheet, many.String())}), "more than 20000 rows"},
		"far right":      {repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": fmt.Sprintf(sheet, `<row r="1"><c r="XFD1"><v>1</v></c></row>`)}), "100 columns"},
		"broken sheet":   {repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": "<worksheet><sheetData><row"}), "damaged"},
		"bad place":      {repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": fmt.Sprintf(sheet, `<row r="1"><c r="1A"><v>1</v></c></row>`)}), "damaged"},
		"rows mixed":     {repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": fmt.Sprintf(sheet, `<row r="2"><c><v>1</v></c></row><row r="1"><c><v>1</v></c></row>`)}), "damaged"},
		"empty":          {sheetOf(t, nil, nil), "no sheet with anything in it"},
	} {
		t.Run(name, func(t *testing.T) {
			tables, err := ReadRosterFile(bytes.NewReader(x.data), Options{Today: today})
			if tables != nil || err == nil || !strings.Contains(err.Error(), x.says) {
				t.Errorf("%v, want %q", err, x.says)
			}
			for _, f := range faultsOf(t, err) {
				if f.Want == "" {
					t.Errorf("%v says nothing of what would be right", f)
				}
			}
		})
	}
}

func rotten(good []byte) []byte {
	out := bytes.Clone(good)
	for i := 40; i < len(out)-2000; i += 97 {
		out[i] ^= 0x55
	}
	return out
}

func zipOf(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var empty bytes.Buffer
	w := zip.NewWriter(&empty)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return repack(t, empty.Bytes(), parts)
}

// A cell far below and right that holds nothing costs nothing.
func TestEmptyCellsCostNothing(t *testing.T) {
	good := sheetOf(t, [][]any{plainHead, kim()}, nil)
	var b strings.Builder
	b.WriteString(`<worksheet><sheetData><row r="1"><c t="inlineStr"><is><t>Name</t></is></c><c t="inlineStr"><is><t>Born</t></is></c></row>`)
	for i := range 30_000 {
		fmt.Fprintf(&b, `<row r="%d"><c r="XFD%d" s="1"/></row>`, i+2, i+2)
	}
	b.WriteString(`<row r="1048576"><c r="A1048576"><v>5</v></c></row></sheetData></worksheet>`)
	table := readTable(t, repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": b.String()}))
	if len(table.Rows) != 1 || table.Rows[0].Row != 1048576 || table.Rows[0].Cells[0] != "5" {
		t.Errorf("%+v", table)
	}
}

func TestMacrosAreNotRun(t *testing.T) {
	data := repack(t, sheetOf(t, [][]any{plainHead, kim()}, nil), map[string]string{"xl/vbaProject.bin": "Sub Auto_Open()"})
	table := readTable(t, data)
	if len(table.Rows) != 1 || !hasNote(table.Notes, "macros") {
		t.Errorf("%+v", table)
	}
}

// A workbook with the headings of a CSV form is read as that form; places are those of the sheet.
func TestReadWorkbookAsDocument(t *testing.T) {
	head := []any{"name", "born", "sex", "throws", "sport", "level", "external_id"}
	data := sheetOf(t, [][]any{{}, head, {}, {"=1+1", "2011-04-02", "female", "left", "baseball", "youth", 17}}, func(f *excelize.File) {
		if err := f.SetCellStr("Sheet1", "A4", "=1+1"); err != nil {
			t.Fatal(err)
		}
	})
	doc, format, err := Read(bytes.NewReader(data), protocol(t), Options{Today: today})
	if err != nil || format != RosterCSV || len(doc.Athletes) != 1 {
		t.Fatalf("%+v %s %v", doc, format, err)
	}
	if a := doc.Athletes[0]; a.Name != "=1+1" || a.ExternalID != "17" || a.HandOn(today) != screen.LeftHand {
		t.Errorf("%+v", a)
	}
	_, _, err = Read(bytes.NewReader(sheetOf(t, [][]any{{"Who"}, {"Kim"}}, nil)), protocol(t), Options{Today: today})
	wantFault(t, err, "", "roster page")
	bad := sheetOf(t, [][]any{{}, head, {}, {"Kim", "2011-04-02", "f", "left", "baseball", "youth", 17}}, nil)
	_, _, err = Read(bytes.NewReader(bad), protocol(t), Options{Today: today})
	wantFault(t, err, "row 4, column sex", "male or female")
	formula := sheetOf(t, [][]any{head, {"Kim", "2011-04-02", "female", "left", "baseball", "youth"}}, func(f *excelize.File) {
		if err := f.SetCellFormula("Sheet1", "G2", "1+1"); err != nil {
			t.Fatal(err)
		}
	})
	_, _, err = Read(bytes.NewReader(formula), protocol(t), Options{Today: today})
	wantFault(t, err, "row 2, column external_id", "formula")
}

// largeRoster is a workbook of n athletes, named Athlete 0001 and so on.
func largeRoster(t testing.TB, n int) []byte {
	rows := [][]any{{"Full name", "Date of birth", "Gender", "Throwing hand", "Level", "Height (cm)", "Weight (kg)", "Position", "Player ID", "Notes"}}
	day := time.Date(2008, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		rows = append(rows, []any{fmt.Sprintf("Athlete %04d", i), day.AddDate(0, 0, i%2000), []string{"M", "F"}[i%2], []string{"R", "L", "switch"}[i%3], "school",
			150 + i%40, 50.5, "P", fmt.Sprintf("N%05d", i), "none"})
	}
	return sheetOf(t, rows, nil)
}

func TestLargeRoster(t *testing.T) {
	data := largeRoster(t, 5000)
	begin := time.Now()
	table := readTable(t, data)
	read := time.Since(begin)
	begin = time.Now()
	got := BuildRoster(table, RosterSettings{Means: Recognise(table.Headings), Sport: "baseball"}, protocol(t), today)
	t.Logf("5,000 rows in %d bytes: read in %v, understood in %v", len(data), read, time.Since(begin))
	if len(got.Rows) != 5000 || len(got.Faults) > 0 {
		t.Fatalf("%d rows, %v", len(got.Rows), got.Faults)
	}
	for _, r := range got.Rows {
		if len(r.Faults) > 0 {
			t.Fatalf("%+v", r)
		}
	}
	if a := got.Rows[4999].Athlete; a.Name != "Athlete 4999" || a.Born != "2010-09-26" || a.Sex != screen.Female || a.HandOn(today) != screen.LeftHand || a.Positions[0] != "pitcher" || a.HeightCM != 189 {
		t.Errorf("%+v", a)
	}
}

func BenchmarkReadRoster5000(b *testing.B) {
	data := largeRoster(b, 5000)
	for b.Loop() {
		table := readTable(b, data)
		BuildRoster(table, RosterSettings{Means: Recognise(table.Headings), Sport: "baseball"}, protocol(b), today)
	}
}

// Whatever stands in a file, it is read or refused with faults, and comes back from a page the same.
func FuzzReadRosterFile(f *testing.F) {
	f.Add(sheetOf(f, [][]any{plainHead, kim()}, nil))
	f.Add([]byte(sampleRoster))
	f.Add([]byte("\n\nTeam\nName\tDOB\nKim\t3/5/2012\n"))
	p := protocol(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		tables, err := ReadRosterFile(bytes.NewReader(data), Options{Today: today})
		if err != nil {
			faultsOf(t, err)
			return
		}
		for i := range tables {
			again, err := ParseRosterTable(tables[i].Text())
			if err != nil || again.Text() != tables[i].Text() {
				t.Fatalf("%v\n%+v\n%+v", err, tables[i], again)
			}
			BuildRoster(again, RosterSettings{Means: Recognise(again.Headings), Sport: "baseball", Level: screen.Youth, Sex: screen.Male}, p, today)
		}
	})
}

// Whatever stands in the XML of a sheet, it is read or refused with faults.
func FuzzSheet(f *testing.F) {
	good := sheetOf(f, [][]any{plainHead, kim()}, nil)
	f.Add(`<worksheet><sheetData><row r="1" hidden="1"><c r="A1" t="inlineStr"><is><t>Name</t></is></c><c r="B1" s="1" t="s"><v>0</v></c></row><row><c><f>1</f></c><c t="e"><v>#REF!</v></c></row></sheetData><mergeCells><mergeCell ref="A1:B3"/></mergeCells></worksheet>`,
		`<sst><si><t>Born</t></si><si><r><t>a</t></r><rPh><t>b</t></rPh></si></sst>`)
	f.Add(`<worksheet><sheetData><row r="2"><c r="B2" t="b"><v>1</v></c></row><row r="1"><c r="XFD9999999"><v>1e999</v></c></row></sheetData></worksheet>`, "")
	f.Fuzz(func(t *testing.T, sheet, texts string) {
		data := repack(t, good, map[string]string{"xl/worksheets/sheet1.xml": sheet, "xl/sharedStrings.xml": texts})
		tables, err := ReadRosterFile(bytes.NewReader(data), Options{Today: today})
		if err != nil {
			faultsOf(t, err)
			return
		}
		for i := range tables {
			again, err := ParseRosterTable(tables[i].Text())
			if err != nil || again.Text() != tables[i].Text() {
				t.Fatalf("%v\n%+v\n%+v", err, tables[i], again)
			}
			_, _ = tables[i].asCSV()
		}
	})
}
