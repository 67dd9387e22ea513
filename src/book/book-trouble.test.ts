/** A full disk is not a damaged book: SQLite's own page limit stands in for the disk. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { Book } from './book.js';
import { diskTrouble } from './book-trouble.js';
import { newProduction } from './new-production.js';

const folder = mkdtempSync(join(tmpdir(), 'platewright-room-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a book without room', () => {
  it('says so, keeps what it held, and goes on when there is room again', () => {
    const book = Book.create(join(folder, 'full'));
    book.edit('start the production', (e) => e.put('production', newProduction('Short')));
    const before = book.need('production', 'production');
    book.db.exec('PRAGMA max_page_count = 1');
    expect(() =>
      book.edit('many notes', (e) => {
        for (let i = 0; i < 60; i++) e.put('purpose', { id: `p-${i}`, text: 'because '.repeat(60) });
      }),
    ).toThrow(/PW-BOOK-NO-ROOM: .*nothing in the book is lost/);
    expect(book.list('purpose')).toEqual([]);
    expect(book.history(5)).toEqual([]);
    book.db.exec('PRAGMA max_page_count = 100000');
    book.edit('another title', (e) => e.put('production', { ...before, title: 'Longer' }));
    expect(book.need('production', 'production').title).toBe('Longer');
    book.close();
  });

  it('is told from a damaged one and from one that may not be written', () => {
    const file = join(folder, 'full', 'book.sqlite');
    expect(diskTrouble(file, { code: 'SQLITE_FULL' })!.code).toBe('PW-BOOK-NO-ROOM');
    expect(diskTrouble(file, { code: 'SQLITE_READONLY' })!.code).toBe('PW-BOOK-NOT-WRITABLE');
    expect(diskTrouble(file, { code: 'SQLITE_NOTADB' })).toBeNull();
    expect(diskTrouble(file, { code: 'SQLITE_CONSTRAINT' })).toBeNull();
  });
});
