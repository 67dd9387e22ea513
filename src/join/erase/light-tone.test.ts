/** A light laid on a made picture by known gains and a known curve is told again, and taken off again. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { shineOn } from './light-plane.js';
import { toneLight } from './light-tone.js';

const W = 240;
const H = 136;
const N = W * H;

/** A bright wall over a dark floor, in patches of 16 px, with grain. */
function room(seed: number): Picture {
  const r = new RandomStream(seed);
  const p = createPicture(W, H, 3);
  const patch = Float32Array.from({ length: 20 * 12 }, () => 0.16 * (r.uniform() - 0.5));
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < N; i++) {
      const x = i % W;
      const y = Math.floor(i / W);
      p.data[c * N + i] = (y < 60 ? 0.75 : 0.28) + patch[(y >> 4) * 20 + (x >> 4)]! + 0.02 * c + 0.004 * r.normal();
    }
  return p;
}

/** The camera opens: darks by 12 %, lights by half of that, red 3 % more. */
const opened = (v: number, c: number): number => v * (1 + 0.12 * (1 - 0.6 * v)) * (c === 0 ? 1.03 : 1);

function laidOver(base: Picture): Picture {
  return { ...base, data: base.data.map((v, i) => opened(v, Math.floor(i / N))) };
}

/** Where the two are compared: the wall, and of the floor the left half alone. */
const beside = (): Float32Array =>
  Float32Array.from({ length: N }, (_, i) => (Math.floor(i / W) < 60 || i % W < 120 ? 1 : 0));

function worst(a: Picture, b: Picture): number {
  let most = 0;
  for (let i = 0; i < a.data.length; i++) most = Math.max(most, Math.abs(a.data[i]! - b.data[i]!));
  return most;
}

describe('light by level', () => {
  it('tells a curve, though the hole holds more of the floor, and somebody dark stands beside it', () => {
    const base = room(4);
    const truth = laidOver(base);
    const laid: Picture = { ...truth, data: truth.data.slice() };
    for (let c = 0; c < 3; c++)
      for (let y = 40; y < 130; y++) for (let x = 20; x < 44; x++) laid.data[c * N + y * W + x] = 0.1;
    const light = toneLight(base, laid, beside(), { leanSd: 0.03 })!;
    const fill: Picture = { ...base, data: base.data.slice() };
    shineOn(fill, light, 1);
    expect(worst(fill, truth)).toBeLessThan(0.008);
    // One gain for all would miss it.
    expect(worst({ ...base, data: base.data.map((v) => v * opened(0.75, 1) * (1 / 0.75)) }, truth)).toBeGreaterThan(
      0.012,
    );
    shineOn(fill, light, -1);
    expect(worst(fill, base)).toBeLessThan(1e-3);
  });

  it('says nothing where nothing differs but grain, or too little is seen of both', () => {
    expect(toneLight(room(4), room(4), beside(), { leanSd: 0.03 })).toBeNull();
    expect(toneLight(room(4), laidOver(room(4)), new Float32Array(N), { leanSd: 0.03 })).toBeNull();
  });
});
