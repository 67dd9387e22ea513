/**
 * A mouth moved and relit by the test, patched back: against the picture it was taken from, and untouched outside;
 * outlines' similarity by hand.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { apply } from '../../geometry/mat3.js';
import { similarityBetween } from '../../geometry/similarity.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { warpHomography } from '../../image/warp.js';
import { patchRegion } from './patch.js';
import { patchRegionOf, proposePatch } from './patch-take.js';

const W = 160,
  H = 120;

function skin(): Picture {
  const p = createPicture(W, H, 3);
  const random = new RandomStream(21);
  for (let c = 0; c < 3; c++) {
    const fine = gaussianPlane(
      new Float32Array(W * H).map(() => random.normal()),
      W,
      H,
      1.6,
    );
    plane(p, c).set(fine.map((v) => 0.45 + 0.3 * v));
  }
  return p;
}

const circle = (cx: number, cy: number, r: number): [number, number][] =>
  Array.from({ length: 24 }, (_, i) => [cx + r * Math.cos((i * Math.PI) / 12), cy + r * Math.sin((i * Math.PI) / 12)]);

describe('patch', () => {
  // The mouth: a red spot that only the source has. The source sits elsewhere and stands in a brighter, warmer light.
  const target = skin();
  const withMouth: Picture = { ...target, data: target.data.slice() };
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      if (Math.hypot(x - 80, y - 60) < 9) {
        plane(withMouth, 0)[y * W + x] = 0.7;
        plane(withMouth, 1)[y * W + x] = 0.15;
        plane(withMouth, 2)[y * W + x] = 0.15;
      }
  const source = warpHomography(withMouth, [1, 0, 6.4, 0, 1, -3.7, 0, 0, 1], W, H, {
    filter: 'lanczos3',
    boundary: 'clamp',
  });
  const light = [1.25, 1.12, 1.02];
  for (let c = 0; c < 3; c++) {
    const p = plane(source, c);
    for (let i = 0; i < p.length; i++) p[i] = p[i]! * light[c]!;
  }

  // The source's outline is a pixel and a half off, as one drawn by hand.
  const got = patchRegion(target, source, circle(80, 60, 26), circle(87.6, 57.1, 26), { chromaShift: [0, 0] })!;

  it("brings the other's part in this one's light, to the place that the surroundings ask for", () => {
    const [x0, y0] = got.box,
      w = got.coded.width;
    let e = 0,
      n = 0;
    for (let y = 36; y < 84; y++)
      for (let x = 56; x < 104; x++) {
        if (Math.hypot(x - 80, y - 60) > 24) continue;
        for (let c = 0; c < 3; c++) {
          e += (plane(got.coded, c)[(y - y0) * w + x - x0]! - plane(withMouth, c)[y * W + x]!) ** 2;
          n++;
        }
      }
    expect(-10 * Math.log10(e / n)).toBeGreaterThan(30);
    const at = apply(got.matrix, 86.4, 56.3);
    expect(Math.hypot(at[0] - 80, at[1] - 60)).toBeLessThan(0.3);
    // The mouth is there and red.
    const i = (60 - y0) * w + 80 - x0;
    expect(plane(got.coded, 0)[i]! - plane(got.coded, 1)[i]!).toBeGreaterThan(0.4);
  });

  it('leaves what lies outside the outline as it was', () => {
    const [x0, y0, x1, y1] = got.box;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) {
        if (Math.hypot(x + 0.5 - 80, y + 0.5 - 60) < 27) continue;
        expect(got.cover[(y - y0) * (x1 - x0) + x - x0]).toBe(0);
        expect(plane(got.coded, 1)[(y - y0) * (x1 - x0) + x - x0]).toBe(plane(target, 1)[y * W + x]);
      }
  });

  it('is nothing where the outline lies outside the picture', () => {
    expect(patchRegion(target, source, circle(-200, 60, 20), circle(80, 60, 20))).toBeNull();
  });

  it('finds the similarity between outlines, with as many corners or not', () => {
    const m = similarityBetween(
      [
        [0, 0],
        [10, 0],
        [10, 10],
        [0, 10],
      ],
      [
        [5, 5],
        [5, 25],
        [-15, 25],
        [-15, 5],
      ],
    );
    const p = apply(m, 10, 0);
    expect(p[0]).toBeCloseTo(5, 9);
    expect(p[1]).toBeCloseTo(25, 9);
    const q = apply(
      similarityBetween(
        circle(10, 10, 5),
        circle(40, 20, 10).filter((_, i) => i % 2 === 0),
      ),
      15,
      10,
    );
    expect(q[0]).toBeCloseTo(50, 6);
    expect(q[1]).toBeCloseTo(20, 6);
  });

  it('proposes from patch marks before head marks, and says what is missing', () => {
    const head = {
      kind: 'head' as const,
      frame: 2,
      ellipse: [50, 40, 20, 16, 0] as [number, number, number, number, number],
    };
    const drawn = { kind: 'patch' as const, polygon: circle(10, 10, 4) };
    expect(patchRegionOf({ frame: 3, marks: [head, drawn] })).toEqual({
      frames: [{ frame: 3, polygon: drawn.polygon }],
    });
    const round = patchRegionOf({ frame: 0, marks: [head] })!;
    expect(round.frames[0]!.frame).toBe(2);
    expect(Math.max(...round.frames[0]!.polygon.map((p) => p[0]))).toBeCloseTo(75, 6);
    expect(proposePatch('b.mp4', { frame: 0, marks: [head] }, { frame: 0, marks: [head] }).on).toBe(true);
    const without = proposePatch('b.mp4', { frame: 0, marks: [head] }, { frame: 0, marks: [] });
    expect(without.on).toBe(false);
    expect(without.why).toMatch(/patch mark/);
  });
});
