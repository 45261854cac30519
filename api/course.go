package api

func (s *server) courses() {}
