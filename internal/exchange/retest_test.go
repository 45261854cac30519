package exchange

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"evenhand/internal/screen"
	"evenhand/internal/study"
)

const sampleRetest = "athlete,measure,side,examiner,day,trial1,trial2,sign\n" + retestRows

const retestRows = `v1,shoulder_internal_rotation,left,K,2026-02-01,41,43.5,
v1,shoulder_internal_rotation,left,K,2026-02-01,44,,
v1,shoulder_internal_rotation,left,M,2026-02-01,40,42,
Vol 2,elbow_extension,right,M,2026-02-03,4,5,loss
`

func readRetest(t testing.TB, in string) ([]study.Reading, []string, error) {
	t.Helper()
	return ReadRetest(strings.NewReader(in), protocol(t), Options{Today: today})
}

func TestReadRetest(t *testing.T) {
	const ir = "shoulder_internal_rotation"
	want := []study.Reading{
		{Athlete: "v1", Measure: ir, Side: screen.Left, Examiner: "K", Occasion: "2026-02-01", Trials: []float64{41, 43.5}},
		{Athlete: "v1", Measure: ir, Side: screen.Left, Examiner: "K", Occasion: "2026-02-01", Trials: []float64{44}},
		{Athlete: "v1", Measure: ir, Side: screen.Left, Examiner: "M", Occasion: "2026-02-01", Trials: []float64{40, 42}},
		{Athlete: "Vol 2", Measure: "elbow_extension", Side: screen.Right, Examiner: "M", Occasion: "2026-02-03", Trials: []float64{-4, -5}},
	}
	semicolon := strings.ReplaceAll(sampleRetest, ",", ";")
	for name, c := range map[string]struct{ in, note string }{
		"plain":          {sampleRetest, ""},
		"mark and CRLF":  {"\xef\xbb\xbf" + strings.ReplaceAll(sampleRetest, "\n", "\r\n"), ""},
		"semicolon":      {semicolon, ""},
		"tab":            {strings.ReplaceAll(sampleRetest, ",", "\t"), ""},
		"header":         {strings.Replace(sampleRetest, "athlete,measure,side", " Athlete ,MEASURE,\"Side\"", 1), ""},
		"decimal comma":  {strings.Replace(semicolon, "43.5", "43,5", 1), "decimal comma: 43,5 in row 2"},
		"capitals":       {strings.NewReplacer("loss", "Loss", ",left", ",Left").Replace(sampleRetest), ""},
		"empty rows":     {sampleRetest + ",,,,,,,\n\n ,\n", ""},
		"as a workbook":  {string(sheetOf(t, rowsOfCSV(sampleRetest), nil)), ""},
		"columns turned": {"day,trial1,trial2,athlete,measure,side,examiner,sign\n2026-02-01,41,43.5,v1," + ir + ",left,K,\n2026-02-01,44,,v1," + ir + ",left,K,\n2026-02-01,40,42,v1," + ir + ",left,M,\n2026-02-03,4,5,Vol 2,elbow_extension,right,M,loss\n", ""},
	} {
		t.Run(name, func(t *testing.T) {
			got, notes, err := readRetest(t, c.in)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, want) {
				t.Errorf("got %+v\nwant %+v", got, want)
			}
			if c.note != "" && !hasNote(notes, c.note) || c.note == "" && len(notes) > 0 {
				t.Errorf("notes %q, want %q", notes, c.note)
			}
		})
	}
}

// rowsOfCSV are the cells of a text without quotes.
func rowsOfCSV(text string) (out [][]any) {
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		var row []any
		for _, c := range strings.Split(line, ",") {
			row = append(row, c)
		}
		out = append(out, row)
	}
	return out
}

func TestExaminersMayBeUnnamed(t *testing.T) {
	got, notes, err := readRetest(t, strings.Replace(sampleRetest, ",M,2026-02-01", ",,2026-02-01", 1))
	if err != nil || got[2].Examiner != "" || !hasNote(notes, "1 of 4 rows name no examiner") {
		t.Errorf("%+v %q %v", got, notes, err)
	}
	_, notes, err = readRetest(t, strings.NewReplacer(",M,", ",,", ",K,", ",,").Replace(sampleRetest))
	if err != nil || !hasNote(notes, "No row names an examiner") {
		t.Errorf("%q %v", notes, err)
	}
}

// The bad inputs: one replacement in the sample, and the exact place of the only fault.
var badRetest = []struct{ name, old, new, where, says, value string }{
	{"value out of range", "41,43.5", "41,430", "row 2, column trial2", "plausible range", "430"},
	{"unknown measure", "v1,shoulder_internal_rotation,left,M", "v1,sholder_internal_rotation,left,M", "row 4, column measure", `did you mean "shoulder_internal_rotation"?`, "sholder_internal_rotation"},
	{"measure that is computed", "v1,shoulder_internal_rotation,left,M", "v1,shoulder_total_arc,left,M", "row 4, column measure", "computed, not read", "shoulder_total_arc"},
	{"wrong side", "elbow_extension,right", "elbow_extension,up", "row 5, column side", "left or right", "up"},
	{"no side", "elbow_extension,right", "elbow_extension,", "row 5, column side", "left or right", ""},
	{"no trial", "44,,", ",,", "row 3, column trial1", "no trial", ""},
	{"gap", "44,,", ",44,", "row 3, column trial1", "later trial", ""},
	{"NaN", "44,,", "NaN,,", "row 3, column trial1", "not a number", "NaN"},
	{"infinity", "44,,", "1e999,,", "row 3, column trial1", "not a finite number", "1e999"},
	{"no athlete", "Vol 2,", " ,", "row 5, column athlete", "missing", " "},
	{"no day", "2026-02-03", "", "row 5, column day", "not a day", ""},
	{"day of no calendar", "2026-02-03", "2026-02-31", "row 5, column day", "not a day", "2026-02-31"},
	{"future", "2026-02-03", "2027-02-03", "row 5, column day", "future", "2027-02-03"},
	{"sign", "loss", "", "row 5, column sign", "hyperextension", ""},
	{"missing column", ",side,", ",side_of_body,", "row 1, column side", "missing", ""},
	{"unknown column", "examiner,", "examinor,", "row 1, column examinor", `did you mean "examiner"?`, "examinor"},
	{"too many cells", "41,43.5,", "41,5,43,5,", "row 2", "semicolon", ""},
	{"empty file", sampleRetest, "", "", "empty", ""},
	{"no rows", retestRows, "", "", "no row below", ""},
	{"two encodings", "Vol 2", "Vol\x002", "", "UTF-8", ""},
	{"no workbook", sampleRetest, "PK\x03\x04 and nothing more", "", "damaged", ""},
}

func TestBadRetest(t *testing.T) {
	for _, c := range badRetest {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(sampleRetest, c.old) {
				t.Fatalf("the sample does not contain %q", c.old)
			}
			got, _, err := readRetest(t, strings.Replace(sampleRetest, c.old, c.new, 1))
			if got != nil {
				t.Error("a faulty file was handed out")
			}
			f := wantFault(t, err, c.where, c.says)
			if f.Value != c.value || f.Want == "" {
				t.Errorf("%+v, want value %q", f, c.value)
			}
			if n := len(faultsOf(t, err)); n != 1 && c.name != "missing column" && c.name != "unknown column" {
				t.Errorf("want one fault, got %d:\n%v", n, err)
			}
		})
	}
}

func TestRetestRoundTrip(t *testing.T) {
	p := protocol(t)
	readings := []study.Reading{
		{Athlete: "=odd", Measure: "elbow_extension", Side: screen.Left, Examiner: "'K, or L", Occasion: "2026-02-01", Trials: []float64{-4.25, 3}},
		{Athlete: "a", Measure: "grip_strength", Side: screen.Right, Occasion: "2025-12-31", Trials: []float64{1.0 / 3 * 90}},
	}
	for i := range p.Measures { // those without sides among them
		if m := &p.Measures[i]; !m.Paired && m.Derived == nil && m.Scale != screen.Category {
			readings = append(readings, study.Reading{Athlete: "b", Measure: m.ID, Side: screen.NoSide, Examiner: "M", Occasion: "2026-02-01", Trials: []float64{m.Plausible[0]}})
		}
	}
	var out bytes.Buffer
	if err := WriteRetestCSV(&out, p, readings); err != nil {
		t.Fatal(err)
	}
	again, _, err := readRetest(t, out.String())
	if err != nil || !reflect.DeepEqual(again, readings) {
		t.Errorf("%v\n%s\ngot  %+v\nwant %+v", err, out.String(), again, readings)
	}
}

// fails is a place where nothing can be written.
type fails struct{}

func (fails) Write([]byte) (int, error) { return 0, fmt.Errorf("no room") }

func TestRetestIsNotHalfWritten(t *testing.T) {
	if err := WriteRetestCSV(fails{}, protocol(t), make([]study.Reading, 3)); err == nil || !strings.Contains(err.Error(), "no room") {
		t.Errorf("%v", err)
	}
}

// manyRetests is a file of n readings, by two examiners.
func manyRetests(n int) string {
	var b strings.Builder
	b.WriteString("athlete,measure,side,examiner,day,trial1,trial2\n")
	measures := []string{"shoulder_internal_rotation", "shoulder_flexion", "grip_strength", "hip_internal_rotation", "trunk_rotation"}
	for i := range n {
		fmt.Fprintf(&b, "v%d,%s,%s,%s,2026-02-01,%d,%d.5\n", i/20, measures[i/4%5], []string{"left", "right"}[i%2], []string{"K", "M"}[i/2%2], 60+i%9, 60+i%7)
	}
	return b.String()
}

func TestRetestFilesAreBounded(t *testing.T) {
	if got, _, err := readRetest(t, manyRetests(MaxRetestReadings)); err != nil || len(got) != MaxRetestReadings {
		t.Errorf("%d readings, %v", len(got), err)
	}
	_, _, err := readRetest(t, manyRetests(100_000))
	onlyFault(t, err, "", "100000 readings | at most 20000")
	_, _, err = readRetest(t, strings.ReplaceAll(manyRetests(1000), ".5", "x"))
	if f := faultsOf(t, err); len(f) != 101 || f[100].Problem != "and 900 more" {
		t.Errorf("%d faults, the last %v", len(f), f[len(f)-1])
	}
}

func FuzzReadRetest(f *testing.F) {
	f.Add([]byte(sampleRetest))
	f.Add([]byte(manyRetests(30)))
	f.Add([]byte("athlete;measure;side;examiner;day;trial1\r\n'=1;grip_strength;left;;2026-02-10;30,5\r\n"))
	for _, c := range badRetest {
		f.Add([]byte(strings.Replace(sampleRetest, c.old, c.new, 1)))
	}
	p := protocol(f)
	opt := Options{Today: today}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, _, err := ReadRetest(bytes.NewReader(data), p, opt)
		if err != nil {
			if got != nil || len(faultsOf(t, err)) > maxFaults+1 {
				t.Fatalf("%v", err)
			}
			return
		}
		var out bytes.Buffer
		if err := WriteRetestCSV(&out, p, got); err != nil {
			t.Fatal(err)
		}
		text := out.String()
		again, _, err := ReadRetest(&out, p, opt)
		if err != nil || !reflect.DeepEqual(got, again) {
			t.Fatalf("%v\n%+v\n%+v\n%s", err, got, again, text)
		}
	})
}

func BenchmarkReadRetest20000(b *testing.B) {
	p, text := protocol(b), manyRetests(MaxRetestReadings)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, _, err := ReadRetest(strings.NewReader(text), p, Options{Today: today}); err != nil {
			b.Fatal(err)
		}
	}
}
