/**
 * Made heads for the light from shading: an ellipsoid under one key and a sky, with blotchy skin, dark eyes, hair and
 * noise.
 */
import { RandomStream } from '../src/core/random.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { towardsLight } from '../src/plate/light/light-shadow.js';

export interface MadeHead {
  readonly picture: Picture;
  readonly ellipse: [number, number, number, number, number];
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly keyFillStops: number;
  /** Towards the second lamp (x right, y up, z away) and its share of the key, where there is one. */
  readonly second: { readonly towards: readonly [number, number, number]; readonly share: number } | null;
}

/**
 * What is unlike the usual head: skin of a tenth of the light, a dark beard, a patched coat of two
 * tones, a second lamp behind, a second lamp in front one to two stops weaker, or a hat whose brim
 * shades the face (a high key leaves little of it lit).
 */
export const HEAD_KINDS = ['usual', 'dark skin', 'beard', 'patched coat', 'rim light', 'two lamps', 'hat'] as const;
export type HeadKind = (typeof HEAD_KINDS)[number];

type Vec = readonly [number, number, number];
/** Evenly between two values, from the head's stream. */
type Draw = (a: number, b: number) => number;

/** Ellipsoid of a head: middle (px of the picture) and half axes (px; z away from the camera). */
interface Shape {
  readonly cx: number;
  readonly cy: number;
  readonly rx: number;
  readonly ry: number;
  readonly rz: number;
}

/** Strengths in linear light; directions towards the lamps. `share`: of the key's light that the second lamp has. */
interface HeadLight {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly towards: Vec;
  readonly stops: number;
  readonly ambient: number;
  readonly key: number;
  readonly skin: Vec;
  readonly share: number;
  readonly second: Vec;
}

function drawLight(u: Draw, kind: HeadKind): HeadLight {
  const azimuthDeg = u(-110, 110);
  const elevationDeg = u(5, 60);
  const stops = u(1, 3.5);
  const ambient = u(0.05, 0.12);
  const dark = kind === 'dark skin' ? 0.16 : 1;
  const skin: Vec = [dark * u(0.5, 0.9), dark * u(0.4, 0.6), dark * u(0.3, 0.5)];
  const share = kind === 'rim light' ? u(0.4, 1) : kind === 'two lamps' ? u(0.25, 0.5) : 0;
  const across = azimuthDeg > 0 ? -1 : 1;
  const second =
    kind === 'rim light'
      ? towardsLight(u(140, 170) * across, u(10, 50))
      : towardsLight(azimuthDeg + u(70, 130) * across, u(5, 45));
  return {
    azimuthDeg,
    elevationDeg,
    towards: towardsLight(azimuthDeg, elevationDeg),
    stops,
    ambient,
    key: ambient * (2 ** stops - 1),
    skin,
    share,
    second,
  };
}

/** What the skin is not: places in half axes from the head's middle, x right, y down. */
interface Marks {
  readonly patch: { readonly x: number; readonly y: number; readonly r: number; readonly dark: number };
  /** Below it the beard begins, above the other the hair. */
  readonly chin: number;
  readonly hairLine: number;
  /** Blotches from a few cosines, radians a pixel. */
  readonly waves: readonly { readonly fx: number; readonly fy: number; readonly ph: number }[];
}

/** Share of the skin's reflectance at a pixel; `ex`, `ey` in half axes from the middle. */
function albedoAt(m: Marks, kind: HeadKind, x: number, y: number, ex: number, ey: number): number {
  let albedo = 1;
  for (const w of m.waves) albedo += 0.03 * Math.cos(w.fx * x + w.fy * y + w.ph);
  if (ey < m.hairLine + 0.12 * Math.cos(5 * ex)) albedo *= 0.25;
  if (kind === 'beard' && ey > m.chin) albedo *= 0.3;
  if (kind === 'patched coat' && Math.hypot(ex - m.patch.x, ey - m.patch.y) < m.patch.r) albedo *= m.patch.dark;
  // The eyes.
  if (Math.hypot(Math.abs(ex) - 0.38, (ey + 0.1) * 1.4) < 0.12) albedo *= 0.2;
  return albedo;
}

/** A hat's brim: height over the middle in half heights, radius in half widths; reflectance of what lies over it. */
interface Hat {
  readonly at: number;
  readonly brim: number;
  readonly cloth: number;
}

/**
 * What a hat leaves a place of the head: null over the brim, where there is cloth; else whether it sees the key (0 or
 * 1) and how much of the sky (`open`).
 */
function underBrim(
  hat: Hat,
  { rx, ry, rz }: Shape,
  towards: Vec,
  ex: number,
  ey: number,
): { readonly sees: number; readonly open: number } | null {
  const up = hat.at * ry + ey * ry;
  if (up <= 0) return null;
  // Where the ray to the key meets the brim's plane.
  const t = towards[1] > 1e-3 ? up / towards[1] : Infinity;
  const x = ex * rx + t * towards[0];
  const z = -Math.sqrt(1 - (ex * ex + ey * ey)) * rz + t * towards[2];
  return { sees: Math.hypot(x, z) < hat.brim * rx ? 0 : 1, open: 1 - 0.6 * Math.exp(-up / (0.5 * ry)) };
}

/** A head of about `radiusPx` lit from a random side (the camera's half or a little behind). */
export function makeHead(random: RandomStream, radiusPx: number, kind: HeadKind = 'usual'): MadeHead {
  const size = Math.round(radiusPx * 3);
  const p = createPicture(size, size, 3);
  const n = size * size;
  const u: Draw = (a, b) => a + (b - a) * random.uniform();
  const light = drawLight(u, kind);
  const { towards: l, second, share, key } = light;
  const patch = { x: u(-0.5, 0.5), y: u(-0.5, 0.5), r: u(0.35, 0.7), dark: u(0.3, 0.6) };
  const chin = u(0.25, 0.45);
  const cx = size / 2 + u(-2, 2);
  const cy = size / 2 + u(-2, 2);
  const shape: Shape = { cx, cy, rx: radiusPx * u(0.8, 1), ry: radiusPx * u(1, 1.2), rz: radiusPx * u(0.9, 1.15) };
  const { rx, ry, rz } = shape;
  const hairLine = u(-0.8, -0.45);
  const waves = Array.from({ length: 6 }, () => ({ fx: u(-0.5, 0.5), fy: u(-0.5, 0.5), ph: u(0, 6.28) }));
  const marks: Marks = { patch, chin, hairLine, waves };
  const hat: Hat | null = kind === 'hat' ? { at: u(0.3, 0.6), brim: u(1.3, 2), cloth: u(0.1, 0.4) } : null;
  const back: Vec = [u(0.05, 0.4), u(0.05, 0.4), u(0.05, 0.4)];
  for (let y = 0; y < size; y++)
    for (let x = 0; x < size; x++) {
      const ex = (x + 0.5 - cx) / rx;
      const ey = (y + 0.5 - cy) / ry;
      const q = ex * ex + ey * ey;
      const i = y * size + x;
      const noise = 0.012 * random.normal();
      if (q >= 1) {
        for (let c = 0; c < 3; c++) p.data[c * n + i] = Math.max(0, back[c]! + noise);
        continue;
      }
      let nx = ex / rx;
      let ny = ey / ry;
      let nz = Math.sqrt(1 - q) / rz;
      const len = Math.hypot(nx, ny, nz);
      nx /= len;
      ny /= len;
      nz /= len;
      // Picture to world: x right, y up, z away.
      const nl = Math.max(0, nx * l[0] - ny * l[1] - nz * l[2]);
      const left = hat === null ? { sees: 1, open: 1 } : underBrim(hat, shape, l, ex, ey);
      const albedo = left === null ? hat!.cloth : albedoAt(marks, kind, x, y, ex, ey);
      const { sees, open } = left ?? { sees: 1, open: 1 };
      const sky =
        open * light.ambient * (1 - 0.35 * ny) +
        (share > 0 ? share * key * Math.max(0, nx * second[0] - ny * second[1] - nz * second[2]) : 0);
      for (let c = 0; c < 3; c++)
        p.data[c * n + i] = Math.max(0, light.skin[c]! * albedo * (sky + sees * key * nl) + noise * 0.5);
    }
  // A person's ellipse is not exact either.
  const slip = (): number => 0.04 * radiusPx * random.normal();
  return {
    picture: p,
    ellipse: [
      cx + slip(),
      cy + slip(),
      rx * (1 + 0.04 * random.normal()),
      ry * (1 + 0.04 * random.normal()),
      3 * random.normal(),
    ],
    azimuthDeg: light.azimuthDeg,
    elevationDeg: light.elevationDeg,
    keyFillStops: light.stops,
    second: share > 0 ? { towards: second, share } : null,
  };
}

/** Angle between two directions given as azimuth and elevation, degrees. */
export function angleBetween(
  a: { azimuthDeg: number; elevationDeg: number },
  b: { azimuthDeg: number; elevationDeg: number },
): number {
  const p = towardsLight(a.azimuthDeg, a.elevationDeg);
  const q = towardsLight(b.azimuthDeg, b.elevationDeg);
  return (Math.acos(Math.max(-1, Math.min(1, p[0] * q[0] + p[1] * q[1] + p[2] * q[2]))) * 180) / Math.PI;
}
