package web

import "github.com/gin-gonic/gin"

// explainPages are the pages of this file and those beside it.
var explainPages = []page{}

func (s *server) explainRoutes(r *gin.RouterGroup) {}
