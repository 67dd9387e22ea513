/**
 * A followed region that turns away or bends, carried on: where the flat region is no longer found (ride.ts) and a mark
 * or the clip's end lies beyond, the region goes on from frame to frame with the dense motion inside it
 * (image/flow.ts): points whose way there and back meets, the nearer to its middle the more, and of all their motions
 * the similarity that most of them share (Umeyama, IEEE PAMI 13, 1991; biweight: Beaton & Tukey, 1974). That drifts,
 * some tenths of a pixel a frame, but stays on the body, where a flat region is lost or found elsewhere. Between two
 * marks it is carried from both, each counting by its nearness. What is hidden for a while and found again is left to
 * the ride, which does not go along with what passes.
 */
import { mapTuple } from '../../core/tuples.js';
import { FlowPicture, motionAt, type MotionField } from '../../image/flow.js';
import { apply, multiply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { framesBackward, type LumaFrame, type LumaSource } from './ride-source.js';
import type { RideFrame, RideTrack } from '../types.js';

/** Confidence from which the flat region counts as found; what is carried on here says less. */
const FOUND = 0.3;
const CARRIED = 0.2;
/** Points a side of the region, and the fewest that must come home. */
const POINTS = 24;
const LEAST_POINTS = 24;
/** The way there and back meets within so many pixels, or this share of the way. */
const MEETS_PX = 0.5;
const MEETS = 0.1;
/** Room round the region for its motion from one frame to the next: pixels, and share of its size. */
const ROOM_PX = 48;
const ROOM = 0.6;

export interface SurfaceRequest {
  readonly polygon: readonly Point2[];
  /** Frames on which a hand placed the region. */
  readonly anchors: readonly number[];
  readonly signal?: AbortSignal;
}

/** The track with its lost stretches carried on; the same where there is none. */
export async function carryOnSurface(
  source: LumaSource,
  track: RideTrack,
  request: SurfaceRequest,
): Promise<RideTrack> {
  const frames = [...track.frames];
  const found = frames.map((f) => request.anchors.includes(f.frame) || (f.visible && f.confidence >= FOUND));
  for (let a = 0; a < frames.length; a++) {
    if (found[a]) continue;
    let b = a;
    while (b + 1 < frames.length && !found[b + 1]) b++;
    const before = frames[a - 1];
    const after = frames[b + 1];
    const placed = (f: RideFrame | undefined): boolean => f !== undefined && request.anchors.includes(f.frame);
    if (before === undefined || after === undefined || placed(before) || placed(after)) {
      const ahead =
        before === undefined
          ? []
          : await carried(source.frames(before.frame, frames[b]!.frame + 1), before.homography, request, source);
      const behind =
        after === undefined
          ? []
          : await carried(framesBackward(source, after.frame, frames[a]!.frame), after.homography, request, source);
      for (let k = a; k <= b; k++) {
        const h = met(ahead[k - a], behind[b - k], (k - a + 1) / (b - a + 2), request.polygon);
        if (h !== null)
          frames[k] = {
            ...frames[k]!,
            homography: h,
            corners: mapTuple(track.frames.find((f) => f.frame === track.atFrame)!.corners, ([x, y]) => apply(h, x, y)),
            confidence: CARRIED,
            visible: true,
          };
      }
    }
    a = b;
  }
  return { ...track, frames };
}

/** The region's place on each frame after the first, until it can't be told. */
async function carried(
  frames: AsyncIterable<LumaFrame>,
  from: Mat3,
  { polygon, signal }: SurfaceRequest,
  { widthPx, heightPx }: LumaSource,
): Promise<Mat3[]> {
  const out: Mat3[] = [];
  let h = from;
  let last: Float32Array | null = null;
  for await (const f of frames) {
    signal?.throwIfAborted();
    const luma = Float32Array.from(f.luma);
    if (last !== null) {
      const step = stepOf(last, luma, widthPx, heightPx, h, polygon);
      if (step === null) break;
      h = multiply(step, h);
      out.push(h);
    }
    last = luma;
  }
  return out;
}

/** The similarity that the region's surface goes by from one frame to the next; null where too few points tell it. */
function stepOf(
  a: Float32Array,
  b: Float32Array,
  width: number,
  height: number,
  h: Mat3,
  polygon: readonly Point2[],
): Mat3 | null {
  const corners = polygon.map(([x, y]) => apply(h, x, y));
  const xs = corners.map((c) => c[0]);
  const ys = corners.map((c) => c[1]);
  const [left, right, top, low] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const room = Math.round(Math.max(ROOM_PX, ROOM * Math.max(right - left, low - top)));
  const x0 = Math.max(0, Math.floor(left - room));
  const y0 = Math.max(0, Math.floor(top - room));
  const w = Math.min(width, Math.ceil(right + room)) - x0;
  const t = Math.min(height, Math.ceil(low + room)) - y0;
  if (!(w >= 32) || !(t >= 32)) return null;
  const cut = (p: Float32Array): Float32Array => {
    const out = new Float32Array(w * t);
    for (let y = 0; y < t; y++) out.set(p.subarray((y + y0) * width + x0, (y + y0) * width + x0 + w), y * w);
    return out;
  };
  const first = new FlowPicture(cut(a), w, t);
  const second = new FlowPicture(cut(b), w, t);
  let there: MotionField, back: MotionField;
  try {
    there = motionAt(first, second, 0);
    back = motionAt(first, second, 1);
  } finally {
    first.close();
    second.close();
  }
  const cx = (left + right) / 2;
  const cy = (top + low) / 2;
  const reach = 0.35 * Math.max(right - left, low - top);
  const moved: Moved[] = [];
  for (let j = 0; j < POINTS; j++)
    for (let i = 0; i < POINTS; i++) {
      const x = left + ((i + 0.5) / POINTS) * (right - left);
      const y = top + ((j + 0.5) / POINTS) * (low - top);
      const m = homeAgain(there, back, x - x0, y - y0);
      if (m !== null && inside(corners, x, y))
        moved.push({
          x,
          y,
          u: m[0],
          v: m[1],
          weight: Math.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * reach * reach)),
        });
    }
  return moved.length < LEAST_POINTS ? null : sharedSimilarity(moved);
}

function homeAgain(there: MotionField, back: MotionField, x: number, y: number): readonly [number, number] | null {
  const i = Math.floor(x);
  const j = Math.floor(y);
  if (i < 0 || j < 0 || i >= there.width || j >= there.height) return null;
  const k = j * there.width + i;
  const u = there.u[k]!;
  const v = there.v[k]!;
  const ii = Math.floor(x + u);
  const jj = Math.floor(y + v);
  if (ii < 0 || jj < 0 || ii >= there.width || jj >= there.height) return null;
  const q = jj * there.width + ii;
  return Math.hypot(back.u[q]! - u, back.v[q]! - v) > Math.max(MEETS_PX, MEETS * Math.hypot(u, v)) ? null : [u, v];
}

/** Even-odd rule. */
function inside(corners: readonly Point2[], x: number, y: number): boolean {
  let odd = false;
  for (let i = 0, j = corners.length - 1; i < corners.length; j = i++) {
    const [ax, ay] = corners[i]!;
    const [bx, by] = corners[j]!;
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) odd = !odd;
  }
  return odd;
}

interface Moved {
  readonly x: number;
  readonly y: number;
  readonly u: number;
  readonly v: number;
  readonly weight: number;
}

/** Least squares with biweights on what is left over, from all points' own weights. */
export function sharedSimilarity(moved: readonly Moved[]): Mat3 {
  let weights = moved.map((m) => m.weight);
  let c = 1;
  let s = 0;
  let tx = 0;
  let ty = 0;
  for (let round = 0; round < 8; round++) {
    let sum = 1e-12;
    let mx = 0;
    let my = 0;
    let nx = 0;
    let ny = 0;
    moved.forEach((m, i) => {
      const k = weights[i]!;
      sum += k;
      mx += k * m.x;
      my += k * m.y;
      nx += k * (m.x + m.u);
      ny += k * (m.y + m.v);
    });
    mx /= sum;
    my /= sum;
    nx /= sum;
    ny /= sum;
    let along = 0;
    let across = 0;
    let size = 1e-12;
    moved.forEach((m, i) => {
      const k = weights[i]!;
      const x = m.x - mx;
      const y = m.y - my;
      const p = m.x + m.u - nx;
      const q = m.y + m.v - ny;
      along += k * (x * p + y * q);
      across += k * (x * q - y * p);
      size += k * (x * x + y * y);
    });
    c = along / size;
    s = across / size;
    tx = nx - c * mx + s * my;
    ty = ny - s * mx - c * my;
    const left = moved.map((m) => Math.hypot(c * m.x - s * m.y + tx - m.x - m.u, s * m.x + c * m.y + ty - m.y - m.v));
    const wide = 4.5 * [...left].sort((p, q) => p - q)[left.length >> 1]! + 0.3;
    weights = moved.map((m, i) => m.weight * Math.max(0, 1 - (left[i]! / wide) ** 2) ** 2);
  }
  return [c, -s, tx, s, c, ty, 0, 0, 1];
}

/** Both ways' places, the one from behind counting by `t`; one alone where the other gave up. */
function met(ahead: Mat3 | undefined, behind: Mat3 | undefined, t: number, polygon: readonly Point2[]): Mat3 | null {
  if (ahead === undefined || behind === undefined) return ahead ?? behind ?? null;
  const moved = polygon.map(([x, y]): Moved => {
    const p = apply(ahead, x, y);
    const q = apply(behind, x, y);
    return { x: p[0], y: p[1], u: t * (q[0] - p[0]), v: t * (q[1] - p[1]), weight: 1 };
  });
  return multiply(sharedSimilarity(moved), ahead);
}
