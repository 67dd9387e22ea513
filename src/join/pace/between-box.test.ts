/** The kernels that bring the performer onto a box and off it held to their plain twins, and pairs that are kept. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { kernels } from '../../image/kernels.js';
import { createPicture } from '../../image/picture.js';
import { heldCells, heldCellsPlain, offBox, offBoxPlain, ontoBox, ontoBoxPlain } from './between-box.js';
import { performersBetween } from './paced-performer.js';
import type { PerformerPicture } from '../peel/performer.js';

const same = (a: ArrayLike<number>, b: ArrayLike<number>): void => expect(Array.from(a)).toEqual(Array.from(b));
const few = { numRuns: 15, seed: 4 };
const size = fc.record({
  w: fc.integer({ min: 1, max: 60 }),
  h: fc.integer({ min: 1, max: 50 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
});

/** Blobs of texture with soft outlines, a corner at (x0, y0). */
function performer(w: number, h: number, seed: number, x0 = 5, y0 = 7): PerformerPicture {
  const r = new RandomStream(seed),
    picture = createPicture(w, h, 4),
    n = w * h,
    cx = w * (0.3 + 0.4 * r.uniform()),
    cy = h * (0.3 + 0.4 * r.uniform());
  for (let i = 0; i < n; i++) {
    const a = Math.min(
      1,
      Math.max(0, 3 - Math.hypot(((i % w) - cx) / (0.12 * w), (Math.floor(i / w) - cy) / (0.12 * h))),
    );
    for (let c = 0; c < 3; c++)
      picture.data[c * n + i] = a * (0.4 + 0.3 * Math.sin((i % w) / 3 + c) + 0.1 * r.uniform());
    picture.data[3 * n + i] = a;
  }
  return { picture, box: [x0, y0, x0 + w, y0 + h] };
}

/** Drawn by a pair made for this picture alone. */
function anew(a: PerformerPicture, b: PerformerPicture, t: number): PerformerPicture {
  const between = performersBetween(),
    made = between(a, b, t) as PerformerPicture;
  between.close!();
  return made;
}

describe('the performer on a box and off it', () => {
  it('as the plain twins, to the last bit', () => {
    fc.assert(
      fc.property(size, fc.integer({ min: 0, max: 3 }), ({ w, h, seed }, shift) => {
        const p = performer(w, h, seed),
          box = [1, 2, w + 14, h + 11] as const,
          scope = kernels().scope();
        try {
          const a = ontoBox(p, box, scope),
            b = ontoBoxPlain(p, box);
          same(a.data, b.data);
          same(a.luma, b.luma);
          const gw = (a.width + (1 << shift) - 1) >> shift,
            gh = (a.height + (1 << shift) - 1) >> shift;
          same(heldCells([a], shift, gw, gh), heldCellsPlain([b], shift, gw, gh));
          // One cell fewer: what is beyond counts for the last.
          if (gw > 1 && gh > 1) same(heldCells([a], shift, gw - 1, gh - 1), heldCellsPlain([b], shift, gw - 1, gh - 1));
          const off = offBox(a, box),
            plain = offBoxPlain(b, box);
          expect(off.box).toEqual(plain.box);
          same(off.picture.data, plain.picture.data);
        } finally {
          scope.close();
        }
      }),
      few,
    );
  });

  it('nothing on the box is nothing off it', () => {
    const empty = { width: 9, height: 6, data: new Float32Array(4 * 54) };
    expect(offBox(empty, [0, 0, 9, 6]).box).toEqual([0, 0, 0, 0]);
  });

  it('a pair that is kept draws what one made anew does, and is given back', () => {
    const a = performer(60, 50, 1),
      b = performer(60, 50, 1, 8, 6),
      c = performer(60, 50, 1, 10, 6),
      kept = performersBetween(),
      empty = { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0] as const };
    for (const [p, q, t] of [
      [a, b, 0.25],
      [a, b, 0.5],
      [b, c, 0.4],
      [a, b, 0.5],
      [a, empty, 0.5],
    ] as const) {
      const got = kept(p, q, t) as PerformerPicture,
        want = anew(p, q, t);
      expect(got.box).toEqual(want.box);
      same(got.picture.data, want.picture.data);
    }
    kept.close!();
    const again = kept(a, b, 0.5) as PerformerPicture;
    same(again.picture.data, anew(a, b, 0.5).picture.data);
    kept.close!();
  });
});
