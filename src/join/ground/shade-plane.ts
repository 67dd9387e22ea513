/** Shade of the receiving plane over a box of the picture, by the kernel kernels/shade.ts and its plain twin. */
import type { Vec3 } from '../../geometry/mat3.js';
import { KERNEL_FROM_PIXELS, kernels, type KernelScope } from '../../image/kernels.js';
import { contactAt, contactBalls } from './contact.js';
import type { Box } from './ground.js';
import type { GroundGeometry } from './ground-geometry.js';
import { wholeRows, type RowSpans } from './row-spans.js';
import { boxOf } from '../peel/matte-box.js';
import { BLURS, shadowAt, type ShadowMap, type SolidBall } from './shadow-map.js';

/** Is every value over this box written, whatever stood there? */
export function fillsAll(box: Box): boolean {
  return (box[2] - box[0]) * (box[3] - box[1]) >= KERNEL_FROM_PIXELS;
}

/**
 * Fills `cover` (share of the key hidden; 0 without a map) and `contact` (share of the sky hidden by `near`: see
 * contact.ts) over the box; 0 where the plane n · x = d is not seen from in front, and in the columns of each row
 * beyond those returned: there no map reaches and contact is `enough` at most. (A shadow lies aslant in its box.)
 */
export function fillShade(
  g: GroundGeometry,
  plane: { readonly n: Vec3; readonly d: number },
  map: ShadowMap | null,
  near: readonly SolidBall[],
  box: Box,
  cover: Float32Array,
  contact: Float32Array,
  enough = 0,
): RowSpans {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  if (!fillsAll(box)) {
    fillShadePlain(g, plane, map, near, box, cover, contact);
    return wholeRows(w, h);
  }
  const door = kernels(),
    scope = door.scope();
  try {
    const { k, levels, stand, balls } = given(scope, g, plane, map, near, box, enough);
    const spans = scope.allocate(8 * h);
    const step = contactStep(g, near),
      cells = Math.ceil(w / step) + 2;
    door.run(
      'shadePlane',
      [k, levels, stand, balls, near.length, step, scope.output(cover), scope.output(contact), w, h, spans],
      h,
      w * 12,
      4 * (cells + 8) + 64,
    );
    scope.finish();
    return new Int32Array(door.memory.buffer, spans, 2 * h).slice();
  } finally {
    scope.close();
  }
}

/** Contact's reach is looked at so many of its steps and so many rows apart: half a ball's radius, and an eighth. */
const REACH_STEPS = 4,
  REACH_ROWS = 4;

/**
 * The part of a box in which {@link fillShade} finds anything that counts: where the map reaches, `about` pixels around
 * it, and where contact is above `enough`. Its left side lies whole steps of contact's off the box's, so that the
 * values are the same. Null where nothing does.
 */
export function shadeReach(
  g: GroundGeometry,
  plane: { readonly n: Vec3; readonly d: number },
  maps: readonly (ShadowMap | null)[],
  near: readonly SolidBall[],
  box: Box,
  enough: number,
  about: number,
): Box | null {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    step = contactStep(g, near),
    apart = REACH_STEPS * step;
  // Small balls may lie between the places looked at.
  if (!fillsAll(box) || (near.length > 0 && step === 1)) return box;
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0;
  const door = kernels();
  const include = (a: number, b: number, y: number, across: number, down: number): void => {
    if (b <= a) return;
    x0 = Math.min(x0, a - across);
    x1 = Math.max(x1, b + across);
    y0 = Math.min(y0, y - down);
    y1 = Math.max(y1, y + 1 + down);
  };
  maps.forEach((map, i) => {
    const scope = door.scope();
    try {
      const balls = i === 0 ? near : [],
        told = given(scope, g, plane, map, balls, box, enough),
        out = scope.allocate(16 * h);
      door.run(
        'shadeReach',
        [told.k, told.balls, balls.length, apart, REACH_ROWS, w, out],
        h,
        w,
        4 * (Math.ceil(w / apart) + 10) + 64,
      );
      const spans = new Int32Array(door.memory.buffer, out, 4 * h);
      for (let y = 0; y < h; y++) {
        include(spans[4 * y]!, spans[4 * y + 1]!, y, about, about);
        include(spans[4 * y + 2]!, spans[4 * y + 3]!, y, apart, REACH_ROWS);
      }
    } finally {
      scope.close();
    }
  });
  if (x1 <= x0) return null;
  return [
    box[0] + Math.max(0, Math.floor(x0 / step) * step),
    box[1] + Math.max(0, y0),
    box[0] + Math.min(w, x1),
    box[1] + Math.min(h, y1),
  ];
}

/** What the kernels are told of the plane, the map and the balls: pointers. */
function given(
  scope: KernelScope,
  g: GroundGeometry,
  plane: { readonly n: Vec3; readonly d: number },
  map: ShadowMap | null,
  near: readonly SolidBall[],
  box: Box,
  enough: number,
): { readonly k: number; readonly levels: number; readonly stand: number; readonly balls: number } {
  const door = kernels(),
    k = new Float32Array(37);
  k[36] = enough;
  k.set([box[0] + 0.5 - g.principal[0], box[1] + 0.5 - g.principal[1], 1 / g.focalPx, ...plane.n, plane.d]);
  const balls = new Float32Array(4 * near.length + 4);
  for (let i = 0; i < near.length; i++) balls.set([...near[i]!.centre, near[i]!.radius ** 2], 4 * i);
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
    k.set(heldPart(map), 32);
  }
  return { k: scope.input(k), levels, stand, balls: scope.input(balls) };
}

/** From where to where a map holds something at its widest blur, in cells, and what lies between it and nothing. */
function heldPart(map: ShadowMap): readonly [number, number, number, number] {
  const held = boxOf(map.levels[map.levels.length - 1]!, map.width, [0, 0, map.width, map.height], 0);
  return held === null ? [1, 1, 0, 0] : [held[0] - 1, held[1] - 1, held[2], held[3]];
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
