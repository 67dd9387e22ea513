/**
 * The book on a real file: undo and redo over restarts, two connections, damaged and older files, and writers killed
 * by SIGKILL at seeded moments, whose acknowledged edits must all be there.
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { spawn } from 'node:child_process';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'libsql';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { Book, BOOK_FILE } from './book.js';
import { fileNameOf, makeId } from './documents.js';
import { newProduction } from './new-production.js';
import { SCHEMA_VERSION } from './schema.js';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-book-'));
});
afterEach(() => {
  rmSync(folder, { recursive: true, force: true });
});

const moment = (id: string, note: string) => ({ id, take: 'take-1', frame: 3, kind: 'yawn', note });

describe('edits', () => {
  it('keeps, undoes and redoes across a restart', () => {
    const a = Book.create(folder);
    a.edit('first', (e) => e.put('moment', moment('m1', 'one')));
    a.edit('second', (e) => {
      e.put('moment', moment('m1', 'two'));
      e.put('moment', moment('m2', 'new'));
    });
    a.close();
    const b = Book.open(folder);
    expect(b.get('moment', 'm1')?.note).toBe('two');
    expect(b.undo()?.title).toBe('second');
    expect(b.get('moment', 'm1')?.note).toBe('one');
    expect(b.get('moment', 'm2')).toBeNull();
    b.close();
    const c = Book.open(folder);
    expect(c.redo()?.title).toBe('second');
    expect(c.get('moment', 'm2')?.note).toBe('new');
    expect(c.redo()).toBeNull();
    c.undo();
    c.undo();
    expect(c.ids('moment')).toEqual([]);
    expect(c.undo()).toBeNull();
    c.close();
  });

  it('does not take the production itself back', () => {
    const b = Book.create(folder);
    b.edit('start', (e) => e.put('production', newProduction('Short')));
    b.edit('note', (e) => e.put('moment', moment('m1', 'one')));
    expect(b.history().map((h) => h.title)).toEqual(['note']);
    expect(b.undo()?.title).toBe('note');
    expect(b.undo()).toBeNull();
    expect(b.need('production', 'production').title).toBe('Short');
    b.close();
  });

  it('leaves a film where it lies now when an edit from before it was found again is taken back', () => {
    const b = Book.create(folder);
    const film = (file: string, credit: string) => ({
      id: 'film',
      title: 'Film',
      file,
      credit,
      licence: '',
      info: { file, container: 'mp4', durationSeconds: 1, video: null, sound: null } as never,
    });
    writeFileSync(join(folder, 'old.mp4'), 'x');
    b.edit('add', (e) => e.put('film', film('old.mp4', '')));
    b.edit('credit', (e) => e.put('film', film('old.mp4', 'somebody')));
    rmSync(join(folder, 'old.mp4'));
    writeFileSync(join(folder, 'new.mp4'), 'x');
    b.edit('lies elsewhere', (e) => e.put('film', film('new.mp4', 'somebody')));
    b.undo();
    b.undo();
    expect(b.get('film', 'film')).toMatchObject({ file: 'new.mp4', credit: '', info: { file: 'new.mp4' } });
    b.redo();
    expect(b.get('film', 'film')).toMatchObject({ file: 'new.mp4', credit: 'somebody' });
    // Where both are there, the place is an edit like any other.
    b.redo();
    writeFileSync(join(folder, 'old.mp4'), 'x');
    b.undo();
    expect(b.get('film', 'film')).toMatchObject({ file: 'old.mp4' });
    b.close();
  });

  it('leaves the book as it was when an edit fails half way', () => {
    const b = Book.create(folder);
    b.edit('first', (e) => e.put('moment', moment('m1', 'one')));
    const pulse = b.pulse();
    expect(() =>
      b.edit('bad', (e) => {
        e.put('moment', moment('m2', 'x'));
        e.put('moment', { ...moment('m3', 'y'), frame: -1 });
      }),
    ).toThrow(/PW-BOOK-FORM.*frame/);
    expect(b.pulse()).toBe(pulse);
    expect(b.ids('moment')).toEqual(['m1']);
    b.close();
  });

  it('a new edit after an undo drops what was undone', () => {
    const b = Book.create(folder);
    b.edit('a', (e) => e.put('moment', moment('m1', 'a')));
    b.edit('b', (e) => e.put('moment', moment('m1', 'b')));
    b.undo();
    b.edit('c', (e) => e.put('moment', moment('m1', 'c')));
    expect(b.redo()).toBeNull();
    expect(b.history().map((h) => h.title)).toEqual(['c', 'a']);
    b.close();
  });

  it('two connections that add to the same document lose nothing', () => {
    const a = Book.create(folder);
    const b = Book.open(folder);
    a.edit('start', (e) => e.put('moment', moment('m1', '')));
    for (let i = 0; i < 20; i++) {
      const book = i % 2 === 0 ? a : b;
      book.edit('add', (e) => {
        const m = e.get('moment', 'm1')!;
        e.put('moment', { ...m, note: m.note + i.toString(36) });
      });
    }
    expect(a.get('moment', 'm1')?.note).toBe('0123456789abcdefghij');
    a.close();
    b.close();
  });
});

describe('opening', () => {
  it('refuses a folder without a book, a newer book and a file that is no book', () => {
    expect(() => Book.open(folder)).toThrow(/PW-BOOK-MISSING/);
    const b = Book.create(folder);
    expect(() => Book.create(folder)).toThrow(/PW-BOOK-EXISTS/);
    b.close();
    const raw = new Database(join(folder, 'book.sqlite'));
    raw.exec(`PRAGMA user_version = ${SCHEMA_VERSION + 5}`);
    raw.close();
    expect(() => Book.open(folder)).toThrow(/PW-BOOK-NEWER/);
    const other = mkdtempSync(join(tmpdir(), 'platewright-book-'));
    writeFileSync(join(other, 'book.sqlite'), 'this is a shopping list, not a database. '.repeat(100));
    expect(() => Book.open(other)).toThrow(/PW-BOOK-DAMAGED: /);
    // Emptied, or cut short anywhere: refused, never opened as a story that has lost its end.
    const whole = mkdtempSync(join(tmpdir(), 'platewright-cut-'));
    const book = Book.create(whole);
    for (let i = 0; i < 60; i++)
      book.edit(`note ${i}`, (e) => e.put('purpose', { id: `p-${i}`, text: 'because '.repeat(60) }));
    book.db.exec('PRAGMA wal_checkpoint(TRUNCATE)');
    book.close();
    const bytes = readFileSync(join(whole, BOOK_FILE));
    expect(bytes.length).toBeGreaterThan(40_000);
    for (const share of [0, 0.02, 0.3, 0.7, 0.97]) {
      for (const ending of ['-wal', '-shm']) rmSync(join(whole, BOOK_FILE + ending), { force: true });
      writeFileSync(join(whole, BOOK_FILE), bytes.subarray(0, Math.floor(share * bytes.length)));
      expect(() => Book.open(whole), `${share} of it`).toThrow(/PW-BOOK-DAMAGED: .*put your last copy/);
    }
    writeFileSync(join(whole, BOOK_FILE), bytes);
    const again = Book.open(whole);
    expect(again.ids('purpose').length).toBe(60);
    again.close();
    rmSync(whole, { recursive: true, force: true });
    rmSync(other, { recursive: true, force: true });
  });

  it('migrates a book of the first version and keeps its documents', async () => {
    const { MIGRATIONS } = await import('./schema.js');
    const raw = new Database(join(folder, 'book.sqlite'));
    raw.exec(MIGRATIONS[0]!);
    raw.exec('PRAGMA user_version = 1');
    raw
      .prepare('INSERT INTO document (kind, id, body, revision) VALUES (?, ?, ?, 1)')
      .run('moment', 'm1', JSON.stringify(moment('m1', 'old')));
    raw.close();
    const b = Book.open(folder);
    expect(b.get('moment', 'm1')?.note).toBe('old');
    expect(b.db.prepare('SELECT COUNT(*) AS n FROM job').get()).toMatchObject({ n: 0 });
    b.close();
  });

  it('keeps paths inside the production', () => {
    const b = Book.create(folder);
    expect(() => b.insidePath('..', 'elsewhere')).toThrow(/PW-PATH-OUTSIDE/);
    expect(() => b.insidePath('cache', '..', '..', 'x')).toThrow(/PW-PATH-OUTSIDE/);
    expect(b.storedPath(join(folder, 'takes', 'a.mp4'))).toBe('takes/a.mp4');
    b.close();
  });
});

describe('kill -9', () => {
  it('loses no edit that was acknowledged and leaves no half edit, twelve times', async () => {
    const dist = fileURLToPath(new URL('../../dist/book/book.js', import.meta.url));
    Book.create(folder).close();
    const script = join(folder, 'writer.mjs');
    writeFileSync(
      script,
      `
      const { Book } = await import(${JSON.stringify(new URL(`file://${dist}`).href)});
      const b = Book.open(${JSON.stringify(folder)});
      const run = process.argv[2];
      for (let i = 0; ; i++) {
        b.edit('pair ' + i, (e) => {
          e.put('moment', { id: 'r' + run + '-' + i + '-a', take: 't', frame: i, kind: 'k', note: '' });
          e.put('moment', { id: 'r' + run + '-' + i + '-b', take: 't', frame: i, kind: 'k', note: '' });
          if (i % 3 !== 2) return;
          e.remove('moment', 'r' + run + '-' + (i - 1) + '-a');
          e.remove('moment', 'r' + run + '-' + (i - 1) + '-b');
        });
        process.stdout.write(i + '\\n');
      }`,
    );
    const random = new RandomStream(20261125);
    for (let run = 0; run < 12; run++) {
      const child = spawn(process.execPath, [script, String(run)], { stdio: ['ignore', 'pipe', 'inherit'] });
      let text = '';
      const delay = 5 + random.below(120);
      await new Promise<void>((done) => {
        let armed = false;
        child.stdout.on('data', (d: Buffer) => {
          text += d.toString();
          if (!armed) {
            armed = true;
            setTimeout(() => child.kill('SIGKILL'), delay);
          }
        });
        child.on('exit', () => done());
      });
      const acknowledged = text.split('\n').filter((l) => l !== '').length;
      expect(acknowledged).toBeGreaterThan(0);
      const b = Book.open(folder);
      const ids = new Set(b.ids('moment').filter((i) => i.startsWith(`r${run}-`)));
      for (let i = 0; i < acknowledged; i++) {
        const removed = i % 3 === 1 && i + 1 < acknowledged;
        if (removed) expect(ids.has(`r${run}-${i}-a`)).toBe(false);
        else if (i % 3 !== 1) expect(ids.has(`r${run}-${i}-a`)).toBe(true);
      }
      for (const id of ids)
        expect(ids.has(id.endsWith('-a') ? id.replace(/a$/, 'b') : id.replace(/b$/, 'a'))).toBe(true);
      expect((b.db.prepare('PRAGMA integrity_check').get() as { integrity_check: string }).integrity_check).toBe('ok');
      b.close();
    }
  });
});

describe('makeId', () => {
  it('is plain, short and free', () => {
    expect(makeId('The Conductor’s Turn!', () => false)).toBe('the-conductor-s-turn');
    expect(makeId('Écharpe', (i) => i === 'echarpe')).toBe('echarpe-2');
    expect(makeId('Façade à São Paulo', () => false)).toBe('facade-a-sao-paulo');
    // Cut in the middle of a gap it ends in no hyphen.
    expect(makeId(`${'a'.repeat(47)} b`, () => false)).toBe('a'.repeat(47));
    expect(makeId('???', () => false)).toBe('unnamed');
  });
  it('says what is named where the words are in another script', () => {
    expect(makeId('Двор', () => false, 'film')).toBe('film');
    expect(makeId('部屋', (i) => i === 'pick', 'pick')).toBe('pick-2');
    expect(makeId('部屋 7', () => false, 'pick')).toBe('pick-7');
    expect(makeId('7', () => false, 'pick')).toBe('7');
  });

  it('a file keeps its title in any script', () => {
    expect(fileNameOf('Хвост на мосту!', 'short')).toBe('хвост-на-мосту');
    expect(fileNameOf('猫の電車 2', 'short')).toBe('猫の電車-2');
    expect(fileNameOf('Une Écharpe / bleue', 'short')).toBe('une-écharpe-bleue');
    expect(fileNameOf('…', 'short')).toBe('short');
    expect(Buffer.byteLength(fileNameOf('𠜎'.repeat(90), 'short'))).toBeLessThan(200);
  });
});
