package office

import "evenhand/internal/store"

// AuditQuery says which entries of the audit are wanted.
type AuditQuery = store.AuditQuery
