/**
 * Made heads for the light from shading: an ellipsoid under one key and a sky, with
 * blotchy skin, dark eyes, hair and noise.
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

/** A head of about `radiusPx` lit from a random side (the camera's half or a little behind). */
export function makeHead(random: RandomStream, radiusPx: number, kind: HeadKind = 'usual'): MadeHead {
  const size = Math.round(radiusPx * 3);
  const p = createPicture(size, size, 3);
  const n = size * size;
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const azimuthDeg = u(-110, 110);
  const elevationDeg = u(5, 60);
  const l = towardsLight(azimuthDeg, elevationDeg);
  const stops = u(1, 3.5);
  const ambient = u(0.05, 0.12);
  const key = ambient * (2 ** stops - 1);
  const skin: [number, number, number] = [u(0.5, 0.9), u(0.4, 0.6), u(0.3, 0.5)];
  if (kind === 'dark skin') for (let c = 0; c < 3; c++) skin[c] = 0.16 * skin[c]!;
  // The second lamp: its share of the key's light, and where it stands.
  const share = kind === 'rim light' ? u(0.4, 1) : kind === 'two lamps' ? u(0.25, 0.5) : 0;
  const second =
    kind === 'rim light'
      ? towardsLight(u(140, 170) * (azimuthDeg > 0 ? -1 : 1), u(10, 50))
      : towardsLight(azimuthDeg + u(70, 130) * (azimuthDeg > 0 ? -1 : 1), u(5, 45));
  const patch = { x: u(-0.5, 0.5), y: u(-0.5, 0.5), r: u(0.35, 0.7), dark: u(0.3, 0.6) };
  const chin = u(0.25, 0.45);
  const cx = size / 2 + u(-2, 2);
  const cy = size / 2 + u(-2, 2);
  const rx = radiusPx * u(0.8, 1);
  const ry = radiusPx * u(1, 1.2);
  const rz = radiusPx * u(0.9, 1.15);
  // A cap of hair, two eyes, and blotches from a few cosines.
  const hairLine = u(-0.8, -0.45);
  const waves = Array.from({ length: 6 }, () => ({ fx: u(-0.5, 0.5), fy: u(-0.5, 0.5), ph: u(0, 6.28) }));
  // A hat: its brim's height over the middle and radius (half heights, half widths), and its cloth.
  const hat = kind === 'hat' ? { at: u(0.3, 0.6), brim: u(1.3, 2), cloth: u(0.1, 0.4) } : null;
  const back: [number, number, number] = [u(0.05, 0.4), u(0.05, 0.4), u(0.05, 0.4)];
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
      let albedo = 1;
      for (const w of waves) albedo += 0.03 * Math.cos(w.fx * x + w.fy * y + w.ph);
      if (ey < hairLine + 0.12 * Math.cos(5 * ex)) albedo *= 0.25;
      if (kind === 'beard' && ey > chin) albedo *= 0.3;
      if (kind === 'patched coat' && Math.hypot(ex - patch.x, ey - patch.y) < patch.r) albedo *= patch.dark;
      if (Math.hypot(Math.abs(ex) - 0.38, (ey + 0.1) * 1.4) < 0.12) albedo *= 0.2;
      let open = 1;
      let sees = 1;
      if (hat !== null) {
        // Where the ray to the key meets the brim's plane; and how much of the sky the brim hides.
        const py = -ey * ry;
        const up = hat.at * ry - py;
        if (up <= 0) albedo = hat.cloth;
        else {
          const t = l[1] > 1e-3 ? up / l[1] : Infinity;
          const px = ex * rx + t * l[0];
          const pz = -Math.sqrt(1 - q) * rz + t * l[2];
          if (Math.hypot(px, pz) < hat.brim * rx) sees = 0;
          open = 1 - 0.6 * Math.exp(-up / (0.5 * ry));
        }
      }
      const sky =
        open * ambient * (1 - 0.35 * ny) +
        (share > 0 ? share * key * Math.max(0, nx * second[0] - ny * second[1] - nz * second[2]) : 0);
      for (let c = 0; c < 3; c++)
        p.data[c * n + i] = Math.max(0, skin[c]! * albedo * (sky + sees * key * nl) + noise * 0.5);
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
    azimuthDeg,
    elevationDeg,
    keyFillStops: stops,
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
