/**
 * Twenty bad files and requests on the command line: each ends in a clear error with
 * its code, and the book is unchanged.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, truncateSync, writeFileSync, copyFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'libsql';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm } from '../src/book/add-media.js';
import { Book } from '../src/book/book.js';
import { newProduction } from '../src/book/new-production.js';
import { SCHEMA_VERSION } from '../src/book/schema.js';
import { rate } from '../src/core/rational.js';
import { createPicture } from '../src/image/picture.js';
import { writeWav } from '../src/media/sound.js';
import { VideoWriter } from '../src/media/video-writer.js';

const program = fileURLToPath(new URL('../bin/platewright.mjs', import.meta.url));
let folder: string, production: string;

function run(...args: string[]): {
  code: number;
  out: string;
  err: string;
  json: { error?: { code: string; message: string } } | null;
} {
  const r = spawnSync(process.execPath, [program, ...args], { encoding: 'utf8', timeout: 300_000 });
  let json = null;
  try {
    json = JSON.parse(r.stdout) as { error?: { code: string; message: string } };
  } catch {
    json = null;
  }
  return { code: r.status ?? -1, out: r.stdout, err: r.stderr, json };
}
const pulse = (): string => {
  const b = Book.open(production);
  const p = b.pulse();
  b.close();
  return p;
};
const file = (name: string): string => join(folder, name);

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-bad-'));
  production = join(folder, 'production');
  const w = await VideoWriter.open(file('film.mp4'), {
    widthPx: 96,
    heightPx: 64,
    rate: rate(24),
    codec: 'h264',
    crf: 12,
  });
  for (let f = 0; f < 48; f++) {
    const p = createPicture(96, 64, 3);
    for (let i = 0; i < p.data.length; i++) p.data[i] = ((i * 31 + f * 17) % 97) / 97;
    await w.writeCoded(p);
  }
  await w.close();
  const book = Book.create(production);
  book.edit('start', (e) => e.put('production', newProduction('Bad walk')));
  await addFilm(book, file('film.mp4'), { title: 'Film' });
  const pick = (id: string, first: number, out: number, order: number): void =>
    book.edit('pick', (e) =>
      e.put('pick', {
        id,
        film: 'film',
        title: id,
        in: first,
        out,
        order,
        note: '',
        marks: { frame: 0, marks: [] },
        action: '',
      }),
    );
  pick('one', 0, 24, 1);
  pick('late', 10, 18, 2);
  book.close();
  writeFileSync(
    file('region.json'),
    JSON.stringify({
      frames: [
        {
          frame: 0,
          polygon: [
            [9, 9],
            [20, 9],
            [20, 20],
          ],
        },
      ],
    }),
  );
  copyFileSync(file('film.mp4'), file('truncated.mp4'));
  truncateSync(file('truncated.mp4'), 300);
  writeFileSync(file('zero.mp4'), '');
  writeFileSync(file('notes.mp4'), 'these are notes, not a film\n'.repeat(500));
  writeWav(file('sound.wav'), { sampleRate: 48000, channels: 1, samples: new Float32Array(48000) }, 16);
  writeFileSync(file('nonsense.json'), '{"frame":0,"marks":[');
  writeFileSync(file('unknown-mark.json'), JSON.stringify({ frame: 0, marks: [{ kind: 'wish', foot: [1, 2] }] }));
  writeFileSync(
    file('outside.json'),
    JSON.stringify({ frame: 0, marks: [{ kind: 'upright', foot: [5000, 60], top: [5000, 10], height: 1.8 }] }),
  );
  writeFileSync(
    file('late.json'),
    JSON.stringify({ frame: 99, marks: [{ kind: 'upright', foot: [50, 60], top: [50, 10], height: 1.8 }] }),
  );
  writeFileSync(
    file('negative-height.json'),
    JSON.stringify({ frame: 0, marks: [{ kind: 'upright', foot: [50, 60], top: [50, 10], height: -2 }] }),
  );
  writeFileSync(
    file('two-points.json'),
    JSON.stringify({
      frames: [
        {
          frame: 0,
          polygon: [
            [1, 1],
            [20, 20],
          ],
        },
      ],
    }),
  );
  const newer = Book.create(join(folder, 'newer'));
  newer.close();
  const db = new Database(join(folder, 'newer', 'book.sqlite'));
  db.exec(`PRAGMA user_version = ${SCHEMA_VERSION + 1}`);
  db.close();
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

/** What was asked, the arguments, the code that must be named, and the exit code. */
const cases: readonly (readonly [string, () => string[], RegExp, number])[] = [
  ['a file that is not there', () => ['film', 'add', file('nowhere.mp4'), '-p', production], /PW-MEDIA-MISSING/, 3],
  ['a file of zero bytes', () => ['film', 'add', file('zero.mp4'), '-p', production], /PW-MEDIA-EMPTY/, 3],
  ['text renamed to mp4', () => ['film', 'add', file('notes.mp4'), '-p', production], /PW-MEDIA-/, 3],
  ['a film cut off inside its index', () => ['film', 'add', file('truncated.mp4'), '-p', production], /PW-MEDIA-/, 3],
  ['sound where a film is wanted', () => ['film', 'add', file('sound.wav'), '-p', production], /PW-MEDIA-NOPICTURE/, 3],
  ['a folder as film', () => ['film', 'add', folder, '-p', production], /PW-MEDIA-/, 3],
  ['a rate that is none', () => ['new', file('fresh'), '--title', 'x', '--rate', 'quick'], /PW-TIME-RATE/, 2],
  ['a production that is not there', () => ['pick', 'list', '-p', file('nobody')], /PW-BOOK-MISSING/, 2],
  ['a book from a newer version', () => ['pick', 'list', '-p', join(folder, 'newer')], /PW-BOOK-NEWER/, 3],
  ['a production where one is', () => ['new', production, '--title', 'again'], /PW-BOOK-EXISTS/, 3],
  [
    'a marks file that is not JSON',
    () => ['mark', 'one', '--file', file('nonsense.json'), '-p', production],
    /PW-MARKS-FORM/,
    3,
  ],
  [
    'a mark of an unknown kind',
    () => ['mark', 'one', '--file', file('unknown-mark.json'), '-p', production],
    /PW-MARKS-FORM/,
    3,
  ],
  [
    'marks outside the picture',
    () => ['mark', 'one', '--file', file('outside.json'), '-p', production],
    /PW-MARKS-OUTSIDE/,
    3,
  ],
  [
    'marks on a frame that the clip has not',
    () => ['mark', 'one', '--file', file('late.json'), '-p', production],
    /PW-MARKS-OUTSIDE: one: mark 1 \(upright\) is on frame 99, but the pick has frames 0 to 23, counted from its first/,
    3,
  ],
  [
    'proposals for a frame by its number in the film',
    () => ['mark', 'late', '--propose', '15', '-p', production],
    /PW-MEDIA-FRAME: late: .* has frames 0 to 7, .*frame 10 of the film; the film's frame 15 is the pick's frame 5/,
    2,
  ],
  [
    'a loudness that is none',
    () => ['deliver', '--loudness', 'loud', '-p', production],
    /PW-CLI-NUMBER: --loudness takes a number from −70 to 0, but got "loud"/,
    2,
  ],
  [
    'a loudness over full scale',
    () => ['studio', 'loudness', '5', '-p', production],
    /PW-STUDIO-VALUE: the loudness of a delivery lies from −70 to 0 LUFS, but got 5/,
    2,
  ],
  [
    'a reveal of a pick without a join',
    () => ['reveal', 'one', '-p', production],
    /PW-REVEAL-EMPTY: one: not joined yet, so there is nothing to reveal/,
    2,
  ],
  [
    'proposals for no frame',
    () => ['mark', 'one', '--propose', 'first', '-p', production],
    /PW-CLI-NUMBER: --propose takes a frame, but got "first"/,
    2,
  ],
  [
    'a negative height',
    () => ['mark', 'one', '--file', file('negative-height.json'), '-p', production],
    /PW-MARKS-FORM/,
    3,
  ],
  [
    'a region with two points',
    () => ['erase', file('film.mp4'), '--region', file('two-points.json'), '--out', file('clean')],
    /PW-REGION-FORM/,
    3,
  ],
  [
    'a region of two points to follow',
    () => ['track', file('film.mp4'), '--region', '1,1 20,20', '--at', '0'],
    /PW-/,
    2,
  ],
  ['a pick beyond the film', () => ['pick', 'add', '--from', '40', '--to', '400', '-p', production], /PW-PICK-SPAN/, 2],
  ['a pick that is not there', () => ['join', 'nobody', '-p', production], /PW-BOOK-NO-SUCH/, 2],
  ['a verdict without a take', () => ['verdict', '-p', production], /PW-TAKE-NONE/, 2],
  ['a brief before the measures', () => ['brief', 'one', '-p', production], /PW-BRIEF-UNMEASURED/, 2],
  [
    'a place off the globe',
    () => ['sun', '--place', '95,0', '--date', '2026-06-21', '--elevation', '20..30'],
    /PW-SUN-PLACE/,
    2,
  ],
  [
    'a date that is none',
    () => ['sun', '--place', '50,0', '--date', '2026-02-31', '--elevation', '20..30'],
    /PW-TIME-DATE/,
    2,
  ],
  ['loudness of a film without sound', () => ['loudness', file('film.mp4')], /PW-MEDIA-SILENT/, 3],
  ['a command that is none', () => ['conjure'], /PW-CLI-COMMAND/, 2],
  [
    'pictures into a file that is no folder',
    () => ['erase', file('film.mp4'), '--region', file('region.json'), '--out', file('film.mp4')],
    /film\.mp4 is there already, and is not the folder that is wanted/,
    3,
  ],
  [
    'a clip retimed into itself',
    () => ['pace', file('film.mp4'), '--curve', file('region.json'), '--out', join(folder, '.', 'film.mp4')],
    /PW-USAGE-OUT.*film\.mp4/,
    2,
  ],
  [
    'a join over its own take',
    () => ['quick', file('zero.mp4'), file('film.mp4'), '--marks', file('region.json'), '--out', file('film.mp4')],
    /PW-USAGE-OUT.*film\.mp4/,
    2,
  ],
  [
    'an option that wants a number',
    () => ['erase', file('film.mp4'), '--region', file('region.json'), '--out', file('clean'), '--grow', 'wide'],
    /PW-CLI-NUMBER/,
    2,
  ],
];

describe('bad input', () => {
  for (const [name, args, code, exit] of cases) {
    it(`${name}: a clear error, the book unchanged`, () => {
      const before = pulse();
      const r = run(...args());
      expect(r.err).toMatch(code);
      expect(r.code).toBe(exit);
      // One readable sentence, no stack.
      expect(r.err).not.toMatch(/\n\s+at .*\(.*:\d+:\d+\)/);
      expect(r.err.trim().split('\n').pop()!.length).toBeGreaterThan(40);
      expect(pulse()).toBe(before);
    });
  }
  it('keeps the whole frames of a film that breaks off later, and says so', () => {
    copyFileSync(file('film.mp4'), file('torn.mp4'));
    truncateSync(file('torn.mp4'), Math.floor(readFileSync(file('film.mp4')).length * 0.6));
    const r = run('film', 'add', file('torn.mp4'), '-p', production, '--json', '--id', 'torn');
    expect(r.code).toBe(0);
    const video = (JSON.parse(r.out) as { info: { video: { frameCount: number; notes: string[] } } }).info.video;
    expect(video.frameCount).toBeGreaterThan(4);
    expect(video.frameCount).toBeLessThan(48);
    expect(video.notes.join(' ')).toMatch(/whole frames/);
  });
  it('answers with a document where an option is missing or unknown, too', () => {
    expect(run('judge', file('film.mp4'), file('film.mp4'), '--json').json?.error).toMatchObject({
      code: 'PW-CLI-USAGE',
      message: expect.stringContaining('--marks'),
    });
    const unknown = run('cuts', file('film.mp4'), '--sideways', '--json');
    expect([unknown.code, unknown.json?.error?.code]).toEqual([2, 'PW-CLI-USAGE']);
    expect(run('cuts', '--help', '--json').json).toBeNull();
  });
  it('says the same as JSON, on stdout alone', () => {
    const r = run('film', 'add', file('zero.mp4'), '-p', production, '--json');
    expect(r.json?.error?.code).toBe('PW-MEDIA-EMPTY');
  });
});
