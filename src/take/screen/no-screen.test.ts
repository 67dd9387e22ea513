/**
 * A take without a screen, written to a file and measured: performer box, ground and
 * top as drawn, by outlines and by the empty set.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rate } from '../../core/rational.js';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { measureTake } from '../measure-take.js';
import { outlineAt } from './no-screen.js';
import { findScreen } from './screen.js';

const W = 320;
const H = 180;
const COUNT = 24;
const EMPTY = 20;
let folder: string, file: string, lawn: string;

/**
 * A garden of greens and browns, or of one green with so much red in it; from frame 0 to 19 a pale animal walks
 * a pixel a frame before it, its feet on row 150.
 */
function picture(frame: number, red0?: number): Picture {
  const leaves = new RandomStream(3);
  const p = createPicture(W, H, 3);
  const n = W * H;
  for (let y = 0; y < H; y += 6)
    for (let x = 0; x < W; x += 6) {
      const g = 0.15 + 0.4 * leaves.uniform();
      const drawn = 0.6 + 0.7 * leaves.uniform();
      const red = red0 ?? drawn;
      for (let j = y; j < Math.min(H, y + 6); j++)
        for (let i = x; i < Math.min(W, x + 6); i++)
          [g * red, g, 0.5 * g].forEach((v, c) => {
            p.data[c * n + j * W + i] = v;
          });
    }
  const x0 = 100 + frame;
  if (frame < EMPTY)
    for (let y = 60; y < 150; y++)
      for (let x = x0; x < x0 + 60; x++)
        [0.8, 0.72, 0.6].forEach((v, c) => {
          p.data[c * n + y * W + x] = v - 0.1 * ((x + y) % 8 < 4 ? 1 : 0);
        });
  return p;
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-garden-'));
  file = join(folder, 'garden.mkv');
  lawn = join(folder, 'lawn.mkv');
  for (const [path, red] of [
    [file, undefined],
    [lawn, 0.35],
  ] as const) {
    const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: rate(24), codec: 'h264', crf: 12 });
    for (let f = 0; f < COUNT; f++) await w.writeCoded(picture(f, red));
    await w.close();
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const box = (frame: number): [number, number][] => [
  [100 + frame, 60],
  [160 + frame, 60],
  [160 + frame, 150],
  [100 + frame, 150],
];

describe('a take without a screen', () => {
  it('says so, and what would tell its performer', async () => {
    const t = await measureTake(file, { frame: 0, marks: [] }, { card: false });
    expect([t.behind.kind, t.performer]).toEqual(['none', null]);
    expect(t.notes.join(' ')).toMatch(/no green or blue screen.*frame of the empty set.*outlines/);
  });
  it.each<[string, MarksFile, number]>([
    ['by what differs from the empty set', { frame: 8, cleanFrame: EMPTY, marks: [] }, 4],
    [
      'by outlines on two frames',
      {
        frame: 8,
        marks: [
          { kind: 'body', frame: 0, polygon: box(0) },
          { kind: 'body', frame: 16, polygon: box(16) },
        ],
      },
      1.5,
    ],
  ])('is judged %s', async (_name, marks, tolerance) => {
    const t = await measureTake(file, marks, { card: false });
    expect(t.behind.kind).toBe(marks.cleanFrame === undefined ? 'outline' : 'difference');
    for (const f of t.frames.filter((q) => q.frame < 17)) {
      for (const [got, want] of [
        [f.box!.x0, 100 + f.frame],
        [f.box!.x1, 160 + f.frame],
        [f.box!.y0, 60],
        [f.box!.y1, 150],
      ] as const)
        expect(Math.abs(got - want)).toBeLessThanOrEqual(tolerance);
      expect(f.touches).toEqual([]);
    }
    // Nobody is there on the empty frames.
    if (marks.cleanFrame !== undefined)
      expect(t.frames.filter((q) => q.frame >= EMPTY).every((q) => q.box === null)).toBe(true);
    expect(t.performer!.marked).toBe(false);
    expect(Math.abs(t.performer!.ground[0] - 138)).toBeLessThan(6);
    expect(Math.abs(t.performer!.top[1] - 60)).toBeLessThan(5);
  });
  it('is judged by the empty set on a lawn as green as a screen, as the join takes it', async () => {
    // The colour alone is a screen's.
    expect(findScreen(picture(EMPTY, 0.35))).not.toBeNull();
    const t = await measureTake(lawn, { frame: 8, cleanFrame: EMPTY, marks: [] }, { card: false });
    expect(t.behind.kind).toBe('difference');
    for (const f of t.frames.filter((q) => q.frame < 17))
      expect(Math.abs(f.box!.x0 - 100 - f.frame)).toBeLessThanOrEqual(4);
  });
  it('carries an outline between its frames and holds it beyond them', () => {
    const keys = [
      { frame: 16, polygon: box(16) },
      { frame: 0, polygon: box(0) },
    ];
    expect(outlineAt(keys, 8)).toEqual(box(8));
    expect([outlineAt(keys, 30), outlineAt(keys, 0)]).toEqual([box(16), box(0)]);
    expect(
      outlineAt(
        [
          { frame: 0, polygon: box(0).slice(1) },
          { frame: 16, polygon: box(16) },
        ],
        6,
      ),
    ).toEqual(box(0).slice(1));
  });
});
