/**
 * Who carries the performer and turns, as a surface that takes its shadow: a rounded upright body about the axis that
 * the turn was fitted to (turning-stand.ts), as thick as reaches to the performer's back. Seen from the side the
 * performer's shadow then falls beside it on to the body, not on a plane behind it.
 */
import { three } from '../../core/tuples.js';
import { cross, type Vec3 } from '../../geometry/mat3.js';
import { convexHull } from '../../image/outline.js';
import type { GroundGeometry } from './ground-geometry.js';
import type { PlacedReceiver } from './receivers.js';
import type { SolidBall } from './shadow-map.js';
import { facing } from '../body/solid-body.js';

/**
 * A torso's radius is held within this, metres (of own choice, about what people have from slim to stout in a coat).
 */
const SLIM = 0.12,
  STOUT = 0.3;
/**
 * Shoulders and arms reach so much farther to either side than the chest is thick, in radii: people are about half as
 * broad again as deep.
 */
const BROAD = 0.5,
  COLUMNS = [-1, 0, 1] as const;
/** Balls a radius along the axis: their surface is then within a hundredth of a radius of round. */
const BALLS = 4;
/** Its true outline is not known: what turns away by more takes less. */
const FADES = 0.4;
/** How far the body goes under the performer's foot, metres. */
const UNDER = 0.6;

/**
 * @param from the axis from the performer's foot, metres away from the camera and to the picture's left, and the height
 * of the shoulders over that foot
 * @param solid the performer's body; null where the body lies behind the camera
 */
export function carrierRound(
  g: GroundGeometry,
  from: readonly [number, number, number],
  solid: readonly SolidBall[],
): PlacedReceiver | null {
  const ahead = facing(g),
    near: Vec3 = [-ahead[0], -ahead[1], -ahead[2]],
    left = cross(near, g.up);
  let deepest = 0;
  for (const b of solid) deepest = Math.max(deepest, b.radius);
  // The carrier's chest begins where the performer's back ends.
  const radius = Math.min(STOUT, Math.max(SLIM, Math.hypot(from[0], from[1]) - 0.55 * deepest));
  const at = (height: number, away: number, aside: number): Vec3 =>
    three((k) => g.foot[k]! + (from[0] + away) * ahead[k]! + (from[1] + aside) * left[k]! + height * g.up[k]!);
  // The performer is before the chest: shoulders and arms lie across the way to it.
  const reach = Math.hypot(from[0], from[1]),
    across: readonly [number, number] =
      reach > 0 ? [(BROAD * radius * from[1]) / reach, (-BROAD * radius * from[0]) / reach] : [0, 0];
  const low = -UNDER,
    high = from[2],
    count = Math.ceil((BALLS * (high - low)) / radius),
    surface: SolidBall[] = [];
  for (const side of COLUMNS)
    for (let i = 0; i <= count; i++)
      surface.push({ centre: at(low + ((high - low) * i) / count, side * across[0], side * across[1]), radius });
  if (surface.some((b) => b.centre[2] < 2 * radius)) return null;
  const see = (p: Vec3): readonly [number, number] => [
    g.principal[0] + (g.focalPx * p[0]) / p[2],
    g.principal[1] + (g.focalPx * p[1]) / p[2],
  ];
  const polygon = convexHull(
    [high, low].flatMap((h) =>
      COLUMNS.flatMap((side) => [radius, -radius].map((r) => see(at(h, side * across[0], side * across[1] + r)))),
    ),
  );
  const half = Math.hypot(...across),
    level = (away: number, aside: number): Vec3 => three((k) => away * ahead[k]! + aside * left[k]!),
    torso = {
      up: g.up,
      middle: at(0, 0, 0),
      across: half > 0 ? level(across[0] / half, across[1] / half) : level(0, 1),
      half,
      high,
    };
  // A performer that sits on the shoulder throws its shadow on their round top, which has no level normal.
  const held = high > radius;
  return { number: 0, polygon, surface, fadesFrom: FADES, ...(held ? { torso } : {}) };
}
