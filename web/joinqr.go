package web

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// qrView is a QR code as one path: dark squares on a light ground, with the quiet zone in it.
type qrView struct {
	Size  int    // of a side, in modules
	Path  string // of the dark modules, one unit each
	Label string
}

// quietZone is the light margin that readers of QR codes need, in modules.
const quietZone = 4

// qrOf draws a text as a QR code of level M. Runs of dark modules in a row become one rectangle.
func qrOf(text, label string) (qrView, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return qrView{}, fmt.Errorf("a QR code of %d bytes: %w", len(text), err)
	}
	var path strings.Builder
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			from := x
			for x < code.Size && code.Black(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from+quietZone, y+quietZone, x-from, x-from)
			}
		}
	}
	return qrView{Size: code.Size + 2*quietZone, Path: path.String(), Label: label}, nil
}
