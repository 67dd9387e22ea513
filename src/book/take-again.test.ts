/** A take whose file was replaced by another of the same name: said, not judged, and taken in when asked. */
import { copyFileSync, mkdtempSync, rmSync, utimesSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import { addTake } from './add-media.js';
import { Book } from './book.js';
import { newProduction } from './new-production.js';
import { isOtherFile, takeAgain } from './take-again.js';
import { takePath } from './take-place.js';

let folder: string, book: Book;
const others = (): string[] =>
  book
    .list('take')
    .filter((t) => isOtherFile(book, t))
    .map((t) => t.id);
const clip = (name: string): string => join(folder, name);

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-again-'));
  for (const [name, w, count] of [
    ['first.mp4', 96, 8],
    ['second.mp4', 128, 5],
  ] as const) {
    const out = await VideoWriter.open(clip(name), { widthPx: w, heightPx: 64, rate: rate(25), codec: 'h264' });
    const p = createPicture(w, 64, 3);
    for (let f = 0; f < count; f++) {
      p.data.fill(0.2 + 0.05 * f);
      await out.writeCoded(p);
    }
    await out.close();
  }
  book = Book.create(clip('production'));
  book.edit('start', (e) => e.put('production', newProduction('Again')));
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

describe('a take whose file was replaced', () => {
  it('is told from one that was only copied, is not used until it is taken in, and an undo brings all back', async () => {
    const take = await addTake(book, clip('first.mp4'), { id: 'guest' });
    const file = book.mediaPath(take.file);
    book.edit('marks', (e) =>
      e.put('take', {
        ...take,
        marks: { frame: 0, marks: [{ kind: 'performer', frame: 7, ground: [40, 60], top: [40, 20] }] },
        verdict: { verdict: 'fits' } as never,
      }),
    );
    book.edit('join', (e) => e.put('join', { id: 'one', take: 'guest', recipe: { version: 1, steps: [] } as never }));
    utimesSync(file, 1000, 1000);
    expect(others()).toEqual([]);
    expect(takePath(book, book.need('take', 'guest'))).toBe(file);

    copyFileSync(clip('second.mp4'), file);
    expect(others()).toEqual(['guest']);
    expect(() => takePath(book, book.need('take', 'guest'))).toThrow(
      /PW-TAKE-OTHER: guest\.mp4 is another file .*platewright take again guest/,
    );
    // A mark on frame 7 does not fit a take of five frames.
    await expect(takeAgain(book, 'guest', true)).rejects.toThrow(/PW-MARKS/);
    const now = await takeAgain(book, 'guest', false);
    expect([now.info.video!.widthPx, now.info.video!.frameCount, now.marks, now.verdict]).toEqual([
      128,
      5,
      null,
      undefined,
    ]);
    expect(book.ids('join')).toEqual([]);
    expect(others()).toEqual([]);
    expect(takePath(book, now)).toBe(file);

    book.undo();
    expect(book.ids('join')).toEqual(['one']);
    expect(book.need('take', 'guest').marks!.marks.length).toBe(1);
    expect(others()).toEqual(['guest']);
    copyFileSync(clip('first.mp4'), file);
    expect(others()).toEqual([]);
  });

  it('of before stamps were kept is taken to be the same', () => {
    const { stamp: _, ...old } = book.need('take', 'guest');
    book.edit('old', (e) => e.put('take', old));
    copyFileSync(clip('second.mp4'), book.mediaPath(old.file));
    expect(others()).toEqual([]);
  });
});
