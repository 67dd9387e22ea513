/**
 * Direction of the key light from the shading of a head-like thing inside an ellipse: samples with normals
 * (light-head-samples.ts), differences of their log brightness (light-head-pairs.ts), and the search for the one light or two
 * that explain them (light-find-keys.ts) over a sky-and-ground ambient (Lambert's law; two-term ambient as the first
 * spherical harmonics of Ramamoorthi & Hanrahan, *On the relationship between radiance and irradiance*, JOSA A 2001). Cast
 * shadow (a hat's, an ear's) shows ambient alone; eyes, hair and texture are outliers. Which answer is given and how sure it is
 * is settled here.
 */
import type { Picture } from '../image/picture.js';
import type { View } from './types.js';
import { degreesApart, findKeys, type FoundKeys, type Lights } from './light-find-keys.js';
import { KeysRoom, type Direction } from './light-fit-keys.js';
import { explainedByLevels, unreached } from './light-fit-levels.js';
import { headPairs } from './light-head-pairs.js';
import { headSamples, sampleRadius, sampleSide } from './light-head-samples.js';
import { lumaNoise } from './luma-noise.js';
import { outlineBlur } from './outline-blur.js';
import { viewCamera } from './view-derived.js';
import { groundCamera, unproject } from '../geometry/camera.js';
import { DEG_PER_RAD } from '../core/angles.js';

export interface ShadingLight {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  /** Standard deviation of the direction itself, degrees on the sphere (each of two axes). */
  readonly directionSd: number;
  /** log2((key + ambient) / ambient) at a surface that faces the key. */
  readonly keyFillStops: number;
  readonly keyFillSd: number;
  /** Share of the variance of the shading explained, 0..1; below 0.3 there is no key to speak of. */
  readonly explained: number;
  /** A second key where one light does not explain the shading and two do: where it stands and its share of the key's strength. */
  readonly second?: { readonly azimuthDeg: number; readonly elevationDeg: number; readonly share: number };
}

/** What shading that no single light explains adds to the uncertainty, were all of it unexplained, or all of the brightest unreached: a second lamp, a hat's shadow. */
const UNEXPLAINED_DEG = 40, UNEXPLAINED_STOPS = 4;
/** Sds of the outline's blur that are kept clear of. */
const RING = 2.2;
/** What softness adds to the uncertainty, for an outline blurred by its whole radius: degrees and stops (made heads, blurred by up to a fifth of it). */
const SOFT_DEG = 65, SOFT_STOPS = 4;
/** The model's own error (a head is no ellipsoid, skin no Lambertian): degrees and stops, for one key and for two (made heads). */
const ONE_DEG = 4, TWO_DEG = 7, STOPS = 0.3;
/**
 * A second key is believed where it takes so much off the cost of a pair and such a share off that of the levels (light-find-keys.ts), and has
 * at least this share of the first's strength; by how much (in widths) the lesser of the two misses says how far the other
 * answer stays within the uncertainty. On made heads a coat's patch or a beard gains in levels but hardly in differences, a hat's
 * shadow (a traced face) the other way about, two lamps in both; an uneven sky reads as a second light of .2 to .25 (two faces in sun).
 */
const GAIN = { differences: 0.015, levels: 0.15 }, GAIN_WIDTH = { differences: 0.004, levels: 0.02 }, SHARE = 0.27;
/** From this share on the two may be the other way about. */
const ALIKE = 0.55;

/**
 * Fits the light on one ellipse [cx, cy, rx, ry, deg].
 * @param linear scene-linear RGB picture
 * @param view the camera's view where it is known; else a level camera is assumed
 * @param mask optional coverage (height × width): only pixels above 0.9 are used
 * @returns null where the ellipse lies outside the picture, is too small (under 5 px) or too dark
 */
export function lightFromShading(linear: Picture, ellipse: readonly [number, number, number, number, number], view: View | null, mask?: Float32Array): ShadingLight | null {
  const [cx, cy, rx, ry, deg] = ellipse;
  if (Math.min(rx, ry) < 5) return null;
  const camera = view ? viewCamera(view) : groundCamera({ focalPx: linear.width * 1.3, tiltDeg: 0, rollDeg: 0, cameraHeight: 1, widthPx: linear.width, heightPx: linear.height });
  // Local frame of the head: towards the camera along its own sight line, so that a head at the picture's edge is right.
  const sight = unproject(camera, cx, cy);
  const right = unit([sight[2], 0, -sight[0]]);
  // The world is left-handed, so the sense of the cross product is settled by the sign: down must point down.
  const across = crossOf(sight, right);
  const down: [number, number, number] = across[1] > 0 ? [-across[0], -across[1], -across[2]] : across;
  const roll = view ? (view.rollDeg.value ?? 0) / DEG_PER_RAD : 0;
  // The outermost ring is mixed with what lies behind, the wider the softer the picture, and its normals swing fast.
  const blur = (outlineBlur(linear, ellipse) ?? 0) / Math.min(rx, ry);
  const samples = headSamples(linear, cx, cy, rx, ry, deg / DEG_PER_RAD, roll, right, down, sight, Math.min(0.92, Math.max(0.2, 1 - RING * blur) ** 2), mask);
  if (samples.length < 40) return null;
  const noise = lumaNoise(linear, ellipse) / sampleSide(rx, ry);
  const pairs = headPairs(samples, noise, sampleRadius(rx, ry));
  if (pairs === null) return null;
  const room = new KeysRoom(pairs), found = findKeys(room, [-sight[0], -sight[1], -sight[2]]);
  const said = answer(found), angles = (d: Direction): { azimuthDeg: number; elevationDeg: number } => ({ azimuthDeg: Math.atan2(d[0], -d[2]) * DEG_PER_RAD, elevationDeg: Math.asin(Math.max(-1, Math.min(1, d[1]))) * DEG_PER_RAD });
  const explained = explainedByLevels(pairs.levels, said.lights.l1, said.lights.l2, said.lights.levels);
  const missed = unreached(pairs.levels, said.lights.l1, said.lights.l2, said.lights.levels);
  return {
    ...angles(said.key), ...(said.second === null ? {} : { second: { ...angles(said.second), share: said.share } }),
    directionSd: Math.min(90, Math.hypot(said.sdDeg, UNEXPLAINED_DEG * (1 - explained), UNEXPLAINED_DEG * missed, SOFT_DEG * blur)), keyFillStops: said.stops, keyFillSd: Math.min(3, Math.hypot(said.stopsSd, UNEXPLAINED_STOPS * (1 - explained), UNEXPLAINED_STOPS * missed, SOFT_STOPS * blur)), explained,
  };
}

interface Said { readonly lights: Lights; readonly key: Direction; readonly second: Direction | null; readonly share: number; readonly sdDeg: number; readonly stops: number; readonly stopsSd: number }

/** One key or two, and an uncertainty that the answer not given stays within so far as it may yet be the right one. */
function answer(f: FoundKeys): Said {
  const one = f.one, oneStops = stopsOf(one, one.l1);
  if (f.two === null) return { lights: one, key: one.l1, second: null, share: 0, sdDeg: Math.hypot(ONE_DEG, f.spreadDeg), stops: oneStops.stops, stopsSd: Math.hypot(STOPS, oneStops.sd) };
  const k = f.two.w[2], swapped = k > 1, key = swapped ? f.two.l2! : f.two.l1, second = swapped ? f.two.l1 : f.two.l2!, share = swapped ? 1 / k : k;
  // How likely two are: by the gain; a weak second light is the sky's unevenness.
  const [, , v1, v2] = f.two.levels, byLevels = v2 > v1 ? v1 / v2 : v2 / Math.max(1e-9, v1);
  const over = Math.min((one.byDifferences - f.two.byDifferences - GAIN.differences) / GAIN_WIDTH.differences, (1 - f.two.byLevels / one.byLevels - GAIN.levels) / GAIN_WIDTH.levels);
  const chance = Math.min(share, byLevels) < SHARE ? 0 : 1 / (1 + Math.exp(-over)), told = chance > 0.5;
  const stops = stopsOf(f.two, key), apart = degreesApart(one.l1, key), stopsApart = Math.abs(oneStops.stops - stops.stops);
  const other = Math.sqrt(told ? 1 - chance : chance);
  if (!told) return { lights: one, key: one.l1, second: null, share: 0, sdDeg: Math.hypot(ONE_DEG, f.spreadDeg, other * apart), stops: oneStops.stops, stopsSd: Math.hypot(STOPS, oneStops.sd, other * stopsApart) };
  const about = Math.max(0, (share - ALIKE) / (1 - ALIKE)) * 0.5, between = degreesApart(key, second);
  return { lights: f.two, key, second, share, sdDeg: Math.hypot(TWO_DEG, other * apart, about * between), stops: stops.stops, stopsSd: Math.hypot(2 * STOPS, stops.sd, other * stopsApart) };
}

/** log2((key + ambient) / ambient) where the surface faces the key: the middle of what differences and levels say, and half of what they differ by. */
function stopsOf(lights: Lights, key: Direction): { readonly stops: number; readonly sd: number } {
  const [a, b, k] = lights.w, [va, vb, v1, v2] = lights.levels, first = key === lights.l1;
  const stops = (strength: number, ambient: number): number => Math.log2(1 + strength / Math.max(1e-5 * strength, ambient));
  const differences = stops(first ? 1 : k, a + b * key[1]), levels = stops(first ? v1 : v2, va + vb * key[1]);
  return { stops: (differences + levels) / 2, sd: Math.abs(differences - levels) / 2 };
}

const unit = (v: [number, number, number]): [number, number, number] => { const n = Math.hypot(v[0], v[1], v[2]); return [v[0] / n, v[1] / n, v[2] / n]; };
function crossOf(a: readonly number[], b: readonly number[]): [number, number, number] {
  return [a[1]! * b[2]! - a[2]! * b[1]!, a[2]! * b[0]! - a[0]! * b[2]!, a[0]! * b[1]! - a[1]! * b[0]!];
}
