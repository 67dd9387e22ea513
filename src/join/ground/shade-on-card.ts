/**
 * Whether a performer on the ground may stand in a shadow of the plate's own. What throws a shadow over the ground
 * where the performer's own would fall stands between that ground and the key, and so mostly between the performer and
 * the key: the points of an upright card at the stand are carried along the key's ray to the ground, and the plate is
 * looked at there (own-shadow.ts). A hint only: what stands nearer than the performer may shade the ground behind it
 * alone, and a dark thing may look like a shadow.
 */
import { three } from '../../core/tuples.js';
import { cross, dot } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import type { GroundGeometry } from './ground-geometry.js';
import { ownShadowAt, softened, type OwnShadow } from './own-shadow.js';
import { facing } from '../body/solid-body.js';

/** Rows and columns of the card, and half its width in heights: a body as broad as half its height. */
const ROWS = 10,
  COLUMNS = 5,
  HALF = 0.25;
/** Fewer of the card's points than this share seen in the picture tell nothing. */
const LEAST_SEEN = 0.6;

/**
 * Share of a card's points in shadow, `height` tall in the geometry's lengths; null where too little of its ground is
 * in the picture or the key stands too low.
 */
export function shadeOnCard(
  plate: Picture,
  own: OwnShadow,
  radius: number,
  g: GroundGeometry,
  height: number,
): number | null {
  const lift = dot(g.light, g.up);
  if (lift < 0.05) return null;
  const soft = softened(plate, radius),
    aside = cross(g.up, facing(g));
  let seen = 0,
    shaded = 0;
  for (let r = 0; r < ROWS; r++) {
    const up = ((r + 0.5) / ROWS) * height,
      k = up / lift;
    for (let c = 0; c < COLUMNS; c++) {
      const a = HALF * height * ((2 * (c + 0.5)) / COLUMNS - 1);
      const q = three((i) => g.foot[i]! + a * aside[i]! + up * g.up[i]! - k * g.light[i]!);
      if (!(q[2] > 0.01)) continue;
      const x = Math.floor(g.principal[0] + (g.focalPx * q[0]) / q[2]),
        y = Math.floor(g.principal[1] + (g.focalPx * q[1]) / q[2]);
      if (x < 0 || y < 0 || x >= plate.width || y >= plate.height) continue;
      seen++;
      if (ownShadowAt(own, soft, y * plate.width + x) > 0.5) shaded++;
    }
  }
  return seen < LEAST_SEEN * ROWS * COLUMNS ? null : shaded / seen;
}
