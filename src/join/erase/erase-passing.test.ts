/**
 * A post made to pass before a rough wall: what is laid in for the hidden part against the frame that hides nothing.
 */
import { describe, expect, it } from 'vitest';
import { IDENTITY3 } from '../../geometry/mat3.js';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { MosaicSource } from './mosaic-source.js';
import { passing } from './erase-passing.js';
import { missesPieces, piecesBefore } from './passing-pieces.js';

const W = 200,
  H = 150,
  N = W * H;

/** A rough wall, and before it a post at x of its own shade whose edges fall between pixels. */
function scene(post: number | null): Picture {
  const random = new RandomStream(7),
    out = createPicture(W, H, 3);
  for (let i = 0; i < N; i++) {
    const x = (i % W) + 0.5,
      v = 0.55 + 0.03 * random.normal(),
      cover = post === null ? 0 : Math.min(1, Math.max(0, 6.5 - Math.abs(x - post)));
    for (let c = 0; c < 3; c++)
      out.data[c * N + i] = (1 - cover) * v * [1, 0.8, 0.7][c]! + cover * (0.15 + 0.006 * (x - (post ?? 0)));
  }
  return out;
}

function source(frame: number, picture: Picture): MosaicSource {
  return {
    frame,
    toReference: IDENTITY3,
    widthPx: W,
    heightPx: H,
    shows: new Uint8Array(N).fill(100),
    part: () => ({ picture, x0: 0, y0: 0 }),
  };
}

const hidden = new Float32Array(N);
for (let y = 50; y < 100; y++) for (let x = 80; x < 120; x++) hidden[y * W + x] = 1;
const seen = new Float32Array(N).fill(1);

describe('a thing that passes before the set', () => {
  it('is carried through what is erased from a frame in which it stands elsewhere, by several of its own widths', () => {
    const truth = scene(101.4),
      around: Picture = { ...truth, data: truth.data.slice() };
    for (let i = 0; i < N; i++) if (hidden[i]! > 0) for (let c = 0; c < 3; c++) around.data[c * N + i] = 0.9;
    const r = {
      frame: 5,
      around,
      hidden,
      still: scene(null),
      near: scene(null),
      seen,
      toBox: IDENTITY3,
      sources: [source(4, scene(148.1)), source(6, scene(54.7))],
    };
    const pieces = piecesBefore(r),
      got = pieces === null ? null : passing(r, pieces);
    expect(got).not.toBeNull();
    let ours = 0,
      sets = 0,
      count = 0;
    for (let i = 0; i < N; i++) {
      if (!(hidden[i]! > 0)) continue;
      for (let c = 0; c < 3; c++) {
        const o = c * N + i,
          a = got!.cover[i]!;
        ours += (r.still.data[o]! + a * (got!.picture.data[o]! - r.still.data[o]!) - truth.data[o]!) ** 2;
        sets += (r.still.data[o]! - truth.data[o]!) ** 2;
        count++;
      }
    }
    expect(-10 * Math.log10(sets / count)).toBeLessThan(16);
    expect(-10 * Math.log10(ours / count)).toBeGreaterThan(30);
  });

  it('is left to the near frames where these bring it over rightly, and not where they miss it', () => {
    const around = scene(101.4),
      r = {
        frame: 5,
        around,
        hidden,
        still: scene(null),
        seen,
        toBox: IDENTITY3,
        sources: [source(4, scene(148.1)), source(6, scene(54.7))],
      };
    const pieces = piecesBefore(r)!;
    expect(missesPieces(around, scene(101.4), hidden, pieces)).toBe(false);
    expect(missesPieces(around, scene(null), hidden, pieces)).toBe(true);
    expect(passing({ ...r, near: scene(101.4) }, pieces)).toBeNull();
  });

  it('is not invented: nothing where nothing reaches the region, nor where no other frame shows it', () => {
    const still = scene(null),
      r = {
        frame: 5,
        around: scene(30),
        hidden,
        still,
        near: still,
        seen,
        toBox: IDENTITY3,
        sources: [source(4, scene(40)), source(6, scene(20))],
      };
    const away = piecesBefore(r);
    expect(away).not.toBeNull();
    expect(passing(r, away!)).toBeNull();
    const alone = { ...r, around: scene(101.4), sources: [source(4, scene(null)), source(6, scene(null))] },
      pieces = piecesBefore(alone);
    expect(pieces!.visible).not.toBeNull();
    expect(passing(alone, pieces!)).toBeNull();
  });
});
