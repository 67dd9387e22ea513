/**
 * The history of a book's edits: every edit with the documents it changed, before and after. It is a line, not a tree.
 * All but `editsOf` and `pulseOf` are called inside a transaction.
 */
import type Database from 'libsql';
import type { Row } from './book-database.js';

/** One edit of the book as its history lists it; `seq` rises. */
export interface EditRecord {
  readonly seq: number;
  readonly at: string;
  readonly title: string;
  readonly undone: boolean;
}

/** What an edit did to one document, as JSON; null: it was not there. */
export interface Change {
  readonly kind: string;
  readonly id: string;
  readonly before: string | null;
  readonly after: string | null;
}

/** Puts a document's body as it was; null: it was not there. */
type Restore = (kind: string, id: string, body: string | null) => void;

/**
 * The edit that put the production itself: without it there is no book to open, so it is no part of what can be taken
 * back.
 */
const START = "(SELECT edit FROM change WHERE kind = 'production' AND before IS NULL)";

/** Keeps an edit. What was undone before can't be done again from now on. */
export function recordEdit(db: Database.Database, title: string, changes: readonly Change[]): void {
  db.exec('DELETE FROM edit WHERE undone = 1');
  const seq = Number(
    db.prepare('INSERT INTO edit (at, title) VALUES (?, ?)').run(new Date().toISOString(), title).lastInsertRowid,
  );
  const insert = db.prepare('INSERT INTO change (edit, position, kind, id, before, after) VALUES (?, ?, ?, ?, ?, ?)');
  changes.forEach((c, i) => insert.run(seq, i, c.kind, c.id, c.before, c.after));
}

/** Takes back the last edit that stands; null where there is none. */
export function undoLast(db: Database.Database, restore: Restore): EditRecord | null {
  const row = db
    .prepare(`SELECT seq, at, title FROM edit WHERE undone = 0 AND seq NOT IN ${START} ORDER BY seq DESC LIMIT 1`)
    .get() as Row | undefined;
  if (row === undefined) return null;
  const changes = db
    .prepare('SELECT kind, id, before AS body FROM change WHERE edit = ? ORDER BY position DESC')
    .all(Number(row['seq'])) as Row[];
  return turned(db, row, changes, true, restore);
}

/** Does the first undone edit again; null where there is none. */
export function redoNext(db: Database.Database, restore: Restore): EditRecord | null {
  const row = db.prepare('SELECT seq, at, title FROM edit WHERE undone = 1 ORDER BY seq LIMIT 1').get() as
    | Row
    | undefined;
  if (row === undefined) return null;
  const changes = db
    .prepare('SELECT kind, id, after AS body FROM change WHERE edit = ? ORDER BY position')
    .all(Number(row['seq'])) as Row[];
  return turned(db, row, changes, false, restore);
}

function turned(
  db: Database.Database,
  row: Row,
  changes: readonly Row[],
  undone: boolean,
  restore: Restore,
): EditRecord {
  for (const c of changes) restore(String(c['kind']), String(c['id']), c['body'] === null ? null : String(c['body']));
  const seq = Number(row['seq']);
  db.prepare('UPDATE edit SET undone = ? WHERE seq = ?').run(undone ? 1 : 0, seq);
  return { seq, at: String(row['at']), title: String(row['title']), undone };
}

/** The last edits, the latest first. */
export function editsOf(db: Database.Database, limit: number): EditRecord[] {
  return (
    db
      .prepare(`SELECT seq, at, title, undone FROM edit WHERE seq NOT IN ${START} ORDER BY seq DESC LIMIT ?`)
      .all(limit) as Row[]
  ).map((r) => ({
    seq: Number(r['seq']),
    at: String(r['at']),
    title: String(r['title']),
    undone: Number(r['undone']) === 1,
  }));
}

/** Differs whenever any process changed a document. */
export function pulseOf(db: Database.Database): string {
  const a = db
    .prepare('SELECT COALESCE(MAX(seq), 0) AS s, COALESCE(SUM(undone), 0) AS u, COUNT(*) AS n FROM edit')
    .get() as Row;
  const d = db.prepare('SELECT COALESCE(SUM(revision), 0) AS r, COUNT(*) AS n FROM document').get() as Row;
  return `${String(a['s'])}.${String(a['u'])}.${String(a['n'])}.${String(d['r'])}.${String(d['n'])}`;
}
