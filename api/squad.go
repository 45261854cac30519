package api

func (s *server) squads() {}
