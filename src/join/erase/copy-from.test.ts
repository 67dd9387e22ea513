/** A made set with movers, hidden parts and marks at known places: what may be copied, by points. */
import { describe, expect, it } from 'vitest';
import { IDENTITY3 } from '../../geometry/mat3.js';
import { createPicture } from '../../image/picture.js';
import { parseMarks } from '../../plate/marks/marks.js';
import { mayCopy } from './copy-from.js';
import type { Mosaic } from './erase-mosaic.js';
import type { MosaicSource } from './mosaic-source.js';
import { apartOf } from './propose-erase.js';
import type { SetMovers } from './set-movers.js';

const W = 60,
  H = 40,
  N = W * H;
const mosaic: Mosaic = {
  picture: createPicture(W, H, 3),
  count: new Float32Array(N).fill(4),
  spread: new Float32Array(N),
  fromReference: IDENTITY3,
  width: W,
  height: H,
};
const sources: MosaicSource[] = [0, 1, 2, 3].map((frame) => ({
  frame,
  toReference: IDENTITY3,
  widthPx: W,
  heightPx: H,
  shows: new Uint8Array(N).fill(250),
  part: () => ({ picture: createPicture(W, H, 3), x0: 0, y0: 0 }),
}));
const at = (m: Uint8Array, x: number, y: number): number => m[y * W + x]!;

describe('what may be copied into what no frame shows', () => {
  it('is everything where nothing moves and nothing is marked', () => {
    expect(mayCopy(mosaic, sources, null, []).every((v) => v === 1)).toBe(true);
  });

  it('leaves out who stirs in one place, not the set that a walker crosses', () => {
    const movers: SetMovers = {
      maskOf: (n) =>
        Uint8Array.from({ length: N }, (_, i) => {
          const x = i % W;
          return (x >= 5 && x < 15) || (x >= 20 + 10 * n && x < 28 + 10 * n) ? 1 : 0;
        }),
    };
    const out = mayCopy(mosaic, sources, movers, []);
    expect(at(out, 10, 20)).toBe(0);
    for (const x of [24, 34, 44]) expect(at(out, x, 20)).toBe(1);
  });

  it('keeps the set along the rim of what is erased, which moves too', () => {
    const hides = sources.map((s) => ({
      ...s,
      shows: Uint8Array.from({ length: N }, (_, i) => (i % W >= 20 && i % W < 30 ? 0 : 250)),
    }));
    const movers: SetMovers = {
      maskOf: () => Uint8Array.from({ length: N }, (_, i) => (i % W >= 19 && i % W < 31 ? 1 : 0)),
    };
    expect(at(mayCopy(mosaic, hides, movers, []), 31, 20)).toBe(1);
    expect(at(mayCopy(mosaic, hides, movers, []), 30, 20)).toBe(1);
  });

  it('leaves out what is marked in front, uprights and heads', () => {
    const marks = parseMarks(
      JSON.stringify({
        frame: 0,
        marks: [
          {
            kind: 'front',
            polygon: [
              [2, 2],
              [12, 2],
              [12, 38],
              [2, 38],
            ],
          },
          { kind: 'upright', foot: [30, 38], top: [30, 8] },
          { kind: 'head', ellipse: [50, 10, 4, 5, 0] },
        ],
      }),
      'm.json',
    );
    const out = mayCopy(
      mosaic,
      sources,
      null,
      apartOf(marks).map((r) => () => r.frames[0]!.polygon as [number, number][]),
    );
    for (const [x, y, v] of [
      [7, 20, 0],
      [30, 20, 0],
      [50, 10, 0],
      [18, 20, 1],
      [50, 30, 1],
    ] as const)
      expect(at(out, x, y), `${x}, ${y}`).toBe(v);
  });
});
