package main

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"
)

var (
	quoted   = regexp.MustCompile("`([^`\n]+)`")
	linked   = regexp.MustCompile(`\]\(([^)#]+)\)`)
	testName = regexp.MustCompile(`^Test[A-Z]\w*$`)
	testFunc = regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	fileName = regexp.MustCompile(`^[\w./-]+\.(go|md|mjs|js|html|yaml|json|sql|service|sum|mod)$|^(internal|web|api|deploy|docs|cmd)/[\w./-]+$`)
)

// What docs/security.md rests on is there: every file and every test that it names.
func TestSecurityDoc(t *testing.T) {
	text, err := os.ReadFile("docs/security.md")
	if err != nil {
		t.Fatal(err)
	}
	tests, files := testsOf(t), 0
	named := map[string]bool{}
	for _, m := range quoted.FindAllStringSubmatch(string(text), -1) {
		switch name := m[1]; {
		case testName.MatchString(name):
			named[name] = true
			if !tests[name] {
				t.Errorf("there is no test %s", name)
			}
		case fileName.MatchString(name):
			files++
			if _, err := os.Stat(name); err != nil {
				t.Error(err)
			}
		}
	}
	for _, m := range linked.FindAllStringSubmatch(string(text), -1) {
		if _, err := os.Stat(filepath.Join("docs", m[1])); err != nil {
			t.Error(err)
		}
	}
	if len(named) < 80 || files < 25 {
		t.Errorf("only %d tests and %d files are named", len(named), files)
	}
}

// testsOf are the tests of the program by name.
func testsOf(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	for _, pattern := range []string{"*_test.go", "*/*_test.go", "internal/*/*_test.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			src, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range testFunc.FindAllStringSubmatch(string(src), -1) {
				out[m[1]] = true
			}
		}
	}
	return out
}
