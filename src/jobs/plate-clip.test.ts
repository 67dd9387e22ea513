/** Noise written in films of several depths: the plate's clip against the film's own frames, code for code. */
import { mkdtempSync, readFileSync, rmSync, truncateSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { addFilm } from '../book/add-media.js';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { createPicture, type Picture } from '../image/picture.js';
import { toCodedRgb } from '../media/convert.js';
import type { WriterOptions } from '../media/encodings.js';
import { copyFrame } from '../media/planes.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { plateClip } from './plate-clip.js';

const W = 64,
  H = 48,
  FRAMES = 9,
  IN = 3,
  OUT = 7;
let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-plate-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function noisy(n: number): Picture {
  const random = new RandomStream(50 + n),
    p = createPicture(W, H, 3);
  for (let i = 0; i < p.data.length; i++) p.data[i] = random.uniform();
  return p;
}

/** The film's frames of the pick, and the plate's. */
async function plateOf(name: string, options: Pick<WriterOptions, 'codec' | 'pixelFormat' | 'bits'>) {
  const file = join(folder, `${name}.mkv`);
  const w = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), ...options });
  for (let n = 0; n < FRAMES; n++) await w.writeCoded(noisy(n));
  await w.close();
  const book = Book.create(join(folder, `production-${name}`));
  try {
    book.edit('start', (e) => e.put('production', newProduction('plates')));
    await addFilm(book, file, { title: 'Film' });
    book.edit('pick', (e) =>
      e.put('pick', {
        id: 'one',
        film: 'film',
        title: 'one',
        in: IN,
        out: OUT,
        order: 1,
        note: '',
        marks: { frame: 0, marks: [] },
        action: '',
      }),
    );
    const frames = async (path: string, from: number, to: number) => {
      const reader = await VideoReader.open(path);
      try {
        const kept = [];
        for await (const f of reader.frames(from, to)) kept.push(copyFrame(f));
        return kept;
      } finally {
        await reader.close();
      }
    };
    // A clip in the cache that broke off is none: it is made again, and not read as a shorter shot.
    const path = await plateClip(book, book.need('pick', 'one'));
    const whole = readFileSync(path);
    truncateSync(path, Math.floor(whole.length / 2));
    expect(readFileSync(await plateClip(book, book.need('pick', 'one'))).length).toBe(whole.length);
    return {
      film: await frames(file, IN, OUT),
      plate: await frames(await plateClip(book, book.need('pick', 'one')), 0, Infinity),
    };
  } finally {
    book.close();
  }
}

it.each([
  ['eight', { codec: 'huffyuv' }],
  ['ten', { codec: 'huffyuv', pixelFormat: 'yuv420p10le' }],
  ['twelve', { codec: 'huffyuv', pixelFormat: 'yuv422p12le' }],
  ['master', { codec: 'prores4444' }],
] as const)('a film of %s bits comes into the cache code for code', async (name, options) => {
  const { film, plate } = await plateOf(name, options);
  expect(plate).toHaveLength(OUT - IN);
  plate.forEach((f, i) => {
    expect([f.bitDepth, f.chromaShift]).toEqual([film[i]!.bitDepth, film[i]!.chromaShift]);
    expect(f.planes).toEqual(film[i]!.planes);
  });
});

it("R'G'B' comes into it to half a code of ten bits", async () => {
  const { film, plate } = await plateOf('rgb', { codec: 'ffv1', bits: 16 });
  expect(plate).toHaveLength(OUT - IN);
  plate.forEach((f, i) => {
    const want = toCodedRgb(film[i]!).data.slice(),
      got = toCodedRgb(f).data;
    for (let k = 0; k < want.length; k++) expect(Math.abs(got[k]! - want[k]!)).toBeLessThan(0.5 / 1023 + 1e-5);
  });
});
