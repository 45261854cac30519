package web

import (
	"bytes"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
)

// Trust is what a device needs in order to trust this server, where a local authority vouches for it.
type Trust struct {
	Certificate []byte // of the authority, PEM; never its key
	Fingerprint string // SHA-256 of it, as devices show it
	Until       string // the day on which the authority ends
	Base        string // the address to open afterwards
}

const trustFile = "/trust/evenhand-ca.crt"

var trustPages = []page{&trustPage{}}

// trustPage says how a tablet or a laptop comes to trust this server.
type trustPage struct {
	Head
	File        string
	Fingerprint [][]string // rows of pairs of digits
	Until, Base string
	QR          qrView
}

func (*trustPage) file() string { return "trust.html" }

// RegisterTrust adds to a router only what a device needs that does not trust this server yet: the page,
// the certificate, and the page's style. It is for a second address without TLS.
func RegisterTrust(router *gin.Engine, c *clinic.Clinic, opt Options) error {
	s, err := newServer(c, opt)
	if err != nil {
		return err
	}
	open := router.Group("/", s.recover)
	s.trustRoutes(open)
	open.GET("/assets/*name", s.asset)
	open.GET("/", func(ctx *gin.Context) { ctx.Redirect(http.StatusSeeOther, "/trust") })
	return nil
}

// trustRoutes are for everybody: who asks does not trust this server yet and cannot sign in.
func (s *server) trustRoutes(r *gin.RouterGroup) {
	if s.trust == nil {
		return
	}
	s.page(r, "/trust", s.showTrust)
	certificate := func(ctx *gin.Context) {
		ctx.Header("Content-Disposition", `inline; filename="evenhand-ca.crt"`) // as an attachment some devices would put it away instead of offering to trust it
		ctx.Data(http.StatusOK, "application/x-x509-ca-cert", bytes.Clone(s.trust.Certificate))
	}
	r.GET(trustFile, certificate)
	r.HEAD(trustFile, certificate)
}

func (s *server) showTrust(*gin.Context) (answer, error) {
	t := s.trust
	p := &trustPage{Head: Head{Title: "Trust this evenhand on a device", Bare: true}, File: trustFile, Until: t.Until, Base: t.Base,
		Fingerprint: inRows(t.Fingerprint, 8)}
	if t.Base == "" {
		return shown(p), nil
	}
	var err error
	p.QR, err = qrOf(t.Base, "QR code of the address to open afterwards")
	return shown(p), err
}

// inRows puts the pairs of digits of a fingerprint into rows, to be compared one by one.
func inRows(fingerprint string, each int) (rows [][]string) {
	pairs := strings.Split(fingerprint, ":")
	for len(pairs) > each {
		rows, pairs = append(rows, pairs[:each]), pairs[each:]
	}
	return append(rows, pairs)
}
