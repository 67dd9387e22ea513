/**
 * A piece of one frame's ground, kept with its values and slopes and parted into cells, and what another frame shows
 * where the piece is thought to lie: its differences, brightness and contrast aside, and its slopes. Display-coded luma
 * planes, height × width.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { selectInPlace } from '../../image/statistics.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';

/** Smoothing before pictures are compared, px. */
export const SMOOTH = 1;
/** Standard deviations in a median of absolute values. */
export const OF_MEDIAN = 1.4826;
/** Cells across the piece, larger ones where the small tell too little. */
const ACROSS = [10, 5, 3] as const;
/** Differences from the middle that count for the light, in standard deviations. */
const OUTLIES = 4;
/** Fewest pixels of a piece, and the share of them that must be seen. */
const FEWEST = 400,
  SEEN = 0.5;
/** Most pixels of a piece; a larger one is read on every so many rows and columns. */
const MOST = 9000;

/** The cell of each pixel, and how many cells there are. */
export interface Parting {
  readonly cell: Uint16Array;
  readonly cells: number;
}

/** A piece of ground kept from one frame. */
export interface GroundPiece {
  /** Its foot, and half its width, px. */
  readonly foot: readonly [number, number];
  readonly half: number;
  /** Places of its pixels' middles, smoothed values and slopes there. */
  readonly x: Float32Array;
  readonly y: Float32Array;
  readonly value: Float32Array;
  readonly gx: Float32Array;
  readonly gy: Float32Array;
  /** Partings into cells, from fine to coarse. */
  readonly partings: readonly Parting[];
  /** How many pixels of a row lie between two that are read, and one. */
  readonly every: number;
}

/** A smoothed rectangle of a plane with its corner. */
export interface Cut {
  readonly data: Float32Array;
  readonly x0: number;
  readonly y0: number;
  readonly w: number;
  readonly h: number;
}

function smoothed(
  plane: Float32Array,
  [W, H]: readonly [number, number],
  [ax, ay, bx, by]: readonly [number, number, number, number],
): Cut | null {
  const x0 = Math.max(0, Math.floor(ax)),
    y0 = Math.max(0, Math.floor(ay)),
    w = Math.min(W, Math.ceil(bx)) - x0,
    h = Math.min(H, Math.ceil(by)) - y0;
  if (w < 8 || h < 8) return null;
  const data = new Float32Array(w * h);
  for (let y = 0; y < h; y++) data.set(plane.subarray((y0 + y) * W + x0, (y0 + y) * W + x0 + w), y * w);
  return { data: gaussianPlane(data, w, h, SMOOTH), x0, y0, w, h };
}

/**
 * Keeps the pixels of a box on which `isGround` holds. Null of fewer than a few hundred.
 * @param box x0, y0 inclusive, x1, y1 exclusive, px
 */
export function keepPiece(
  plane: Float32Array,
  size: readonly [number, number],
  foot: readonly [number, number],
  box: readonly [number, number, number, number],
  isGround: (x: number, y: number) => boolean,
): GroundPiece | null {
  const cut = smoothed(plane, size, box);
  if (cut === null) return null;
  const { data, x0, y0, w, h } = cut,
    rows: number[][] = [[], [], [], [], []],
    every = Math.max(1, Math.ceil(Math.sqrt((w * h) / MOST)));
  for (let y = 2; y < h - 2; y += every)
    for (let x = 2; x < w - 2; x += every) {
      if (!isGround(x0 + x + 0.5, y0 + y + 0.5)) continue;
      const i = y * w + x;
      rows[0]!.push(x0 + x + 0.5);
      rows[1]!.push(y0 + y + 0.5);
      rows[2]!.push(data[i]!);
      rows[3]!.push((data[i + 1]! - data[i - 1]!) / 2);
      rows[4]!.push((data[i + w]! - data[i - w]!) / 2);
    }
  if (rows[0]!.length * every ** 2 < FEWEST) return null;
  const [px, py, value, gx, gy] = rows.map((r) => Float32Array.from(r)) as [
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const partings = ACROSS.map((across): Parting => {
    const side = w / across,
      cell = Uint16Array.from(px, (v, i) => {
        const column = Math.min(across - 1, Math.floor((v - x0) / side));
        return column + across * Math.floor((py[i]! - y0) / side);
      });
    return { cell, cells: cell.reduce((m, c) => Math.max(m, c), 0) + 1 };
  });
  return { foot, half: (box[2] - box[0]) / 2, x: px, y: py, value, gx, gy, partings, every };
}

/** Median of the absolute values of what is a number; NaN where nothing is. */
export function medianOf(v: Float32Array): number {
  const there = new Float32Array(v.length);
  let n = 0;
  for (let i = 0; i < v.length; i++) if (v[i] === v[i]) there[n++] = Math.abs(v[i]!);
  return n === 0 ? NaN : selectInPlace(there.subarray(0, n), n >> 1);
}

/** Where a piece's pixels come to lie on another frame, px: moved and distorted by `q` about its foot, then by the plan. */
function placesOn(
  piece: GroundPiece,
  m: Mat3,
  q: Float64Array,
): { readonly x: Float64Array; readonly y: Float64Array } {
  const n = piece.x.length,
    x = new Float64Array(n),
    y = new Float64Array(n),
    [fx, fy] = piece.foot;
  for (let i = 0; i < n; i++) {
    const u = (piece.x[i]! - fx) / piece.half,
      v = (piece.y[i]! - fy) / piece.half,
      a = piece.x[i]! + q[0]! + q[2]! * u + q[3]! * v,
      b = piece.y[i]! + q[1]! + q[4]! * u + q[5]! * v,
      w = m[6] * a + m[7] * b + m[8];
    x[i] = (m[0] * a + m[1] * b + m[2]) / w;
    y[i] = (m[3] * a + m[4] * b + m[5]) / w;
  }
  return { x, y };
}

/** What one step of the fit sees of a frame: differences (brightness and contrast fitted), and which are there. */
export function differences(
  piece: GroundPiece,
  cut: Cut,
  warp: Mat3,
  q: Float64Array,
  hides: (x: number, y: number) => boolean,
): Float32Array | null {
  const n = piece.x.length,
    seen = new Float32Array(n),
    places = placesOn(piece, warp, q),
    [right, bottom] = [cut.x0 + cut.w - 2, cut.y0 + cut.h - 2];
  let there = 0;
  for (let i = 0; i < n; i++) {
    const x = places.x[i]!,
      y = places.y[i]!,
      out = x < cut.x0 + 2 || y < cut.y0 + 2 || x > right || y > bottom;
    if (out || hides(x, y)) seen[i] = NaN;
    else {
      seen[i] = sampleBilinear(cut.data, cut.w, cut.h, x - cut.x0, y - cut.y0);
      there++;
    }
  }
  if (there * piece.every ** 2 < FEWEST || there < SEEN * n) return null;
  const [gain, offset] = lightBetween(piece.value, seen);
  for (let i = 0; i < n; i++) seen[i] = gain * seen[i]! + offset - piece.value[i]!;
  return seen;
}

/** Gain and offset that make of what is seen what was kept, by least squares on what differs usually little. */
function lightBetween(kept: Float32Array, seen: Float32Array): readonly [number, number] {
  const apart = new Float32Array(seen.length),
    there = new Float32Array(seen.length);
  let n = 0;
  for (let i = 0; i < seen.length; i++) {
    const v = seen[i]! - kept[i]!;
    apart[i] = v;
    if (v === v) there[n++] = v;
  }
  const middle = selectInPlace(there.subarray(0, n), n >> 1);
  for (let i = 0; i < n; i++) there[i] = there[i]! - middle;
  const most = OUTLIES * OF_MEDIAN * medianOf(there.subarray(0, n));
  let s = 0,
    sa = 0,
    sb = 0,
    saa = 0,
    sab = 0;
  for (let i = 0; i < apart.length; i++) {
    if (!(Math.abs(apart[i]! - middle) <= most)) continue;
    const a = seen[i]!,
      b = kept[i]!;
    s++;
    sa += a;
    sb += b;
    saa += a * a;
    sab += a * b;
  }
  const spread = saa - (sa * sa) / s,
    gain = spread > 1e-9 ? Math.min(2, Math.max(0.5, (sab - (sa * sb) / s) / spread)) : 1;
  return [gain, (sb - gain * sa) / s];
}

/** Slopes of another frame at a piece's pixels, px of that frame. */
export interface Slopes {
  readonly x: Float32Array;
  readonly y: Float32Array;
}

/** Slopes of what is seen where the piece lies; 0 where nothing of it is seen. */
export function slopesOf(piece: GroundPiece, cut: Cut, warp: Mat3, q: Float64Array, e: Float32Array): Slopes {
  const x = new Float32Array(e.length),
    y = new Float32Array(e.length),
    places = placesOn(piece, warp, q),
    at = (u: number, v: number): number => sampleBilinear(cut.data, cut.w, cut.h, u - cut.x0, v - cut.y0);
  for (let i = 0; i < e.length; i++) {
    if (Number.isNaN(e[i]!)) continue;
    const a = places.x[i]!,
      b = places.y[i]!;
    x[i] = (at(a + 1, b) - at(a - 1, b)) / 2;
    y[i] = (at(a, b + 1) - at(a, b - 1)) / 2;
  }
  return { x, y };
}

/** The smoothed part of a plane on which a piece will come to lie. */
export function cutUnder(
  piece: GroundPiece,
  plane: Float32Array,
  size: readonly [number, number],
  warp: Mat3,
  room: number,
): Cut | null {
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (let i = 0; i < piece.x.length; i += 7) {
    const [x, y] = apply(warp, piece.x[i]!, piece.y[i]!);
    x0 = Math.min(x0, x);
    y0 = Math.min(y0, y);
    x1 = Math.max(x1, x);
    y1 = Math.max(y1, y);
  }
  return smoothed(plane, size, [x0 - room, y0 - room, x1 + room, y1 + room]);
}
