package store

// consentStatements are those of consents and their texts.
var consentStatements = []string{}
