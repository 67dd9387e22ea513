/** Shade of the receiving plane over a box of the picture, by the kernel kernels/shade.ts and its plain twin. */
import type { Vec3 } from '../../geometry/mat3.js';
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { contactAt, contactBalls } from './contact.js';
import type { Box, GroundGeometry } from './ground.js';
import { BLURS, shadowAt, type ShadowMap, type SolidBall } from './shadow-map.js';

/** Is every value over this box written, whatever stood there? */
export function fillsAll(box: Box): boolean {
  return (box[2] - box[0]) * (box[3] - box[1]) >= KERNEL_FROM_PIXELS;
}

/**
 * Fills `cover` (share of the key hidden; 0 without a map) and `contact` (share of the sky hidden by `near`: see
 * contact.ts) over the box; 0 where the plane n · x = d is not seen from in front.
 */
export function fillShade(
  g: GroundGeometry,
  plane: { readonly n: Vec3; readonly d: number },
  map: ShadowMap | null,
  near: readonly SolidBall[],
  box: Box,
  cover: Float32Array,
  contact: Float32Array,
): void {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  if (!fillsAll(box)) {
    fillShadePlain(g, plane, map, near, box, cover, contact);
    return;
  }
  const k = new Float32Array(32);
  k.set([box[0] + 0.5 - g.principal[0], box[1] + 0.5 - g.principal[1], 1 / g.focalPx, ...plane.n, plane.d]);
  const balls = new Float32Array(4 * near.length + 4);
  for (let i = 0; i < near.length; i++) balls.set([...near[i]!.centre, near[i]!.radius ** 2], 4 * i);
  const door = kernels(),
    scope = door.scope();
  try {
    let levels = 0,
      stand = 0;
    if (map !== null) {
      const c = map.cell,
        n = map.width * map.height;
      k.set(
        [
          map.b[0] / c,
          map.b[1] / c,
          map.b[2] / c,
          map.b0 / c + 0.5,
          map.a[0] / c,
          map.a[1] / c,
          map.a[2] / c,
          map.a0 / c + 0.5,
          ...map.light,
          1,
        ],
        7,
      );
      k.set([map.spread / c, map.baseBlur * map.baseBlur, map.width, map.height, map.levels.length, ...BLURS], 21);
      const [first] = map.levels;
      // Made in one piece in the kernels' memory, they are read where they lie.
      if (
        first !== undefined &&
        door.owns(first) &&
        map.levels.every((l, i) => l.byteOffset === first.byteOffset + 4 * n * i)
      )
        levels = first.byteOffset;
      else {
        levels = scope.allocate(4 * n * map.levels.length);
        map.levels.forEach((l, i) => door.view(levels + 4 * n * i, n).set(l));
      }
      stand = scope.input(map.stand);
    }
    const step = contactStep(g, near),
      cells = Math.ceil(w / step) + 2;
    door.run(
      'shadePlane',
      [
        scope.input(k),
        levels,
        stand,
        scope.input(balls),
        near.length,
        step,
        scope.output(cover),
        scope.output(contact),
        w,
        h,
      ],
      h,
      w * 12,
      4 * (cells + 8) + 64,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/**
 * Radii of the smallest ball that one step may span: contact bends over a ball's radius. Along rows only: across them
 * the ground is foreshortened.
 */
const STEP_RADII = 1 / 8;

/** Pixels from place to place of a row between which contact is a line: 4, 8 or 16, or 1 where a ball is small. */
function contactStep(g: GroundGeometry, near: readonly SolidBall[]): number {
  let least = Infinity;
  for (const b of near) least = Math.min(least, (b.radius * g.focalPx) / Math.max(b.centre[2], 1e-6));
  return least * STEP_RADII >= 16 ? 16 : least * STEP_RADII >= 8 ? 8 : least * STEP_RADII >= 4 ? 4 : 1;
}

/** Plain twin of {@link fillShade}, contact at every pixel. */
export function fillShadePlain(
  g: GroundGeometry,
  plane: { readonly n: Vec3; readonly d: number },
  map: ShadowMap | null,
  near: readonly SolidBall[],
  box: Box,
  cover: Float32Array,
  contact: Float32Array,
): void {
  const w = box[2] - box[0];
  const [nx, ny, nz] = plane.n;
  const close = contactBalls(near);
  for (let y = box[1]; y < box[3]; y++) {
    const dy = (y + 0.5 - g.principal[1]) / g.focalPx;
    for (let x = box[0]; x < box[2]; x++) {
      const dx = (x + 0.5 - g.principal[0]) / g.focalPx;
      const facingPlane = dx * nx + dy * ny + nz;
      // Seen from in front only: the line of sight runs against the plane's normal.
      if (facingPlane >= -1e-6) continue;
      const k = plane.d / facingPlane;
      if (!(k > 0)) continue;
      const px = dx * k,
        py = dy * k,
        pz = k;
      const o = (y - box[1]) * w + (x - box[0]);
      if (map !== null) cover[o] = shadowAt(map, px, py, pz);
      contact[o] = contactAt(close, px, py, pz, nx, ny, nz);
    }
  }
}
