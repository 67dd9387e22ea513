/**
 * Correlated colour temperature (kelvin) and tint (Duv, distance from the Planckian locus in CIE 1960 uv, positive =
 * green). Duv and its sign: Y. Ohno, "Practical use and calculation of CCT and Duv",
 * LEUKOS 10, 2014; where he finds the nearest point of a tabled locus by triangle and parabola, we search the analytic
 * locus of M. Krystek, "An algorithm to calculate correlated colour temperature", Color Research & Application 10, 1985
 * (constants from memory, held by tests against Illuminant A and the daylight illuminants).
 */
import { PlatewrightError } from '../core/errors.js';
import { apply3, PRIMARIES, rgbToXyz, xyzToXy, xyToXyz, xyzToRgb, type Chromaticity } from './matrices.js';

/** Ends of the locus that the fit covers, kelvin. */
const LOCUS_LOW = 1000;
const LOCUS_HIGH = 15000;

/**
 * Planckian locus in CIE 1960 (u, v), 1000 K to 15 000 K; Krystek's rational fit, within 8e-5 in u and 9e-5 in v by its
 * author.
 */
function planckianUv(kelvin: number): [number, number] {
  if (!(kelvin >= LOCUS_LOW && kelvin <= LOCUS_HIGH)) {
    throw new PlatewrightError(
      'PW-COLOUR-KELVIN',
      `the locus is known from ${LOCUS_LOW} K to ${LOCUS_HIGH} K, but ${kelvin} K was asked`,
      { kind: 'usage' },
    );
  }
  const t = kelvin;
  return [
    (0.860117757 + (1.54118254e-4 + 1.28641212e-7 * t) * t) / (1 + (8.42420235e-4 + 7.08145163e-7 * t) * t),
    (0.317398726 + (4.22806245e-5 + 4.20481691e-8 * t) * t) / (1 + (-2.89741816e-5 + 1.61456053e-7 * t) * t),
  ];
}

/** Chromaticity (x, y) of the Planckian locus, 1000 K to 15 000 K. */
export function planckianXy(kelvin: number): [number, number] {
  const [u, v] = planckianUv(kelvin);
  const d = 2 * u - 8 * v + 4;
  return [(3 * u) / d, (2 * v) / d];
}

/** Daylight locus of CIE 15:2004, 4000 K to 25 000 K. Throws `PW-COLOUR-KELVIN` outside it. */
export function daylightXy(kelvin: number): [number, number] {
  if (!(kelvin >= 4000 && kelvin <= 25000)) {
    throw new PlatewrightError(
      'PW-COLOUR-KELVIN',
      `the daylight locus is defined from 4000 K to 25000 K, but ${kelvin} K was asked`,
      { kind: 'usage' },
    );
  }
  const t = 1000 / kelvin;
  const x =
    kelvin <= 7000
      ? ((-4.607 * t + 2.9678) * t + 0.09911) * t + 0.244063
      : ((-2.0064 * t + 1.9018) * t + 0.24748) * t + 0.23704;
  return [x, (-3 * x + 2.87) * x - 0.275];
}

/** CIE 1960 (u, v). */
function xyToUv(x: number, y: number): [number, number] {
  const d = -2 * x + 12 * y + 3;
  return [(4 * x) / d, (6 * y) / d];
}

/**
 * CCT and Duv of a chromaticity: the nearest point of the locus in uv, the definition that Ohno's table method
 * approaches. Kelvin is cut at the locus' ends, 1000 and 15 000.
 */
export function cctOhno(x: number, y: number): { kelvin: number; duv: number } {
  const [u, v] = xyToUv(x, y);
  const distance = (mired: number): number => {
    const q = planckianUv(Math.min(LOCUS_HIGH, Math.max(LOCUS_LOW, 1e6 / mired)));
    return Math.hypot(u - q[0], v - q[1]);
  };
  // Distance along the locus is nearly even in mired: coarse scan, then golden section.
  const lo = 1e6 / LOCUS_HIGH;
  const hi = 1e6 / LOCUS_LOW;
  const step = (hi - lo) / 200;
  let best = lo;
  let least = Infinity;
  for (let i = 0; i <= 200; i++) {
    const d = distance(lo + step * i);
    if (d < least) {
      least = d;
      best = lo + step * i;
    }
  }
  let a = Math.max(lo, best - step);
  let b = Math.min(hi, best + step);
  const golden = (Math.sqrt(5) - 1) / 2;
  for (let i = 0; i < 60; i++) {
    const c = b - golden * (b - a);
    const d = a + golden * (b - a);
    if (distance(c) < distance(d)) b = d;
    else a = c;
  }
  const mired = 0.5 * (a + b);
  const on = planckianUv(Math.min(LOCUS_HIGH, Math.max(LOCUS_LOW, 1e6 / mired)));
  return { kelvin: 1e6 / mired, duv: distance(mired) * (v >= on[1] ? 1 : -1) };
}

/**
 * CCT and Duv of a scene-linear BT.709 colour (a grey card's, say): the colour of the light that falls on it. Null for
 * black.
 */
export function cctOfLinear(r: number, g: number, b: number): { kelvin: number; duv: number } | null {
  if (!(r + g + b > 0)) return null;
  const xyz = apply3(rgbToXyz(PRIMARIES.bt709), r, g, b);
  const xy = xyzToXy(xyz[0], xyz[1], xyz[2]);
  return cctOhno(xy[0], xy[1]);
}

/** Scene-linear BT.709 colour (luminance 1) of a grey under light of the given chromaticity. */
export function linearOfWhite(xy: Chromaticity): [number, number, number] {
  const w = xyToXyz(xy);
  return apply3(xyzToRgb(PRIMARIES.bt709), w[0], w[1], w[2]);
}
