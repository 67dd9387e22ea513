/** Lamps of the exam's scenes: a key by where it stands beside a line of sight, and a fill by their ratio. */
import { DEG, unit, type Vec3 } from '../demo/scenes/vector.js';
import { daylightXy, linearOfWhite, planckianXy } from '../src/colour/temperature.js';
import type { Lamps } from './exam-sets.js';

/** Linear RGB of a white of a temperature, luminance 1. */
export function whiteOf(kelvin: number): Vec3 {
  const w = linearOfWhite(kelvin >= 4000 ? daylightXy(kelvin) : planckianXy(kelvin));
  const y = 0.2126 * w[0] + 0.7152 * w[1] + 0.0722 * w[2];
  return [w[0] / y, w[1] / y, Math.max(0.02, w[2] / y)];
}

const times = (a: Vec3, k: number): Vec3 => [a[0] * k, a[1] * k, a[2] * k];

/**
 * Towards a key that stands at an azimuth beside a line of sight that heads so many degrees (0 =
 * from behind the camera, positive = from its right).
 */
function keyTowards(headingDeg: number, azimuthDeg: number, elevationDeg: number): Vec3 {
  const a = (headingDeg + 180 - azimuthDeg) * DEG;
  const e = elevationDeg * DEG;
  return [Math.sin(a) * Math.cos(e), Math.sin(e), Math.cos(a) * Math.cos(e)];
}

/** A key and a fill by words. */
export interface LampWords {
  /** Heading of the line of sight, and the key's azimuth and elevation beside it, degrees. */
  readonly heading: number;
  readonly azimuth: number;
  readonly elevation: number;
  readonly kelvin: number;
  readonly softDeg: number;
  readonly far: number;
  /** Light of the key on level ground over the fill's. */
  readonly ratio: number;
  readonly fillKelvin: number;
}

export function lampsFrom(l: LampWords): Lamps {
  const t = unit(keyTowards(l.heading, l.azimuth, l.elevation));
  return {
    towards: t,
    key: whiteOf(l.kelvin),
    softDeg: l.softDeg,
    far: l.far,
    fill: times(whiteOf(l.fillKelvin), t[1] / l.ratio),
  };
}
