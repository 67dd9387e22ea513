/**
 * Draws the performer onto plate pixels: one resampling from take to plate, through the placement's homography and,
 * where the camera's elevation is mended, the view shift. Making smaller, each plate pixel averages a grid of samples
 * no more than a take pixel apart (area integral, so that fur neither shimmers nor thins); making larger, bicubic (Keys
 * 1981, a = −1/2). Premultiplied RGBA, interleaved on the way in: four channels share one address.
 */
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { PlatewrightError } from '../../core/errors.js';
import type { FrameRoom } from './frame-room.js';
import { seenFrom, type Sight } from '../body/view-sight.js';
import { frontAt, type FrontField } from '../body/view-shift.js';

/** RGBA interleaved, width × height × 4. */
export interface Interleaved {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

export function interleave(p: Picture): Interleaved {
  const n = p.width * p.height;
  const out = new Float32Array(4 * n);
  const d = p.data;
  for (let i = 0, o = 0; i < n; i++, o += 4) {
    out[o] = d[i]!;
    out[o + 1] = d[n + i]!;
    out[o + 2] = d[2 * n + i]!;
    out[o + 3] = d[3 * n + i]!;
  }
  return { width: p.width, height: p.height, data: out };
}

/** Vertical mend of the view: take pixel coordinates about the foot, along the upright. */
export interface ViewShift {
  readonly field: FrontField;
  /** Foot and unit direction of the upright (ground to top) in the take's pixels. */
  readonly foot: readonly [number, number];
  readonly along: readonly [number, number];
  readonly sight: Sight;
  /**
   * 1 / (sin e cos e): what lies below the foot in the take's picture stands on the floor, at least this much nearer
   * for each pixel. 0 where the take looks level.
   */
  readonly floor: number;
}

const MOST_GRID = 5;
/**
 * The front surface bends little within so many plate pixels: with a view shift only every so many-th corner of every
 * so many-th line is worked out.
 */
const STRIDE = 4;
/** Steps in which the place in the take is found, as the kernel takes them. */
const STEPS = 4;

const sightList = (k: Sight): number[] => [
  k.cosFrom,
  k.sinFrom,
  k.cosTo,
  k.sinTo,
  k.fromPx,
  k.toPx,
  k.middleFrom,
  k.middleTo,
  k.size,
];
/**
 * Keys' own coefficient, and a rounder one for what is averaged already: held against the practice pictures at −.75 to
 * 0, where sharper ones lay farther off.
 */
const KEYS = -0.5,
  ROUNDER = -0.1;

interface Line {
  readonly u: Float64Array;
  readonly v: Float64Array;
}

/** How the take's grid lies under a plate box. */
interface Lay {
  readonly inverse: Mat3;
  readonly gx: number;
  readonly gy: number;
  readonly larger: boolean;
}

function layOf(toPlate: Mat3, box: readonly [number, number, number, number], averaged: boolean): Lay {
  const inverse = tryInvert(toPlate);
  if (inverse === null)
    throw new PlatewrightError(
      'PW-JOIN-PLACE',
      'the placement folds the performer to a line; check its ground and top marks',
      { kind: 'input' },
    );
  const [m0, m1, m2, m3, m4, m5, m6, m7, m8] = inverse;
  const cx = (box[0] + box[2]) / 2,
    cy = (box[1] + box[3]) / 2;
  const wc = m6 * cx + m7 * cy + m8;
  const uc = (m0 * cx + m1 * cy + m2) / wc,
    vc = (m3 * cx + m4 * cy + m5) / wc;
  const stepX = Math.hypot((m0 - uc * m6) / wc, (m3 - vc * m6) / wc),
    stepY = Math.hypot((m1 - uc * m7) / wc, (m4 - vc * m7) / wc);
  // An averaged source carries its own footprint: bicubic, and a grid only where it is made much smaller again.
  const grid = (step: number): number => Math.min(MOST_GRID, Math.max(1, Math.ceil(step - (averaged ? 0.3 : 0.05))));
  return { inverse, gx: grid(stepX), gy: grid(stepY), larger: averaged || (stepX < 0.95 && stepY < 0.95) };
}

/**
 * Draws `src` (planar premultiplied RGBA) through each of the placements and returns their mean: more than one where
 * the shutter smears. Parameters as of {@link drawPlacedPlain}. @param room where the picture is to lie
 */
export function drawPlaced(
  src: Picture,
  origin: readonly [number, number],
  toPlate: readonly Mat3[],
  box: readonly [number, number, number, number],
  shift: ViewShift | null,
  averaged = false,
  room?: FrameRoom,
): Picture {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = src.width * src.height;
  if (w * h < KERNEL_FROM_PIXELS)
    return meanOf(toPlate.map((m) => drawPlacedPlain(interleave(src), origin, m, box, shift, averaged)));
  const lays = toPlate.map((m) => layOf(m, box, averaged));
  const door = kernels();
  const scope = door.scope();
  try {
    const woven = scope.allocate(16 * n);
    door.run('weave', [scope.input(src.data), woven, n], Math.ceil(n / 1024), 1024);
    const hw = Math.ceil(src.width / CELL),
      hh = Math.ceil(src.height / CELL),
      any = scope.allocate(hw * hh);
    new Uint8Array(door.memory.buffer, any, hw * hh).fill(0);
    door.run('heldCells', [woven, src.width, src.height, 3, any, hw, hh], hh, src.width << 3);
    const held = summed(new Uint8Array(door.memory.buffer, any, hw * hh), hw, hh);
    const heldAt = scope.input(held.sum);
    const f = shift?.field;
    const field = f === undefined ? 0 : scope.input(f.z);
    const outs = lays.map(({ inverse, gx, gy, larger }) => {
      const k = Float64Array.of(
        ...inverse,
        box[0],
        box[1],
        origin[0],
        origin[1],
        shift === null ? 0 : 1,
        ...(shift === null || f === undefined
          ? []
          : [
              shift.foot[0],
              shift.foot[1],
              shift.along[0],
              shift.along[1],
              shift.floor,
              f.x0,
              f.y0,
              f.cell,
              f.width,
              f.height,
              ...sightList(shift.sight),
            ]),
      );
      const out = room?.picture(w, h, 4, true) ?? createPicture(w, h, 4);
      door.run(
        'drawPlaced',
        [
          woven,
          src.width,
          src.height,
          scope.input(k),
          field,
          heldAt,
          held.w,
          held.h,
          scope.output(out.data),
          w,
          h,
          gx,
          gy,
          larger ? 1 : 0,
          averaged ? ROUNDER : KEYS,
        ],
        h,
        w * gx * gy * 4,
        64 * (w + 9),
      );
      return out;
    });
    scope.finish();
    return meanOf(outs);
  } finally {
    scope.close();
  }
}

function meanOf(pictures: readonly Picture[]): Picture {
  const out = pictures[0]!;
  if (pictures.length === 1) return out;
  const d = out.data,
    k = 1 / pictures.length;
  for (const more of pictures.slice(1)) for (let i = 0; i < d.length; i++) d[i] = d[i]! + more.data[i]!;
  for (let i = 0; i < d.length; i++) d[i] = d[i]! * k;
  return out;
}

/**
 * Plain twin of the kernel, one placement.
 * @param toPlate take pixels (after the view shift) → plate pixels
 * @param origin take pixel of the source's corner
 * @param box plate box to draw
 * @param averaged each source pixel is already the mean of several of the take's
 */
export function drawPlacedPlain(
  src: Interleaved,
  origin: readonly [number, number],
  toPlate: Mat3,
  box: readonly [number, number, number, number],
  shift: ViewShift | null,
  averaged = false,
): Picture {
  const { inverse, gx, gy, larger } = layOf(toPlate, box, averaged);
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = w * h;
  const out = createPicture(w, h, 4);
  const [m0, m1, m2, m3, m4, m5, m6, m7, m8] = inverse;
  const share = 1 / (gx * gy);
  const { width: sw, height: sh, data } = src;
  const d = out.data;
  const offX = new Float64Array(gx),
    offY = new Float64Array(gy);
  for (let i = 0; i < gx; i++) offX[i] = (i + 0.5) / gx;
  for (let j = 0; j < gy; j++) offY[j] = (j + 0.5) / gy;
  const weights = new Float64Array(8);
  // Source place of every pixel corner of two rows; inside a pixel the map is as good as bilinear.
  let topU = new Float64Array(w + STRIDE),
    topV = new Float64Array(w + STRIDE),
    lowU = new Float64Array(w + STRIDE),
    lowV = new Float64Array(w + STRIDE);
  const step = shift === null ? 1 : STRIDE;
  const cornerRow = (py: number, us: Float64Array, vs: Float64Array): void => {
    for (let x = 0; x < w + step; x += step) {
      const px = box[0] + x;
      const k = 1 / (m6 * px + m7 * py + m8);
      let u = (m0 * px + m1 * py + m2) * k,
        v = (m3 * px + m4 * py + m5) * k;
      if (shift !== null) {
        // The take's place that the plate shows here: solved by a few steps, z being smooth (view-sight.ts).
        const fx = shift.foot[0],
          fy = shift.foot[1],
          ax = shift.along[0],
          ay = shift.along[1];
        const seen = (u - fx) * ax + (v - fy) * ay;
        const aside = (v - fy) * ax - (u - fx) * ay;
        const stretch = shift.sight.cosTo / shift.sight.cosFrom;
        let t = seen / stretch,
          s = aside;
        for (let q = 0; q < STEPS; q++) {
          const ball = frontAt(shift.field, fx + t * ax - s * ay, fy + t * ay + s * ax);
          const floor = -t * shift.floor;
          const z = ball > floor ? ball : floor;
          const [above, larger] = seenFrom(shift.sight, t, z);
          t += (seen - above) / stretch;
          s = aside / larger;
        }
        u = fx + t * ax - s * ay;
        v = fy + t * ay + s * ax;
      }
      us[x] = u - origin[0] - 0.5;
      vs[x] = v - origin[1] - 0.5;
    }
    if (step > 1)
      for (let x = 0; x < w; x += step)
        for (let j = 1; j < step; j++) {
          us[x + j] = us[x]! + ((us[x + step]! - us[x]!) * j) / step;
          vs[x + j] = vs[x]! + ((vs[x + step]! - vs[x]!) * j) / step;
        }
  };
  const held = occupancy({
    width: sw,
    height: sh,
    channels: 1,
    data: Float32Array.from({ length: sw * sh }, (_, i) => data[4 * i + 3]!),
  });
  const lines = [0, 1].map(() => ({ u: new Float64Array(w + STRIDE), v: new Float64Array(w + STRIDE) })) as [
    Line,
    Line,
  ];
  const lineAt = (y: number, us: Float64Array, vs: Float64Array): void => {
    const first = Math.floor(y / step) * step,
      t = (y - first) / step;
    lines.forEach((l, j) => {
      cornerRow(box[1] + first + j * step, l.u, l.v);
    });
    for (let x = 0; x <= w; x++) {
      us[x] = lines[0].u[x]! * (1 - t) + lines[1].u[x]! * t;
      vs[x] = lines[0].v[x]! * (1 - t) + lines[1].v[x]! * t;
    }
  };
  lineAt(0, topU, topV);
  for (let y = 0; y < h; y++) {
    lineAt(y + 1, lowU, lowV);
    for (let x = 0; x < w; x++) {
      const u00 = topU[x]!,
        u10 = topU[x + 1]!,
        u01 = lowU[x]!,
        u11 = lowU[x + 1]!;
      const v00 = topV[x]!,
        v10 = topV[x + 1]!,
        v01 = lowV[x]!,
        v11 = lowV[x + 1]!;
      if (
        !holds(
          held,
          Math.min(u00, u10, u01, u11) - 2,
          Math.min(v00, v10, v01, v11) - 2,
          Math.max(u00, u10, u01, u11) + 3,
          Math.max(v00, v10, v01, v11) + 3,
        )
      )
        continue;
      let r = 0,
        g = 0,
        b = 0,
        a = 0;
      for (let j = 0; j < gy; j++) {
        const fy = offY[j]!;
        const ul = u00 + (u01 - u00) * fy,
          ur = u10 + (u11 - u10) * fy,
          vl = v00 + (v01 - v00) * fy,
          vr = v10 + (v11 - v10) * fy;
        for (let i = 0; i < gx; i++) {
          const u = ul + (ur - ul) * offX[i]!,
            v = vl + (vr - vl) * offX[i]!;
          if (u <= -2 || v <= -2 || u >= sw + 1 || v >= sh + 1) continue;
          const iu = Math.floor(u),
            iv = Math.floor(v);
          const tu = u - iu,
            tv = v - iv;
          if (larger) {
            keys(tu, averaged ? ROUNDER : KEYS, weights, 0);
            keys(tv, averaged ? ROUNDER : KEYS, weights, 4);
            for (let q = 0; q < 4; q++) {
              const yy = iv + q - 1;
              if (yy < 0 || yy >= sh) continue;
              for (let p = 0; p < 4; p++) {
                const xx = iu + p - 1;
                if (xx < 0 || xx >= sw) continue;
                const f = weights[p]! * weights[4 + q]!,
                  o = (yy * sw + xx) * 4;
                r += f * data[o]!;
                g += f * data[o + 1]!;
                b += f * data[o + 2]!;
                a += f * data[o + 3]!;
              }
            }
            continue;
          }
          if (iu >= 0 && iv >= 0 && iu < sw - 1 && iv < sh - 1) {
            const o = (iv * sw + iu) * 4,
              o2 = o + sw * 4;
            const w00 = (1 - tu) * (1 - tv),
              w10 = tu * (1 - tv),
              w01 = (1 - tu) * tv,
              w11 = tu * tv;
            r += w00 * data[o]! + w10 * data[o + 4]! + w01 * data[o2]! + w11 * data[o2 + 4]!;
            g += w00 * data[o + 1]! + w10 * data[o + 5]! + w01 * data[o2 + 1]! + w11 * data[o2 + 5]!;
            b += w00 * data[o + 2]! + w10 * data[o + 6]! + w01 * data[o2 + 2]! + w11 * data[o2 + 6]!;
            a += w00 * data[o + 3]! + w10 * data[o + 7]! + w01 * data[o2 + 3]! + w11 * data[o2 + 7]!;
            continue;
          }
          // The picture's border: what lies beyond is transparent.
          for (let q = 0; q < 2; q++) {
            const yy = iv + q;
            if (yy < 0 || yy >= sh) continue;
            for (let p = 0; p < 2; p++) {
              const xx = iu + p;
              if (xx < 0 || xx >= sw) continue;
              const f = (p === 0 ? 1 - tu : tu) * (q === 0 ? 1 - tv : tv),
                o = (yy * sw + xx) * 4;
              r += f * data[o]!;
              g += f * data[o + 1]!;
              b += f * data[o + 2]!;
              a += f * data[o + 3]!;
            }
          }
        }
      }
      if (a * share < 0.0015) continue;
      const o = y * w + x;
      d[o] = r > 0 ? r * share : 0;
      d[n + o] = g > 0 ? g * share : 0;
      d[2 * n + o] = b > 0 ? b * share : 0;
      const alpha = a * share;
      d[3 * n + o] = alpha > 1 ? 1 : alpha;
    }
    [topU, lowU] = [lowU, topU];
    [topV, lowV] = [lowV, topV];
  }
  return out;
}

/** Which cells of 8 × 8 source pixels hold anything, as a summed table: most of the box is empty. */
interface Occupancy {
  readonly w: number;
  readonly h: number;
  readonly sum: Int32Array;
}
const CELL = 8;

/** Of the plain twin. */
function occupancy(src: Picture): Occupancy {
  const w = Math.ceil(src.width / CELL),
    h = Math.ceil(src.height / CELL);
  const any = new Uint8Array(w * h);
  const alpha = plane(src, src.channels - 1);
  for (let y = 0, i = 0; y < src.height; y++) {
    const row = (y >> 3) * w;
    for (let x = 0; x < src.width; x++, i++) if (alpha[i]! > 0) any[row + (x >> 3)] = 1;
  }
  return summed(any, w, h);
}

function summed(any: Uint8Array, w: number, h: number): Occupancy {
  const sum = new Int32Array((w + 1) * (h + 1));
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      sum[(y + 1) * (w + 1) + x + 1] =
        any[y * w + x]! + sum[y * (w + 1) + x + 1]! + sum[(y + 1) * (w + 1) + x]! - sum[y * (w + 1) + x]!;
  return { w, h, sum };
}

function holds(o: Occupancy, u0: number, v0: number, u1: number, v1: number): boolean {
  const x0 = Math.max(0, Math.floor(u0 / CELL)),
    y0 = Math.max(0, Math.floor(v0 / CELL)),
    x1 = Math.min(o.w, Math.floor(u1 / CELL) + 1),
    y1 = Math.min(o.h, Math.floor(v1 / CELL) + 1);
  if (x1 <= x0 || y1 <= y0) return false;
  const s = o.w + 1;
  return o.sum[y1 * s + x1]! - o.sum[y0 * s + x1]! - o.sum[y1 * s + x0]! + o.sum[y0 * s + x0]! > 0;
}

function keys(t: number, a: number, out: Float64Array, at: number): void {
  out[at] = ((a * t - 2 * a) * t + a) * t;
  out[at + 1] = ((a + 2) * t - (a + 3)) * t * t + 1;
  out[at + 2] = ((-(a + 2) * t + 2 * a + 3) * t - a) * t;
  out[at + 3] = (a - a * t) * t * t;
}
