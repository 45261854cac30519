package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

//go:embed static
//go:embed node_modules/echarts/dist/echarts.esm.min.mjs
var assetFiles embed.FS

// assetTypes says which files of static are served, by their endings, and as what.
var assetTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

const echartsFile = "node_modules/echarts/dist/echarts.esm.min.mjs"

// asset is one file as it is sent. Its address carries a hash of the content, so a browser may keep it
// for good; a new version has a new address.
type asset struct {
	data        []byte
	zipped      func() []byte
	hash        string
	contentType string
}

// assets are the files by their last name, whatever folder they are in.
type assets struct{ byName map[string]*asset }

func loadAssets() (*assets, error) {
	out := &assets{byName: map[string]*asset{}}
	data, err := assetFiles.ReadFile(echartsFile)
	if err != nil {
		return nil, err
	}
	out.add("echarts.js", data, assetTypes[".js"])
	modules := map[string][]byte{}
	err = fs.WalkDir(assetFiles, "static", func(file string, d fs.DirEntry, err error) error {
		contentType, served := assetTypes[path.Ext(file)]
		if err != nil || d.IsDir() || !served {
			return err
		}
		data, err := assetFiles.ReadFile(file)
		if err != nil {
			return err
		}
		if path.Ext(file) == ".js" {
			modules[path.Base(file)] = data
		} else {
			out.add(path.Base(file), data, contentType)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, out.addModules(modules)
}

var moduleImport = regexp.MustCompile(`(from |import\(|import )(['"])\./([a-z0-9-]+\.js)(['"])`)

// addModules adds modules after those that they import: an import names an address, which carries the
// hash of what is imported.
func (a *assets) addModules(modules map[string][]byte) error {
	for len(modules) > 0 {
		before := len(modules)
		for name, data := range modules {
			ready := true
			for _, m := range moduleImport.FindAllSubmatch(data, -1) {
				ready = ready && a.byName[string(m[3])] != nil
			}
			if !ready {
				continue
			}
			a.add(name, moduleImport.ReplaceAllFunc(data, func(text []byte) []byte {
				m := moduleImport.FindSubmatch(text)
				return fmt.Appendf(nil, "%s%s%s%s", m[1], m[2], a.url(string(m[3])), m[4])
			}), assetTypes[".js"])
			delete(modules, name)
		}
		if len(modules) == before {
			return fmt.Errorf("modules import each other in a circle, or something that is not there: %v", slices.Sorted(maps.Keys(modules)))
		}
	}
	return nil
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
