package exchange

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
)

// What XML may ask for. A cell of a spreadsheet holds at most 32,767 characters, and the elements of a
// sheet are six deep; what goes far beyond is made to fill the memory or to take for ever.
const (
	deepest   = 64
	widestGap = 1 << 20 // bytes between two elements: of a text, or of one element's attributes
)

var errUnruly = errors.New("the XML is deeper or longer than that of a workbook")

// tokens reads XML token by token, as far as it is no deeper and no longer than that of a workbook.
type tokens struct {
	d     *xml.Decoder
	depth int
}

func (b *book) decoder(data []byte) *tokens {
	d := xml.NewDecoder(&gapReader{r: bytes.NewReader(data)})
	d.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		r, err := b.f.CharsetReader(charset, in)
		return &gapReader{r: r}, err // in another encoding the byte of "<" may stand for something else
	}
	return &tokens{d: d}
}

func (t *tokens) Token() (xml.Token, error) {
	tok, err := t.d.Token()
	switch tok.(type) {
	case xml.StartElement:
		t.depth++
	case xml.EndElement:
		t.depth--
	}
	if t.depth > deepest {
		return nil, errUnruly
	}
	return tok, err
}

// gapReader fails when no "<" has come for too long.
type gapReader struct {
	r   io.Reader
	gap int
}

func (g *gapReader) Read(p []byte) (int, error) {
	n, err := g.r.Read(p[:min(len(p), widestGap)])
	if first := bytes.IndexByte(p[:n], '<'); first < 0 {
		g.gap += n
	} else {
		g.gap = n - 1 - bytes.LastIndexByte(p[:n], '<')
	}
	if g.gap > widestGap {
		return 0, errUnruly
	}
	return n, err
}
