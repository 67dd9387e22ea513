/** The SQLite file of a book: opened, checked and brought to this program's version (schema.ts). */
import { existsSync, statSync } from 'node:fs';
import Database from 'libsql';
import { PlatewrightError } from '../core/errors.js';
import { damaged, diskTrouble } from './book-trouble.js';
import { MIGRATIONS, SCHEMA_VERSION } from './schema.js';

/** A row of any statement, by column. */
export interface Row {
  readonly [column: string]: unknown;
}

/**
 * Throws `PW-BOOK-DAMAGED` for an empty file: it opens as an empty book, and the story would look as if it had never
 * been. (What a crash left in the log is a book.)
 */
export function refuseEmpty(file: string): void {
  const log = `${file}-wal`;
  if (statSync(file).size === 0 && !(existsSync(log) && statSync(log).size > 0))
    throw damaged(file, 'it has no bytes in it');
}

/** Opens or makes the file. Throws `PW-BOOK-DAMAGED`, `PW-BOOK-NO-ROOM`, `PW-BOOK-NOT-WRITABLE`. */
export function connectBook(file: string): Database.Database {
  try {
    const db = new Database(file);
    db.exec('PRAGMA busy_timeout = 15000');
    db.exec('PRAGMA journal_mode = WAL');
    // FULL: a committed edit survives a power cut, not only a killed process.
    db.exec('PRAGMA synchronous = FULL');
    db.exec('PRAGMA foreign_keys = ON');
    return db;
  } catch (cause) {
    throw diskTrouble(file, cause) ?? damaged(file, (cause as Error).message, cause);
  }
}

const versionOf = (db: Database.Database): number =>
  Number((db.prepare('PRAGMA user_version').get() as Row)['user_version']);

/**
 * Brings an older book to this program's version, in one transaction by `immediate`. Throws `PW-BOOK-NEWER` for one of
 * a later version, which is closed then.
 */
export function migrateBook(file: string, db: Database.Database, immediate: (work: () => void) => void): void {
  const version = versionOf(db);
  if (version > SCHEMA_VERSION) {
    db.close();
    throw new PlatewrightError(
      'PW-BOOK-NEWER',
      `${file} was written by a newer Platewright (book version ${version}, ` +
        `this program knows ${SCHEMA_VERSION}); nothing was changed; open it with that version`,
    );
  }
  if (version === SCHEMA_VERSION) return;
  immediate(() => {
    // Another process may have migrated while this one waited for the lock.
    for (let v = versionOf(db); v < SCHEMA_VERSION; v++) db.exec(MIGRATIONS[v]!);
    db.exec(`PRAGMA user_version = ${SCHEMA_VERSION}`);
  });
}

/**
 * Throws `PW-BOOK-DAMAGED` (or what the disk says) where the file's own check finds a fault. Milliseconds for a book of
 * some megabytes: better than a story that breaks off in the middle.
 */
export function refuseDamaged(file: string, db: Database.Database): void {
  let found: string;
  try {
    found = String(Object.values(db.prepare('PRAGMA quick_check(1)').get() as Row)[0]);
  } catch (cause) {
    throw diskTrouble(file, cause) ?? damaged(file, (cause as Error).message.replace(/\s+/g, ' '), cause);
  }
  if (found !== 'ok') throw damaged(file, found.replace(/\s+/g, ' '));
}
