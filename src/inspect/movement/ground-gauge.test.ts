/** Ground drawn as a plane under a camera that pushes in, so that the truth is known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, transpose } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import type { GroundStep, Recipe } from '../../join/types.js';
import type { GoneFrame } from '../reader/frame.js';
import { GroundGauge } from './ground-gauge.js';

const W = 480,
  H = 270,
  FOCAL = 560,
  FRAMES = 8,
  TILT = -12;
/** Texels a metre, and across, of a patterned ground. */
const FINE = 90,
  TEXELS = 1024;

const camera = (n: number): { readonly heading: number; readonly at: readonly [number, number, number] } => ({
  heading: 0.4 * n,
  at: [0.02 * n, 1.2, -3.6 + 0.03 * n],
});
const worldAt = (n: number) => worldToCamera(camera(n).heading, TILT, 0);

/** `contrast`: sd of the pattern, coded; `grain` of the film; a bright post, fixed in the picture, where `post`. */
function plates(contrast: number, grain: number, post: boolean): Float32Array[] {
  const stream = new RandomStream(5),
    raw = gaussianPlane(
      Float32Array.from({ length: TEXELS * TEXELS }, () => stream.normal()),
      TEXELS,
      TEXELS,
      2,
    ),
    sd = Math.sqrt(raw.reduce((s, v) => s + v * v, 0) / raw.length);
  return Array.from({ length: FRAMES }, (_, n) => {
    const back = transpose(worldAt(n)),
      { at } = camera(n),
      out = new Float32Array(W * H);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const ray = applyVector(back, [(x + 0.5 - W / 2) / FOCAL, (y + 0.5 - H / 2) / FOCAL, 1]),
          far = ray[1] < -1e-3 ? -at[1] / ray[1] : 0,
          u = TEXELS / 2 + FINE * (at[0] + far * ray[0]),
          v = TEXELS / 2 + FINE * (at[2] + far * ray[2]);
        out[y * W + x] = 0.4 + grain * stream.normal();
        if (far > 0 && u > 1 && v > 1 && u < TEXELS - 1 && v < TEXELS - 1)
          out[y * W + x] = out[y * W + x]! + (contrast / sd) * sampleBilinear(raw, TEXELS, TEXELS, u, v);
        if (post && x > 215 + n && x < 223 + n) out[y * W + x] = 0.9;
      }
    return out;
  });
}

/** Shifts that are told along the shot of a plan that is off by `off` px on each frame. */
function told(shown: readonly Float32Array[], off: (n: number) => number): ([number, number] | null)[] {
  const frames = shown.map((_, n) => {
      const p = applyVector(worldAt(n), [-camera(n).at[0], -camera(n).at[1], -camera(n).at[2]]);
      return {
        frame: n,
        foot: [W / 2 + (FOCAL * p[0]) / p[2] + off(n), H / 2 + (FOCAL * p[1]) / p[2]] as const,
        pxPerMetre: FOCAL / p[2],
        tiltDeg: TILT,
        rollDeg: 0,
        azimuthDeg: 30 + camera(n).heading,
      };
    }),
    step = { step: 'ground', azimuthDeg: 30, elevationDeg: 40, focalPx: FOCAL, frames } as unknown as GroundStep,
    gauge = new GroundGauge({ steps: [step] } as unknown as Recipe, step);
  return shown.map((plateLuma, frame) => {
    const r = gauge.read({ frame, plateLuma, box: [200, 60, 260, 140] } as unknown as GoneFrame, [W, H], () => false);
    return r === null ? null : [r[0], r[1]];
  });
}

const worst = (list: readonly ([number, number] | null)[], should: (n: number) => number): number =>
  Math.max(...list.map((p, n) => (p === null ? 9 : Math.hypot(p[0] - should(n), p[1]))));

describe("the plate's ground beside the plan", () => {
  const patterned = plates(0.03, 0.006, false);
  it('lies where a right plan puts it, and beside a wrong one by as much as that is off', () => {
    expect(
      worst(
        told(patterned, () => 0),
        () => 0,
      ),
    ).toBeLessThan(0.1);
    // The plan moved to the right of the ground: the ground lies to its left.
    const off = (n: number): number => 0.6 * Math.sin(1.9 * n);
    expect(worst(told(patterned, off), (n) => off(0) - off(n))).toBeLessThan(0.15);
  });
  it('is not led away by a post that goes another way before it', () => {
    expect(
      worst(
        told(plates(0.03, 0.006, true), () => 0),
        () => 0,
      ),
    ).toBeLessThan(0.25);
  });
  it('is not told without a pattern', () => {
    expect(
      told(plates(0, 0.006, false), () => 0)
        .slice(1)
        .every((p) => p === null),
    ).toBe(true);
  });
});
