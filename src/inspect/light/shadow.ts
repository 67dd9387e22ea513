/**
 * Whether the shadow that the recipe's key asks for is there, on its side, and as dark as the plate's own. Dark is held
 * against dark where both count: of the ground that is visibly darkened away from the contact, the darker third's edge,
 * seen and asked. What is asked goes pixel by pixel with the share of the key that the body hides (half shade is no
 * fault) and that the ground there has at all: the plate's own shade under the performer's takes no second shadow.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { shadeGround, type Box } from '../../join/ground/ground.js';
import { groundGeometry } from '../../join/ground/ground-geometry.js';
import { ownShadowAt, ownShadowOf, softened } from '../../join/ground/own-shadow.js';
import type { GroundStep } from '../../join/types.js';
import type { GroundFrame } from '../../join/ground/types.js';
import { dot, type Vec3 } from '../../geometry/mat3.js';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { linearise } from '../../media/curve-table.js';
import { grow, quantile, type SeenFrame } from '../reader/frame.js';

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
  const body = bodyBox(f, f.box),
    wide = body[2] - body[0],
    way = thrownWay(f, step, at, body);
  if (way === null || Math.hypot(...way) < 0.3 * wide) return null;
  const { width: W, height: H } = f.join,
    over = grow(body, 1.6 * (body[3] - body[1]), 0.4 * (body[3] - body[1]), W, H),
    looked = lookedAt(f, over, lit(f, step, thrown(f, body, step, at, over), over)),
    seen = darkened(f, looked, levelsOf(step, veil), at.foot, 0.12 * wide * wide);
  if (seen.room < LEAST_ROOM) return null;
  // A rim of darkness about the performer alone is no shadow: nothing lies where one belongs, and little anywhere.
  if (seen.weight < 15 || (seen.shaded < 0.1 * seen.room && seen.weight < 0.2 * seen.room))
    return { offDeg: 180, turnDeg: 180, stops: 0, at: seen.where };
  const { mx, my, stops, asked } = seen,
    [sx, sy] = way,
    c = (mx * sx + my * sy) / (Math.hypot(mx, my) * Math.hypot(sx, sy)),
    offDeg = (Math.acos(Math.min(1, Math.max(-1, c))) * 180) / Math.PI;
  return {
    offDeg,
    // y counts downwards: a positive cross product is a turn clockwise.
    turnDeg: mx * sy - my * sx >= 0 ? offDeg : -offDeg,
    stops: Math.min(stops.length, asked.length) < 15 ? null : quantile(stops, 0.3) - quantile(asked, 0.3),
    at: seen.where,
  };
}

/** Fewest pixels on which a shadow should lie for it to be judged. */
const LEAST_ROOM = 60;
/** Where along the performer's height its shadow has its middle. */
const MIDDLE = 0.55;

/** Way in the picture from the foot to the shadow's middle, px; null where the key is too low for one. */
function thrownWay(f: SeenFrame, step: GroundStep, at: GroundFrame, body: Box): [number, number] | null {
  const g = groundGeometry(step, at, f.join.width, f.join.height),
    high = MIDDLE * ((body[3] - body[1]) / at.pxPerMetre),
    up = dot(g.light, g.up);
  if (up < 0.05) return null;
  const k = high / up;
  const p: Vec3 = [
    g.foot[0] + high * g.up[0] - k * g.light[0],
    g.foot[1] + high * g.up[1] - k * g.light[1],
    g.foot[2] + high * g.up[2] - k * g.light[2],
  ];
  if (!(p[2] > 0.05)) return null;
  return [
    g.principal[0] + (g.focalPx * p[0]) / p[2] - at.foot[0],
    g.principal[1] + (g.focalPx * p[1]) / p[2] - at.foot[1],
  ];
}

/** What is looked at over a box of the picture: coded luma of join and plate, and what is asked, all blurred. */
interface LookedAt {
  readonly over: Box;
  readonly w: number;
  readonly h: number;
  readonly join: Float32Array;
  readonly plate: Float32Array;
  /** Share of the key that should be hidden, sharp and blurred. */
  readonly asked: Float32Array;
  readonly softAsked: Float32Array;
  /** The join over the plate where nothing is to be darkened: a file that came out darker throws no shadow by that. */
  readonly whole: number;
}

function lookedAt(f: SeenFrame, over: Box, asked: Float32Array): LookedAt {
  const W = f.join.width,
    [x0, y0, x1, y1] = over,
    w = x1 - x0,
    h = y1 - y0,
    blurred = (luma: Float32Array): Float32Array => {
      const part = new Float32Array(w * h);
      for (let y = 0; y < h; y++) part.set(luma.subarray((y0 + y) * W + x0, (y0 + y) * W + x1), y * w);
      return gaussianPlane(part, w, h, 1.5);
    },
    join = blurred(f.luma),
    plate = blurred(f.plateLuma),
    softAsked = gaussianPlane(asked, w, h, 1.5);
  const same: number[] = [];
  for (let i = 0; i < w * h; i += 3)
    if (softAsked[i]! < 0.02 && plate[i]! >= 0.03 && f.matte[(y0 + Math.floor(i / w)) * W + x0 + (i % w)]! <= 0.03)
      same.push(join[i]! / plate[i]!);
  return { over, w, h, join, plate, asked, softAsked, whole: same.length < 200 ? 1 : quantile(same, 0.5) };
}

interface Levels {
  /** Light let through by the shadow as it is seen through the pane. */
  readonly through: number;
  /** Coded luma over the plate's under which a pixel counts as dark: nearly half of what is asked. */
  readonly shade: number;
  /** The same as light that is left of what falls on grey. */
  readonly leftInShade: number;
}

function levelsOf({ transmission: [r, g, b] }: GroundStep, veil: number): Levels {
  const through = veil + (1 - veil) * (0.2126 * r + 0.7152 * g + 0.0722 * b),
    grey = bt709Encode(0.2),
    shade = 1 - Math.max(FAINT, Math.min(0.12, 0.45 * (1 - bt709Encode(0.2 * through) / grey)));
  return { through, shade, leftInShade: bt709Decode(shade * grey) / 0.2 };
}

interface Darkened {
  /** Sum of the darkness, and of its place beside the foot. */
  readonly weight: number;
  readonly mx: number;
  readonly my: number;
  /** Pixels where the shadow should lie, how many of them are dark, and their box in the picture. */
  readonly room: number;
  readonly shaded: number;
  readonly where: Box;
  /** Light left, in stops, where it is dark away from the contact, and where it should be. */
  readonly stops: number[];
  readonly asked: number[];
}

/** @param contact squared distance from the foot within which the contact darkens it further, by right; px² */
function darkened(
  f: SeenFrame,
  { over, w, h, join, plate, asked, softAsked, whole }: LookedAt,
  { through, shade, leftInShade }: Levels,
  foot: readonly [number, number],
  contact: number,
): Darkened {
  const W = f.join.width,
    [x0, y0] = over,
    stops: number[] = [],
    askedStops: number[] = [];
  let mx = 0,
    my = 0,
    weight = 0,
    room = 0,
    shaded = 0;
  let left = w,
    top = h,
    right = 0,
    bottom = 0;
  for (let y = 0, i = 0; y < h; y++) {
    for (let x = 0; x < w; x++, i++) {
      if (f.matte[(y0 + y) * W + x0 + x]! > 0.03 || plate[i]! < 0.03) continue;
      const dx = x0 + x - foot[0],
        dy = y0 + y - foot[1],
        placed = asked[i]! > 0.5;
      if (placed) {
        room++;
        left = Math.min(left, x);
        right = Math.max(right, x + 1);
        top = Math.min(top, y);
        bottom = Math.max(bottom, y + 1);
      }
      const now = join[i]! / whole,
        ratio = now / plate[i]!,
        away = dx * dx + dy * dy > contact,
        askedLeft = 1 - softAsked[i]! * (1 - through);
      if (away && askedLeft < leftInShade) askedStops.push(Math.log2(askedLeft));
      if (ratio > shade) continue;
      if (placed) shaded++;
      const dark = 1 - ratio;
      mx += dark * dx;
      my += dark * dy;
      weight += dark;
      if (away) stops.push(Math.log2(Math.max(1e-3, bt709Decode(now)) / Math.max(1e-3, bt709Decode(plate[i]!))));
    }
  }
  return {
    weight,
    mx,
    my,
    room,
    shaded,
    where: [x0 + left, y0 + top, x0 + right, y0 + bottom],
    stops,
    asked: askedStops,
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
  const shade = shadeGround({ ...step, contact: false }, at, {
    alpha,
    matteBox: box,
    widthPx: W,
    heightPx: f.join.height,
    softEdgePx: 0.5,
  });
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
