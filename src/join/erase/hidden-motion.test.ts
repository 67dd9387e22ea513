/** A textured post and wall moved by known pixels: the motion found behind what is hidden against theirs. */
import { expect, test } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { hiddenMotion } from './hidden-motion.js';
import { fieldAt } from './field-cells.js';

const W = 200,
  H = 140;

/** A wall of texture and a narrow post of other texture before it, moved by `wall` and `post` px to the right. */
function scene(wall: number, post: number): Float32Array {
  const texture = (seed: number, w: number): Float32Array => {
    const r = new RandomStream(seed, 5),
      p = new Float32Array(w * H);
    for (let i = 0; i < p.length; i++) p[i] = r.uniform();
    const s = gaussianPlane(p, w, H, 1.6);
    for (let i = 0; i < s.length; i++) s[i] = 0.5 + 2.2 * (s[i]! - 0.5);
    return s;
  };
  const a = texture(1, 400),
    b = texture(2, 30),
    out = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const u = x - 90 - post,
        at = (p: Float32Array, w: number, q: number): number => {
          const q0 = Math.floor(q),
            f = q - q0;
          return p[y * w + q0]! * (1 - f) + p[y * w + q0 + 1]! * f;
        };
      out[y * W + x] = u >= 0 && u < 28 ? 0.6 * at(b, 30, u) : at(a, 400, x + 100 - wall);
    }
  return out;
}

test('a post before a wall goes at its own pace where the frame hides it', () => {
  const open = new Float32Array(W * H).fill(1),
    hides = open.slice();
  for (let y = 45; y < 100; y++) for (let x = 60; x < 140; x++) hides[y * W + x] = 0;
  // The frame, the source a moment later, the helper as much later again.
  const found = hiddenMotion(
    { luma: scene(1, 5), open },
    { luma: scene(2.1, 10.5), open },
    { luma: scene(0, 0), open: hides },
    W,
    H,
    20,
  );
  expect(found).not.toBeNull();
  const d = new Float64Array(2);
  const shifts = (x0: number, x1: number): number[] => {
    const out: number[] = [];
    for (let y = 55; y < 90; y++)
      for (let x = x0; x < x1; x++) {
        fieldAt(found!.field, x + 0.5, y + 0.5, d);
        out.push(d[0]!);
      }
    return out.sort((a, b) => a - b);
  };
  const middle = (v: number[]): number => v[v.length >> 1]!;
  expect(middle(shifts(98, 110))).toBeCloseTo(5, 0);
  expect(Math.abs(middle(shifts(98, 110)) - 5)).toBeLessThan(0.4);
  expect(Math.abs(middle(shifts(66, 82)) - 1)).toBeLessThan(0.4);
  expect(Math.abs(middle(shifts(124, 136)) - 1)).toBeLessThan(0.4);
});

test('a flat set needs no helper', () => {
  const open = new Float32Array(W * H).fill(1),
    hides = open.slice();
  for (let y = 45; y < 100; y++) for (let x = 60; x < 140; x++) hides[y * W + x] = 0;
  expect(
    hiddenMotion(
      { luma: scene(1, 1), open },
      { luma: scene(2, 2), open },
      { luma: scene(0, 0), open: hides },
      W,
      H,
      20,
    ),
  ).toBeNull();
});
