/**
 * The screen's useful part on made takes whose every pixel is known: cloth that does
 * not fill the picture, stands, room, floor.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { traceOutline, thinPolygon } from '../../image/outline.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { screenEdges } from './screen-edges.js';

const W = 480;
const H = 270;
const N = W * H;
interface Stage {
  readonly cloth: readonly [number, number][];
  readonly blue?: boolean;
  readonly stands?: readonly number[];
  /** Half of a stand's width, px. */
  readonly standHalf?: number;
  readonly seed: number;
  readonly foot: number;
  readonly still?: boolean;
}

/** Frames and, over all of them, where performer is. */
function stage(s: Stage): { frames: Picture[]; performer: Uint8Array; cloth: Float32Array } {
  const random = new RandomStream(s.seed);
  const cloth = rasterizePolygon(s.cloth, W, H);
  const performer = new Uint8Array(N);
  const frames = Array.from({ length: 10 }, (_, f) => {
    const p = createPicture(W, H, 3);
    const cx = 240 + (s.still === true ? 0.4 * Math.sin(f) : 3 * f - 15);
    const cy = s.foot - 60 + (s.still === true ? 0.4 * Math.cos(2 * f) : 2 * Math.sin(f));
    for (let y = 0, i = 0; y < H; y++)
      for (let x = 0; x < W; x++, i++) {
        const light = 1 - 0.4 * (x / W) + 0.04 * Math.sin(x / 17 + y / 40);
        const green = s.blue === true ? [0.14, 0.24, 0.62] : [0.2, 0.62, 0.25];
        const room = y > 215 ? [0.42, 0.38, 0.33] : [0.55, 0.52, 0.5];
        const q = ((x - cx) / 38) ** 2 + ((y - cy) / 60) ** 2;
        const inside = q < 1 || ((x - cx) / 20) ** 2 + ((y - cy + 62) / 20) ** 2 < 1;
        const stand = (s.stands ?? []).some((at) => Math.abs(x - at - 0.12 * (H - y)) < (s.standHalf ?? 4));
        if (inside) performer[i] = 1;
        for (let c = 0; c < 3; c++)
          p.data[c * N + i] =
            (inside
              ? [0.62, 0.5, 0.38][c]! * (0.8 + 0.2 * Math.sin(y / 6))
              : stand
                ? 0.1
                : cloth[i]! * green[c]! * light + (1 - cloth[i]!) * room[c]!) +
            0.008 * random.normal();
      }
    return p;
  });
  return { frames, performer, cloth };
}

function judged(s: Stage): { lost: number; kept: number; off: number; crossed: boolean; corners: number } {
  const { frames, performer, cloth } = stage(s);
  const e = screenEdges(frames);
  expect(e.polygon, e.why).not.toBeNull();
  const inside = rasterizePolygon(e.polygon!, W, H);
  let lost = 0;
  let junk = 0;
  let kept = 0;
  let plain = 0;
  let off = 0;
  for (let i = 0; i < N; i++) {
    if (performer[i] === 1) {
      if (inside[i]! < 0.5) lost++;
      continue;
    }
    if (cloth[i]! < 0.01) {
      junk++;
      if (inside[i]! > 0.5) kept++;
    } else if (cloth[i]! > 0.99) {
      plain++;
      if (inside[i]! < 0.5) off++;
    }
  }
  return { lost, kept: kept / Math.max(1, junk), off: off / plain, crossed: e.crossed, corners: e.polygon!.length };
}

const QUAD: [number, number][] = [
  [60, 22],
  [430, 40],
  [415, 250],
  [48, 238],
];

describe('the useful part of a screen', () => {
  it('is the cloth, where it hangs free in a room: no performer lost, the room cut off', () => {
    for (const s of [
      { cloth: QUAD, seed: 1, foot: 215 },
      { cloth: QUAD, seed: 2, foot: 200, blue: true },
    ]) {
      const j = judged(s);
      expect(j.lost).toBe(0);
      expect(j.kept).toBeLessThan(0.01);
      expect(j.off).toBeLessThan(0.05);
      expect(j.corners).toBeLessThanOrEqual(16);
      expect(j.crossed).toBe(false);
    }
  });

  it('a still performer within the cloth is kept too', () => {
    expect(judged({ cloth: QUAD, seed: 3, foot: 210, still: true }).lost).toBe(0);
  });

  it('a stand that leans in from the side is cut off, also where it stands before the cloth', () => {
    const stands = [20];
    const j = judged({ cloth: QUAD, seed: 4, foot: 210, stands });
    expect(j.lost).toBe(0);
    expect(j.kept).toBeLessThan(0.02);
  });

  it('a still stand that parts the cloth stays out, with the cloth beyond it', () => {
    const j = judged({ cloth: QUAD, seed: 9, foot: 210, stands: [130], standHalf: 9 });
    expect(j.lost).toBe(0);
    expect(j.off).toBeGreaterThan(0.15);
  });

  it('a performer whose feet stand on the floor before the cloth is taken in, and said', () => {
    const j = judged({
      cloth: [
        [60, 10],
        [430, 12],
        [425, 205],
        [64, 200],
      ],
      seed: 5,
      foot: 222,
    });
    expect(j.crossed).toBe(true);
    expect(j.lost).toBe(0);
    expect(j.kept).toBeLessThan(0.2);
  });

  it('a head and shoulders that part the cloth lose nothing, still or moving, and the room beside it is cut off', () => {
    for (const still of [true, false]) {
      // Cloth on both sides up to the picture's top, the room's wall to the right of it.
      const cloth = rasterizePolygon(
        [
          [-9, -9],
          [430, -9],
          [430, H + 9],
          [-9, H + 9],
        ],
        W,
        H,
      );
      const random = new RandomStream(8);
      const performer = new Uint8Array(N);
      const frames = Array.from({ length: 10 }, (_, f) => {
        const p = createPicture(W, H, 3);
        const cx = 190 + (still ? 0.3 * Math.sin(f) : 2 * f);
        for (let y = 0, i = 0; y < H; y++)
          for (let x = 0; x < W; x++, i++) {
            const head = ((x - cx) / 55) ** 2 + ((y - 70) / 90) ** 2 < 1;
            const body = y > 150 && Math.abs(x - cx) < 60 + 0.9 * (y - 150);
            if (head || body) performer[i] = 1;
            for (let c = 0; c < 3; c++)
              p.data[c * N + i] =
                (head
                  ? [0.62, 0.5, 0.38][c]!
                  : body
                    ? 0.07
                    : cloth[i]! > 0.5
                      ? [0.2, 0.62, 0.25][c]! * (1 - (0.3 * x) / W)
                      : [0.55, 0.52, 0.5][c]!) +
                0.008 * random.normal();
          }
        return p;
      });
      const e = screenEdges(frames);
      const inside = e.polygon === null ? new Float32Array(N).fill(1) : rasterizePolygon(e.polygon, W, H);
      let lost = 0,
        of = 0,
        kept = 0,
        room = 0;
      for (let i = 0; i < N; i++)
        if (performer[i] === 1) {
          of++;
          if (inside[i]! < 0.5) lost++;
        } else if (cloth[i]! < 0.5) {
          room++;
          if (inside[i]! > 0.5) kept++;
        }
      expect(lost / of).toBeLessThan(0.002);
      expect(kept / room).toBeLessThan(0.05);
      expect(e.crossed).toBe(true);
    }
  });

  it('proposes nothing where the screen fills the picture, or there is none', () => {
    expect(
      screenEdges(
        stage({
          cloth: [
            [-9, -9],
            [W + 9, -9],
            [W + 9, H + 9],
            [-9, H + 9],
          ],
          seed: 6,
          foot: 200,
        }).frames,
      ),
    ).toMatchObject({ polygon: null, why: expect.stringContaining('fills') as string });
    expect(
      screenEdges(
        stage({
          cloth: [
            [0, 0],
            [1, 0],
            [0, 1],
          ],
          seed: 6,
          foot: 200,
        }).frames,
      ),
    ).toMatchObject({ polygon: null, why: expect.stringContaining('no green or blue') as string });
  });

  it('walks an outline once round, and thins it to its corners', () => {
    const mask = rasterizePolygon(
      [
        [3, 2],
        [13, 2],
        [13, 9],
        [3, 9],
      ],
      20,
      14,
    );
    const outline = traceOutline(mask, 20, 14);
    expect(outline).toHaveLength(2 * (10 + 7));
    expect(thinPolygon(outline, 0.5)).toEqual([
      [3, 2],
      [13, 2],
      [13, 9],
      [3, 9],
    ]);
    // Two pixels that touch at a corner only, and a single one.
    expect(traceOutline([1, 0, 0, 1], 2, 2).length).toBeGreaterThanOrEqual(4);
    expect(traceOutline([0, 0, 0, 1], 2, 2)).toHaveLength(4);
  });
});
