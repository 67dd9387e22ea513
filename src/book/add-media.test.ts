/** What a take is called by the name of its file. */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { createPicture } from '../image/picture.js';
import { writePng16 } from '../media/stills.js';
import { addTake } from './add-media.js';
import { Book } from './book.js';
import { newProduction } from './new-production.js';

let folder: string, book: Book;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-names-'));
  const picture = createPicture(32, 32, 3);
  picture.data.fill(0.3);
  for (const name of ['hop', 'nap']) {
    mkdirSync(join(folder, name));
    for (const n of [0, 1])
      for (const prefix of ['', 'try_']) await writePng16(join(folder, name, `${prefix}0${n}.png`), picture);
  }
  book = Book.create(join(folder, 'production'));
  book.edit('start', (e) => e.put('production', newProduction('Names')));
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

it('is called as its pictures, or as their folder where these have numbers alone; twice never the same', async () => {
  const named = async (file: string): Promise<string[]> => {
    const t = await addTake(book, join(folder, file), {});
    return [t.id, t.title];
  };
  expect(await named('hop/%02d.png')).toEqual(['hop', 'hop']);
  expect(await named('nap/try_%02d.png')).toEqual(['try', 'try']);
  expect(await named('hop/try_%02d.png')).toEqual(['try-2', 'try (2)']);
});
