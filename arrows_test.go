package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// arrows says which package of evenhand may import which other one: downward only.
var arrows = map[string][]string{
	"":                   {"api", "web", "internal/access", "internal/clinic", "internal/demo", "internal/exchange", "internal/gate", "internal/keeping", "internal/office", "internal/ops", "internal/score", "internal/screen", "internal/store", "internal/transport"},
	"api":                {"internal/access", "internal/clinic", "internal/office", "internal/chart", "internal/exchange", "internal/score", "internal/study", "internal/screen"},
	"web":                {"internal/access", "internal/clinic", "internal/office", "internal/chart", "internal/exchange", "internal/score", "internal/study", "internal/screen"},
	"internal/clinic":    {"internal/access", "internal/gate", "internal/store", "internal/chart", "internal/exchange", "internal/score", "internal/study", "internal/screen"},
	"internal/office":    {"internal/access", "internal/gate", "internal/screen", "internal/store"},
	"internal/keeping":   {"internal/access", "internal/screen", "internal/store"},
	"internal/gate":      {"internal/access", "internal/screen", "internal/store"},
	"internal/store":     {"internal/access", "internal/screen"},
	"internal/storetest": {},
	"internal/access":    {},
	"internal/ops":       {"internal/access"},
	"internal/transport": {"internal/access"},
	"internal/chart":     {"internal/score", "internal/study", "internal/screen"},
	"internal/exchange":  {"internal/score", "internal/study", "internal/screen"},
	"internal/demo":      {"internal/screen"},
	"internal/score":     {"internal/screen", "internal/stat"},
	"internal/screen":    {},
	"internal/study":     {"internal/screen", "internal/stat"},
	"internal/proof":     {"internal/score", "internal/study", "internal/screen", "internal/stat"},
	"cmd/proof":          {"internal/proof", "internal/screen"},
	"internal/stat":      {},
}

// owners are the only packages that may import a library.
var owners = map[string][]string{
	"gorm.io/":                    {"internal/store"},
	"modernc.org/":                {"internal/store", "internal/storetest"},
	"github.com/pressly/goose":    {"internal/store"},
	"database/sql":                {"internal/store", "internal/storetest"},
	"github.com/gin-gonic/gin":    {"api", "web"},
	"github.com/danielgtaylor":    {"api"},
	"github.com/go-echarts":       {"internal/chart"},
	"gonum.org/v1/gonum":          {"internal/score", "internal/stat", "internal/study", "internal/proof"},
	"gonum.org/v1/plot":           {"cmd/proof"},
	"go.yaml.in/":                 {"internal/screen"},
	"github.com/alecthomas/kong":  {""},
	"github.com/xuri/excelize":    {"internal/exchange"},
	"rsc.io/qr":                   {"web"},
	"golang.org/x/crypto":         {"internal/access"},
	"golang.org/x/time":           {"internal/office", "web"},
	"github.com/pquerna/otp":      {"internal/office"},
	"github.com/go-webauthn":      {"internal/office"},
	"github.com/trustelem/zxcvbn": {"internal/office"},
	"github.com/descope":          {},
	"filippo.io/age":              {"internal/keeping"},
	"golang.org/x/sys":            {"internal/keeping"},
	"github.com/prometheus":       {"internal/ops"},
	"github.com/makiuchi-d":       {},
	"github.com/getkin/kin-opena": {},
}

// pure packages have no clock, no randomness and no input or output.
var pure = map[string][]string{
	"internal/score":  {"time", "os", "io", "net", "math/rand", "log"},
	"internal/stat":   {"time", "os", "io", "net", "math/rand", "log"},
	"internal/study":  {"time", "os", "io", "net", "math/rand", "log"},
	"internal/screen": {"os", "net", "math/rand", "log"},
	"internal/demo":   {"os", "net", "log"},
}

func TestArrowsPointDownward(t *testing.T) {
	seen := 0
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "node_modules" || d.Name() == "tools" || strings.HasPrefix(d.Name(), ".") && path != ".") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") {
			return nil
		}
		seen++
		return checkImports(t, path)
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 50 {
		t.Errorf("only %d files were looked at", seen)
	}
}

func checkImports(t *testing.T, path string) error {
	src, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	file, err := parser.ParseFile(token.NewFileSet(), path, src, parser.ImportsOnly)
	if err != nil {
		return err
	}
	pkg := strings.TrimPrefix(filepath.ToSlash(filepath.Dir(path)), ".")
	allowed, known := arrows[pkg]
	if !known {
		t.Errorf("%s: the package %s has no place in the house; see DEVELOPERS.md", path, pkg)
		return nil
	}
	isTest := strings.HasSuffix(path, "_test.go")
	for _, imp := range file.Imports {
		name, err := strconv.Unquote(imp.Path.Value)
		if err != nil {
			return err
		}
		if inner, ours := strings.CutPrefix(name, "evenhand/"); ours && !isTest && !slices.Contains(allowed, inner) {
			t.Errorf("%s imports %s: arrows point downward only", path, name)
		}
		for prefix, may := range owners {
			if strings.HasPrefix(name, prefix) && !isTest && !slices.Contains(may, pkg) {
				t.Errorf("%s imports %s, which only %v may", path, name, may)
			}
		}
		for _, forbidden := range pure[pkg] {
			if !isTest && (name == forbidden || strings.HasPrefix(name, forbidden+"/")) && name != "io/fs" && name != "io" {
				t.Errorf("%s imports %s: the package is pure", path, name)
			}
		}
	}
	return nil
}
