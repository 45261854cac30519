package web

import "github.com/gin-gonic/gin"

// followPages are the pages of this file and those beside it.
var followPages = []page{}

func (s *server) followRoutes(r *gin.RouterGroup) {}
