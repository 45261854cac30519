package api

import (
	"context"
	"net/http"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func (s *server) protocol() {
	add(s, route{method: http.MethodGet, path: "/protocol", id: "get-protocol", tag: "protocol", summary: "The protocol in use: measures, rules, checklist, sources",
		text: "The ETag is the protocol's hash.", conditional: true}, s.getProtocol)
	add(s, route{method: http.MethodGet, path: "/protocol/check", id: "check-protocol", tag: "protocol", summary: "What each rule finds and misses with the error of its measure"}, s.checkProtocol)
}

func (s *server) getProtocol(_ context.Context, in *Cached) (*one[*screen.Protocol], error) {
	p := s.clinic.Protocol()
	tag := `"` + p.Hash + `"`
	return &one[*screen.Protocol]{tag, p}, in.unless(tag)
}

func (s *server) checkProtocol(context.Context, *struct{}) (*listing[score.RuleCheck], error) {
	return listOf(s.check(), ""), nil
}
