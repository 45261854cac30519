package web

import (
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/screen"
)

// joinPage shows how phones and tablets reach the stations of a day.
type joinPage struct {
	Head
	ID       string
	Stations []joinStation
	Alone    bool   // no other device can reach the address
	Base     string // the address
	Revision int    // of the day
}

func (*joinPage) file() string { return "join.html" }

// joinStation is one station to print or to show.
type joinStation struct {
	Number     int
	Name, URL  string
	Host, Code string // the link as it is typed, in two parts
	Takes      []string
	QR         qrView
}

func (s *server) joinDay(ctx *gin.Context) (answer, error) {
	v, err := s.clinic.Day(ctx.Request.Context(), s.person(ctx), ctx.Param("day"))
	if err != nil {
		return answer{}, err
	}
	p := &joinPage{Head: Head{Title: "Join a station", Styles: []string{dayStyle}}, ID: v.Day.ID, Base: s.baseOf(ctx.Request)}
	p.Crumbs = []Crumb{{v.Team.Name, "/teams/" + v.Team.ID}, {"Screening day, " + day(v.Day.On), "/days/" + v.Day.ID}}
	if p.Alone = loopback(p.Base); p.Alone {
		p.Needs = "Phones cannot reach this address."
	}
	p.Revision = v.Day.Revision
	p.Stations, err = joinStations(s.clinic.Protocol(), &v.Day, p.Base)
	return shown(p), err
}

// renewStation gives a station a new link, as when the old one got into wrong hands.
func (s *server) renewStation(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	revision, err := strconv.Atoi(ctx.PostForm("revision"))
	if err != nil {
		return answer{}, &screen.Problem{Code: screen.Invalid, Text: "the form does not say which version of the day it changes", Want: "open the page again"}
	}
	day := ctx.Param("day")
	_, err = s.clinic.RenewStation(ctx.Request.Context(), s.person(ctx), day, ctx.PostForm("code"), revision)
	return goOn("/days/" + url.PathEscape(day) + "/join"), err
}

func joinStations(protocol *screen.Protocol, d *screen.Day, base string) (out []joinStation, err error) {
	for i := range d.Stations {
		st := &d.Stations[i]
		x := joinStation{Number: i + 1, Name: st.Name, URL: base + "/s/" + st.Code, Host: shortLink(base, ""), Code: st.Code, Takes: stepWords(protocol, st)}
		if x.QR, err = qrOf(x.URL, "QR code of the link to "+st.Name); err != nil {
			return nil, err
		}
		out = append(out, x)
	}
	return out, nil
}

// baseOf is the address by which other devices reach this server: as it was told to the program, or
// else as this request came in.
func (s *server) baseOf(r *http.Request) string {
	if s.base != nil {
		if b := strings.TrimRight(s.base(r), "/"); b != "" {
			return b
		}
	}
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + r.Host
}

// loopback reports whether an address leads nowhere but to the machine itself.
func loopback(base string) bool {
	u, err := url.Parse(base)
	if err != nil {
		return false
	}
	host := strings.ToLower(u.Hostname())
	ip := net.ParseIP(host)
	return host == "localhost" || strings.HasSuffix(host, ".localhost") || ip != nil && (ip.IsLoopback() || ip.IsUnspecified())
}

// ReachableBase is the address by which other devices reach a server that listens on host:port: the
// public one if there is one; else, if it listens on all interfaces, the machine's first private
// address of version 4 (RFC 1918), as local networks have them; else where it listens. It is empty if
// it listens on all interfaces of a machine without such an address: then only the request can tell.
func ReachableBase(listen string, addrs []net.IP, public string) string {
	if public = strings.TrimRight(strings.TrimSpace(public), "/"); public != "" {
		return public
	}
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return ""
	}
	if ip := net.ParseIP(host); host != "" && (ip == nil || !ip.IsUnspecified()) {
		return "http://" + net.JoinHostPort(host, port)
	}
	for _, ip := range addrs {
		if v4 := ip.To4(); v4 != nil && v4.IsPrivate() {
			return "http://" + net.JoinHostPort(v4.String(), port)
		}
	}
	return ""
}
