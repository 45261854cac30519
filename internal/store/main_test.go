package store

import (
	"os"
	"testing"
)

// TestMain removes the file that the benchmarks share.
func TestMain(m *testing.M) {
	code := m.Run()
	if bigDir != "" {
		if err := os.RemoveAll(bigDir); err != nil {
			code = 1
		}
	}
	os.Exit(code)
}
