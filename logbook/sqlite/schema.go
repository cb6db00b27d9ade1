package sqlite

import (
	"database/sql"
	"errors"
)

// schema makes an empty logbook; its parameters are the keys and values of meta.
const schema = `
PRAGMA application_id = 0x55534C42;
PRAGMA user_version = 1;
BEGIN;
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE blocks (first INTEGER PRIMARY KEY, last INTEGER NOT NULL, header BLOB NOT NULL, content BLOB NOT NULL) STRICT;
CREATE TABLE identities (identity BLOB PRIMARY KEY, seq INTEGER NOT NULL, body BLOB) STRICT, WITHOUT ROWID;
CREATE TABLE channels (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE times (channel INTEGER NOT NULL, time INTEGER NOT NULL, seq INTEGER NOT NULL,
	PRIMARY KEY (channel, time, seq)) STRICT, WITHOUT ROWID;
CREATE TABLE outbox (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, messenger TEXT NOT NULL, recipient TEXT NOT NULL,
	body BLOB, not_before INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0, begun INTEGER NOT NULL DEFAULT 0,
	state TEXT NOT NULL DEFAULT 'waiting') STRICT;
CREATE INDEX waiting ON outbox (not_before) WHERE state = 'waiting';
CREATE TABLE snapshots (id INTEGER PRIMARY KEY, program TEXT NOT NULL, config TEXT NOT NULL, log TEXT NOT NULL,
	seq INTEGER NOT NULL, hash TEXT NOT NULL, sum BLOB NOT NULL, data BLOB NOT NULL) STRICT;
INSERT INTO meta VALUES (?, ?), (?, ?), (?, ?), (?, ?);
COMMIT;`

// statements are the writer's, prepared once.
type statements struct {
	identity, known, channel, channelID, time, block, written *sql.Stmt
}

// prepare prepares all statements; after an error, close frees those that were.
func (s *statements) prepare(db *sql.DB) (err error) {
	for _, p := range []struct {
		stmt **sql.Stmt
		text string
	}{
		{&s.identity, "INSERT INTO identities (identity, seq, body) VALUES (?, ?, ?) ON CONFLICT DO NOTHING"},
		{&s.known, "SELECT seq, body FROM identities WHERE identity = ?"},
		{&s.channel, "INSERT INTO channels (name) VALUES (?) ON CONFLICT DO NOTHING"},
		{&s.channelID, "SELECT id FROM channels WHERE name = ?"},
		{&s.time, "INSERT INTO times (channel, time, seq) VALUES (?, ?, ?)"},
		{&s.block, "INSERT INTO blocks (first, last, header, content) VALUES (?, ?, ?, ?)"},
		{&s.written, "UPDATE meta SET value = ? WHERE key = 'written'"},
	} {
		stmt, err := db.Prepare(p.text)
		if err != nil {
			return err
		}
		*p.stmt = stmt
	}
	return nil
}

// close frees the statements that were prepared.
func (s *statements) close() error {
	var errs []error
	for _, stmt := range []*sql.Stmt{s.identity, s.known, s.channel, s.channelID, s.time, s.block, s.written} {
		if stmt != nil {
			errs = append(errs, stmt.Close())
		}
	}
	return errors.Join(errs...)
}
