/**
 * A production's book: one SQLite file that holds every document and the history of edits. Every edit is one
 * transaction and can be undone, also after a restart. Two processes may have the book open (command line beside
 * workbench): an edit reads and writes inside one immediate transaction, so neither can overwrite what it has not seen.
 */
import { existsSync, mkdirSync, rmSync, statSync } from 'node:fs';
import { isAbsolute, join, relative, resolve, sep } from 'node:path';
import type Database from 'libsql';
import { PlatewrightError } from '../core/errors.js';
import { connectBook, migrateBook, refuseDamaged, refuseEmpty, type Row } from './book-database.js';
import { diskTrouble } from './book-trouble.js';
import { firstIssue } from '../plate/marks/marks.js';
import { DOCUMENT_SCHEMAS, type DocumentKind, type DocumentOf } from './documents.js';
import { editsOf, pulseOf, recordEdit, redoNext, undoLast, type Change, type EditRecord } from './edit-history.js';
import { keepPlace } from './keep-place.js';

/** The writing side of one edit; only alive inside `Book.edit`. */
export interface EditScope {
  get<K extends DocumentKind>(kind: K, id: string): DocumentOf<K> | null;
  list<K extends DocumentKind>(kind: K): DocumentOf<K>[];
  put<K extends DocumentKind>(kind: K, document: DocumentOf<K>): void;
  remove(kind: DocumentKind, id: string): void;
}

/** Name of the book within a production's folder. */
export const BOOK_FILE = 'book.sqlite';

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
    const file = join(path, BOOK_FILE);
    refuseEmpty(file);
    const book = Book.connect(path);
    try {
      refuseDamaged(file, book.db);
    } catch (error) {
      book.close();
      throw error;
    }
    return book;
  }

  private static connect(path: string): Book {
    const file = join(path, BOOK_FILE);
    const book = new Book(path, connectBook(file));
    migrateBook(file, book.db, (work) => book.immediate(work));
    return book;
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
      const changes: Change[] = [];
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
      if (changes.length > 0) recordEdit(this.db, title, changes);
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
    return this.immediate(() => undoLast(this.db, (kind, id, body) => this.restore(kind, id, body)));
  }

  /** Does the last undone edit again. Returns it, or null where nothing was undone. */
  redo(): EditRecord | null {
    return this.immediate(() => redoNext(this.db, (kind, id, body) => this.restore(kind, id, body)));
  }

  /** The last edits, the latest first. */
  history(limit = 50): EditRecord[] {
    return editsOf(this.db, limit);
  }

  /** A number that changes whenever any process changed a document: what the workbench watches. */
  pulse(): string {
    return pulseOf(this.db);
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
