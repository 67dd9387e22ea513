/**
 * The studio's lines read and written on a real book: writing back what is shown changes nothing; what makes no sense
 * is refused in words.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Book } from './book.js';
import { newProduction } from './new-production.js';
import { changeStudio, studioOf } from './studio.js';

let folder: string, book: Book;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'pw-studio-'));
  book = Book.create(join(folder, 'p'));
  book.edit('start', (e) => e.put('production', newProduction('Studio')));
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

describe('the studio', () => {
  it('reads back every line as it would be written, and changes nothing by writing it again', () => {
    const before = book.need('production', 'production');
    for (const row of studioOf(book)) changeStudio(book, row.name, row.value);
    expect(book.need('production', 'production')).toEqual(before);
  });

  it('takes a camera with a zoom and a fixed lens, and an undo takes it back', () => {
    changeStudio(book, 'sensor', '23.5 x 13.2');
    changeStudio(book, 'lenses', '70-24, 35');
    changeStudio(book, 'rates', '25, 30000/1001');
    const { camera } = book.need('production', 'production');
    expect([camera.sensorWidthMm, camera.sensorHeightMm]).toEqual([23.5, 13.2]);
    expect(camera.lensesMm).toEqual([
      [24, 70],
      [35, 35],
    ]);
    expect(camera.rates).toEqual(['25/1', '30000/1001']);
    book.undo();
    expect(book.need('production', 'production').camera.rates).not.toEqual(camera.rates);
  });

  it('refuses what makes no sense, and says what it wants', () => {
    expect(() => changeStudio(book, 'height', 'tall')).toThrow(/not a number/);
    expect(() => changeStudio(book, 'height', '-1')).toThrow(/its height can't be "-1" \(metres/);
    expect(() => changeStudio(book, 'place', '95, 8')).toThrow(/PW-STUDIO-VALUE: /);
    expect(() => changeStudio(book, 'zone', 'Mars/North')).toThrow(/PW-TIME-ZONE: /);
    expect(() => changeStudio(book, 'tripod', '1')).toThrow(/it has performer/);
    changeStudio(book, 'yard', '120 to 260');
    expect(book.need('production', 'production').place.yard).toEqual({ fromDeg: 120, toDeg: 260 });
    changeStudio(book, 'yard', 'all');
    expect(book.need('production', 'production').place.yard).toBeNull();
  });

  it('tells what is still an example, and names a place that was moved by where it is', () => {
    changeStudio(book, 'place', '51.4779, -0.0015');
    changeStudio(book, 'where', 'Greenwich');
    const row = (name: string) => studioOf(book).find((r) => r.name === name)!;
    expect(row('place').example && row('where').example && row('room').example).toBe(true);
    changeStudio(book, 'place', '47.4, 8.5');
    changeStudio(book, 'room', '6');
    expect(row('where').value).toBe('47.4, 8.5');
    expect(row('place').example || row('where').example || row('room').example).toBe(false);
    // A name that a person gave stays.
    changeStudio(book, 'where', 'the yard');
    changeStudio(book, 'place', '47.5, 8.5');
    expect(row('where').value).toBe('the yard');
  });
});
