package postgres

import "encoding/binary"

// query is one of the statements that every connection has prepared.
type query int

const (
	beginView query = iota
	beginUpdate
	lockTables
	lockWriters
	readState
	readEntries
	readHashes
	readHashesOf
	readBlob
	readDocument
	readDocuments
	scanKind
	scanDocuments
	scanBlobs
	putEntries
	putHashes
	putBlob
	deleteBlob
	putDocuments
	deleteDocuments
	dropDocuments
	putState
	putCommit
	readCommit
	tell
	writeSomething
	commit
	rollback
	queries // how many there are
)

// budget stops a chunk at the row that goes beyond $n bytes, so that a chunk has one row at least and no
// more than that many bytes but for its last.
func budget(columns, size, rows, n string) string {
	return `SELECT ` + columns + ` FROM (SELECT *, sum(octet_length(` + size + `)) OVER (ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS before
		FROM (` + rows + `) chunk) summed WHERE before IS NULL OR before < ` + n
}

var statements = [queries]string{
	beginView:   `BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY`,
	beginUpdate: `BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE`,
	// Before the first snapshot: VACUUM FULL then waits for every view that could still see what was deleted.
	lockTables:  `LOCK TABLE witnessmark.documents, witnessmark.blobs IN ACCESS SHARE MODE`,
	lockWriters: `SELECT pg_advisory_xact_lock(8607461730915132781)`,
	readState: `SELECT form, updates, newest, sum, blobs_deleted, blobs_compacted,
		(SELECT coalesce(max(number) + 1, 0) FROM witnessmark.entries) FROM witnessmark.state`,

	readEntries: budget(`number, entry`, `entry`, `SELECT number, entry FROM witnessmark.entries
		WHERE number >= $1::bigint ORDER BY number LIMIT $2::bigint`, `$3::bigint`),
	readHashes:   `SELECT number, hash FROM witnessmark.hashes WHERE number >= $1::bigint ORDER BY number LIMIT $2::bigint`,
	readHashesOf: `SELECT number, hash FROM unnest($1::bigint[]) AS named (number) JOIN witnessmark.hashes USING (number)`,
	readBlob:     `SELECT packed FROM witnessmark.blobs WHERE sha256 = $1::bytea`,

	readDocument: `SELECT value FROM witnessmark.documents WHERE kind = $1::bytea AND key = $2::bytea`,
	readDocuments: `SELECT kind, key, value FROM unnest($1::bytea[], $2::bytea[]) AS named (kind, key)
		JOIN witnessmark.documents USING (kind, key)`,
	scanKind: budget(`kind, key, value`, `value`, `SELECT kind, key, value FROM witnessmark.documents
		WHERE kind = $1::bytea AND key >= $2::bytea ORDER BY key LIMIT $3::bigint`, `$4::bigint`),
	scanDocuments: budget(`kind, key, value`, `value`, `SELECT kind, key, value FROM witnessmark.documents
		WHERE (kind, key) >= ($1::bytea, $2::bytea) ORDER BY kind, key LIMIT $3::bigint`, `$4::bigint`),
	scanBlobs: budget(`sha256, packed`, `packed`, `SELECT sha256, packed FROM witnessmark.blobs
		WHERE sha256 >= $1::bytea ORDER BY sha256 LIMIT $2::bigint`, `$3::bigint`),

	putEntries: `INSERT INTO witnessmark.entries SELECT * FROM unnest($1::bigint[], $2::bytea[])`,
	putHashes: `INSERT INTO witnessmark.hashes SELECT * FROM unnest($1::bigint[], $2::bytea[])
		ON CONFLICT (number) DO UPDATE SET hash = excluded.hash`,
	// What is replaced or deleted stays in the files until Compact.
	putBlob: `WITH put AS (INSERT INTO witnessmark.blobs VALUES ($1::bytea, $2::bytea)
			ON CONFLICT (sha256) DO UPDATE SET packed = excluded.packed RETURNING xmax <> 0 AS replaced)
		UPDATE witnessmark.state SET blobs_deleted = $3::bigint FROM put WHERE replaced`,
	deleteBlob: `WITH gone AS (DELETE FROM witnessmark.blobs WHERE sha256 = $1::bytea RETURNING 1)
		UPDATE witnessmark.state SET blobs_deleted = $2::bigint FROM gone`,
	putDocuments: `INSERT INTO witnessmark.documents SELECT * FROM unnest($1::bytea[], $2::bytea[], $3::bytea[])
		ON CONFLICT (kind, key) DO UPDATE SET value = excluded.value`,
	deleteDocuments: `DELETE FROM witnessmark.documents d USING unnest($1::bytea[], $2::bytea[]) AS named (kind, key)
		WHERE d.kind = named.kind AND d.key = named.key`,
	dropDocuments: `DELETE FROM witnessmark.documents`, // TRUNCATE would empty it for open views too

	putState: `UPDATE witnessmark.state SET updates = $1::bigint, newest = $2::bytea, sum = $3::bytea`,
	putCommit: `INSERT INTO witnessmark.commits VALUES ($1::bigint, $2::bigint, $3::bytea)
		ON CONFLICT (slot) DO UPDATE SET number = excluded.number, id = excluded.id`,
	readCommit: `SELECT number, id FROM witnessmark.commits WHERE slot = $1::bigint`,
	tell:       `SELECT pg_notify('witnessmark', $1::text)`,
	// A record in the log that belongs to the transaction, and so has its COMMIT wait as any other's.
	writeSomething: `SELECT pg_logical_emit_message(true, 'witnessmark', '')`,
	commit:         `COMMIT`,
	rollback:       `ROLLBACK`,
}

// What the driver sends and gets is PostgreSQL's binary form.

func integer(n int64) []byte { return binary.BigEndian.AppendUint64(nil, uint64(n)) }

const (
	oidBytea  = 17
	oidBigint = 20
)

// array is one of a dimension, none of it null.
func array(oid uint32, elements [][]byte) []byte {
	size := 20
	for _, e := range elements {
		size += 4 + len(e)
	}
	b := make([]byte, 0, size)
	for _, n := range []uint32{1, 0, oid, uint32(len(elements)), 1} {
		b = binary.BigEndian.AppendUint32(b, n)
	}
	for _, e := range elements {
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(e))), e...)
	}
	return b
}
