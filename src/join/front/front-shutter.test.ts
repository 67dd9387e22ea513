/** A post's smear counted over 400 moments of the exposure: shutter, cover and cleared edges against it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { STILL } from '../ride/carrier.js';
import { clearBehindEdges } from './clear-edges.js';
import { frontCover, frontOutlines, smearPx } from './front.js';
import { frontShutterDeg } from './front-shutter.js';
import type { FrontStep } from '../types.js';

const W = 260,
  H = 120,
  SPEED = 24,
  POST = 26;

/** Left edge of the post at a time in frames. */
const leftAt = (t: number): number => 40 + SPEED * t;
/**
 * Share of the exposure for which the post covers the middle of a column: counted over 400 moments, not by the
 * program's own way.
 */
function coverAt(x: number, frame: number, share: number): number {
  let c = 0;
  for (let k = 0; k < 400; k++) {
    const l = leftAt(frame + share * ((k + 0.5) / 400 - 0.5));
    c += Math.min(1, Math.max(0, Math.min(x + 1, l + POST) - Math.max(x, l)));
  }
  return c / 400;
}

/** The plate at a frame: a dark post before a mottled wall, with grain; `behind` in place of the wall. */
function plateAt(frame: number, share: number, behind: (x: number, y: number) => number, grain: number): Picture {
  const p = createPicture(W, H, 3),
    n = W * H,
    r = new RandomStream(5 + frame, 3);
  for (let x = 0; x < W; x++) {
    const a = coverAt(x, frame, share);
    for (let y = 0; y < H; y++) {
      const v = a * 0.08 + (1 - a) * behind(x, y);
      for (let c = 0; c < 3; c++) p.data[c * n + y * W + x] = Math.max(0, v + grain * r.normal());
    }
  }
  return p;
}
const wall = (x: number, y: number): number => 0.4 + 0.04 * Math.sin(x / 7) + 0.04 * Math.sin(y / 5 + x / 23);
const polygon = (t: number): [number, number][] => [
  [leftAt(t), 0],
  [leftAt(t) + POST, 0],
  [leftAt(t) + POST, H],
  [leftAt(t), H],
];
const step = (shutterDeg: number): FrontStep =>
  ({
    step: 'front',
    on: true,
    why: '',
    region: { frames: [0, 2, 6].map((f) => ({ frame: f, polygon: polygon(f) })) },
    pane: null,
    softPx: 0.3,
    ...(shutterDeg > 0 ? { shutterDeg } : {}),
  }) as FrontStep;

describe('a thing that passes fast in front', () => {
  it('tells its shutter by its edges: none, 90°, 180°, 270° within 40°', async () => {
    const outlines = frontOutlines(step(0), STILL).front;
    for (const deg of [0, 90, 180, 270]) {
      const got = await frontShutterDeg(outlines, [1, 2, 3, 4], (n) =>
        Promise.resolve(plateAt(n, deg / 360, wall, 0.01)),
      );
      expect(Math.abs(got - deg)).toBeLessThanOrEqual(40);
    }
  });

  it('says nothing of what moves too slowly to tell', async () => {
    const slow = [
      () =>
        [
          [20, 0],
          [50, 0],
          [50, H],
          [20, H],
        ] as [number, number][],
    ];
    expect(await frontShutterDeg(slow, [1, 2], (n) => Promise.resolve(plateAt(n, 0.5, wall, 0.01)))).toBe(0);
  });

  it('is drawn smeared as the exposure shows it', () => {
    const s = step(180),
      cover = frontCover(s, frontOutlines(s, STILL), 3, [0, 0, W, H])!;
    expect(Math.abs(smearPx(s, frontOutlines(s, STILL), 3) - SPEED / 2)).toBeLessThan(0.5);
    let worst = 0;
    for (let x = 0; x < W; x++) worst = Math.max(worst, Math.abs(cover[60 * W + x]! - coverAt(x, 3, 0.5)));
    expect(worst).toBeLessThan(0.05);
  });

  it('lets none of its own background shine through before the performer', () => {
    // The performer (a bright plain body) stands everywhere behind the post: the truth is the post before it.
    const body = 0.05,
      plate = plateAt(3, 0.5, wall, 0),
      truth = plateAt(3, 0.5, () => body, 0),
      n = W * H,
      s = step(180);
    const cover = frontCover(s, frontOutlines(s, STILL), 3, [0, 0, W, H])!,
      inside = new Float32Array(n),
      matte = new Float32Array(n),
      out = createPicture(W, H, 3);
    // It covers columns 60 to 200; the plate is seen beside it.
    for (let i = 0; i < n; i++) {
      const x = i % W;
      inside[i] = x >= 60 && x < 200 ? 1 : 0;
      matte[i] = inside[i]! * (1 - cover[i]!);
    }
    for (let c = 0; c < 3; c++)
      for (let i = 0; i < n; i++) out.data[c * n + i] = matte[i]! * body + (1 - matte[i]!) * plate.data[c * n + i]!;
    const error = (p: Picture): number => {
      let e = 0,
        k = 0;
      for (let i = 0; i < n; i++)
        if (inside[i]! > 0 && cover[i]! > 0.02 && cover[i]! < 0.98) {
          e += Math.abs(p.data[i]! - truth.data[i]!);
          k++;
        }
      return e / k;
    };
    const before = error(out);
    clearBehindEdges(out, { picture: plate, box: [0, 0, W, H] }, { hidden: cover, thing: cover }, matte, SPEED / 2);
    expect(before).toBeGreaterThan(0.04);
    expect(error(out)).toBeLessThan(0.012);
  });
});
