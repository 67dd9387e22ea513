/** Made bodies with and without a veil of known strength: blacks told and blacks let be. */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { madeFrame } from '../reader/made-frame.js';
import { readLevels } from './levels.js';
import { LIMITS } from '../limits.js';

const W = 96,
  H = 72,
  N = W * H;
const disc = (radius: number): Float32Array =>
  Float32Array.from({ length: N }, (_, i) => (Math.hypot((i % W) - 48, Math.floor(i / W) - 36) < radius ? 1 : 0));
/** The core lies within the performer, as that of a soft matte does. */
const performer = disc(24),
  matte = disc(20);

/**
 * Grey light between two values, evenly spread over places of 6 px: of the performer within the matte, of a set from
 * black on without.
 */
function blackOf(least: number, most: number, veil: number): number {
  const r = new RandomStream(11),
    light = Float32Array.from({ length: N }, () => 0);
  for (let y = 0; y < H; y += 6)
    for (let x = 0; x < W; x += 6) {
      const t = r.uniform();
      for (let v = y; v < y + 6; v++) for (let u = x; u < x + 6; u++) light[v * W + u] = t;
    }
  const picture = (value: (i: number) => number): Picture => {
    const out = createPicture(W, H, 3);
    for (let i = 0; i < N; i++) for (let c = 0; c < 3; c++) out.data[c * N + i] = bt709Encode(value(i));
    return out;
  };
  const set = (i: number): number => 0.005 + 0.5 * light[i]!,
    own = (i: number): number => least + (most - least) * light[i]!,
    join = picture((i) => (performer[i]! > 0 ? own(i) + veil * (1 - own(i)) : set(i))),
    plate = picture(set);
  return readLevels(madeFrame(join, plate, matte))!.black;
}

describe("blacks beside the plate's", () => {
  it('tells a veil over a dark coat and over a brown one', () => {
    for (const veil of [0.1, 0.2, 0.3]) {
      expect(blackOf(0.01, 0.1, veil)).toBeGreaterThan(LIMITS.blackLevel);
      expect(blackOf(0.02, 0.3, veil)).toBeGreaterThan(veil > 0.1 ? LIMITS.blackLevel : 0);
    }
  });

  it('lets a coat with its own blacks be, and a white body lit from all sides', () => {
    expect(blackOf(0.01, 0.3, 0)).toBeLessThan(LIMITS.blackLevel);
    expect(blackOf(0.55, 0.95, 0)).toBe(0);
  });
});
