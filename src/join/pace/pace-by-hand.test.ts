/**
 * Paces drawn by hand: points met exactly, speed beyond them, never outside the take; the curve's slopes against the
 * data of Fritsch & Carlson 1980 (from memory) and, for any points, against what two neighbours span.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { cubicCurve, monotoneSlopes } from '../../geometry/cubic-curve.js';
import { curveByHand, madeBetween, pacePointsOf, pointsOfCurve, sayPaceByHand } from './pace-by-hand.js';

const clips = { count: 21, first: 0, last: 60, ownStep: 1 };

describe('slopes without overshoot', () => {
  it('meet the published example where a plain cubic overshoots (Fritsch & Carlson 1980, their RPN 14 data, from memory)', () => {
    // Radiochemical data of their figure: flat, a steep rise, nearly flat.
    const xs = [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20],
      ys = [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.94374, 0.998636, 0.999919, 0.999994],
      at = cubicCurve(xs, ys, monotoneSlopes(xs, ys));
    let before = -Infinity;
    for (let x = 7.99; x <= 20; x += 0.01) {
      expect(at(x)).toBeGreaterThanOrEqual(before - 1e-12);
      expect(at(x)).toBeLessThanOrEqual(0.999994 + 1e-12);
      before = at(x);
    }
    xs.forEach((x, i) => expect(at(x)).toBeCloseTo(ys[i]!, 12));
  });

  it('never leave what two points span, whichever points', () => {
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.integer({ min: 1, max: 30 }), fc.integer({ min: 0, max: 99 })), {
          minLength: 2,
          maxLength: 8,
        }),
        (gaps) => {
          let x = 0;
          const xs = gaps.map(([g]) => (x += g)),
            ys = gaps.map(([, y]) => y),
            at = cubicCurve(xs, ys, monotoneSlopes(xs, ys));
          for (let i = 1; i < xs.length; i++)
            for (let k = 0; k <= 8; k++) {
              const v = at(xs[i - 1]! + ((xs[i]! - xs[i - 1]!) * k) / 8);
              expect(v).toBeGreaterThanOrEqual(Math.min(ys[i - 1]!, ys[i]!) - 1e-9);
              expect(v).toBeLessThanOrEqual(Math.max(ys[i - 1]!, ys[i]!) + 1e-9);
            }
        },
      ),
    );
  });
});

describe('a pace by hand', () => {
  it('goes through its points, at its own speed beyond them and never outside the take', () => {
    const curve = curveByHand(
      [
        { at: 5, take: 10 },
        { at: 15, take: 30 },
      ],
      clips,
    );
    expect(curve[5]).toBe(10);
    expect(curve[15]).toBe(30);
    // Two points: evenly between, 2 take frames a frame; one a frame beyond.
    expect(curve[10]).toBe(20);
    expect([curve[0], curve[4], curve[16], curve[20]]).toEqual([5, 9, 31, 35]);
    expect(curveByHand([{ at: 5, take: 2 }], clips).slice(0, 6)).toEqual([0, 0, 0, 0, 1, 2]);
    expect(curveByHand([{ at: 5, take: 2 }], { ...clips, last: 4 }).slice(6, 10)).toEqual([3, 4, 4, 4]);
  });

  it('says what is drawn between frames, what stands still and what runs backwards', () => {
    const points = [
        { at: 0, take: 0 },
        { at: 10, take: 5 },
        { at: 20, take: 5 },
      ],
      curve = curveByHand(points, clips);
    expect(curve.slice(10).every((v) => v === 5)).toBe(true);
    expect(madeBetween(curve).every((n) => n < 10)).toBe(true);
    expect(sayPaceByHand(points, curve)).toMatch(
      /^paced by hand through 3 points: take frame 0 on frame 0.*stands still over 10 frames$/,
    );
    const back = [
      { at: 0, take: 30 },
      { at: 20, take: 10 },
    ];
    expect(sayPaceByHand(back, curveByHand(back, clips))).toMatch(
      /every frame is one of the take; it runs backwards over 20 frames$/,
    );
  });

  it('refuses what runs backwards unless it may, a frame named twice, no numbers, and frames that are not there', () => {
    const back = [
      { at: 0, take: 30 },
      { at: 20, take: 10 },
    ];
    expect(() => pacePointsOf(back, false)).toThrow(/from frame 0 to 20 of the join the take would run backwards/);
    expect(pacePointsOf(back, true)).toEqual(back);
    // Order of giving does not matter.
    expect(
      pacePointsOf(
        [
          { at: 9, take: 9 },
          { at: 1, take: 1 },
        ],
        false,
      ).map((p) => p.at),
    ).toEqual([1, 9]);
    expect(() =>
      pacePointsOf(
        [
          { at: 3, take: 1 },
          { at: 3, take: 2 },
        ],
        true,
      ),
    ).toThrow(/given twice/);
    expect(() => pacePointsOf([], true)).toThrow(/a point at least/);
    for (const bad of [
      { at: 1.5, take: 1 },
      { at: NaN, take: 1 },
      { at: -1, take: 1 },
      { at: 1, take: NaN },
    ])
      expect(() => pacePointsOf([bad], false)).toThrow(expect.objectContaining({ code: 'PW-JOIN-PACE' }));
    expect(() => curveByHand([{ at: 21, take: 1 }], clips)).toThrow(/the join has frames 0 to 20, and no frame 21/);
    expect(() => curveByHand([{ at: 2, take: 61 }], clips)).toThrow(/the take has frames 0 to 60, and no frame 61/);
  });

  it('hands a curve over as few points that lie on it', () => {
    expect(pointsOfCurve([3, 4, 5, 6], 9)).toEqual([
      { at: 0, take: 3 },
      { at: 3, take: 6 },
    ]);
    expect(pointsOfCurve([7], 9)).toEqual([{ at: 0, take: 7 }]);
    const bent = Array.from({ length: 41 }, (_, n) => 20 + 20 * Math.tanh((n - 20) / 6)),
      points = pointsOfCurve(bent, 9),
      again = curveByHand(points, { count: 41, first: 0, last: 60, ownStep: 1 });
    expect(points.length).toBeLessThanOrEqual(9);
    again.forEach((v, n) => expect(Math.abs(v - bent[n]!)).toBeLessThanOrEqual(0.52));
  });
});
