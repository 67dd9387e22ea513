/**
 * A cut that can't be delivered as it stands (a line trimmed to nothing, music that is not there) says so, and the book
 * opens all the same.
 */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import type { Book } from '../book/book.js';
import { madeProduction } from '../book/made-production.js';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { ledgerOf } from '../jobs/ledger-of.js';
import { doJob } from '../jobs/run-job.js';
import { VideoWriter } from '../media/video-writer.js';
import { bookState } from './book-state.js';

let folder: string, book: Book;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-trimmed-'));
  const w = await VideoWriter.open(join(folder, 'film.mkv'), {
    widthPx: 64,
    heightPx: 48,
    rate: rate(24),
    codec: 'ffv1',
  });
  for (let n = 0; n < 8; n++) await w.writeCoded(createPicture(64, 48, 3));
  await w.close();
  const street = { id: 'street', title: 'Street', in: 0, out: 8, marks: { frame: 0, marks: [] } };
  book = await madeProduction(folder, 'Trimmed', join(folder, 'film.mkv'), street);
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

function putCut(trimOut: number, music: string | null): void {
  const edges = { soundLead: 0, soundTail: 0, soundFrom: 'film' as const };
  book.edit('cut', (e) =>
    e.put('cut', {
      id: 'cut',
      entries: [
        { kind: 'title', lines: ['Trimmed'], frames: 4 },
        { kind: 'pick', pick: 'street', trimIn: 3, trimOut, ...edges },
      ],
      music: music === null ? null : { file: music, gainDb: 0, fromFrame: 0 },
      captions: [],
      credits: [],
      thanks: [],
    }),
  );
}

it('opens a book whose cut has a line without a frame; such a line borrows nothing and is not delivered', async () => {
  putCut(2, null);
  expect(ledgerOf(book).borrowed.uses).toHaveLength(1);
  putCut(5, null);
  expect(bookState(book).ledger).toBeDefined();
  expect(ledgerOf(book).borrowed.uses).toEqual([]);
  await expect(doJob(book, 'deliver', '', {})).rejects.toThrow(/PW-CUT-SPAN: "street" has no frame left/);
});

it('says that the music is not there before anything is encoded, and takes it once it is', async () => {
  const file = join(folder, 'song.wav');
  putCut(2, file);
  expect(bookState(book).missing.music).toBe(true);
  await expect(doJob(book, 'deliver', '', {})).rejects.toThrow(
    /^PW-CUT-MUSIC: the cut's music is not there: .*song\.wav/,
  );
  expect(book.list('delivery')).toEqual([]);
  writeFileSync(file, '');
  expect(bookState(book).missing.music).toBeUndefined();
});
