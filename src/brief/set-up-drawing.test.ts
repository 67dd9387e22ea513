/**
 * The drawing for 200 seeded set-ups: size, letters and borders as asked; lengths and angles measured on it against
 * those put in.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fromAbove, fromTheSide, type DrawnSetUp } from './set-up-drawing.js';
import type { LampPlan, ScreenNeed, SetUp } from './types.js';

const drawn = (distanceM: number, cameraHeightM: number, bearingDeg: number, raiseM = 0): DrawnSetUp => ({
  setUp: { distanceM, cameraHeightM, tiltDeg: -10, raiseM } as SetUp,
  lamp: { bearingDeg, distanceM: 2, heightM: 1.6 } as LampPlan,
  screen: { widthM: 1.7, heightM: 0.6, behindM: 0.8 } as ScreenNeed,
  performerM: 0.49,
});

describe('the set-up drawn to scale', () => {
  it('fits its place with letters of the wanted height, and keeps all points and words inside', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.5, max: 9, noNaN: true }),
        fc.double({ min: 0.05, max: 3, noNaN: true }),
        fc.double({ min: -180, max: 180, noNaN: true }),
        fc.double({ min: 0, max: 1.2, noNaN: true }),
        fc.constantFrom({ width: 290, height: 270, letters: 13.5 }, { width: 200, height: 120, letters: 9 }),
        (distance, height, bearing, raise, size) => {
          const d = drawn(distance, height, bearing, raise);
          for (const g of [fromAbove(d, size), fromTheSide(d, size)]) {
            expect(g.widthM * g.scale).toBeLessThanOrEqual(size.width + 1e-6);
            expect(g.heightM * g.scale).toBeLessThanOrEqual(size.height + 1e-6);
            expect(Math.abs((g.lettersM * g.scale) / size.letters - 1)).toBeLessThan(0.01);
            for (const s of g.shapes) {
              const points =
                s.kind === 'line'
                  ? s.ends
                  : s.kind === 'camera'
                    ? s.corners
                    : ([s.at] as readonly (readonly [number, number])[]);
              for (const [x, y] of points) {
                expect(x).toBeGreaterThanOrEqual(-1e-9);
                expect(x).toBeLessThanOrEqual(g.widthM + 1e-9);
                expect(y).toBeGreaterThanOrEqual(-1e-9);
                expect(y).toBeLessThanOrEqual(g.heightM + 1e-9);
              }
            }
          }
        },
      ),
      { numRuns: 200, seed: 21 },
    );
  });
  it('holds lengths and angles: 2.8 m to the camera, the lamp 50° to camera right', () => {
    const g = fromAbove(drawn(2.8, 0.88, 50), { width: 290, height: 270, letters: 13.5 });
    const length = (role: string): readonly [number, number] => {
      const l = g.shapes.find((s) => s.kind === 'line' && s.role === role);
      const [a, b] = (l as { ends: readonly (readonly [number, number])[] }).ends;
      return [a![0] - b![0], a![1] - b![1]];
    };
    expect(Math.hypot(...length('sight'))).toBeCloseTo(2.8, 9);
    const [right, down] = length('ray');
    expect(Math.hypot(right, down)).toBeCloseTo(2, 9);
    // The camera is below the performer on the page, its right is the page's.
    expect((Math.atan2(right, down) * 180) / Math.PI).toBeCloseTo(50, 9);
  });
});
