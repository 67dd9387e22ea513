/**
 * A production's book: one SQLite file that holds every document and the history of edits. Every edit is one
 * transaction and can be undone, also after a restart. Two processes may have the book open (command line beside
 * workbench): an edit reads and writes inside one immediate transaction, so neither can overwrite what it has not seen.
 */
import { existsSync, mkdirSync, rmSync, statSync } from 'node:fs';
import { isAbsolute, join, relative, resolve, sep } from 'node:path';
import Database from 'libsql';
import { PlatewrightError } from '../core/errors.js';
import { damaged, diskTrouble } from './book-trouble.js';
import { firstIssue } from '../plate/marks/marks.js';
import { DOCUMENT_SCHEMAS, type DocumentKind, type DocumentOf } from './documents.js';
import { keepPlace } from './keep-place.js';
import { MIGRATIONS, SCHEMA_VERSION } from './schema.js';

export interface EditRecord {
  readonly seq: number;
  readonly at: string;
  readonly title: string;
  readonly undone: boolean;
}

/** The writing side of one edit; only alive inside `Book.edit`. */
export interface EditScope {
  get<K extends DocumentKind>(kind: K, id: string): DocumentOf<K> | null;
  list<K extends DocumentKind>(kind: K): DocumentOf<K>[];
  put<K extends DocumentKind>(kind: K, document: DocumentOf<K>): void;
  remove(kind: DocumentKind, id: string): void;
}

interface Row {
  readonly [column: string]: unknown;
}

export const BOOK_FILE = 'book.sqlite';

/**
 * The edit that put the production itself: without it there is no book to open, so it
 * is no part of what can be taken back.
 */
const START = "(SELECT edit FROM change WHERE kind = 'production' AND before IS NULL)";

/** One open book; `close` it. Reading gives copies that fit their schemas; writing goes through `edit` alone. */
export class Book {
  /** The production's folder, absolute. */
  readonly folder: string;
  /** Exposed for the jobs table alone (src/jobs). */
  readonly db: Database.Database;

  private constructor(folder: string, db: Database.Database) {
    this.folder = folder;
    this.db = db;
  }

  /** Makes a new production folder with an empty book. Throws `PW-BOOK-EXISTS` where one is. */
  static create(folder: string): Book {
    const path = resolve(folder);
    if (existsSync(join(path, BOOK_FILE)))
      throw new PlatewrightError('PW-BOOK-EXISTS', `${path} already holds a book; open it, or choose another folder`);
    mkdirSync(path, { recursive: true });
    try {
      return Book.connect(path);
    } catch (error) {
      Book.discard(path);
      throw error;
    }
  }

  /** Removes a book that was begun and came to nothing, so that the next try does not find half of one. */
  static discard(folder: string): void {
    for (const ending of ['', '-wal', '-shm']) rmSync(join(resolve(folder), BOOK_FILE + ending), { force: true });
  }

  /**
   * Opens an existing book, migrating an older one. Throws `PW-BOOK-MISSING`, `PW-BOOK-DAMAGED`,
   * `PW-BOOK-NO-ROOM`, `PW-BOOK-NOT-WRITABLE`, `PW-BOOK-NEWER`.
   */
  static open(folder: string): Book {
    const path = resolve(folder);
    if (!existsSync(join(path, BOOK_FILE))) {
      throw new PlatewrightError(
        'PW-BOOK-MISSING',
        `there is no ${BOOK_FILE} in ${path}; name a production's folder with --production, ` +
          'or start one with "platewright new"',
      );
    }
    // An empty file opens as an empty book: the story would look as if it had never
    // been. (What a crash left in the log is a book.)
    const log = join(path, `${BOOK_FILE}-wal`);
    if (statSync(join(path, BOOK_FILE)).size === 0 && !(existsSync(log) && statSync(log).size > 0))
      throw damaged(join(path, BOOK_FILE), 'it has no bytes in it');
    const book = Book.connect(path);
    let found = 'ok';
    let why: unknown;
    try {
      // Milliseconds for a book of some megabytes: better than a story that breaks off in the middle.
      found = String(Object.values(book.db.prepare('PRAGMA quick_check(1)').get() as Row)[0]);
    } catch (cause) {
      found = (cause as Error).message;
      why = cause;
    }
    if (found !== 'ok') {
      book.close();
      throw (
        (why === undefined ? null : diskTrouble(join(path, BOOK_FILE), why)) ??
        damaged(join(path, BOOK_FILE), found.replace(/\s+/g, ' '), why)
      );
    }
    return book;
  }

  private static connect(path: string): Book {
    const file = join(path, BOOK_FILE);
    let db: Database.Database;
    try {
      db = new Database(file);
      db.exec('PRAGMA busy_timeout = 15000');
      db.exec('PRAGMA journal_mode = WAL');
      // FULL: a committed edit survives a power cut, not only a killed process.
      db.exec('PRAGMA synchronous = FULL');
      db.exec('PRAGMA foreign_keys = ON');
    } catch (cause) {
      throw diskTrouble(file, cause) ?? damaged(file, (cause as Error).message, cause);
    }
    const book = new Book(path, db);
    book.migrate(file);
    return book;
  }

  private migrate(file: string): void {
    const version = Number((this.db.prepare('PRAGMA user_version').get() as Row)['user_version']);
    if (version > SCHEMA_VERSION) {
      this.db.close();
      throw new PlatewrightError(
        'PW-BOOK-NEWER',
        `${file} was written by a newer Platewright (book version ${version}, ` +
          `this program knows ${SCHEMA_VERSION}); nothing was changed; open it with that version`,
      );
    }
    if (version === SCHEMA_VERSION) return;
    this.immediate(() => {
      // Another process may have migrated while this one waited for the lock.
      let v = Number((this.db.prepare('PRAGMA user_version').get() as Row)['user_version']);
      for (; v < SCHEMA_VERSION; v++) this.db.exec(MIGRATIONS[v]!);
      this.db.exec(`PRAGMA user_version = ${SCHEMA_VERSION}`);
    });
  }

  /** Runs `work` in one immediate transaction; anything thrown rolls it back. Not re-entrant. */
  immediate<T>(work: () => T): T {
    try {
      this.db.exec('BEGIN IMMEDIATE');
      const value = work();
      this.db.exec('COMMIT');
      return value;
    } catch (error) {
      // A full disk ends the transaction by itself.
      if (this.db.inTransaction) this.db.exec('ROLLBACK');
      throw String((error as { code?: unknown } | null)?.code ?? '').startsWith('SQLITE_')
        ? (diskTrouble(join(this.folder, BOOK_FILE), error) ?? error)
        : error;
    }
  }

  get<K extends DocumentKind>(kind: K, id: string): DocumentOf<K> | null {
    const row = this.db.prepare('SELECT body FROM document WHERE kind = ? AND id = ?').get(kind, id) as Row | undefined;
    return row === undefined ? null : (JSON.parse(String(row['body'])) as DocumentOf<K>);
  }

  /** Like `get`, but a missing document is an error that names what there is. */
  need<K extends DocumentKind>(kind: K, id: string): DocumentOf<K> {
    const found = this.get(kind, id);
    if (found !== null) return found;
    const ids = this.ids(kind);
    if (id === '' && ids.length > 1)
      throw new PlatewrightError(
        'PW-BOOK-NO-SUCH',
        `the book has several ${kind}s (${ids.slice(0, 12).join(', ')}${ids.length > 12 ? ' …' : ''}); name one`,
        { kind: 'usage' },
      );
    throw new PlatewrightError(
      'PW-BOOK-NO-SUCH',
      `the book has no ${kind} "${id}"; ` +
        (ids.length === 0
          ? `it has no ${kind} yet`
          : `it has ${ids.slice(0, 12).join(', ')}${ids.length > 12 ? ' …' : ''}`),
      { kind: 'usage' },
    );
  }

  list<K extends DocumentKind>(kind: K): DocumentOf<K>[] {
    return (this.db.prepare('SELECT body FROM document WHERE kind = ? ORDER BY id').all(kind) as Row[]).map(
      (r) => JSON.parse(String(r['body'])) as DocumentOf<K>,
    );
  }

  ids(kind: DocumentKind): string[] {
    return (this.db.prepare('SELECT id FROM document WHERE kind = ? ORDER BY id').all(kind) as Row[]).map((r) =>
      String(r['id']),
    );
  }

  /**
   * One edit: all changes that `work` makes are kept together or not at all, and can be undone together. `title` is
   * what a person reads in the history. Throws `PW-BOOK-FORM` where a document does not fit its schema.
   */
  edit<T>(title: string, work: (scope: EditScope) => T): T {
    return this.immediate(() => {
      const changes: { kind: string; id: string; before: string | null; after: string | null }[] = [];
      const write = (kind: DocumentKind, id: string, after: string | null): void => {
        const row = this.db.prepare('SELECT body FROM document WHERE kind = ? AND id = ?').get(kind, id) as
          | Row
          | undefined;
        const before = row === undefined ? null : String(row['body']);
        if (before === after) return;
        this.apply(kind, id, after);
        changes.push({ kind, id, before, after });
      };
      const value = work({
        get: (kind, id) => this.get(kind, id),
        list: (kind) => this.list(kind),
        put: (kind, document) => {
          const parsed = DOCUMENT_SCHEMAS[kind].safeParse(document);
          if (!parsed.success)
            throw new PlatewrightError(
              'PW-BOOK-FORM',
              `this ${kind} can't enter the book: ${firstIssue(parsed.error)}`,
              { cause: parsed.error },
            );
          write(kind, (parsed.data as { id: string }).id, JSON.stringify(parsed.data));
        },
        remove: (kind, id) => write(kind, id, null),
      });
      if (changes.length > 0) {
        // What was undone before a new edit can't be done again: the history is a line, not a tree.
        this.db.exec('DELETE FROM edit WHERE undone = 1');
        const seq = Number(
          this.db.prepare('INSERT INTO edit (at, title) VALUES (?, ?)').run(new Date().toISOString(), title)
            .lastInsertRowid,
        );
        const insert = this.db.prepare(
          'INSERT INTO change (edit, position, kind, id, before, after) VALUES (?, ?, ?, ?, ?, ?)',
        );
        changes.forEach((c, i) => insert.run(seq, i, c.kind, c.id, c.before, c.after));
      }
      return value;
    });
  }

  private apply(kind: string, id: string, body: string | null): void {
    if (body === null) this.db.prepare('DELETE FROM document WHERE kind = ? AND id = ?').run(kind, id);
    else {
      this.db
        .prepare(`INSERT INTO document (kind, id, body, revision) VALUES (?, ?, ?, 1)
        ON CONFLICT (kind, id) DO UPDATE SET body = excluded.body, revision = revision + 1`)
        .run(kind, id, body);
    }
  }

  /** Puts an older or undone form of a document back; media stay where they lie. */
  private restore(kind: string, id: string, body: string | null): void {
    const row = this.db.prepare('SELECT body FROM document WHERE kind = ? AND id = ?').get(kind, id) as Row | undefined;
    this.apply(
      kind,
      id,
      keepPlace(kind, row === undefined ? null : String(row['body']), body, (stored) =>
        existsSync(this.mediaPath(stored)),
      ),
    );
  }

  /** Takes back the last edit. Returns it, or null where there is nothing to take back. */
  undo(): EditRecord | null {
    return this.immediate(() => {
      const row = this.db
        .prepare(`SELECT seq, at, title FROM edit WHERE undone = 0 AND seq NOT IN ${START} ORDER BY seq DESC LIMIT 1`)
        .get() as Row | undefined;
      if (row === undefined) return null;
      const seq = Number(row['seq']);
      const changes = this.db
        .prepare('SELECT kind, id, before FROM change WHERE edit = ? ORDER BY position DESC')
        .all(seq) as Row[];
      for (const c of changes)
        this.restore(String(c['kind']), String(c['id']), c['before'] === null ? null : String(c['before']));
      this.db.prepare('UPDATE edit SET undone = 1 WHERE seq = ?').run(seq);
      return { seq, at: String(row['at']), title: String(row['title']), undone: true };
    });
  }

  /** Does the last undone edit again. Returns it, or null where nothing was undone. */
  redo(): EditRecord | null {
    return this.immediate(() => {
      const row = this.db.prepare('SELECT seq, at, title FROM edit WHERE undone = 1 ORDER BY seq LIMIT 1').get() as
        | Row
        | undefined;
      if (row === undefined) return null;
      const seq = Number(row['seq']);
      const changes = this.db
        .prepare('SELECT kind, id, after FROM change WHERE edit = ? ORDER BY position')
        .all(seq) as Row[];
      for (const c of changes)
        this.restore(String(c['kind']), String(c['id']), c['after'] === null ? null : String(c['after']));
      this.db.prepare('UPDATE edit SET undone = 0 WHERE seq = ?').run(seq);
      return { seq, at: String(row['at']), title: String(row['title']), undone: false };
    });
  }

  history(limit = 50): EditRecord[] {
    return (
      this.db
        .prepare(`SELECT seq, at, title, undone FROM edit WHERE seq NOT IN ${START} ORDER BY seq DESC LIMIT ?`)
        .all(limit) as Row[]
    ).map((r) => ({
      seq: Number(r['seq']),
      at: String(r['at']),
      title: String(r['title']),
      undone: Number(r['undone']) === 1,
    }));
  }

  /** A number that changes whenever any process changed a document: what the workbench watches. */
  pulse(): string {
    const a = this.db
      .prepare('SELECT COALESCE(MAX(seq), 0) AS s, COALESCE(SUM(undone), 0) AS u, COUNT(*) AS n FROM edit')
      .get() as Row;
    const d = this.db.prepare('SELECT COALESCE(SUM(revision), 0) AS r, COUNT(*) AS n FROM document').get() as Row;
    return `${String(a['s'])}.${String(a['u'])}.${String(a['n'])}.${String(d['r'])}.${String(d['n'])}`;
  }

  close(): void {
    this.db.close();
  }

  /**
   * Stored form of a media path: relative (with forward slashes) when inside the production's folder, else absolute.
   */
  storedPath(file: string): string {
    const rel = relative(this.folder, resolve(file));
    return rel.startsWith('..') || isAbsolute(rel) ? resolve(file) : rel.split(sep).join('/');
  }

  /** Absolute path of a stored media path. */
  mediaPath(stored: string): string {
    return isAbsolute(stored) ? stored : join(this.folder, stored);
  }

  /**
   * Absolute path of a file the program itself keeps below the production's folder. Throws `PW-PATH-OUTSIDE` for
   * anything that would leave it (`..`, absolute paths, drive letters).
   */
  insidePath(...parts: string[]): string {
    const path = resolve(this.folder, ...parts);
    const rel = relative(this.folder, path);
    if (rel.startsWith('..') || isAbsolute(rel))
      throw new PlatewrightError(
        'PW-PATH-OUTSIDE',
        `${parts.join('/')} leaves the production's folder; files of a production stay inside it`,
        { kind: 'usage' },
      );
    return path;
  }

  /** Folder for what can be made again; deleting it loses nothing. */
  cachePath(...parts: string[]): string {
    const path = this.insidePath('cache', ...parts);
    mkdirSync(join(path, '..'), { recursive: true });
    return path;
  }

  /** Size of the book file in bytes, for the ledger and tests. */
  sizeBytes(): number {
    return statSync(join(this.folder, BOOK_FILE)).size;
  }
}
