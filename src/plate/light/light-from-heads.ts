/** The key as the shading of marked heads and balls tells it: each read, those with a key kept, and merged. */
import { differenceDeg, wrapDeg } from '../../core/angles.js';
import type { Picture } from '../../image/picture.js';
import { lightFromShading } from './light-shading.js';
import type { ShadingLight } from './light-answer.js';
import type { MarksFile } from '../marks/marks.js';
import type { View } from '../types.js';

/**
 * A direction from shading that is known no better than this is not told: it would say
 * little more than "from the front half". Own choice.
 */
const LOOSEST_DEG = 25;

/** A head's light and its say among several. */
export interface WeighedHead {
  readonly light: ShadingLight;
  readonly weight: number;
}

/** One key from all heads: degrees, stops of key over fill, and standard deviations of both. */
export interface Head {
  azimuth: number;
  elevation: number;
  sd: number;
  stops: number;
  stopsSd: number;
}

/** Heads marked on the marks' own frame, read in scene-linear RGB; what cannot be read is said in `notes`. */
export function readHeads(linear: Picture | null, marks: MarksFile, view: View | null, notes: string[]): WeighedHead[] {
  const heads: WeighedHead[] = [];
  if (linear !== null) {
    for (const m of marks.marks) {
      if (m.kind !== 'head' || (m.frame ?? marks.frame) !== marks.frame) continue;
      const l = lightFromShading(linear, m.ellipse, view);
      if (l === null) notes.push('a head outline is too small, too dark or outside the picture to read its shading');
      else heads.push({ light: l, weight: 1 / (l.directionSd * l.directionSd) });
    }
  }
  return heads;
}

/** Those that follow one key well enough to tell where it stands. */
export function keyedHeads(heads: readonly WeighedHead[]): WeighedHead[] {
  return heads.filter(
    (h) => h.light.explained > 0.05 && h.light.keyFillStops > 0.25 && h.light.directionSd < LOOSEST_DEG,
  );
}

/** Says of each head that is lit by two keys which of them is stated. */
export function noteSecondKeys(keyed: readonly WeighedHead[], notes: string[]): void {
  for (const { light: l } of keyed) {
    if (l.second)
      notes.push(
        `the marked head is lit by two keys: the stronger at azimuth ${l.azimuthDeg.toFixed(0)}°, ` +
          `elevation ${l.elevationDeg.toFixed(0)}°, which is the one stated; ` +
          `a second with ${l.second.share.toFixed(1)} of its strength at ` +
          `azimuth ${l.second.azimuthDeg.toFixed(0)}°, ` +
          `elevation ${l.second.elevationDeg.toFixed(0)}°` +
          (l.second.share > 0.75 ? '; which of them is stronger is not sure' : ''),
      );
  }
}

/** Null without heads; directions weighed by their variances. */
export function mergeHeads(heads: readonly WeighedHead[]): Head | null {
  if (heads.length === 0) return null;
  const first = heads[0]!.light;
  let w = 0;
  let az = 0;
  let el = 0;
  let st = 0;
  for (const h of heads) {
    w += h.weight;
    az += h.weight * differenceDeg(h.light.azimuthDeg, first.azimuthDeg);
    el += h.weight * h.light.elevationDeg;
    st += h.weight * h.light.keyFillStops;
  }
  const best = heads.reduce((a, b) => (b.weight > a.weight ? b : a)).light;
  // The model's own error is common to all heads: more heads help less than their number says.
  return {
    azimuth: wrapDeg(first.azimuthDeg + az / w),
    elevation: el / w,
    sd: Math.max(3, 1 / Math.sqrt(w)),
    stops: st / w,
    stopsSd: best.keyFillSd,
  };
}
