package api

func (s *server) followUps() {}
