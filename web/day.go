package web

import "github.com/gin-gonic/gin"

// dayPages are the pages of this file and those beside it.
var dayPages = []page{}

func (s *server) dayRoutes(r *gin.RouterGroup) {
	_ = r
}
