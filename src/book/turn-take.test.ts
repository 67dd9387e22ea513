/**
 * A take filmed upside down is set upright: its pictures turned, its sound and length kept, its marks gone, and an undo
 * brings all back.
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { toCodedRgb } from '../media/convert.js';
import { readSound } from '../media/sound.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { addTake } from './add-media.js';
import { Book } from './book.js';
import { newProduction } from './new-production.js';
import { turnTake } from './turn-take.js';

const W = 96;
const H = 64;
const COUNT = 10;
let folder: string, book: Book;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-turn-'));
  const sound = {
    sampleRate: 48000,
    channels: 1,
    samples: Float32Array.from({ length: 20000 }, (_, i) => 0.3 * Math.sin(i / 9)),
  };
  for (const name of ['take.mp4', 'take.mkv']) {
    const w = await VideoWriter.open(join(folder, name), {
      widthPx: W,
      heightPx: H,
      rate: rate(25),
      codec: 'h264',
      crf: 4,
      sound,
    });
    for (let f = 0; f < COUNT; f++) {
      // A bright corner: top left, by frame.
      const p = createPicture(W, H, 3);
      p.data.fill(0.2);
      for (let c = 0; c < 3; c++)
        for (let y = 0; y < 20; y++) for (let x = 0; x < 30; x++) p.data[c * W * H + y * W + x] = 0.5 + 0.03 * f;
      await w.writeCoded(p);
    }
    await w.close();
  }
  book = Book.create(join(folder, 'production'));
  book.edit('start', (e) => e.put('production', newProduction('Turned')));
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

/** Mean of a corner's 16 × 12 pixels of frame 6, by the corner's share of the picture. */
async function corner(file: string, right: boolean, bottom: boolean): Promise<number> {
  const reader = await VideoReader.open(file);
  try {
    const p = toCodedRgb(await reader.frame(6));
    let s = 0;
    for (let y = 0; y < 12; y++)
      for (let x = 0; x < 12; x++)
        s += p.data[(bottom ? p.height - 1 - y : y) * p.width + (right ? p.width - 1 - x : x)]!;
    return s / 144;
  } finally {
    await reader.close();
  }
}

describe('a take set upright', () => {
  it.each(['take.mp4', 'take.mkv'])(
    '%s: the bright corner goes round, frame by frame, and back again',
    async (name) => {
      const take = await addTake(book, join(folder, name), {});
      book.edit('mark', (e) =>
        e.put('take', {
          ...take,
          marks: { frame: 3, cleanFrame: 9, marks: [{ kind: 'performer', ground: [40, 20], top: [40, 50] }] },
        }),
      );
      book.edit('join', (e) => e.put('join', { id: 'one', take: take.id, recipe: { version: 1 } as never }));
      const half = await turnTake(book, take.id, 180);
      expect(book.ids('join')).toEqual([]);
      expect([half.info.video!.widthPx, half.info.video!.heightPx, half.info.video!.frameCount]).toEqual([W, H, COUNT]);
      expect(half.marks).toEqual({ frame: 3, cleanFrame: 9, marks: [] });
      const file = book.mediaPath(half.file);
      expect(Math.abs((await corner(file, true, true)) - 0.68)).toBeLessThan(0.02);
      expect(Math.abs((await corner(file, false, false)) - 0.2)).toBeLessThan(0.02);
      expect((await readSound(file))!.samples.length / 48000).toBeCloseTo(20000 / 48000, 1);
      // A quarter more, from there: the corner goes on clockwise from bottom right to
      // bottom left; the picture is upright.
      const quarter = await turnTake(book, take.id, 90);
      expect([quarter.info.video!.widthPx, quarter.info.video!.heightPx]).toEqual([H, W]);
      expect(Math.abs((await corner(book.mediaPath(quarter.file), false, true)) - 0.68)).toBeLessThan(0.02);
      book.undo();
      book.undo();
      expect(book.need('take', take.id).file).toBe(take.file);
      expect(existsSync(book.mediaPath(take.file))).toBe(true);
      expect(book.need('take', take.id).marks!.marks.length).toBe(1);
      await expect(turnTake(book, take.id, 45)).rejects.toThrow(/PW-TAKE-TURN/);
    },
  );
});
