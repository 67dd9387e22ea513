/**
 * Direction of the key light from the shading of a head-like thing inside an ellipse: samples with normals
 * (light-head-samples.ts), differences of their log brightness (light-head-pairs.ts), and the search for the one
 * light or two that explain them (light-find-keys.ts) over a sky-and-ground ambient (Lambert's law; two-term ambient
 * as the first spherical harmonics of Ramamoorthi & Hanrahan, *On the relationship between radiance and irradiance*,
 * JOSA A 2001). Cast shadow (a hat's, an ear's) shows ambient alone; eyes, hair and texture are outliers. Which
 * answer is given, and how sure it is: light-answer.ts.
 */
import type { Picture } from '../../image/picture.js';
import type { View } from '../types.js';
import { findBrim } from './light-brim.js';
import { directions, findKeys } from './light-find-keys.js';
import { KeysRoom, type Direction } from './light-fit-keys.js';
import { explainedByLevels, unreached } from './light-fit-levels.js';
import { headPairs, type HeadPairs } from './light-head-pairs.js';
import { headSamples, sampleRadius, sampleSide } from './light-head-samples.js';
import { lumaNoise } from '../look/luma-noise.js';
import { outlineBlur } from '../look/outline-blur.js';
import { viewCamera } from '../view/view-derived.js';
import { groundCamera, unproject } from '../../geometry/camera.js';
import { DEG_PER_RAD } from '../../core/angles.js';
import {
  type Said,
  type ShadingLight,
  UNEXPLAINED_DEG,
  UNEXPLAINED_STOPS,
  answer,
  underBrim,
  chanceOfBrim,
  doubtOf,
  middle,
  unit,
} from './light-answer.js';

/** Sds of the outline's blur that are kept clear of. */
const RING = 2.2;
/**
 * What softness adds to the uncertainty, for an outline blurred by its whole radius: degrees and
 * stops (made heads, blurred by up to a fifth of it).
 */
const SOFT_DEG = 65;
const SOFT_STOPS = 4;
const BRIM_DIRECTIONS = 150;

/**
 * Fits the light on one ellipse [cx, cy, rx, ry, deg].
 * @param linear scene-linear RGB picture
 * @param view the camera's view where it is known; else a level camera is assumed
 * @param mask optional coverage (height × width): only pixels above 0.9 are used
 * @returns null where the ellipse lies outside the picture, is too small (under 5 px) or too dark
 */
export function lightFromShading(
  linear: Picture,
  ellipse: readonly [number, number, number, number, number],
  view: View | null,
  mask?: Float32Array,
): ShadingLight | null {
  const [cx, cy, rx, ry, deg] = ellipse;
  if (Math.min(rx, ry) < 5) return null;
  const frame = headFrame(linear, cx, cy, view);
  // The outermost ring is mixed with what lies behind, the wider the softer the picture, and its normals swing fast.
  const blur = (outlineBlur(linear, ellipse) ?? 0) / Math.min(rx, ry);
  const samples = headSamples({
    p: linear,
    cx,
    cy,
    rx,
    ry,
    angle: deg / DEG_PER_RAD,
    ...frame,
    outermost: Math.min(0.92, Math.max(0.2, 1 - RING * blur) ** 2),
    mask,
  });
  if (samples.length < 40) return null;
  const noise = lumaNoise(linear, ellipse) / sampleSide(rx, ry);
  const pairs = headPairs(samples, noise, sampleRadius(rx, ry));
  if (pairs === null) return null;
  const { sight } = frame;
  const found = findKeys(new KeysRoom(pairs), [-sight[0], -sight[1], -sight[2]]);
  const brim = findBrim(pairs.levels, ry / rx, directions(BRIM_DIRECTIONS));
  const hat = brim === null ? 0 : chanceOfBrim(found, brim);
  const bare = answer(found);
  if (brim !== null && hat > 0.5)
    return {
      ...anglesOf(middle(bare.key, brim.l, hat)),
      ...underBrim(brim, bare, hat, SOFT_DEG * blur, SOFT_STOPS * blur),
    };
  const said =
    brim === null
      ? bare
      : { ...bare, key: middle(bare.key, brim.l, hat), sdDeg: Math.hypot(bare.sdDeg, doubtOf(bare.key, brim.l, hat)) };
  return inWords(said, pairs, blur);
}

/**
 * How a head's own frame stands in the world: along the sight that meets it, so that one at the picture's edge is
 * right.
 */
function headFrame(
  linear: Picture,
  cx: number,
  cy: number,
  view: View | null,
): {
  readonly roll: number;
  readonly right: Direction;
  readonly down: Direction;
  readonly sight: Direction;
} {
  const camera = view
    ? viewCamera(view)
    : groundCamera({
        focalPx: linear.width * 1.3,
        tiltDeg: 0,
        rollDeg: 0,
        cameraHeight: 1,
        widthPx: linear.width,
        heightPx: linear.height,
      });
  const sight = unproject(camera, cx, cy);
  const right = unit([sight[2], 0, -sight[0]]);
  // The world is left-handed, so the sense of the cross product is settled by the sign: down must point down.
  const across = crossOf(sight, right);
  const down: Direction = across[1] > 0 ? [-across[0], -across[1], -across[2]] : across;
  return { roll: view ? (view.rollDeg.value ?? 0) / DEG_PER_RAD : 0, right, down, sight };
}

function anglesOf(d: Direction): { readonly azimuthDeg: number; readonly elevationDeg: number } {
  return {
    azimuthDeg: Math.atan2(d[0], -d[2]) * DEG_PER_RAD,
    elevationDeg: Math.asin(Math.max(-1, Math.min(1, d[1]))) * DEG_PER_RAD,
  };
}

/** The answer of a head without a brim, its doubt widened by what it leaves unexplained and by a soft outline. */
function inWords(said: Said, { levels }: HeadPairs, blur: number): ShadingLight {
  const { l1, l2, levels: strengths } = said.lights;
  const explained = explainedByLevels(levels, l1, l2, strengths);
  const missed = unreached(levels, l1, l2, strengths);
  const widened = (sd: number, unexplained: number, soft: number): number =>
    Math.hypot(sd, unexplained * (1 - explained), unexplained * missed, soft * blur);
  return {
    ...anglesOf(said.key),
    ...(said.second === null ? {} : { second: { ...anglesOf(said.second), share: said.share } }),
    directionSd: Math.min(90, widened(said.sdDeg, UNEXPLAINED_DEG, SOFT_DEG)),
    keyFillStops: said.stops,
    keyFillSd: Math.min(3, widened(said.stopsSd, UNEXPLAINED_STOPS, SOFT_STOPS)),
    explained,
  };
}

function crossOf(a: readonly number[], b: readonly number[]): [number, number, number] {
  return [a[1]! * b[2]! - a[2]! * b[1]!, a[2]! * b[0]! - a[0]! * b[2]!, a[0]! * b[1]! - a[1]! * b[0]!];
}
