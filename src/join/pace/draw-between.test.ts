/** The drawing by motions of a coarser grid: held against the plain way at full size, a known motion, and emptiness. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { blurPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { drawBetween } from './draw-between.js';
import { interleave } from '../render/interleaved.js';
import { PairMotion, type Proposal } from './inbetween.js';
import { performersBetween } from './paced-performer.js';
import type { PerformerPicture } from '../peel/performer.js';

const W = 96,
  H = 72,
  N = W * H;

/** A soft-edged textured disc, premultiplied RGBA, its centre at (x, 36). */
function disc(x: number): PerformerPicture {
  const r = new RandomStream(5);
  const coat = blurPlane(
    Float32Array.from({ length: 64 * 64 }, () => r.normal()),
    64,
    64,
    1.5,
  );
  const p = createPicture(W, H, 4);
  for (let j = 0; j < H; j++)
    for (let i = 0; i < W; i++) {
      const a = Math.min(1, Math.max(0, (24 - Math.hypot(i + 0.5 - x, j + 0.5 - 36)) / 3));
      const u = Math.min(62.99, Math.max(0, i + 32 - x)),
        v = Math.min(63, Math.max(0, j - 4)),
        k = Math.floor(u);
      const c = 0.3 * (1 + coat[v * 64 + k]! * (1 - u + k) + coat[v * 64 + k + 1]! * (u - k));
      for (let q = 0; q < 3; q++) p.data[q * N + j * W + i] = a * c * (1 - 0.2 * q);
      p.data[3 * N + j * W + i] = a;
    }
  return { picture: p, box: [0, 0, W, H] };
}

function rms(a: ArrayLike<number>, b: ArrayLike<number>): number {
  let s = 0;
  for (let i = 0; i < a.length; i++) s += (a[i]! - b[i]!) ** 2;
  return Math.sqrt(s / a.length);
}

describe('drawing between two pictures', () => {
  it('does at full size what the plain way does', () => {
    const a = disc(42),
      b = disc(47),
      luma = (p: PerformerPicture): Float32Array =>
        p.picture.data.slice(N, 2 * N).map((v, i) => 0.5 + v - 0.3 * p.picture.data[3 * N + i]!);
    const motion = new PairMotion(luma(a), luma(b), W, H);
    const plain = interleave(motion.picture(a.picture, b.picture, 0.4)).data.map((v, i) =>
      Math.max(0, i % 4 === 3 ? Math.min(1, v) : v),
    );
    const drawn = drawBetween(
      interleave(a.picture),
      interleave(b.picture),
      motion.proposals(0.4),
      new Uint8Array(N).fill(1),
      0,
      0.4,
    );
    motion.close();
    // Proposals within a tenth of a pixel are drawn as one: that is all they differ by.
    expect(rms(drawn.data, plain)).toBeLessThan(0.001);
    expect(rms(drawn.data, interleave(a.picture).data)).toBeGreaterThan(0.01);
  });

  it('moves by a coarse field and leaves empty what cannot be reached', () => {
    const a = interleave(disc(42).picture),
      b = interleave(disc(46).picture);
    const cells = (W / 4) * (H / 4),
      plane = (v: number): Float32Array => new Float32Array(cells).fill(v);
    const one: Proposal = { width: W / 4, height: H / 4, u: plane(1), v: plane(0), w0: plane(50), w1: plane(50) };
    const got = drawBetween(a, b, [one], new Uint8Array(cells).fill(1), 2, 0.5);
    // The plain mix keeps 6 parts in 10006 of the weight.
    expect(rms(got.data, interleave(disc(44).picture).data)).toBeLessThan(0.002);
    expect(drawBetween(a, b, [one], new Uint8Array(cells), 2, 0.5).data.every((v) => v === 0)).toBe(true);
  });

  it('a performer between two frames comes nearer to the truth than their mix, on its own box', () => {
    const between = performersBetween(),
      made = between(disc(42), disc(48), 0.5) as PerformerPicture;
    between.close!();
    const out = createPicture(W, H, 4),
      { picture: p, box } = made;
    for (let c = 0; c < 4; c++)
      for (let y = 0; y < p.height; y++)
        for (let x = 0; x < p.width; x++) {
          const X = x + box[0],
            Y = y + box[1];
          if (X >= 0 && Y >= 0 && X < W && Y < H)
            out.data[c * N + Y * W + X] = p.data[(c * p.height + y) * p.width + x]!;
        }
    const truth = disc(45).picture.data,
      late = disc(48).picture.data,
      mix = disc(42).picture.data.map((v, i) => 0.5 * (v + late[i]!));
    expect(rms(out.data, truth)).toBeLessThan(0.25 * rms(mix, truth));
  });
});
