/**
 * A film whose file is damaged inside one shot decodes to its end: scan and measure say so, of that shot and no other.
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm } from '../book/add-media.js';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { findCuts } from '../film/find-cuts.js';
import { createPicture, type Picture } from '../image/picture.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { doJob } from './run-job.js';

const W = 160,
  H = 90,
  CUT = 40,
  FRAMES = 80;
let folder: string;

/** Two still shots of coloured blocks under grain, so that every frame has bytes to break. */
function picture(n: number): Picture {
  const p = createPicture(W, H, 3),
    blocks = new RandomStream(n < CUT ? 5 : 6),
    grain = new RandomStream(n, 3),
    k = W * H,
    levels = Float32Array.from({ length: 3 * 15 * 12 }, () => blocks.uniform());
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      for (let c = 0; c < 3; c++)
        p.data[c * k + y * W + x] =
          0.2 + 0.6 * levels[(Math.floor(y / 8) * 14 + Math.floor(x / 12)) * 3 + c]! + 0.03 * grain.normal();
  return p;
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-damaged-film-'));
  const w = await VideoWriter.open(join(folder, 'whole.mkv'), {
    widthPx: W,
    heightPx: H,
    rate: rate(24),
    codec: 'h264',
  });
  for (let n = 0; n < FRAMES; n++) await w.writeCoded(picture(n));
  await w.close();
  const bytes = Buffer.from(readFileSync(join(folder, 'whole.mkv'))),
    random = new RandomStream(31);
  for (let k = 0; k < 6; k++) {
    const at = Math.floor((0.65 + 0.2 * random.uniform()) * bytes.length);
    for (let i = 0; i < 24; i++) bytes[at + i] = random.below(256);
  }
  writeFileSync(join(folder, 'broken.mkv'), bytes);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a film damaged inside its file', () => {
  it('is said to be so by the scan, also one that was stopped and went on', async () => {
    const scan = async (resume: Parameters<typeof findCuts>[1] = {}) => {
      const reader = await VideoReader.open(join(folder, 'broken.mkv'));
      try {
        return await findCuts(reader, resume);
      } finally {
        await reader.close();
      }
    };
    const stop = new AbortController(),
      whole = await scan();
    expect(whole.damaged!.length).toBeGreaterThan(0);
    expect(Math.min(...whole.damaged!)).toBeGreaterThanOrEqual(CUT);
    const stopped: unknown = await scan({ signal: stop.signal, onProgress: (d) => d >= 72 && stop.abort() }).catch(
      (e: unknown) => e,
    );
    const { state } = (stopped as { detail: { state: never } }).detail;
    expect(await scan({ resume: state })).toEqual(whole);
  });

  it('is said in the shot that holds the damage, and where its plate is measured', async () => {
    const book = Book.create(join(folder, 'production'));
    book.edit('start', (e) => e.put('production', newProduction('damaged')));
    await addFilm(book, join(folder, 'broken.mkv'), { title: 'Film' });
    await doJob(book, 'scan', 'film', {});
    const said = book.need('film', 'film').summaries!.map((s) => s.takes.join('; '));
    expect(said).toHaveLength(2);
    expect(said[0]).not.toMatch(/damaged/);
    expect(said[1]).toMatch(
      /^.*\d+ of 40 frames (is|are) damaged in the film's file \(the first is frame \d+ of the film\)/,
    );
    const first = book.need('film', 'film').cutList!.damaged![0]!;
    book.edit('pick', (e) =>
      e.put('pick', {
        id: 'hurt',
        film: 'film',
        title: 'hurt',
        in: first - 2,
        out: first + 4,
        order: 1,
        note: '',
        marks: { frame: 0, marks: [] },
        action: '',
      }),
    );
    await doJob(book, 'measure', 'hurt', {});
    expect((book.need('measures', 'hurt').measures.notes ?? []).join(' ')).toMatch(
      new RegExp(`damage: \\d of 6 frames (is|are) damaged in the film's file \\(the first is frame ${first} of`),
    );
    book.close();
  });
});
