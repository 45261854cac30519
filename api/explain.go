package api

func (s *server) explanations() {}
