/**
 * Brightness, colour and black of the performer beside the take through the recipe: the recipe rendered again says how bright this coat, in this
 * take, under this light step should come out, which the plate alone can't tell of a coat that nobody knows. Means over the covered
 * core of both, in linear light, so that another pose or a slip of a pixel hardly counts. Where the picture is the recipe's own, the
 * straight line of seen over asked also tells a veil: light that was added to black.
 */
import { bt709Decode } from '../colour/transfer.js';
import type { Expected } from './against-take.js';
import type { SeenFrame } from './frame.js';

export interface LightBeside {
  /** Brighter than asked, stops of luminance. */
  readonly stops: number;
  /** Red and blue over green beside what is asked, stops. */
  readonly red: number;
  readonly blue: number;
  /** Light added to black, linear: where seen over asked meets zero. Only where pixel lies on pixel. */
  readonly veil: number;
  /** Darkest parts beside those asked, linear; brightest, stops. */
  readonly black: number;
  readonly white: number;
}

const CORE = 0.97;
/** Which parts are darkest and brightest: shares of the core. */
const DARKEST = 0.02, BRIGHTEST = 0.98;
const LEVELS = 512;
/** Coded value from which a colour may be cut. */
const BURNT = 0.97;

/** Linear luminance of the level under which `share` of a histogram of coded luma lies. */
function levelAt(counts: Uint32Array, share: number): number {
  let left = share * counts.reduce((s, v) => s + v, 0), k = 0;
  while (k < LEVELS - 1 && left > counts[k]!) left -= counts[k++]!;
  return bt709Decode((k + Math.min(1, left / Math.max(1, counts[k]!))) / LEVELS);
}

/**
 * Null where either shows too little of the performer. `own`: pixel lies on pixel, so gains are slopes of seen over asked, which a veil leaves alone;
 * else ratios of means.
 */
export function readLightBeside(f: SeenFrame, expected: Expected, own: boolean): LightBeside | null {
  const N = f.join.width * f.join.height, a = f.join.data, b = expected.coded.data;
  const lumas = [new Uint32Array(LEVELS), new Uint32Array(LEVELS)] as const, bin = (v: number): number => Math.min(LEVELS - 1, Math.max(0, Math.floor(LEVELS * v)));
  // Of each channel, seen and asked: sums over own cores, then over the core of both.
  const seen = [0, 0, 0], asked = [0, 0, 0], x = [0, 0, 0], y = [0, 0, 0], xx = [0, 0, 0], xy = [0, 0, 0];
  const k = [0, 0, 0];
  let n = 0, m = 0;
  for (let i = 0; i < N; i++) {
    const here = f.matte[i]! > CORE, there = expected.matte[i]! > CORE;
    if (!here && !there) continue;
    if (here) { n++; lumas[0][bin(f.luma[i]!)]!++; }
    if (there) { m++; lumas[1][bin(expected.luma[i]!)]!++; }
    for (let c = 0; c < 3; c++) {
      const u = here ? bt709Decode(a[c * N + i]!) : 0, v = there ? bt709Decode(b[c * N + i]!) : 0;
      seen[c] = seen[c]! + u; asked[c] = asked[c]! + v;
      // What is burnt out in either follows no line.
      if (here && there && a[c * N + i]! < BURNT && b[c * N + i]! < BURNT) { k[c] = k[c]! + 1; x[c] = x[c]! + v; y[c] = y[c]! + u; xx[c] = xx[c]! + v * v; xy[c] = xy[c]! + v * u; }
    }
  }
  if (n < 200 || m < 200) return null;
  const W = [0.2126, 0.7152, 0.0722] as const, fits = [0, 1, 2].map((c) => {
    const spread = xx[c]! - (x[c]! * x[c]!) / Math.max(1, k[c]!), slope = k[c]! > 200 && spread > 1e-9 ? (xy[c]! - (x[c]! * y[c]!) / k[c]!) / spread : 1;
    return { slope: Math.max(1e-3, slope), rest: k[c]! > 200 ? (y[c]! - slope * x[c]!) / k[c]! : 0 };
  });
  const s = seen.map((v) => Math.max(1e-5, v / n)), e = asked.map((v) => Math.max(1e-5, v / m));
  const gains = own ? fits.map((q) => q.slope) : s.map((v, c) => v / e[c]!), luminance = (v: readonly number[]): number => W[0] * v[0]! + W[1] * v[1]! + W[2] * v[2]!;
  return {
    // One channel alone is a cast or a spill: the middle one of the three tells the exposure.
    stops: Math.log2(own ? [...gains].sort((p, q) => p - q)[1]! : luminance(s) / luminance(e)), red: Math.log2(gains[0]! / gains[1]!), blue: Math.log2(gains[2]! / gains[1]!),
    veil: luminance(fits.map((q) => q.rest)),
    black: levelAt(lumas[0], DARKEST) - levelAt(lumas[1], DARKEST), white: Math.log2(Math.max(1e-4, levelAt(lumas[0], BRIGHTEST)) / Math.max(1e-4, levelAt(lumas[1], BRIGHTEST))),
  };
}
