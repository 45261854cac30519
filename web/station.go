package web

import (
	"bytes"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// stationPages are the pages of this file and those beside it.
var stationPages = []page{&stationPage{}}

// stationPage is the screen of one station of a screening day. Its modules work on from the sheet that
// it carries, also when the network is gone.
type stationPage struct {
	Head
	Code    string
	Sheet   clinic.StationSheet
	Script  string   // the page's modules in one file; empty: they were not put together
	Modules []string // the modules one by one, so that the browser fetches them in one go
}

func (*stationPage) file() string { return "station.html" }

func (s *server) stationRoutes(r *gin.RouterGroup) {
	r.GET("/s/:code", s.station)
	r.HEAD("/s/:code", s.station)
	r.GET("/s/sw.js", s.stationWorker)
	r.HEAD("/s/sw.js", s.stationWorker)
}

// station shows the page of a station. It is sent zipped: in a gym it comes over a slow network, and
// the sheet of sixty athletes shrinks to a sixth.
func (s *server) station(ctx *gin.Context) {
	code := ctx.Param("code")
	sheet, err := s.clinic.Station(ctx.Request.Context(), s.person(ctx), code)
	if upper := strings.ToUpper(code); upper != code && screen.IsCode(err, screen.NotFound) {
		if _, there := s.clinic.DayOfStation(ctx.Request.Context(), s.person(ctx), upper); there == nil {
			ctx.Redirect(http.StatusSeeOther, "/s/"+url.PathEscape(upper)) // typed from the poster in small letters
			return
		}
	}
	if err != nil {
		s.fail(ctx, err)
		return
	}
	p := &stationPage{Head: Head{Title: sheet.Station.Name}, Code: code, Sheet: sheet}
	if s.assets.byName[stationScript] != nil {
		p.Script = stationScript
	} else {
		p.Modules = stationModules()
	}
	s.showZipped(ctx, p)
}

func (s *server) showZipped(ctx *gin.Context, p page) {
	var b bytes.Buffer
	if err := s.render(&b, p); err != nil {
		s.fail(ctx, err)
		return
	}
	body, h := b.Bytes(), ctx.Writer.Header()
	h.Set("Cache-Control", "no-store") // health records; the page's own worker keeps its copy by itself
	h.Set("Vary", "Accept-Encoding")
	if strings.Contains(ctx.GetHeader("Accept-Encoding"), "gzip") {
		body = zip(body)
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	ctx.Data(http.StatusOK, "text/html; charset=utf-8", body)
}

// stationScript is made of the station's modules when the program is built. Over a gym's network thirty
// requests take longer than what they carry; without the file the modules are served as they are.
const stationScript = "station.js"

// stationModules are the names of the station's modules.
func stationModules() []string {
	files, _ := fs.Glob(assetFiles, "static/station/*.js") // the pattern is a valid one
	for i := range files {
		files[i] = path.Base(files[i])
	}
	return files
}

// stationWorker serves the worker that opens a station's page again without network. It stands under
// /s/ and not among the assets because a worker answers only for addresses at or below its own.
func (s *server) stationWorker(ctx *gin.Context) {
	x := s.assets.byName["sw.js"]
	if x == nil {
		s.fail(ctx, &screen.Problem{Code: screen.NotFound, Text: "there is no such file", Want: "start from the list of teams"})
		return
	}
	ctx.Header("Service-Worker-Allowed", "/s/")
	ctx.Header("Cache-Control", "no-cache")
	ctx.Data(http.StatusOK, x.contentType, x.data)
}
