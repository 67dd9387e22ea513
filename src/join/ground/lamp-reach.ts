/**
 * What a lamp that stands near gives to level ground at one place beside another: as the square of its distance and the
 * cosine at which it meets the ground (Lambert's law; the photometric distance law, CIE S 017, 17-25-051, from memory).
 * The rest of the light is taken to be alike in both places, so a shadow farther from the lamp is lighter.
 */
import { mapTuple } from '../../core/tuples.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { NearLamp } from './near-lamp.js';
import type { ThinShadow } from './thin-shadow.js';

/** A lamp is no point, and a room throws its light back: farther apart than this nothing is believed (own choice). */
const MOST = 3;

const distance = (a: Vec3, b: Vec3): number => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);

/** How many times as much light of the lamp falls on level ground at `to` as at `from`. */
export function timesAsBright(lamp: NearLamp, from: Vec3, to: Vec3): number {
  const r = (distance(lamp.at, from) / Math.max(1e-3, distance(lamp.at, to))) ** 3;
  return Math.min(MOST, Math.max(1 / MOST, r));
}

/** Light missing in a shadow as a share, where the key gives so many times as much. */
export const missingAt = (share: number, times: number): number =>
  share <= 0 || share >= 1 ? share : (share * times) / (1 - share + share * times);

/** The same of all that a post's shadow tells. */
export function thinAt(t: ThinShadow, times: number): ThinShadow {
  const of = (m: Vec3): Vec3 => mapTuple(m, (v) => missingAt(v, times));
  return {
    ...t,
    missing: of(t.missing),
    peak: t.peak === null ? null : { ...t.peak, missing: of(t.peak.missing) },
  };
}
