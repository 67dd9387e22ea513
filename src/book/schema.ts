/**
 * The database schema of a book and its migrations. `user_version` holds the schema's number; a
 * book from a newer program is refused, an older one is migrated in one transaction. Tables are
 * STRICT: a wrong type is an error, not a surprise.
 */
export const SCHEMA_VERSION = 2;

/** Step n takes a book from version n to n + 1. Never change a step that has shipped; add one. */
export const MIGRATIONS: readonly string[] = [
  `
  CREATE TABLE document (
    kind TEXT NOT NULL,
    id TEXT NOT NULL,
    body TEXT NOT NULL,
    revision INTEGER NOT NULL,
    PRIMARY KEY (kind, id)
  ) STRICT;
  CREATE TABLE edit (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    at TEXT NOT NULL,
    title TEXT NOT NULL,
    undone INTEGER NOT NULL DEFAULT 0
  ) STRICT;
  CREATE TABLE change (
    edit INTEGER NOT NULL REFERENCES edit (seq) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    kind TEXT NOT NULL,
    id TEXT NOT NULL,
    before TEXT,
    after TEXT,
    PRIMARY KEY (edit, position)
  ) STRICT;
  `,
  `
  CREATE TABLE job (
    id TEXT PRIMARY KEY,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    spec TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'failed', 'stopped')),
    done INTEGER NOT NULL DEFAULT 0,
    total INTEGER NOT NULL DEFAULT 0,
    stage TEXT NOT NULL DEFAULT '',
    error TEXT,
    result TEXT,
    stop_asked INTEGER NOT NULL DEFAULT 0,
    pid INTEGER,
    heartbeat INTEGER,
    created INTEGER NOT NULL
  ) STRICT;
  CREATE INDEX job_state ON job (state, created);
  `,
];
