/**
 * Outlines of a performer without a screen: found from a rough line, corrected by a touch, carried, handed back as
 * lines.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { rasterizePolygon, type Point } from '../../image/polygon.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { outlineRegion } from '../peel/screen-part.js';
import { handOutlines } from './hand-outlines.js';
import { outlinesByMotion, outlinesOfMarks } from './marked-take.js';
import { hintsOn } from './outline-hints.js';
import { findOutline } from './outline-take.js';
import { outlineMask, outlinePolygon } from './outline-polygon.js';
import { proposeOutline } from './propose-outline.js';

const W = 240,
  H = 136,
  FRAMES = 9;
let folder: string, still: VideoReader, walking: VideoReader;

/** Two legs under a body, so that ground shows between them. */
const covers = (x: number, y: number): boolean =>
  Math.hypot(x / 34, (y + 12) / 20) < 1 ||
  (y > -8 && y < 34 && (Math.hypot((x + 18) / 8, 0) < 1 || Math.hypot((x - 18) / 8, 0) < 1));
const at = (f: number, step: number): readonly [number, number] => [100 + step * f, 74 + 2 * Math.sin(f)];

async function made(name: string, step: number): Promise<VideoReader> {
  const random = new RandomStream(6),
    n = W * H,
    p = createPicture(W, H, 3),
    leaves = Float32Array.from({ length: (W + 40) * H }, () => 0.2 + 0.5 * random.uniform()),
    writer = await VideoWriter.open(join(folder, name), {
      widthPx: W,
      heightPx: H,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf: 16,
    });
  for (let f = 0; f < FRAMES; f++) {
    const [cx, cy] = at(f, step),
      pan = Math.round(3 * Math.sin(f / 2)) + 4;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const leaf = leaves[(y >> 2) * (W + 40) + ((x + pan) >> 2)]!,
          own = covers(x - cx, y - cy),
          fur = 0.5 + 0.08 * Math.sin((x - cx) / 2) * Math.sin((y - cy) / 3);
        for (let c = 0; c < 3; c++)
          p.data[c * n + y * W + x] = own ? fur * [1.3, 0.9, 0.7][c]! : leaf * [0.7, 1, 0.5][c]!;
      }
    await writer.writeCoded(p);
  }
  await writer.close();
  return VideoReader.open(join(folder, name));
}
const truth = (f: number, step: number): Uint8Array => {
  const [cx, cy] = at(f, step);
  return Uint8Array.from({ length: W * H }, (_, i) => (covers((i % W) - cx, Math.floor(i / W) - cy) ? 1 : 0));
};
const overlap = (polygon: readonly Point[], f: number, step: number): number => {
  const a = rasterizePolygon(polygon, W, H),
    b = truth(f, step);
  let both = 0,
    any = 0;
  for (let i = 0; i < a.length; i++) {
    const p = a[i]! > 0.5,
      q = b[i] === 1;
    if (p && q) both++;
    if (p || q) any++;
  }
  return both / any;
};
const about = (f: number, step: number): [number, number][] => {
  const [x, y] = at(f, step);
  return [
    [x - 45, y - 42],
    [x + 45, y - 42],
    [x + 45, y + 44],
    [x - 45, y + 44],
  ];
};

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-outline-'));
  still = await made('still.mp4', 0);
  walking = await made('walking.mp4', 5);
});
afterAll(async () => {
  await still.close();
  await walking.close();
  rmSync(folder, { recursive: true, force: true });
});

describe('an outline without a screen', () => {
  it('is found inside a rough line, with the ground between the legs left out', async () => {
    const found = await findOutline(still, 4, { about: [about(4, 0)], performer: [], set: [] });
    expect(found.polygon).not.toBeNull();
    expect(overlap(found.polygon!, 4, 0)).toBeGreaterThan(0.9);
  });

  it('is found by what moves against the set, and not where nothing does', async () => {
    const found = await outlinesByMotion(walking, { frame: 0, marks: [] }, null);
    const outlines = found.frames!.filter((f) => f.frame % 4 === 0);
    expect(outlines.length).toBe(3);
    for (const f of outlines) expect(overlap(f.polygon, f.frame, 5)).toBeGreaterThan(0.85);
    const nobody = await findOutline(still, 0, { about: [], performer: [], set: [] });
    expect(nobody.polygon).toBeNull();
    expect(nobody.why).toMatch(/rough line/);
  });

  it('is carried from drawn lines, which stay as they are, and kept', async () => {
    const drawn = outlinePolygon(truth(0, 5), W, H, 1, 0.7),
      last = outlinePolygon(truth(FRAMES - 1, 5), W, H, 1, 0.7),
      marks: MarksFile = {
        frame: 0,
        marks: [
          { kind: 'body', frame: 0, polygon: drawn },
          { kind: 'body', frame: FRAMES - 1, polygon: last },
        ],
      };
    const kept = { folder: join(folder, 'kept'), file: join(folder, 'walking.mp4') },
      one = (await outlinesOfMarks(walking, marks, kept))!;
    expect(one.frames).toHaveLength(FRAMES);
    expect(one.frames[0]!.polygon).toEqual(drawn);
    for (const f of one.frames) expect(overlap(f.polygon, f.frame, 5)).toBeGreaterThan(0.9);
    expect(one.frames[5]!.agreement).toBeGreaterThan(0.9);
    expect(outlineRegion(one.marks)!.frames).toHaveLength(FRAMES);
    expect((await outlinesOfMarks(walking, marks, kept))!.frames).toEqual(one.frames);
    // For hands: the drawn ones, and others of few points.
    const hand = handOutlines(one, 3, H);
    expect(hand.map((k) => k.frame)).toEqual([0, 4, FRAMES - 1]);
    expect(hand[1]!.polygon.length).toBeLessThan(60);
    expect(overlap(hand[1]!.polygon, 4, 5)).toBeGreaterThan(0.9);
    const proposed = await proposeOutline(walking, marks, 4);
    expect(proposed!.mark.kind).toBe('body');
    expect(proposed!.why).toContain('carried from frame 0 and 8');
    expect(await proposeOutline(walking, marks, 0)).toBeNull();
  });

  it('is corrected by a touch on what it took in', async () => {
    const [x, y] = at(4, 0),
      filled: [number, number][] = [
        [x - 30, y - 26],
        [x + 30, y - 26],
        [x + 27, y + 34],
        [x - 27, y + 34],
      ],
      marks: MarksFile = {
        frame: 4,
        marks: [
          { kind: 'body', frame: 4, polygon: filled },
          { kind: 'touch', frame: 4, points: [[x, y + 26]], on: 'set' },
        ],
      };
    expect(hintsOn(marks, 4).set).toHaveLength(1);
    const better = await proposeOutline(still, marks, 4);
    expect(better!.mark.kind === 'body' && overlap(better!.mark.polygon!, 4, 0)).toBeGreaterThan(
      overlap(filled, 4, 0) + 0.05,
    );
  });

  it('holds parts apart and hollows on one line', () => {
    const mask = new Uint8Array(60 * 40);
    for (let y = 4; y < 36; y++)
      for (let x = 4; x < 30; x++) if (!(y > 14 && y < 26 && x > 10 && x < 22)) mask[y * 60 + x] = 1;
    for (let y = 10; y < 30; y++) for (let x = 40; x < 55; x++) mask[y * 60 + x] = 1;
    const line = outlinePolygon(mask, 60, 40, 1, 0.4),
      back = outlineMask(line, 60, 40, 1);
    expect(back.reduce((s, v, i) => s + (v === mask[i] ? 0 : 1), 0)).toBeLessThan(
      0.04 * mask.reduce((s, v) => s + v, 0),
    );
  });
});
