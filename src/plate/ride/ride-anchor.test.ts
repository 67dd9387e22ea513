/** A region drawn on a frame that hardly shows it, in made layers whose every motion is known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import type { Point2 } from '../../geometry/mat3.js';
import { madeTexture } from './made-texture.js';
import type { LumaSource } from './ride-source.js';
import { trackRegion } from './ride.js';

const W = 320;
const H = 200;
const FRAMES = 26;
const KEY = 10;
const REGION: Point2[] = [
  [110, 60],
  [200, 60],
  [200, 130],
  [110, 130],
];

/** Layers from the back to the front; each tells its luma at a place of a frame, or null where it is not. */
type Layer = (t: number, x: number, y: number) => number | null;
function clip(layers: readonly Layer[], seed = 1): LumaSource {
  const held = new Map<number, Float32Array>();
  return {
    widthPx: W,
    heightPx: H,
    frameCount: FRAMES,
    async *frames(from, to) {
      for (let t = from; t < Math.min(to, FRAMES); t++) {
        const before = held.get(t);
        if (before !== undefined) {
          yield { index: t, luma: before };
          continue;
        }
        const rng = new RandomStream(seed, t);
        const luma = new Float32Array(W * H);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            let v = 0.5;
            for (const l of layers) v = l(t, x + 0.5, y + 0.5) ?? v;
            luma[y * W + x] = Math.min(0.97, Math.max(0.02, v + 0.004 * rng.normal()));
          }
        held.set(t, luma);
        yield { index: t, luma };
      }
    },
  };
}

const wall = (seed: number, vx = 0): Layer => {
  const f = madeTexture(seed);
  return (t, x, y) => f(x - vx * t, y);
};
/**
 * Somebody who walks by, its cloth going its own way within it; on the key frame it hides the region from x = 110 to
 * `to`.
 */
const passer = (seed: number, to: number, v: number): Layer => {
  const f = madeTexture(seed);
  return (t, x, y) => {
    const right = to + v * (t - KEY);
    const left = right - 100;
    return x > left && x < right && y > 30
      ? f(x - left + 2 * Math.sin(0.5 * t + 0.05 * y), y + 1.5 * Math.sin(0.7 * t))
      : null;
  };
};
/** Share of a region's width, moved by `dx`, that the passer hides on a frame. */
const hiddenBy = (to: number, v: number, t: number, dx: number): number => {
  const right = to + v * (t - KEY);
  return Math.max(0, Math.min(200 + dx, right) - Math.max(110 + dx, right - 100)) / 90;
};
const worst = (
  track: Awaited<ReturnType<typeof trackRegion>>,
  at: (t: number) => Point2,
  frames: (t: number) => boolean = () => true,
): number =>
  Math.max(
    ...track.frames
      .filter((f) => frames(f.frame))
      .flatMap((f) =>
        f.corners.map((c, k) => {
          const d = at(f.frame);
          return Math.hypot(c[0] - REGION[k]![0] - d[0], c[1] - REGION[k]![1] - d[1]);
        }),
      ),
  );

describe('a region that is mostly hidden on the frame it is drawn on', () => {
  it('goes by a frame that shows it, where it keeps to the set', async () => {
    const track = await trackRegion(clip([wall(1, 1.2), passer(2, 178, 17)]), { at: KEY, polygon: REGION });
    expect(hiddenBy(178, 17, KEY, 0)).toBeGreaterThan(0.7);
    expect(hiddenBy(178, 17, track.reference!, 1.2 * (track.reference! - KEY))).toBe(0);
    expect(worst(track, (t) => [1.2 * (t - KEY), 0])).toBeLessThan(0.5);
  });
  it('goes by a frame that shows it, where it moves by itself before the set', async () => {
    const board = madeTexture(5);
    const moves = (t: number): Point2 => [1.5 * (t - KEY), -0.6 * (t - KEY)];
    const poster: Layer = (t, x, y) => {
      const [dx, dy] = moves(t);
      const u = x - dx;
      const v = y - dy;
      return u > 100 && u < 210 && v > 50 && v < 140 ? board(u, v) : null;
    };
    const track = await trackRegion(clip([wall(1, -1), poster, passer(2, 172, 17)]), { at: KEY, polygon: REGION });
    expect(hiddenBy(172, 17, track.reference!, moves(track.reference!)[0])).toBe(0);
    expect(worst(track, moves)).toBeLessThan(0.8);
  });
  it('does not go over to the wall when what was marked walks off', async () => {
    // All of the region is the passer's; a few frames on it has left the picture.
    const track = await trackRegion(clip([wall(1), passer(2, 205, 30)]), { at: KEY, polygon: REGION });
    expect(track.reference).toBeUndefined();
  });
  it('leaves a key alone that is seen', async () => {
    const track = await trackRegion(clip([wall(1, 1.2), passer(2, 100, 9)]), { at: 2, polygon: REGION });
    expect(track.reference).toBeUndefined();
    expect(worst(track, (t) => [1.2 * (t - 2), 0])).toBeLessThan(0.5);
  });
});
