package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// ceremony is one of WebAuthn, begun: what the browser's own function is given, and the name by which
// the answer is told from others.
type ceremony struct {
	Ceremony string          `json:"ceremony"`
	Options  json.RawMessage `json:"options"`
}

// finished is what passkey.js sends after the browser has made or used a passkey.
type finished struct {
	Ceremony string          `json:"ceremony"`
	Name     string          `json:"name"`
	Next     string          `json:"next"`
	Response json.RawMessage `json:"response"`
}

// maxCeremonyBytes bounds an answer of a browser: an attestation with certificates has some kilobytes.
const maxCeremonyBytes = 64 << 10

// originOf is the origin of the page that asks, such as https://evenhand.local:8484: as the browser says
// it, if it names this host. Behind a proxy only the browser knows whether it is https.
func originOf(r *http.Request) string {
	if o, err := url.Parse(r.Header.Get("Origin")); err == nil && strings.EqualFold(o.Host, r.Host) && (o.Scheme == "http" || o.Scheme == "https") {
		return o.Scheme + "://" + o.Host
	}
	if r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

func (s *server) beginPasskey(ctx *gin.Context) {
	id, options, err := s.office.BeginPasskey(ctx.Request.Context(), s.person(ctx), originOf(ctx.Request))
	s.begun(ctx, id, options, err)
}

func (s *server) beginPasskeySignIn(ctx *gin.Context) {
	id, options, err := s.office.BeginPasskeySignIn(ctx.Request.Context(), originOf(ctx.Request), addressOf(ctx.Request))
	s.begun(ctx, id, options, err)
}

func (s *server) begun(ctx *gin.Context, id string, options []byte, err error) {
	if err != nil {
		s.failScript(ctx, err)
		return
	}
	ctx.Header("Cache-Control", "no-store")
	ctx.JSON(http.StatusOK, ceremony{id, options})
}

func (s *server) finishPasskey(ctx *gin.Context) {
	in, err := readCeremony(ctx)
	if err == nil {
		err = s.office.FinishPasskey(ctx.Request.Context(), s.person(ctx), originOf(ctx.Request), in.Ceremony, in.Name, in.Response)
	}
	s.ended(ctx, "/account?done=passkey", err)
}

func (s *server) finishPasskeySignIn(ctx *gin.Context) {
	in, err := readCeremony(ctx)
	if err == nil {
		var signed office.SignedIn
		signed, err = s.office.FinishPasskeySignIn(ctx.Request.Context(), originOf(ctx.Request), in.Ceremony, in.Response, addressOf(ctx.Request), deviceOf(ctx.Request))
		if err == nil {
			setSession(ctx, signed)
		}
	}
	s.ended(ctx, nextPath(in.Next), err)
}

// ended tells the script where to go on to.
func (s *server) ended(ctx *gin.Context, to string, err error) {
	if err != nil {
		s.failScript(ctx, err)
		return
	}
	ctx.Header("Cache-Control", "no-store")
	ctx.JSON(http.StatusOK, map[string]string{"to": to})
}

func readCeremony(ctx *gin.Context) (in finished, err error) {
	wrong := &screen.Problem{Code: screen.Invalid, Text: "what the browser sent cannot be read", Want: "try again"}
	if !strings.HasPrefix(ctx.ContentType(), "application/json") {
		return in, wrong
	}
	ctx.Request.Body = http.MaxBytesReader(ctx.Writer, ctx.Request.Body, maxCeremonyBytes)
	if err := json.NewDecoder(ctx.Request.Body).Decode(&in); err != nil {
		return in, wrong
	}
	return in, nil
}

// failScript tells a script what is wrong, in a sentence that it shows.
func (s *server) failScript(ctx *gin.Context, err error) {
	var problem *screen.Problem
	status, text := http.StatusInternalServerError, "something went wrong inside evenhand"
	if wait, slow := office.Throttled(err); slow {
		retryAfter(ctx, wait)
		status, text = http.StatusTooManyRequests, "there were too many tries; wait "+waitWords(wait)+", then try again"
	} else if faults := faultsOf(err); faults != nil {
		status, text = http.StatusUnprocessableEntity, faults[0].Problem
		if faults[0].Want != "" {
			text += "; right would be: " + faults[0].Want
		}
	} else if errors.As(err, &problem) {
		status, text = statusOf(problem), problem.Error()
	} else {
		s.log.ErrorContext(ctx.Request.Context(), "passkey failed", "route", ctx.FullPath(), "error", err.Error())
	}
	ctx.Header("Cache-Control", "no-store")
	ctx.JSON(status, map[string]string{"text": upperFirst(text) + "."})
}

func (s *server) removePasskey(ctx *gin.Context) (answer, error) {
	if err := s.office.RemovePasskey(ctx.Request.Context(), s.person(ctx), ctx.Param("passkey")); err != nil {
		return answer{}, err
	}
	return goOn("/account?done=removed"), nil
}
