package web

import "github.com/gin-gonic/gin"

// stationPages are the pages of this file and those beside it.
var stationPages = []page{}

func (s *server) stationRoutes(r *gin.RouterGroup) {
	_ = r
}
