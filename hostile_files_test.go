package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

const workbookType = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

// A roster from a file of a spreadsheet brings the same texts: each arrives as it stands in its cell, and
// leaves as one that no spreadsheet computes.
func TestHostileTextInFiles(t *testing.T) {
	for name, write := range map[string]func(*testing.T, [][]string) ([]byte, string){"CSV": writeHostileCSV, "XLSX": writeHostileXLSX} {
		t.Run(name, func(t *testing.T) {
			h := newHostileWorld(t)
			h.send(http.MethodPut, "/api/v1/teams/t0", "application/json", []byte(`{"name":"Team","sport":"baseball"}`))
			rows := [][]string{{"name", "born", "sex", "throws", "sport", "level", "positions", "external_id"}}
			for i := range hostileTexts {
				text := func(field string) string {
					return strings.ReplaceAll(h.text(name+" "+field, 0, i), "SURROGATE", "\ufffd")
				}
				rows = append(rows, []string{text("name"), "2005-04-" + strconv.Itoa(10+i), "male", "right", "baseball", "college", "pitcher", text("number")})
			}
			data, kind := write(t, rows)
			if w := h.send(http.MethodPost, "/api/v1/teams/t0/import", kind, data); w.Code != http.StatusOK {
				t.Fatalf("%d %s", w.Code, w.Body)
			}
			var got struct {
				Items []struct {
					Name string
					ID   string `json:"external_id"`
				}
			}
			h.must(json.Unmarshal(h.get("/api/v1/athletes?team=t0&limit=100").Body.Bytes(), &got))
			have := map[string]bool{}
			for _, x := range got.Items {
				have[x.Name], have[x.ID] = true, true
			}
			for _, row := range rows[1:] {
				for _, cell := range []string{row[0], row[7]} {
					if want := asRead(name, cell); !have[want] {
						t.Errorf("%q did not arrive as %q", cell, want)
					}
				}
			}
			h.get("/api/v1/teams/t0/export?format=csv")
			h.get("/teams/t0")
		})
	}
}

// asRead is a text as it is read from a cell: of CSV without the apostrophe that stands before what would
// be a formula, of a workbook, which has no such apostrophes, in one line.
func asRead(kind, s string) string {
	if kind == "XLSX" {
		return strings.Join(strings.Fields(s), " ")
	}
	s = strings.TrimSpace(s)
	if strings.HasPrefix(s, "'=") {
		return s[1:]
	}
	return s
}

func writeHostileCSV(t *testing.T, rows [][]string) ([]byte, string) {
	t.Helper()
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), "text/csv"
}

func writeHostileXLSX(t *testing.T, rows [][]string) ([]byte, string) {
	t.Helper()
	f := excelize.NewFile()
	defer func() { _ = f.Close() }()
	for i, row := range rows {
		for k, cell := range row {
			at, err := excelize.CoordinatesToCellName(k+1, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := f.SetCellStr("Sheet1", at, cell); err != nil {
				t.Fatal(err)
			}
		}
	}
	b, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), workbookType
}

var backupName = regexp.MustCompile(`^evenhand-\d{8}T\d{6}Z\.db$`)

// No name that was typed becomes the name of a file.
func TestHostileTextIsNoPath(t *testing.T) {
	h := newHostileWorld(t)
	for i, name := range []string{"../../etc/passwd", `..\..\x`, "/tmp/x", "C:x", "a\nb", "CON", "-rf", "x; rm"} {
		body, err := json.Marshal(map[string]string{"name": name, "sport": "baseball"})
		h.must(err)
		if w := h.send(http.MethodPut, "/api/v1/teams/t"+strconv.Itoa(i), "application/json", body); w.Code != http.StatusCreated {
			t.Fatalf("%q: %d %s", name, w.Code, w.Body)
		}
		for _, format := range []string{"json", "csv"} {
			if d := h.get("/api/v1/teams/t" + strconv.Itoa(i) + "/export?format=" + format).Header().Get("Content-Disposition"); d != `attachment; filename="evenhand.`+format+`"` {
				t.Errorf("%q: %s", name, d)
			}
		}
	}
	dir := t.TempDir()
	folder := filepath.Join(dir, "copies")
	h.must(os.Mkdir(folder, 0o700))
	if code := run(t.Context(), []string{"backup", "--db", h.file, folder}, h.world); code != 0 {
		t.Fatalf("exit %d", code)
	}
	if got := names(t, dir); !slices.Equal(got, []string{"copies"}) {
		t.Errorf("beside the folder: %q", got)
	}
	if got := names(t, folder); len(got) != 1 || !backupName.MatchString(got[0]) {
		t.Errorf("in the folder: %q", got)
	}
}

func names(t *testing.T, dir string) (out []string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range list {
		out = append(out, x.Name())
	}
	return out
}
