/** A shutter told from texture that the camera sweeps: a made meadow whose every exposure is known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { LumaSource } from '../ride/ride-source.js';
import { shutterBetween } from './shutter-between.js';
import type { CameraMove } from '../types.js';

const W = 320;
const H = 200;
const FRAMES = 14;
const BIG = 640;

/** Texture at several scales, and nowhere a straight edge. */
function meadow(seed: number): Float32Array {
  const random = new RandomStream(seed);
  const out = new Float32Array(BIG * BIG).fill(0.45);
  for (const [sd, gain] of [
    [1.2, 0.25],
    [3, 0.4],
    [9, 0.6],
  ] as const) {
    const p = gaussianPlane(
      Float32Array.from({ length: BIG * BIG }, () => random.normal()),
      BIG,
      BIG,
      sd,
    );
    for (let i = 0; i < out.length; i++) out[i] = out[i]! + gain * p[i]!;
  }
  return out;
}

/**
 * A hand that holds, sweeps aside, holds and sweeps down: place of the picture's corner in the meadow at a time in
 * frames.
 */
const place = (t: number): [number, number] => {
  const ease = (a: number, b: number): number => {
    const x = Math.min(1, Math.max(0, (t - a) / (b - a)));
    return x * x * (3 - 2 * x);
  };
  return [100 + 60 * ease(3, 8), 100 + 40 * ease(8, 12)];
};

function clip(shutter: number, seed: number, grain = 0.006): { source: LumaSource; camera: CameraMove } {
  const set = meadow(seed);
  const SUB = 24;
  const at = (x: number, y: number): number => {
    const x0 = Math.floor(x);
    const y0 = Math.floor(y);
    const tx = x - x0;
    const ty = y - y0;
    const i = y0 * BIG + x0;
    return (
      (set[i]! * (1 - tx) + set[i + 1]! * tx) * (1 - ty) + (set[i + BIG]! * (1 - tx) + set[i + BIG + 1]! * tx) * ty
    );
  };
  const frames = Array.from({ length: FRAMES }, (_, n) => {
    const random = new RandomStream(seed + 5, n);
    const luma = new Float32Array(W * H);
    for (let k = 0; k < SUB; k++) {
      const [px, py] = place(n + shutter * ((k + 0.5) / SUB - 0.5));
      for (let y = 0; y < H; y++)
        for (let x = 0; x < W; x++) luma[y * W + x] = luma[y * W + x]! + at(px + x, py + y) / SUB;
    }
    for (let i = 0; i < luma.length; i++) luma[i] = luma[i]! + grain * random.normal();
    return luma;
  });
  const [fx, fy] = place(0);
  return {
    source: {
      widthPx: W,
      heightPx: H,
      frameCount: FRAMES,
      async *frames(from, to) {
        for (let n = from; n < Math.min(to, FRAMES); n++) yield { index: n, luma: frames[n]! };
      },
    },
    camera: {
      frames: Array.from({ length: FRAMES }, (_, n) => {
        const [x, y] = place(n);
        return {
          frame: n,
          homographyToFirst: [1, 0, x - fx, 0, 1, y - fy, 0, 0, 1],
          panDeg: null,
          tiltDeg: null,
          rollDeg: null,
          support: 1,
        };
      }),
    } as unknown as CameraMove,
  };
}

describe('a shutter read from swept texture', () => {
  it.each([
    [0.25, 3],
    [0.5, 4],
    [0.5, 21],
    [0.9, 8],
  ])(
    'share %f, seed %i',
    async (shutter, seed) => {
      const { source, camera } = clip(shutter, seed);
      const m = await shutterBetween(source, camera);
      expect(m).not.toBeNull();
      expect(Math.abs(m!.value! - 360 * shutter)).toBeLessThan(30);
    },
    60000,
  );

  it('that hardly opens smears nothing', async () => {
    const { source, camera } = clip(0.02, 6);
    const m = await shutterBetween(source, camera);
    expect(m!.value!).toBeLessThan(50);
  });

  it('says nothing of a camera that holds still', async () => {
    const { source, camera } = clip(0.5, 4);
    expect(
      await shutterBetween(source, {
        ...camera,
        frames: camera.frames.map((f) => ({ ...f, homographyToFirst: [1, 0, 0, 0, 1, 0, 0, 0, 1] })),
      } as unknown as CameraMove),
    ).toBeNull();
  });
});
