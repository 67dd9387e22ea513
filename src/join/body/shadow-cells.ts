/**
 * The performer's own shadow in the cells in which its body is looked at (likely-depth.ts): how much light each cell of
 * the take's floor lacks, without what is dark all along a row, what another marked thing throws, what no key on its
 * way could throw from this outline, and what does not reach the performer. The cells left out tell nothing.
 */
import { three } from '../../core/tuples.js';
import { RAD_PER_DEG } from '../../core/angles.js';
import { boxMean } from '../../image/box.js';
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import type { SeenBody } from './likeness-judge.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import { facing } from './solid-body.js';
import type { ScreenShadow } from '../peel/screen-shadow.js';

/** A shadow must darken the screen by this share of its light, in so many cells (as body-depth.ts has it). */
const LEAST_DENSITY = 0.12,
  LEAST_CELLS = 15;
/**
 * Of the light that the shadow lacks, dark cells first, as much as this share lies in its core: what the body keeps off
 * of the sky is wide and faint, and no part of it.
 */
const CORE = 0.3;
/** Cells from the performer within which its shadow begins. */
const TOUCHES = 3;
/** Half the width of another thing's shadow beside its length, and cells about it that its edge may lie in. */
const MARKED_WIDTH = 0.08,
  MARKED_ROOM = 2;

/** A key's direction is off by at least so much where its lamp stands near, degrees; heights tried on the way to it. */
const KEY_ROOM = 5,
  TRIED = 24;
/** A row's side must show so much of the width to tell how it is lit. */
const LEAST_SIDE = 0.1;

/** A line of the take's picture along which another thing or its shadow lies: a marked upright, a marked shadow. */
export type OtherThing = readonly [readonly [number, number], readonly [number, number]];

/** The performer's own shadow over the cells; null where none is dark enough. */
export function shadowInCells(
  s: ScreenShadow,
  matte: Float32Array,
  w: number,
  h: number,
  cell: number,
  others: readonly OtherThing[],
  possible: (x: number, y: number) => boolean,
): SeenBody['shadow'] {
  const k = Math.max(1, Math.round(cell / s.cell)),
    density = new Float32Array(w * h),
    use = new Uint8Array(w * h),
    about = boxMean(matte, w, h, 1, 1);
  for (let y = 0; y < s.height; y++)
    for (let x = 0; x < s.width; x++) {
      const cx = Math.floor(x / k),
        cy = Math.floor(y / k);
      if (cx < w && cy < h) density[cy * w + cx] = density[cy * w + cx]! + s.density[y * s.width + x]! / (k * k);
    }
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      use[y * w + x] =
        about[y * w + x]! > 5e-4 || others.some(([a, b]) => liesOn((x + 0.5) * cell, (y + 0.5) * cell, a, b, cell))
          ? 0
          : 1;
  levelRows(density, use, matte, w, h);
  for (let i = 0; i < density.length; i++)
    if (use[i] !== 0 && density[i]! > LEAST_DENSITY / 2 && !possible((i % w) + 0.5, Math.floor(i / w) + 0.5))
      use[i] = 0;
  // Dark, but not joined to the performer, or where no key throws its shadow: a fold, or somebody else's. It says
  // nothing.
  const near = boxMean(matte, w, h, TOUCHES, TOUCHES),
    own = ownParts(density, use, near, w, h);
  const dark: number[] = [];
  for (let i = 0; i < density.length; i++)
    if (use[i] !== 0 && density[i]! > LEAST_DENSITY / 2) {
      if (own[i] === 0) use[i] = 0;
      else dark.push(density[i]!);
    }
  if (dark.length < LEAST_CELLS) return null;
  dark.sort((a, b) => b - a);
  let rest = CORE * dark.reduce((sum, v) => sum + v, 0),
    last = 0;
  while (rest > 0 && last < dark.length - 1) rest -= dark[last++]!;
  const full = dark[last]!;
  // Half dark and more counts, as body-depth.ts has it.
  return full < LEAST_DENSITY
    ? null
    : { share: density.map((v) => Math.min(1, Math.max(0, (v / full - 0.3) / 0.4))), use };
}

/**
 * Where a cloth turns up from floor to wall it is darker all along a row of the picture, on both sides of the
 * performer; a shadow falls to one. What the less dark side has in the middle is taken off, as light.
 */
function levelRows(density: Float32Array, use: Uint8Array, matte: Float32Array, w: number, h: number): void {
  let sum = 0,
    at = 0;
  for (let i = 0; i < matte.length; i++) {
    sum += matte[i]!;
    at += matte[i]! * (i % w);
  }
  const middle = Math.round(at / sum);
  const side = (y: number, from: number, to: number): number => {
    const v: number[] = [];
    for (let x = from; x < to; x++) if (use[y * w + x] !== 0) v.push(density[y * w + x]!);
    return v.length < LEAST_SIDE * w ? Infinity : v.sort((a, b) => a - b)[v.length >> 1]!;
  };
  for (let y = 0; y < h; y++) {
    const level = Math.min(side(y, 0, middle), side(y, middle, w));
    if (!(level > 0.01) || level > 0.95) continue;
    for (let x = 0; x < w; x++) density[y * w + x] = Math.max(0, 1 - (1 - density[y * w + x]!) / (1 - level));
  }
}

function liesOn(
  x: number,
  y: number,
  a: readonly [number, number],
  b: readonly [number, number],
  cell: number,
): boolean {
  const dx = b[0] - a[0],
    dy = b[1] - a[1],
    long = Math.hypot(dx, dy);
  if (!(long > 0)) return false;
  const t = Math.max(0, Math.min(1.05, ((x - a[0]) * dx + (y - a[1]) * dy) / (long * long)));
  return Math.hypot(x - a[0] - t * dx, y - a[1] - t * dy) < MARKED_WIDTH * long + MARKED_ROOM * cell;
}

/**
 * Whether the performer can throw a shadow on a cell's floor: on the way from there to the key something of it must be
 * seen, under the key as told or two sd beside. Every body of that outline lies within the cone that the outline spans
 * (Laurentini, PAMI 16, 1994).
 */
export function mayThrow(
  matte: Float32Array,
  w: number,
  h: number,
  g: GroundGeometry,
  keySd: readonly [number, number],
  tall: number,
): (x: number, y: number) => boolean {
  const wide = boxMean(matte, w, h, TOUCHES, TOUCHES),
    ahead = facing(g),
    left = cross(g.up, ahead),
    l = [-dot(g.light, left), dot(g.light, g.up), dot(g.light, ahead)] as const,
    keys: Vec3[] = [];
  const azimuth = Math.atan2(l[0], l[2]),
    elevation = Math.asin(l[1]);
  for (let i = -2; i <= 2; i++)
    for (let j = -1; j <= 1; j++) {
      const a = azimuth + i * Math.max(KEY_ROOM, keySd[0]) * RAD_PER_DEG,
        e = Math.max(0.15, elevation + 2 * j * keySd[1] * RAD_PER_DEG);
      keys.push(three((k) => (-Math.sin(a) * left[k]! + Math.cos(a) * ahead[k]!) / Math.tan(e) + g.up[k]!));
    }
  return (x, y) => {
    const d: Vec3 = [(x - g.principal[0]) / g.focalPx, (y - g.principal[1]) / g.focalPx, 1],
      down = -dot(d, g.up);
    if (!(down > 1e-4)) return false;
    const k = g.cameraHeight / down;
    return keys.some((key) => {
      for (let t = 0; t <= TRIED; t++) {
        const up = (1.1 * tall * t) / TRIED,
          z = k * d[2] + up * key[2];
        if (!(z > 1e-3)) continue;
        const px = Math.floor(g.principal[0] + (g.focalPx * (k * d[0] + up * key[0])) / z),
          py = Math.floor(g.principal[1] + (g.focalPx * (k * d[1] + up * key[1])) / z);
        if (px >= 0 && py >= 0 && px < w && py < h && wide[py * w + px]! > 5e-4) return true;
      }
      return false;
    });
  };
}

/** Cells of dark parts that reach the performer; a gap of one cell joins. */
function ownParts(density: Float32Array, use: Uint8Array, near: Float32Array, w: number, h: number): Uint8Array {
  const own = new Uint8Array(w * h),
    stack: number[] = [],
    dark = (i: number): boolean => use[i] !== 0 && density[i]! > LEAST_DENSITY / 2;
  for (let i = 0; i < own.length; i++)
    if (near[i]! > 5e-4 && dark(i)) {
      own[i] = 1;
      stack.push(i);
    }
  while (stack.length > 0) {
    const i = stack.pop()!,
      x = i % w,
      y = (i - x) / w;
    for (let dy = -2; dy <= 2; dy++)
      for (let dx = -2; dx <= 2; dx++) {
        const xx = x + dx,
          yy = y + dy,
          j = yy * w + xx;
        if (xx < 0 || yy < 0 || xx >= w || yy >= h || own[j] === 1 || !dark(j)) continue;
        own[j] = 1;
        stack.push(j);
      }
  }
  return own;
}
