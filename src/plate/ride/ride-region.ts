/** Which regions can be followed by a ride, said before anything is measured. */
import { PlatewrightError } from '../../core/errors.js';
import type { Point2 } from '../../geometry/mat3.js';

/** Refuses regions that cannot be followed; see `buildTemplate`. The error is `PW-RIDE-REGION`. */
export function checkRegion(polygon: readonly Point2[], widthPx: number, heightPx: number): void {
  if (polygon.length < 3) {
    throw new PlatewrightError(
      'PW-RIDE-REGION',
      `a region needs at least three corners, but got ${polygon.length}; write it as "x,y x,y x,y x,y"`,
      { kind: 'usage' },
    );
  }
  if (polygon.some((p) => !Number.isFinite(p[0]) || !Number.isFinite(p[1]))) {
    throw new PlatewrightError(
      'PW-RIDE-REGION',
      'a corner of the region is not a number; write it as "x,y x,y x,y x,y"',
      { kind: 'usage' },
    );
  }
  let area = 0;
  for (let i = 0; i < polygon.length; i++) {
    const [ax, ay] = polygon[i]!;
    const [bx, by] = polygon[(i + 1) % polygon.length]!;
    area += ax * by - bx * ay;
  }
  if (Math.abs(area) / 2 < 60)
    throw new PlatewrightError(
      'PW-RIDE-REGION',
      `the region covers ${(Math.abs(area) / 2).toFixed(0)} square pixels; it needs at least 60 to be followed`,
      { kind: 'usage' },
    );
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  if (Math.max(...xs) <= 0 || Math.max(...ys) <= 0 || Math.min(...xs) >= widthPx || Math.min(...ys) >= heightPx) {
    throw new PlatewrightError(
      'PW-RIDE-REGION',
      `the region lies outside the ${widthPx} × ${heightPx} picture; pixels count from the top left corner`,
    );
  }
}
