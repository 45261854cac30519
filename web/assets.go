package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

//go:embed static/style.css static/chart.js static/icon.svg
//go:embed node_modules/echarts/dist/echarts.esm.min.mjs
var assetFiles embed.FS

// assetTypes says which files are served, under their last name, and as what.
var assetTypes = []struct{ file, contentType string }{
	{"static/style.css", "text/css; charset=utf-8"},
	{"static/chart.js", "text/javascript; charset=utf-8"},
	{"static/icon.svg", "image/svg+xml"},
	{"node_modules/echarts/dist/echarts.esm.min.mjs", "text/javascript; charset=utf-8"},
}

// asset is one file as it is sent. Its address carries a hash of the content, so a browser may keep it
// for good; a new version has a new address.
type asset struct {
	data        []byte
	zipped      func() []byte
	hash        string
	contentType string
}

type assets struct{ byName map[string]*asset }

func loadAssets() (*assets, error) {
	out := &assets{byName: map[string]*asset{}}
	for _, t := range assetTypes {
		data, err := assetFiles.ReadFile(t.file)
		if err != nil {
			return nil, err
		}
		out.add(path.Base(t.file), data, t.contentType)
	}
	// The module names the drawing script by its address, which carries a hash.
	chart := out.byName["chart.js"]
	module := bytes.ReplaceAll(chart.data, []byte("./echarts.js"), []byte(out.url("echarts.esm.min.mjs")))
	out.add("chart.js", module, chart.contentType)
	return out, nil
}

func (a *assets) add(name string, data []byte, contentType string) {
	sum := sha256.Sum256(data)
	a.byName[name] = &asset{data: data, hash: hex.EncodeToString(sum[:6]), contentType: contentType,
		zipped: sync.OnceValue(func() []byte { return zip(data) })}
}

// url is the address of an asset, with the hash before its ending.
func (a *assets) url(name string) string {
	x, ok := a.byName[name]
	if !ok {
		return "/assets/" + name
	}
	ext := path.Ext(name)
	return "/assets/" + strings.TrimSuffix(name, ext) + "." + x.hash + ext
}

// find is the asset of an address, also of one with an older hash or none; current is false for those.
func (a *assets) find(file string) (x *asset, current bool) {
	if x, ok := a.byName[file]; ok {
		return x, false
	}
	ext := path.Ext(file)
	stem := strings.TrimSuffix(file, ext)
	hash := path.Ext(stem)
	x, ok := a.byName[strings.TrimSuffix(stem, hash)+ext]
	if !ok {
		return nil, false
	}
	return x, hash == "."+x.hash
}

func (s *server) asset(ctx *gin.Context) {
	x, current := s.assets.find(strings.TrimPrefix(ctx.Param("name"), "/"))
	if x == nil {
		s.fail(ctx, &screen.Problem{Code: screen.NotFound, Text: "there is no such file", Want: "start from the list of teams"})
		return
	}
	h := ctx.Writer.Header()
	h.Set("ETag", `"`+x.hash+`"`)
	h.Set("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache")
	if current {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	if strings.Contains(ctx.GetHeader("If-None-Match"), `"`+x.hash+`"`) {
		ctx.Status(http.StatusNotModified)
		return
	}
	body := x.data
	if strings.Contains(ctx.GetHeader("Accept-Encoding"), "gzip") {
		body = x.zipped()
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	ctx.Data(http.StatusOK, x.contentType, body)
}

func zip(data []byte) []byte {
	var b bytes.Buffer
	w, _ := gzip.NewWriterLevel(&b, gzip.BestCompression) // the level is a valid one, and a buffer takes all
	_, _ = w.Write(data)
	_ = w.Close()
	return b.Bytes()
}
