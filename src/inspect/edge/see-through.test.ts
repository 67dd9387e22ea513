/** What is seen through is in every band of detail; a coat that is shaded as the set behind it is, in the coarse alone. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { blank, told } from '../judge/made-readings.js';
import { madeFrame } from '../reader/made-frame.js';
import type { InspectionMatter } from '../types.js';
import { SeeThroughReader } from './see-through.js';

const W = 360,
  H = 240,
  FRAMES = 3;

/** Grey noise of all sizes: as much in each octave from one pixel to sixteen. */
function patterned(seed: number, strength: number): Float32Array {
  const random = new RandomStream(seed),
    out = new Float32Array(W * H);
  for (const wide of [0, 1, 2, 4, 8]) {
    const noise = Float32Array.from(out, () => random.uniform() - 0.5),
      soft = wide === 0 ? noise : gaussianPlane(noise, W, H, wide),
      size = Math.sqrt(soft.reduce((s, v) => s + v * v, 0) / soft.length);
    for (let i = 0; i < out.length; i++) out[i] = out[i]! + (strength * soft[i]!) / size;
  }
  return out;
}

const grey = (luma: Float32Array): Picture => {
  const p = createPicture(W, H, 3);
  for (let c = 0; c < 3; c++) p.data.set(luma, c * W * H);
  return p;
};
const inBody = (i: number): boolean => Math.abs((i % W) - 180) < 90 && Math.abs(Math.floor(i / W) - 120) < 90;
const plate = patterned(1, 0.02).map((v) => 0.4 + v),
  coat = patterned(2, 0.004).map((v) => 0.55 + v),
  coarse = gaussianPlane(plate, W, H, 3).map((v) => v - 0.4),
  matte = Float32Array.from(plate, (_, i) => (inBody(i) ? 1 : 0));

/** What is said of a performer whose light is `body`; `file`: what the join's file makes of its whole picture. */
function solidOf(body: (i: number) => number, file: (luma: Float32Array) => Float32Array = (v) => v): InspectionMatter {
  const reader = new SeeThroughReader();
  for (let n = 0; n < FRAMES; n++) {
    const grain = new RandomStream(10 + n),
      join = plate.map((v, i) => (inBody(i) ? body(i) : v) + 0.006 * (grain.uniform() - 0.5));
    reader.add(madeFrame(grey(file(join)), grey(plate), matte, n));
  }
  return told({ ...blank(), through: reader.result() }, 'solid');
}

describe('a plate behind the performer', () => {
  const seen = (share: number) => (i: number) => (1 - share) * coat[i]! + share * plate[i]!;
  it('is not seen through a whole one', () => {
    const m = solidOf(seen(0));
    expect(m.passes).toBe(true);
    expect(Math.abs(m.value!)).toBeLessThan(0.03);
  });
  it('is seen by its share', () => {
    const m = solidOf(seen(0.25));
    expect(m.passes).toBe(false);
    expect(m.value!).toBeCloseTo(0.25, 1);
  });
  it('is named too where the file lost fine pattern, in the middle band as well, and read somewhat less', () => {
    const m = solidOf(seen(0.25), (v) => gaussianPlane(v, W, H, 0.9));
    expect(m.passes).toBe(false);
    expect(m.value!).toBeLessThan(0.25);
  });
  it('is not by a coat whose shading alone goes as its light does, and the doubt says so', () => {
    const alike = solidOf((i) => coat[i]! + 0.35 * coarse[i]!),
      whole = solidOf(seen(0));
    expect(alike.passes).toBe(true);
    expect(alike.sd!).toBeGreaterThan(3 * whole.sd!);
  });
});
