// Command proof simulates athletes through the real scoring code and writes what it found to
// docs/proof.md, with its figures beside it. The same protocol gives the same files, byte for byte.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"evenhand/internal/proof"
	"evenhand/internal/screen"
)

func main() {
	dir := flag.String("dir", "docs", "where proof.md and its figures are written")
	flag.Parse()
	if err := run(*dir, os.Stderr); err != nil {
		_, _ = fmt.Fprintln(os.Stderr, "proof:", err)
		os.Exit(1)
	}
}

func run(dir string, progress io.Writer) error {
	p, err := screen.Default()
	if err != nil {
		return err
	}
	r := proof.Measure(p, func(what string) { _, _ = fmt.Fprintln(progress, "proof:", what) })
	files := map[string][]byte{"proof.md": []byte(page(p, r))}
	for name, draw := range map[string]func(*proof.Results) ([]byte, error){
		"proof-calibration.svg": calibrationFigure, "proof-verdicts.svg": verdictFigure, "proof-trend.svg": trendFigure,
	} {
		if files[name], err = draw(r); err != nil {
			return err
		}
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			return err
		}
	}
	return nil
}
