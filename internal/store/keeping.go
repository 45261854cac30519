package store

// keepingStatements are those of settings, retention, erasures and backups.
var keepingStatements = []string{}
