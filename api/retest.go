package api

func (s *server) retests() {}
