import { expect, it } from 'vitest';
import { blendedPlace } from './blended-place.js';
import type { Stand } from './ride.js';
import type { Place } from './travel-stand.js';

const at = (frame: number, x: number): Stand => ({ frame, ground: [x, 0], top: [x, -100] });
const stands = [at(0, 0), at(10, 10), at(20, 20)];
/** A place that is so far aside, which meets the marks that it is given. */
const aside =
  (px: number) =>
  (some: readonly Stand[]): Place =>
  (n) => {
    const hit = some.some((s) => s.frame === n),
      x = n + (hit ? 0 : px);
    return { ground: [x, 0], top: [x, -100] };
  };

it('weighs each by what it misses at marks left out, the set over a gap made twice as wide', () => {
  // Squared misses of 2 · 1 and 2 · 16 / 16 px²: half each, so that a place aside by 1 and by −4 is aside by −1.5.
  expect(blendedPlace(stands, aside(1), aside(-4))!(5).ground[0]).toBeCloseTo(5 - 1.5, 6);
  // The way without a miss: .0025 over 2.0025 + .0025 of the set's 4 px are left.
  expect(blendedPlace(stands, aside(0), aside(4))!(5).ground[0]).toBeCloseTo(5 + (4 * 0.0025) / 2.005, 6);
});

it('goes by the way alone with two marks, and is not had without it', () => {
  expect(blendedPlace(stands.slice(0, 2), aside(1), aside(-4))!(5).ground[0]).toBe(6);
  expect(blendedPlace(stands, () => null, aside(0))).toBeNull();
});
