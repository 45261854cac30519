package store

// peopleStatements are those of accounts, grants, passkeys, sessions, links and tokens.
var peopleStatements = []string{}
