/** A made post that slides over a patterned set is found again from one mark; where it is not seen, that is said. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { IDENTITY3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { STILL } from '../ride/carrier.js';
import type { SmallFrame } from '../outline/small-frame.js';
import { followFront } from './follow-front.js';
import type { FrontPictures } from './front-with-set.js';
import { refineOutline } from './refine-outline.js';

const W = 240,
  H = 120,
  N = W * H,
  FRAMES = 15;

/** Left side of the post on a frame: it gathers speed, beside a set that shakes by itself. */
const leftAt = (n: number): number => 60 + 5.3 * n + 0.25 * n * n;
const widthAt = (n: number): number => 12 + 0.25 * n;

function made(options: {
  readonly seed: number;
  readonly gone?: (n: number) => boolean;
  readonly moves?: boolean;
}): FrontPictures {
  const r = new RandomStream(options.seed, 1),
    wide = W + 80,
    set = gaussianPlane(
      Float32Array.from({ length: wide * H }, () => r.normal()),
      wide,
      H,
      2.2,
    ).map((v) => 0.45 + 1.1 * v);
  const picture = (n: number): Promise<SmallFrame> => {
    const data = new Float32Array(3 * N),
      grain = new RandomStream(options.seed, 100 + n),
      left = options.moves === false ? leftAt(0) : leftAt(n),
      right = left + (options.moves === false ? widthAt(0) : widthAt(n));
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const cover =
            options.gone?.(n) === true
              ? 0
              : Math.max(0, Math.min(1, x + 1 - left)) - Math.max(0, Math.min(1, x + 1 - right)),
          behind = sampleBilinear(set, wide, H, x + 20.5 + (options.moves === false ? 0 : 2 * n), y + 0.5);
        data[y * W + x] = cover * 0.3 + (1 - cover) * behind + 0.008 * grain.normal();
        data[N + y * W + x] = cover * -0.03;
      }
    return Promise.resolve({ width: W, height: H, block: 1, data });
  };
  return {
    block: 1,
    widthPx: W,
    heightPx: H,
    carrier: STILL,
    span: { in: 0, out: FRAMES },
    picture,
    set: () => IDENTITY3,
    async *pictures(from, to) {
      for (let n = from; from <= to ? n <= to : n >= to; n += from <= to ? 1 : -1)
        yield { frame: n, picture: await picture(n) };
    },
  };
}
const post = (n: number, off = 0): [number, number][] => [
  [leftAt(n) + off, -1],
  [leftAt(n) + widthAt(n) + off, -1],
  [leftAt(n) + widthAt(n) + off, H + 1],
  [leftAt(n) + off, H + 1],
];
/** Where a side is at half the height. */
const sideAt = (p: readonly (readonly [number, number])[], a: number, b: number): number => {
  const t = (H / 2 - p[a]![1]) / (p[b]![1] - p[a]![1]);
  return p[a]![0] + t * (p[b]![0] - p[a]![0]);
};

describe('a thing that passes, outlined once', () => {
  for (const seed of [1, 2, 3])
    it(`is followed by its edges, though it has no texture and the set slides behind it (seed ${seed})`, async () => {
      const f = await followFront(made({ seed }), { frames: [{ frame: 5, polygon: post(5, 0.8) }] });
      expect(f.how).toBe('edges');
      expect(f.lost).toEqual([]);
      expect(f.region.frames.length).toBe(FRAMES);
      const off = f.region.frames.flatMap(({ frame, polygon }) => [
        Math.abs(sideAt(polygon, 0, 3) - leftAt(frame)),
        Math.abs(sideAt(polygon, 1, 2) - leftAt(frame) - widthAt(frame)),
      ]);
      expect(off.reduce((s, d) => s + d, 0) / off.length).toBeLessThan(0.3);
      // On every frame well within what the inspection lets through.
      expect(Math.max(...off)).toBeLessThan(1);
    });

  it('is told as lost on the frames that do not show it', async () => {
    const f = await followFront(made({ seed: 4, gone: (n) => n > 10 }), { frames: [{ frame: 3, polygon: post(3) }] });
    expect(f.lost).toEqual([11, 12, 13, 14]);
  });

  it('goes with the set where it does, from its one outline', async () => {
    const f = await followFront(made({ seed: 5, moves: false }), { frames: [{ frame: 0, polygon: post(0, -0.7) }] });
    expect(f.how).toBe('set');
    expect(f.region.frames.length).toBe(1);
    expect(Math.abs(sideAt(f.region.frames[0]!.polygon, 0, 3) - leftAt(0))).toBeLessThan(0.4);
  });

  it('keeps to its marks where they do not meet what was followed', async () => {
    const frames = [0, 7, 14].map((n) => ({
      frame: n,
      polygon: [
        [20 + 3 * n, 10],
        [90 + n, 20],
        [60 - n, 100],
      ] as [number, number][],
    }));
    const f = await followFront(made({ seed: 6 }), { frames });
    expect(f.how).toBe('marks');
    expect(f.region).toEqual({ frames });
  });
});

describe('an outline drawn by hand', () => {
  it("is set on the picture's edges, and stays where there are none", async () => {
    const picture = await made({ seed: 7 }).picture(4),
      set = refineOutline(picture, post(4, 2));
    expect(Math.abs(sideAt(set, 0, 3) - leftAt(4))).toBeLessThan(0.4);
    const flat: SmallFrame = { ...picture, data: new Float32Array(3 * N).fill(0.4) };
    expect(refineOutline(flat, post(4, 2))).toEqual(post(4, 2));
  });
});
