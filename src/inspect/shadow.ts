/**
 * Whether the shadow that the recipe's key asks for is there, on its side, and as dark as the plate's own. Dark is held
 * against dark where both count: of the ground that is visibly darkened away from the contact, the darker third's edge,
 * seen and asked. What is asked goes pixel by pixel with the share of the key that the body hides (half shade is no
 * fault) and that the ground there has at all: the plate's own shade under the performer's takes no second shadow.
 */
import { gaussianPlane } from '../image/gaussian.js';
import { createPicture } from '../image/picture.js';
import { groundGeometry, shadeGround, type Box } from '../join/ground/ground.js';
import { ownShadowAt, ownShadowOf, softened } from '../join/ground/own-shadow.js';
import type { GroundFrame, GroundStep } from '../join/types.js';
import { dot, type Vec3 } from '../geometry/mat3.js';
import { bt709Decode, bt709Encode } from '../colour/transfer.js';
import { linearise } from '../media/curve-table.js';
import { grow, quantile, type SeenFrame } from './frame.js';

export interface ShadowReading {
  /** Degrees on the picture between where the shadow lies and where the key throws it; 180 where there is none. */
  readonly offDeg: number;
  /** The same with its sense: positive where it would have to be turned clockwise, as seen, to lie where it belongs. */
  readonly turnDeg: number;
  /**
   * Light left over light asked to be left, in stops: positive where the shadow is too light. Null where too little of
   * either is seen.
   */
  readonly stops: number | null;
  /** Where it should lie. */
  readonly at: Box;
}

/** Least share by which coded luma must be darkened to count: blurred grain stays below a third of it. */
const FAINT = 0.05;

/**
 * `veil`: share that a pane before it takes. Null where no shadow is to be seen by rights (hidden behind the performer,
 * or out of the picture), or where it falls on marked surfaces: those bend it.
 */
export function readShadow(f: SeenFrame, step: GroundStep, veil = 0): ShadowReading | null {
  const at = step.frames.find((g) => g.frame === f.frame);
  if (
    f.box === null ||
    at === undefined ||
    !step.shadow ||
    step.receiver !== 'ground' ||
    (step.receivers?.length ?? 0) > 0
  )
    return null;
  const { width: W, height: H } = f.join;
  const g = groundGeometry(step, at, W, H);
  // Middle of the shadow: half the performer's height over the foot, thrown along the key.
  const body = bodyBox(f, f.box);
  const tall = (body[3] - body[1]) / at.pxPerMetre;
  const up = dot(g.light, g.up);
  if (up < 0.05) return null;
  const k = (0.55 * tall) / up;
  const p: Vec3 = [
    g.foot[0] + 0.55 * tall * g.up[0] - k * g.light[0],
    g.foot[1] + 0.55 * tall * g.up[1] - k * g.light[1],
    g.foot[2] + 0.55 * tall * g.up[2] - k * g.light[2],
  ];
  if (!(p[2] > 0.05)) return null;
  const sx = g.principal[0] + (g.focalPx * p[0]) / p[2] - at.foot[0],
    sy = g.principal[1] + (g.focalPx * p[1]) / p[2] - at.foot[1];
  const long = Math.hypot(sx, sy);
  const wide = body[2] - body[0];
  if (long < 0.3 * wide) return null;
  const [x0, y0, x1, y1] = grow(body, 1.6 * (body[3] - body[1]), 0.4 * (body[3] - body[1]), W, H);
  const w = x1 - x0,
    h = y1 - y0;
  const expected = lit(f, step, thrown(f, body, step, at, [x0, y0, x1, y1]), [x0, y0, x1, y1]);
  const a = new Float32Array(w * h),
    b = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * W + x0 + x;
      a[y * w + x] = f.luma[i]!;
      b[y * w + x] = f.plateLuma[i]!;
    }
  // Light let through by the shadow as it is seen through the pane, and from what darkness on a pixel counts: nearly
  // half of what is asked.
  const through =
    veil + (1 - veil) * (0.2126 * step.transmission[0] + 0.7152 * step.transmission[1] + 0.0722 * step.transmission[2]);
  const grey = bt709Encode(0.2),
    shade = 1 - Math.max(FAINT, Math.min(0.12, 0.45 * (1 - bt709Encode(0.2 * through) / grey))),
    // The same as light that is left of what falls on grey.
    leftInShade = bt709Decode(shade * grey) / 0.2;
  const sa = gaussianPlane(a, w, h, 1.5),
    sb = gaussianPlane(b, w, h, 1.5),
    soft = gaussianPlane(expected, w, h, 1.5);
  // A file in which the whole picture came out darker or brighter throws no shadow by that.
  const same: number[] = [];
  for (let i = 0; i < w * h; i += 3)
    if (soft[i]! < 0.02 && sb[i]! >= 0.03 && f.matte[(y0 + Math.floor(i / w)) * W + x0 + (i % w)]! <= 0.03)
      same.push(sa[i]! / sb[i]!);
  const whole = same.length < 200 ? 1 : quantile(same, 0.5);
  let mx = 0,
    my = 0,
    weight = 0,
    room = 0,
    shaded = 0;
  const stops: number[] = [],
    asked: number[] = [];
  let left0 = w,
    top0 = h,
    right0 = 0,
    bottom0 = 0;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * W + x0 + x;
      if (f.matte[i]! > 0.03 || sb[y * w + x]! < 0.03) continue;
      const dx = x0 + x - at.foot[0],
        dy = y0 + y - at.foot[1];
      const placed = expected[y * w + x]! > 0.5;
      if (placed) {
        room++;
        left0 = Math.min(left0, x);
        right0 = Math.max(right0, x + 1);
        top0 = Math.min(top0, y);
        bottom0 = Math.max(bottom0, y + 1);
      }
      const now = sa[y * w + x]! / whole,
        r = now / sb[y * w + x]!;
      // Close to the foot the contact darkens it further, by right.
      const away = dx * dx + dy * dy > 0.12 * wide * wide,
        left = 1 - soft[y * w + x]! * (1 - through);
      if (away && left < leftInShade) asked.push(Math.log2(left));
      if (r > shade) continue;
      if (placed) shaded++;
      const k2 = 1 - r;
      mx += k2 * dx;
      my += k2 * dy;
      weight += k2;
      if (away) stops.push(Math.log2(Math.max(1e-3, bt709Decode(now)) / Math.max(1e-3, bt709Decode(sb[y * w + x]!))));
    }
  }
  if (room < 60) return null;
  const where: Box = [x0 + left0, y0 + top0, x0 + right0, y0 + bottom0];
  // A rim of darkness about the performer alone is no shadow: nothing lies where one belongs, and little anywhere.
  if (weight < 15 || (shaded < 0.1 * room && weight < 0.2 * room))
    return { offDeg: 180, turnDeg: 180, stops: 0, at: where };
  const c = (mx * sx + my * sy) / (Math.hypot(mx, my) * long);
  const offDeg = (Math.acos(Math.min(1, Math.max(-1, c))) * 180) / Math.PI;
  // y counts downwards: a positive cross product is a turn clockwise.
  return {
    offDeg,
    turnDeg: mx * sy - my * sx >= 0 ? offDeg : -offDeg,
    stops: Math.min(stops.length, asked.length) < 15 ? null : quantile(stops, 0.3) - quantile(asked, 0.3),
    at: where,
  };
}

/**
 * Least share of the matte that may lie beyond each side of the body's box: stray pixels of it (a peg's edges on the
 * screen) are no body.
 */
const STRAY = 0.003;

/** Box of the matte but for a few stray pixels. */
function bodyBox(f: SeenFrame, box: Box): Box {
  const W = f.join.width,
    w = box[2] - box[0],
    h = box[3] - box[1];
  const columns = new Float64Array(w),
    rows = new Float64Array(h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const m = f.matte[(box[1] + y) * W + box[0] + x]!;
      columns[x] = columns[x]! + m;
      rows[y] = rows[y]! + m;
    }
  const total = columns.reduce((s, v) => s + v, 0),
    ends = (list: Float64Array): [number, number] => {
      let a = 0,
        b = list.length,
        low = list[0]!,
        high = list[b - 1]!;
      while (a < b - 1 && low < STRAY * total) low += list[++a]!;
      while (b > a + 1 && high < STRAY * total) high += list[--b - 1]!;
      return [a, b];
    };
  const [l, r] = ends(columns),
    [t, b] = ends(rows);
  return [box[0] + l, box[1] + t, box[0] + r, box[1] + b];
}

/** The share of the key hidden, of what the key brings there: the plate's own shade has none to lose. In place. */
function lit(f: SeenFrame, step: GroundStep, cover: Float32Array, over: Box): Float32Array {
  const own = ownShadowOf(
    step.litLinear === undefined ? undefined : { linear: step.litLinear, spread: step.litSpread ?? 0 },
    step.transmission,
  );
  if (own === null) return cover;
  const [x0, y0, x1, y1] = over,
    w = x1 - x0,
    h = y1 - y0,
    n = w * h,
    N = f.plate.width * f.plate.height,
    part = createPicture(w, h, 3);
  for (let c = 0; c < 3; c++)
    for (let y = 0; y < h; y++) {
      const row = c * N + (y0 + y) * f.plate.width + x0;
      part.data.set(f.plate.data.subarray(row, row + w), c * n + y * w);
    }
  linearise(part.data, part.data, 'bt709');
  const soft = softened(part, step.litRadiusPx ?? 2);
  for (let i = 0; i < n; i++) if (cover[i]! > 0) cover[i] = cover[i]! * (1 - ownShadowAt(own, soft, i));
  return cover;
}

/**
 * Share of the key that the performer as seen takes from the ground, over a box: shadows that are thin in the picture
 * fill little of any strip along their axis.
 */
function thrown(f: SeenFrame, box: Box, step: GroundStep, at: GroundFrame, over: Box): Float32Array {
  const W = f.join.width,
    w = box[2] - box[0],
    h = box[3] - box[1],
    [x0, y0, x1, y1] = over;
  const alpha = new Float32Array(w * h),
    out = new Float32Array((x1 - x0) * (y1 - y0));
  for (let y = 0; y < h; y++) alpha.set(f.matte.subarray((box[1] + y) * W + box[0], (box[1] + y) * W + box[2]), y * w);
  const shade = shadeGround({ ...step, contact: false }, at, alpha, box, W, f.join.height, 0.5);
  if (shade === null) return out;
  const [a0, b0, a1, b1] = shade.box,
    left = Math.max(a0, x0),
    right = Math.min(a1, x1);
  for (let y = Math.max(b0, y0); y < Math.min(b1, y1) && right > left; y++)
    out.set(
      shade.cover.subarray((y - b0) * (a1 - a0) + left - a0, (y - b0) * (a1 - a0) + right - a0),
      (y - y0) * (x1 - x0) + left - x0,
    );
  return out;
}
