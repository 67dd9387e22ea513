/**
 * The plate's own shadow on the performer: inside marked outlines the key is taken away from it and the fill stays. On
 * the plate's ground `transmission` = fill / (key + fill) is what such a shadow leaves; a rounded body seen from the
 * camera gets another share of the key than level ground, on the mean over its visible disc that of Lambert's phase law
 * (Lambert, "Photometria", 1760): (2 / 3π) (sin φ + (π − φ) cos φ), φ the angle between camera and key as seen from it.
 * Where the key's place is known, what faces it loses more and what is turned from it, having none to lose, nothing:
 * key over fill, which that mean tells, goes by the normals of the filled matte, as the light step has laid it
 * (relight.ts).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { rasterizePolygon } from '../../image/polygon.js';
import type { Picture } from '../../image/picture.js';
import type { Box } from '../ground/ground.js';
import { cellMiddles, facingOf, normalsOfMatte, workCell } from './relight.js';
import type { OnPerformer } from '../ground/types.js';

/**
 * Lambert's phase law: mean cosine of the key's incidence over the visible disc of a sphere; `phase` rad between camera
 * and key.
 */
const discMean = (phase: number): number =>
  (2 / (3 * Math.PI)) * (Math.sin(phase) + (Math.PI - phase) * Math.cos(phase));

/**
 * Share of the light that a full shadow leaves on a rounded body, per channel, from what it leaves on level ground.
 * Degrees as of the ground step.
 */
export function leftOnBody(
  ground: readonly [number, number, number],
  azimuthDeg: number,
  elevationDeg: number,
): [number, number, number] {
  const e = elevationDeg * RAD_PER_DEG,
    phase = Math.acos(Math.min(1, Math.max(-1, Math.cos(e) * Math.cos(azimuthDeg * RAD_PER_DEG))));
  const key = discMean(phase) / Math.max(0.1, Math.sin(e));
  return ground.map((t) => Math.round((1000 * t) / Math.max(1e-6, t + key * (1 - t))) / 1000) as [
    number,
    number,
    number,
  ];
}

/**
 * Darkens the performer (premultiplied linear RGBA over `box`) inside the outlines at that frame. In place.
 * @param towards unit vector to the plate's key in the camera frame (x right, y down, z forward); null where it is not
 * known: all is darkened alike
 */
export function shadeOnPerformer(
  step: OnPerformer,
  outlines: readonly (readonly (readonly [number, number])[])[],
  picture: Picture,
  box: Box,
  towards: readonly [number, number, number] | null = null,
): void {
  const { width: w, height: h, data } = picture,
    n = w * h;
  let open: Float32Array | null = null;
  for (const outline of outlines) {
    const mask = rasterizePolygon(
      outline.map(([x, y]) => [x - box[0], y - box[1]] as const),
      w,
      h,
    );
    open ??= new Float32Array(n).fill(1);
    for (let i = 0; i < n; i++) open[i] = open[i]! * (1 - mask[i]!);
  }
  if (open === null) return;
  const lit = step.softPx > 0.1 ? gaussianPlane(open, w, h, step.softPx) : open;
  const faced = towards === null ? null : facedKey(data.subarray(3 * n, 4 * n), w, h, towards),
    mean = towards === null ? 1 : Math.max(0.05, discMean(Math.acos(Math.min(1, Math.max(-1, -towards[2])))));
  for (let c = 0; c < 3; c++) {
    const left = step.transmission[c]!,
      key = (1 / Math.max(0.01, left) - 1) / mean;
    for (let i = 0; i < n; i++)
      if (lit[i]! < 1) {
        const stays = faced === null ? left : 1 / (1 + key * faced[i]!);
        data[c * n + i] = data[c * n + i]! * (1 - (1 - stays) * (1 - lit[i]!));
      }
  }
}

/** More than the light step's: the surface is not taken to face the lens here (own choice). */
const WRAP = 0.35;

/** How squarely each pixel of the filled matte faces the key, 0..1. */
function facedKey(
  alpha: Float32Array,
  width: number,
  height: number,
  towards: readonly [number, number, number],
): Float32Array {
  const cell = workCell(height),
    w = Math.ceil(width / cell),
    h = Math.ceil(height / cell),
    n = w * h;
  const normals = normalsOfMatte(cellMiddles(alpha, width, height, cell), w, h),
    faced = new Float32Array(n),
    out = new Float32Array(width * height);
  for (let i = 0; i < n; i++) faced[i] = facingOf(towards, normals[i]!, normals[n + i]!, normals[2 * n + i]!, WRAP);
  for (let y = 0; y < height; y++) {
    const v = Math.max(0, Math.min(h - 1.001, (y + 0.5) / cell - 0.5)),
      j = Math.floor(v),
      ty = v - j,
      down = j + 1 < h ? w : 0;
    for (let x = 0; x < width; x++) {
      const u = Math.max(0, Math.min(w - 1.001, (x + 0.5) / cell - 0.5)),
        q = Math.floor(u),
        tx = u - q,
        o = j * w + q,
        right = q + 1 < w ? 1 : 0;
      out[y * width + x] =
        (1 - ty) * ((1 - tx) * faced[o]! + tx * faced[o + right]!) +
        ty * ((1 - tx) * faced[o + down]! + tx * faced[o + down + right]!);
    }
  }
  return out;
}
