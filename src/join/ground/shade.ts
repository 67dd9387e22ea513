/**
 * Lays a measured shade on the plate: in full shadow the key is gone and the fill stays (transmission = fill / (key +
 * fill), per channel), and near the contact part of the fill goes too. Where the plate already lies in shadow there is
 * no key left to take away, so no second shadow is laid over the first (own-shadow.ts). A marked surface that the key
 * meets at another angle than level ground has another share of key to lose: with a key k times as strong, fill / (k
 * key + fill).
 */
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import type { FrameRoom } from '../render/frame-room.js';
import type { Box, GroundShade } from './ground.js';
import { withoutDarkLines } from './dark-lines.js';
import { NOTHING } from './least-shade.js';
import { boxOf } from '../peel/matte-box.js';
import {
  LEAST_SPREAD,
  MIXED,
  ownShadowOf,
  ownShadowToBorder,
  softened,
  type LitGround,
  type OwnShadow,
} from './own-shadow.js';
import type { GroundStep } from '../types.js';

/** Two lamps' shadows, each measured by itself, leave no less than this where they cross. */
const DARKEST = 0.01;

const litOf = (linear: readonly [number, number, number] | undefined, spread = LEAST_SPREAD): LitGround | undefined =>
  linear === undefined ? undefined : { linear, spread };

/** Share of the light that is left where `t` is left of a key of strength 1, for one `key` times as strong. */
function left(t: number, key: number): number {
  return t / Math.max(1e-6, t + key * (1 - t));
}

/**
 * Multiplies `out` (three linear planes over `box`) by the shade; `outline` bounds the receiver, `hidden` holds out
 * what stands in front. `base`: the plate before anything was laid on it, which may be `out` itself.
 */
export function applyShade(
  step: GroundStep,
  shade: GroundShade,
  base: Picture,
  out: Picture,
  box: Box,
  touched: Uint8Array,
  outline: readonly (readonly [number, number])[] | null,
  hidden: Float32Array | null,
  room?: FrameRoom,
): void {
  const sw = shade.box[2] - shade.box[0],
    sh = shade.box[3] - shade.box[1];
  const bound =
    outline === null
      ? null
      : rasterizePolygon(
          outline.map(([x, y]) => [x - shade.box[0], y - shade.box[1]] as const),
          sw,
          sh,
        );
  if (bound !== null && step.receiverSoftPx !== undefined)
    gaussianPlane(bound, sw, sh, step.receiverSoftPx, step.receiverSoftPx, bound);
  // The ground's first, then those of the marked surfaces.
  const lits = [
    ownShadowOf(litOf(step.litLinear, step.litSpread), step.transmission),
    ...(shade.marked === undefined
      ? []
      : (step.receivers ?? []).map((r) => ownShadowOf(litOf(r.litLinear, r.litSpread), step.transmission))),
  ];
  const soft = lits.some((l) => l !== null)
    ? softenedUnder(
        base,
        shade,
        shade.box[0] - box[0],
        shade.box[1] - box[1],
        step,
        lits.find((l) => l !== null)!,
        room,
      )
    : null;
  const laid: LaidShade = { step, shade, bound, lits, soft, hidden };
  if (shade.marked === undefined && shade.further === undefined && sw * sh >= KERNEL_FROM_PIXELS)
    layShade(laid, out, box, touched);
  else layShadePlain(laid, out, box, touched);
}

/** A shade with all that says how much of it falls on each pixel. */
export interface LaidShade {
  readonly step: Pick<GroundStep, 'transmission' | 'contactStrength'>;
  readonly shade: GroundShade;
  /** Limits of the receiver, over the shade's box. */
  readonly bound: Float32Array | null;
  /** Where the plate lies in shadow already: the ground's, then those of the marked surfaces. */
  readonly lits: readonly (OwnShadow | null)[];
  readonly soft: Softened | null;
  /** What stands in front, over the whole box. */
  readonly hidden: Float32Array | null;
}

/** By the kernel (kernels/lay-light.ts); for shades without marked surfaces. */
export function layShade(
  { step, shade, bound, lits, soft, hidden }: LaidShade,
  out: Picture,
  box: Box,
  touched: Uint8Array,
): void {
  const w = box[2] - box[0],
    n = w * (box[3] - box[1]);
  const sw = shade.box[2] - shade.box[0],
    sh = shade.box[3] - shade.box[1];
  const lit = soft === null ? null : lits[0]!;
  const k = Float32Array.of(
    NOTHING,
    step.contactStrength,
    ...(shade.kept === true ? [0, 0, 0] : step.transmission),
    lit?.r ?? 0,
    lit?.g ?? 0,
    lit?.b ?? 0,
    lit?.offset ?? 0,
    lit === null ? 0 : 1,
    ...MIXED,
  );
  const door = kernels(),
    scope = door.scope();
  try {
    const marks = scope.input(touched);
    const under =
      lit === null
        ? [0, 0, 0, 0, 0, 0]
        : [
            scope.input(soft!.picture.data),
            soft!.picture.width,
            soft!.picture.width * soft!.picture.height,
            soft!.x0,
            soft!.y0,
            scope.input(soft!.sharp.data),
          ];
    door.run(
      'layShade',
      [
        scope.input(shade.cover),
        scope.input(shade.contact),
        sw,
        scope.changed(out.data),
        w,
        n,
        shade.box[0] - box[0],
        shade.box[1] - box[1],
        marks,
        scope.input(k),
        ...under,
        bound === null ? 0 : scope.input(bound),
        hidden === null ? 0 : scope.input(hidden),
      ],
      sh,
      sw * 6,
    );
    if (!door.owns(touched)) touched.set(new Uint8Array(door.memory.buffer, marks, touched.length));
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link layShade}, and the way of marked surfaces. */
export function layShadePlain(
  { step, shade, bound, lits, soft, hidden }: LaidShade,
  out: Picture,
  box: Box,
  touched: Uint8Array,
): void {
  const w = box[2] - box[0],
    n = w * (box[3] - box[1]);
  const sw = shade.box[2] - shade.box[0],
    sh = shade.box[3] - shade.box[1];
  const dx = shade.box[0] - box[0],
    dy = shade.box[1] - box[1];
  const { marked } = shade;
  const full = shade.kept === true ? ([0, 0, 0] as const) : step.transmission;
  let [t0, t1, t2] = full;
  const d = out.data;
  for (let y = 0; y < sh; y++) {
    for (let x = 0; x < sw; x++) {
      const i = y * sw + x,
        o = (y + dy) * w + x + dx;
      let cover = shade.cover[i]!;
      let contact = shade.contact[i]! * step.contactStrength;
      const share = marked === undefined ? 0 : marked.share[i]!;
      if (bound !== null) {
        const k = Math.max(bound[i]!, share);
        cover *= k;
        contact *= k;
      }
      if (hidden !== null) {
        cover *= 1 - hidden[o]!;
        contact *= 1 - hidden[o]!;
      }
      let g0 = 0,
        g1 = 0,
        g2 = 0;
      if (shade.further !== undefined) {
        const seen = (bound === null ? 1 : Math.max(bound[i]!, share)) * (hidden === null ? 1 : 1 - hidden[o]!);
        for (const { cover: c, transmission: t } of shade.further) {
          const k = c[i]! * seen;
          g0 += k * (1 - t[0]);
          g1 += k * (1 - t[1]);
          g2 += k * (1 - t[2]);
        }
      }
      const more = Math.max(g0, g1, g2) >= NOTHING;
      if (cover < NOTHING && contact < NOTHING && !more) continue;
      const lit = share > 0.5 ? lits[marked!.number[i]!]! : lits[0]!;
      if (lit !== null && cover > 0) {
        const { picture, x0, y0, sharp, border } = soft!;
        cover *= 1 - ownShadowToBorder(lit, picture, (y + dy - y0) * picture.width + x + dx - x0, sharp, o, border);
        if (cover < NOTHING && contact < NOTHING && !more) continue;
      }
      if (marked !== undefined) {
        const key = 1 + share * (marked.key[i]! - 1);
        [t0, t1, t2] = full;
        if (key !== 1) {
          t0 = left(t0, key);
          t1 = left(t1, key);
          t2 = left(t2, key);
        }
      }
      const open = 1 - cover,
        fill = 1 - contact;
      const least = shade.further === undefined ? 0 : DARKEST;
      const f0 = Math.max(least, open * (1 - t0) + t0 * fill - g0),
        f1 = Math.max(least, open * (1 - t1) + t1 * fill - g1),
        f2 = Math.max(least, open * (1 - t2) + t2 * fill - g2);
      if (1 - f0 < NOTHING && 1 - f1 < NOTHING && 1 - f2 < NOTHING) continue;
      touched[o] = 1;
      d[o] = d[o]! * f0;
      d[n + o] = d[n + o]! * f1;
      d[2 * n + o] = d[2 * n + o]! * f2;
    }
  }
}

/** The plate softened, and where in the whole box that part begins. */
export interface Softened {
  readonly picture: Picture;
  readonly x0: number;
  readonly y0: number;
  /**
   * The plate itself, over the whole box, before anything was laid on it; its dark lines filled under the shade where
   * it has such.
   */
  readonly sharp: Picture;
  /** By what the border of a shadow is told (ownShadowToBorder). */
  readonly border: OwnShadow;
}

/**
 * The plate softened where the key is hidden from it, and where in `base` that part begins; null where it is hidden
 * from nothing.
 */
function softenedUnder(
  base: Picture,
  shade: GroundShade,
  dx: number,
  dy: number,
  step: Pick<GroundStep, 'litRadiusPx' | 'litLinesPx'>,
  border: OwnShadow,
  room?: FrameRoom,
): Softened | null {
  const radius = step.litRadiusPx ?? 2;
  const sw = shade.box[2] - shade.box[0],
    sh = shade.box[3] - shade.box[1];
  const held = boxOf(shade.cover, sw, [0, 0, sw, sh], 0);
  if (held === null) return null;
  let [x0, y0, x1, y1] = held;
  // Whole windows: the mean of each pixel wanted is over the same pixels as in the whole box.
  const r = Math.max(0, Math.floor(radius));
  x0 = Math.max(0, x0 + dx - r);
  y0 = Math.max(0, y0 + dy - r);
  x1 = Math.min(base.width, x1 + dx + r);
  y1 = Math.min(base.height, y1 + dy + r);
  const making = (w: number, h: number): Picture => room?.picture(w, h, 3, true) ?? createPicture(w, h, 3);
  const part = making(x1 - x0, y1 - y0);
  for (let c = 0; c < 3; c++) copyRows(base, [x0, y0], part, [0, 0], c, [part.width, part.height]);
  return {
    sharp: step.litLinesPx === undefined ? base : linesFilled(base, part, [x0, y0], step.litLinesPx, making),
    picture: softened(part, radius, part),
    x0,
    y0,
    border,
  };
}

/** A picture of the size of `base` that holds `part` of it at `from`, its dark lines filled; nothing else is set. */
function linesFilled(
  base: Picture,
  part: Picture,
  from: readonly [number, number],
  half: number,
  making: (w: number, h: number) => Picture,
): Picture {
  const out = making(base.width, base.height),
    filled = withoutDarkLines(part, half, making(part.width, part.height));
  for (let c = 0; c < 3; c++) copyRows(filled, [0, 0], out, from, c, [part.width, part.height]);
  return out;
}

function copyRows(
  from: Picture,
  [fx, fy]: readonly [number, number],
  to: Picture,
  [tx, ty]: readonly [number, number],
  channel: number,
  [w, h]: readonly [number, number],
): void {
  const source = plane(from, channel),
    target = plane(to, channel);
  for (let y = 0; y < h; y++)
    target.set(source.subarray((fy + y) * from.width + fx, (fy + y) * from.width + fx + w), (ty + y) * to.width + tx);
}
