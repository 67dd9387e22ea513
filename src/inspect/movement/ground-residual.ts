/**
 * How far the plate's ground about a foot lies from where it is planned: a piece of one frame, kept, is laid on another
 * by the planned homography, and each of its cells tells by what it is left beside it (least squares, inverse
 * compositional: Baker & Matthews, IJCV 56, 2004). The cells vote: the shift at the foot, and a linear distortion about
 * it as the plan's lens and tilt need not be right, are fitted to what they say with Cauchy's weights, none of them
 * taken for surer than a floor. So a post or a leg, whose hard edges tell most, does not outvote the ground about it,
 * and the error comes from how the cells scatter. Display-coded luma planes, height × width.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { invertSymmetric } from '../../geometry/linear-solve.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';

/** Smoothing before pictures are compared, px. */
const SMOOTH = 1;
/** Pixels of smoothed noise that make one of their own: 4 pi sigma squared. */
const TOGETHER = 4 * Math.PI * SMOOTH * SMOOTH;
const OF_MEDIAN = 1.4826;
/** Least noise that is believed: rounding to eight bits after smoothing. */
const LEAST_NOISE = 0.0006;
/** Cells across the piece, larger ones where the small tell too little; pixels of a cell that must be ground, and how ill one may be told and still be heard, px. */
const ACROSS = [10, 5, 3] as const,
  CELL_FEWEST = 60,
  CELL_SD = 1.2;
/** No cell is surer than this, px. */
const CELL_FLOOR = 0.12;
/** Differences from the middle that count for the light, in standard deviations. */
const OUTLIES = 4;
/** Cauchy's constant, standard deviations. */
const CAUCHY = 2.385;
/** Distortion over the piece's half width that is thought likely, px. */
const LIKELY_PX = 2;
const STEPS = 8,
  SETTLED_PX = 0.01;
/** Surer than this a shift must be told, px. */
const SURE = 0.2;
/** Farthest that is looked for, px beside where the last frame lay. */
const FARTHEST = 4;
/** Fewest pixels and cells of a piece, the share of its pixels that must be seen, and that of the cells' votes that
 * must agree. */
const FEWEST = 400,
  FEWEST_CELLS = 4,
  SEEN = 0.5,
  AGREE = 0.55;
/** Most pixels of a piece; a larger one is read on every so many rows and columns. */
const MOST = 9000;
const P = 6;
/** Sums that a cell keeps. */
const SUMS = 15;

/** The cell of each pixel, and how many cells there are. */
interface Parting {
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

export interface GroundShift {
  /** Px of the kept frame by which the ground lies beside the plan at the foot. */
  readonly x: number;
  readonly y: number;
  /** Standard deviation of the worse direction, px. */
  readonly sd: number;
}

/** A smoothed rectangle of a plane with its corner. */
interface Cut {
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

/** Median of absolute values. */
function medianOf(v: Float32Array): number {
  const s = Float32Array.from(v, Math.abs).sort();
  return s[s.length >> 1]!;
}

/** What one step of the fit sees of a frame: differences (brightness and contrast fitted), and which are there. */
function differences(
  piece: GroundPiece,
  cut: Cut,
  warp: Mat3,
  q: Float64Array,
  hides: (x: number, y: number) => boolean,
): Float32Array | null {
  const n = piece.x.length,
    seen = new Float32Array(n),
    [fx, fy] = piece.foot;
  let there = 0;
  for (let i = 0; i < n; i++) {
    const u = (piece.x[i]! - fx) / piece.half,
      v = (piece.y[i]! - fy) / piece.half;
    const [x, y] = apply(
        warp,
        piece.x[i]! + q[0]! + q[2]! * u + q[3]! * v,
        piece.y[i]! + q[1]! + q[4]! * u + q[5]! * v,
      ),
      out = x < cut.x0 + 2 || y < cut.y0 + 2 || x > cut.x0 + cut.w - 2 || y > cut.y0 + cut.h - 2;
    seen[i] = out || hides(x, y) ? NaN : sampleBilinear(cut.data, cut.w, cut.h, x - cut.x0, y - cut.y0);
    if (!Number.isNaN(seen[i]!)) there++;
  }
  if (there * piece.every ** 2 < FEWEST || there < SEEN * n) return null;
  const [gain, offset] = lightBetween(piece.value, seen);
  for (let i = 0; i < n; i++) seen[i] = gain * seen[i]! + offset - piece.value[i]!;
  return seen;
}

/** Gain and offset that make of what is seen what was kept, by least squares on what differs usually little. */
function lightBetween(kept: Float32Array, seen: Float32Array): readonly [number, number] {
  const apart = seen.map((v, i) => v - kept[i]!),
    there = apart.filter((v) => !Number.isNaN(v)).sort(),
    middle = there[there.length >> 1]!,
    most = OUTLIES * OF_MEDIAN * medianOf(there.map((v) => v - middle));
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

/** What one cell says: its middle beside the foot in half widths, by what it lies off, px, and how sure it is. */
interface Vote {
  readonly u: number;
  readonly v: number;
  readonly d: readonly [number, number];
  /** Inverse covariance: xx, xy, yy. */
  readonly sure: readonly [number, number, number];
}

/** Slopes of another frame at a piece's pixels, px of that frame. */
interface Slopes {
  readonly x: Float32Array;
  readonly y: Float32Array;
}

/** Slopes of what is seen where the piece lies; 0 where nothing of it is seen. */
function slopesOf(piece: GroundPiece, cut: Cut, warp: Mat3, q: Float64Array, e: Float32Array): Slopes {
  const x = new Float32Array(e.length),
    y = new Float32Array(e.length),
    at = (u: number, v: number): number => sampleBilinear(cut.data, cut.w, cut.h, u - cut.x0, v - cut.y0),
    [fx, fy] = piece.foot;
  for (let i = 0; i < e.length; i++) {
    if (Number.isNaN(e[i]!)) continue;
    const u = (piece.x[i]! - fx) / piece.half,
      v = (piece.y[i]! - fy) / piece.half;
    const [a, b] = apply(
      warp,
      piece.x[i]! + q[0]! + q[2]! * u + q[3]! * v,
      piece.y[i]! + q[1]! + q[4]! * u + q[5]! * v,
    );
    x[i] = (at(a + 1, b) - at(a - 1, b)) / 2;
    y[i] = (at(a, b + 1) - at(a, b - 1)) / 2;
  }
  return { x, y };
}

/**
 * Each cell's own shift by one step of least squares over its pixels, its own brightness aside. `now`: slopes of the
 * other frame. What both frames' slopes have in common is the ground's; grain makes slopes too, but others in each, so
 * a cell without pattern says nothing (instrumental variables: Reiersol, Arkiv foer Matematik 32A, 1945, from memory).
 * Without `now` the kept frame's slopes count as they are, which is enough for a step but too sure.
 */
function votesOf(
  piece: GroundPiece,
  { cell, cells }: Parting,
  e: Float32Array,
  noise: number,
  now: Slopes | null,
): Vote[] {
  const sums = Array.from({ length: cells }, () => new Float64Array(SUMS)),
    [fx, fy] = piece.foot,
    { gx, gy } = piece,
    hx = now?.x ?? gx,
    hy = now?.y ?? gy;
  for (let i = 0; i < e.length; i++) {
    if (Number.isNaN(e[i]!)) continue;
    const s = sums[cell[i]!]!;
    s[0]! += 1;
    s[1]! += gx[i]!;
    s[2]! += gy[i]!;
    s[3]! += e[i]!;
    s[4]! += gx[i]! * gx[i]!;
    s[5]! += gy[i]! * gy[i]!;
    s[6]! += gx[i]! * gy[i]!;
    s[7]! += e[i]! * e[i]!;
    s[8]! += gx[i]! * e[i]!;
    s[9]! += gy[i]! * e[i]!;
    s[10]! += gx[i]! * hx[i]!;
    s[11]! += gy[i]! * hy[i]!;
    s[12]! += (gx[i]! * hy[i]! + gy[i]! * hx[i]!) / 2;
    s[13]! += piece.x[i]! - fx;
    s[14]! += piece.y[i]! - fy;
  }
  return sums.flatMap((s) => {
    const vote = voteOf(s, noise, piece.every);
    return vote === null ? [] : [{ ...vote, u: s[13]! / s[0]! / piece.half, v: s[14]! / s[0]! / piece.half }];
  });
}

/**
 * A cell's vote of its sums: count; slopes and difference; their squares and products; slopes in common. Null where it
 * tells too little.
 */
function voteOf(s: Float64Array, noise: number, every: number): Pick<Vote, 'd' | 'sure'> | null {
  const n = s[0]!;
  if (n < CELL_FEWEST / every ** 2) return null;
  const about = (product: number, a: number, b: number): number => product - (a * b) / n,
    xx = about(s[4]!, s[1]!, s[1]!),
    yy = about(s[5]!, s[2]!, s[2]!),
    xy = about(s[6]!, s[1]!, s[2]!),
    ee = about(s[7]!, s[3]!, s[3]!),
    bx = about(s[8]!, s[1]!, s[3]!),
    by = about(s[9]!, s[2]!, s[3]!),
    tx = about(s[10]!, s[1]!, s[1]!),
    ty = about(s[11]!, s[2]!, s[2]!),
    t = about(s[12]!, s[1]!, s[2]!),
    det = tx * ty - t * t;
  if (!(tx > 0 && ty > 0 && det > 0)) return null;
  const [ia, ib, ic] = [ty / det, -t / det, tx / det],
    // A cell that does not fit at all is as unsure as it differs.
    scale = Math.max(noise * noise, ee / n) * Math.max(1, TOGETHER / every ** 2),
    cxx = scale * (ia * ia * xx + 2 * ia * ib * xy + ib * ib * yy) + CELL_FLOOR ** 2,
    cyy = scale * (ib * ib * xx + 2 * ib * ic * xy + ic * ic * yy) + CELL_FLOOR ** 2,
    cxy = scale * (ia * ib * xx + (ia * ic + ib * ib) * xy + ib * ic * yy);
  if (Math.max(cxx, cyy) > CELL_SD ** 2) return null;
  const of = cxx * cyy - cxy * cxy;
  return { d: [ia * bx + ib * by, ib * bx + ic * by], sure: [cyy / of, -cxy / of, cxx / of] };
}

/** Shift at the foot and distortion about it that the votes speak for, with their share that agrees and its error. */
function elected(
  votes: readonly Vote[],
  now: Float64Array,
): { readonly q: Float64Array; readonly sd: number; readonly agree: number } | null {
  let weights = votes.map(() => 1),
    q: Float64Array = new Float64Array(P),
    inverse: Float64Array | null = null,
    scatter = 1;
  for (let round = 0; round < 12; round++) {
    const a = new Float64Array(P * P),
      b = new Float64Array(P);
    votes.forEach((vote, k) => {
      const [xx, xy, yy] = vote.sure.map((s) => s * weights[k]!) as [number, number, number],
        base = [1, vote.u, vote.v],
        slots = [
          [0, 2, 3],
          [1, 4, 5],
        ];
      for (let r = 0; r < 2; r++)
        for (let m = 0; m < 3; m++) {
          const row = slots[r]![m]!,
            info = r === 0 ? [xx, xy] : [xy, yy];
          b[row] = b[row]! + base[m]! * (info[0]! * vote.d[0] + info[1]! * vote.d[1]);
          for (let c = 0; c < 2; c++)
            for (let l = 0; l < 3; l++) {
              const at = row * P + slots[c]![l]!;
              a[at] = a[at]! + base[m]! * base[l]! * info[c]!;
            }
        }
    });
    for (let r = 2; r < P; r++) {
      a[r * P + r] = a[r * P + r]! + 1 / LIKELY_PX ** 2;
      b[r] = b[r]! + now[r]! / LIKELY_PX ** 2;
    }
    inverse = invertSymmetric(a, P);
    if (inverse === null) return null;
    q = times(inverse, b);
    const far = votes.map((vote) => {
      const x = vote.d[0] - q[0]! - q[2]! * vote.u - q[3]! * vote.v,
        y = vote.d[1] - q[1]! - q[4]! * vote.u - q[5]! * vote.v;
      return vote.sure[0] * x * x + 2 * vote.sure[1] * x * y + vote.sure[2] * y * y;
    });
    weights = far.map((c) => 1 / (1 + c / CAUCHY ** 2));
    const sum = weights.reduce((s, w) => s + w, 0);
    scatter = far.reduce((s, c, k) => s + weights[k]! * c, 0) / Math.max(1, 2 * sum - P / 2);
  }
  return {
    q,
    sd: Math.sqrt(Math.max(1, scatter) * Math.max(inverse![0]!, inverse![P + 1]!)),
    agree: weights.filter((w) => w > 0.5).length / votes.length,
  };
}

const times = (m: Float64Array, v: Float64Array): Float64Array =>
  Float64Array.from({ length: P }, (_, r) => {
    let s = 0;
    for (let c = 0; c < P; c++) s += m[r * P + c]! * v[c]!;
    return s;
  });

/** The smoothed part of a plane on which a piece will come to lie. */
function cutUnder(
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

/**
 * The ground's shift beside the plan on another frame; null where it can't be told: too little pattern, too much of it
 * hidden, or its cells disagree.
 * @param warp pixels of the kept frame to this one's, as planned
 * @param start shift of the frame before
 * @param hides whether something that passes hides the ground at a pixel of this frame
 */
export function groundResidual(
  piece: GroundPiece,
  plane: Float32Array,
  size: readonly [number, number],
  warp: Mat3,
  start: readonly [number, number] = [0, 0],
  hides: (x: number, y: number) => boolean = () => false,
): GroundShift | null {
  const cut = cutUnder(piece, plane, size, warp, FARTHEST + 4 + Math.hypot(...start));
  if (cut === null) return null;
  for (const parting of piece.partings) {
    const r = fitted(piece, parting, { cut, warp, hides }, start);
    if (r !== null) return r;
  }
  return null;
}

/** Another frame under a piece: its smoothed part, where the piece is planned to lie on it, and what hides it. */
interface Under {
  readonly cut: Cut;
  readonly warp: Mat3;
  readonly hides: (x: number, y: number) => boolean;
}

function fitted(
  piece: GroundPiece,
  parting: Parting,
  { cut, warp, hides }: Under,
  start: readonly [number, number],
): GroundShift | null {
  const q = new Float64Array(P);
  q[0] = start[0];
  q[1] = start[1];
  let moved = Infinity;
  for (let step = 0; step < STEPS; step++) {
    const e = differences(piece, cut, warp, q, hides);
    if (e === null) return null;
    const noise = Math.max(LEAST_NOISE, OF_MEDIAN * medianOf(e.filter((v) => !Number.isNaN(v)))),
      settled = step === STEPS - 1 || moved < SETTLED_PX,
      votes = votesOf(piece, parting, e, noise, settled ? slopesOf(piece, cut, warp, q, e) : null),
      r = votes.length < FEWEST_CELLS ? null : elected(votes, q);
    if (r === null) return null;
    for (let k = 0; k < P; k++) q[k] = q[k]! - r.q[k]!;
    if (Math.hypot(q[0]! - start[0], q[1]! - start[1]) > FARTHEST) return null;
    moved = Math.hypot(r.q[0]!, r.q[1]!);
    if (settled) return r.agree < AGREE || r.sd > SURE ? null : { x: q[0]!, y: q[1]!, sd: r.sd };
  }
  return null;
}
