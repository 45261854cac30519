package web

import (
	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
)

// stationsPage leads a helper to the stations of today, and to nothing else.
type stationsPage struct {
	Head
	Days []clinic.OpenStations
}

func (*stationsPage) file() string { return "stations.html" }

func (s *server) openStations(ctx *gin.Context) (answer, error) {
	days, err := s.clinic.OpenStations(ctx.Request.Context(), s.person(ctx))
	if err != nil {
		return answer{}, err
	}
	p := &stationsPage{Head: Head{Title: "Stations of today", Crumbs: []Crumb{{s.today(), ""}}, Needs: "Choose your station."}, Days: days}
	if len(days) == 0 {
		p.Needs = "No screening day is open today. The trainer opens it."
	}
	return shown(p), nil
}
