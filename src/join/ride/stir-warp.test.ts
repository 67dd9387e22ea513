/** The stir that is given is the stir that the plate's own measure reads back; feet and far away stay still. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { measureStir } from '../../plate/stir/stir.js';
import type { PerformerPicture } from '../peel/performer.js';
import { stirPerformer } from './stir-warp.js';

const W = 180,
  H = 220,
  N = W * H,
  FPS = 24;

/** A furry column, textured, 180 px high. */
function body(): PerformerPicture {
  const r = new RandomStream(3);
  const texture = gaussianPlane(
    Float32Array.from({ length: N }, () => r.normal()),
    W,
    H,
    1.6,
  );
  const picture = createPicture(W, H, 4);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x,
        a = Math.min(1, Math.max(0, 0.5 + 60 - Math.hypot((x - 90) / 1, (y - 110) / 1.55))) * (y < 204 ? 1 : 0);
      for (let c = 0; c < 3; c++) picture.data[c * N + i] = a * Math.min(0.9, Math.max(0.05, 0.4 + 0.5 * texture[i]!));
      picture.data[3 * N + i] = a;
    }
  return { picture, box: [0, 0, W, H] };
}

/** Over a textured ground that stands still, as luma planes. */
function shown(p: PerformerPicture): Float32Array {
  const r = new RandomStream(9);
  const ground = gaussianPlane(
    Float32Array.from({ length: 240 * 280 }, () => 0.5 + 1.2 * r.normal()),
    240,
    280,
    1.6,
  );
  const n = p.picture.width * p.picture.height;
  for (let y = 0; y < p.picture.height; y++)
    for (let x = 0; x < p.picture.width; x++) {
      const o = (y + 30 + p.box[1]) * 240 + x + 30 + p.box[0],
        i = y * p.picture.width + x;
      ground[o] = p.picture.data[i]! + (1 - p.picture.data[3 * n + i]!) * ground[o]!;
    }
  return ground;
}

describe('stir given to a still', () => {
  const given = { amplitudePx: 1.6, directionDeg: 0, rateHz: 1.5, seed: 1 };
  it('is read back by the measure of stir: its rate, its direction, no more than its amplitude', async () => {
    const b = body();
    const frames = Array.from({ length: 64 }, (_, k) => shown(stirPerformer(b, given, k / FPS)));
    const m = await measureStir({
      frames,
      widthPx: 240,
      heightPx: 280,
      rate: { num: FPS, den: 1 },
      firstFrame: 0,
      region: [
        [85, 50],
        [155, 50],
        [155, 190],
        [85, 190],
      ],
      bodyHeightPx: 180,
    });
    expect(m.rateHz.value).toBeGreaterThan(1.2);
    expect(m.rateHz.value).toBeLessThan(1.8);
    expect(Math.abs(Math.sin(((m.directionDeg.value ?? 90) * Math.PI) / 180))).toBeLessThan(0.35);
    expect(m.amplitudePx.value).toBeGreaterThan(0.25 * given.amplitudePx);
    expect(m.amplitudePx.value).toBeLessThan(1.1 * given.amplitudePx);
  });

  it('leaves the feet where they stand, keeps alpha whole, and gives the same bytes for a frame made alone', () => {
    const b = body(),
      s = stirPerformer(b, given, 0.31),
      w = s.picture.width,
      pad = -s.box[0],
      n = w * s.picture.height;
    for (let x = 40; x < 140; x++) {
      const o = (199 + pad) * w + x + pad,
        i = 199 * W + x;
      expect(s.picture.data[o]).toBeCloseTo(b.picture.data[i]!, 3);
    }
    let least = 1,
      most = 0,
      moved = 0;
    for (let i = 0; i < n; i++) {
      least = Math.min(least, s.picture.data[3 * n + i]!);
      most = Math.max(most, s.picture.data[3 * n + i]!);
    }
    for (let x = 60; x < 120; x++)
      moved = Math.max(moved, Math.abs(s.picture.data[(60 + pad) * w + x + pad]! - b.picture.data[60 * W + x]!));
    expect([least, most]).toEqual([0, 1]);
    expect(moved).toBeGreaterThan(0.02);
    expect(
      Buffer.from(stirPerformer(body(), given, 0.31).picture.data.slice().buffer).equals(
        Buffer.from(s.picture.data.slice().buffer),
      ),
    ).toBe(true);
    expect(stirPerformer(b, { ...given, amplitudePx: 0 }, 0.31)).toBe(b);
  });
});
