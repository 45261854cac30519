package main

import (
	"io"
	"log/slog"
	"os"
)

// newLog writes a log in the form that was asked for; auto is text where a person reads it as it is
// written, and JSON where a program does.
func newLog(format string, out io.Writer) *slog.Logger {
	if format == "text" || format != "json" && terminal(out) {
		return slog.New(slog.NewTextHandler(out, nil))
	}
	return slog.New(slog.NewJSONHandler(out, nil))
}

// terminal reports whether somebody may be looking on.
func terminal(out io.Writer) bool {
	f, ok := out.(*os.File)
	if !ok {
		return false
	}
	i, err := f.Stat()
	return err == nil && i.Mode()&os.ModeCharDevice != 0
}
