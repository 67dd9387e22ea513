/** Holes in made ground and in bricks, filled; held against what was there, and against patches alone. */
import { describe, expect, it } from 'vitest';
import { psnrDb } from '../../image/compare.js';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { fillAnchored } from './fill-anchored.js';
import { synthesisePatches } from '../synthesis/patch-synthesis.js';

const W = 128,
  H = 112;
const hole = new Uint8Array(W * H);
for (let y = 30; y < 82; y++) for (let x = 42; x < 88; x++) hole[y * W + x] = 1;
const known = Uint8Array.from(hole, (v) => 1 - v);
const holed = (truth: readonly Float32Array[]): Float32Array[] =>
  truth.map((p) => p.map((v, i) => (hole[i] === 0 ? v : 0)));

/** Rough ground whose light falls off across the picture. */
function ground(seed: number): Float32Array[] {
  const random = new RandomStream(seed),
    rough = Float32Array.from({ length: W * H }, () => random.normal());
  return [0.5, 0.45, 0.35].map((k) =>
    Float32Array.from(rough, (v, i) => k * (0.6 + 0.8 * ((i % W) / W) ** 2 + 0.3 * Math.sin(i / W / 18)) + 0.04 * v),
  );
}

/** Courses of bricks, seams between. */
function bricks(): Float32Array[] {
  return [0.5, 0.3, 0.22].map((k) =>
    Float32Array.from({ length: W * H }, (_, i) => {
      const x = i % W,
        y = Math.floor(i / W),
        course = Math.floor(y / 12);
      return y % 12 < 2 || (x + (course % 2) * 12) % 24 < 2 ? 0.75 : k;
    }),
  );
}

/** Rms of neighbours' differences inside the hole. */
function roughness(p: Float32Array): number {
  let sum = 0,
    count = 0;
  for (let i = 1; i < p.length; i++)
    if (hole[i] !== 0 && hole[i - 1] !== 0) {
      sum += (p[i]! - p[i - 1]!) ** 2;
      count++;
    }
  return Math.sqrt(sum / count);
}

/** Rms inside the hole of what is broader than 4 px of the difference. */
function broadError(p: Float32Array, truth: Float32Array): number {
  const d = gaussianPlane(
    p.map((v, i) => (hole[i] !== 0 ? v - truth[i]! : 0)),
    W,
    H,
    4,
  );
  let sum = 0,
    count = 0;
  for (let i = 0; i < d.length; i++)
    if (hole[i] !== 0) {
      sum += d[i]! ** 2;
      count++;
    }
  return Math.sqrt(sum / count);
}

describe('fill held to its border', () => {
  it('follows the light over rough ground better than patches alone, as rough as it is', () => {
    let ours = 0,
      patches = 0,
      light = 0,
      drift = 0,
      kept = 0;
    for (const seed of [1, 2, 3]) {
      const truth = ground(seed),
        a = fillAnchored(holed(truth), hole, known, W, H, { seed }),
        b = synthesisePatches(holed(truth), hole, known, W, H, { seed });
      ours += psnrDb(a[1]!, truth[1]!, hole) / 3;
      patches += psnrDb(b[1]!, truth[1]!, hole) / 3;
      light += broadError(a[1]!, truth[1]!) / 3;
      drift += broadError(b[1]!, truth[1]!) / 3;
      kept += roughness(a[1]!) / roughness(truth[1]!) / 3;
    }
    expect(ours).toBeGreaterThan(patches);
    expect(light).toBeLessThan(0.9 * drift);
    // As rough as the ground, not only as patches that were averaged are.
    expect(kept).toBeGreaterThan(0.85);
  });

  it('leaves a pattern that patches go on with to them', () => {
    const truth = bricks(),
      a = fillAnchored(holed(truth), hole, known, W, H, { seed: 3 });
    expect(psnrDb(a[1]!, truth[1]!, hole)).toBeGreaterThan(38);
  });

  it('changes nothing outside the hole and gives the same twice', () => {
    const truth = ground(4),
      a = fillAnchored(holed(truth), hole, known, W, H),
      b = fillAnchored(holed(truth), hole, known, W, H);
    for (let c = 0; c < 3; c++) {
      expect(a[c]).toEqual(b[c]);
      expect(a[c]!.every((v, i) => hole[i] !== 0 || v === truth[c]![i])).toBe(true);
    }
  });
});
