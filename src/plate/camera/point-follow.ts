/**
 * Points followed from marked frames by their small surroundings: translation by B. D. Lucas & T. Kanade (IJCAI
 * 1981), coarse to fine (J.-Y. Bouguet, *Pyramidal Implementation of the Lucas Kanade Feature Tracker*, 2000), each
 * step checked by going back (Z. Kalal, K. Mikolajczyk & J. Matas, *Forward-Backward Error*, ICPR 2010). Between two
 * marked frames the way forwards from the one and backwards from the other are blended, so what drifts is spread; a
 * point that gets lost stays lost until a mark says where it is. For features whose looks change as they turn (an
 * eye, the tip of a nose), which no plane can hold.
 */
import type { Point2 } from '../../geometry/mat3.js';
import { buildPyramid, type PyramidLevel } from '../../image/pyramid.js';
import { framesBackward, lumaAt, type LumaSource } from '../ride/ride-source.js';

/** Where a point is on a frame; `sdPx` grows with the way from the nearest mark and where the two ways disagree. */
export interface FollowedPoint {
  readonly x: number;
  readonly y: number;
  readonly sdPx: number;
}

export interface PointPath {
  /** Frame → place; absent where the point is lost. */
  readonly at: ReadonlyMap<number, FollowedPoint>;
}

const LEVELS = 4;
const ROUNDS = 12;
/** Way there and back may differ by this, px. */
const BACK_PX = 1;
/** Correlation of a window with itself one frame on, at least. */
const LEAST_ALIKE = 0.7;
/** What a step may be off, px, when all goes well; steps add up like a walk. */
const STEP_SD = 0.08;
const MARK_SD = 1;

/**
 * @param marked for each point, frame → place (pixel centres at +0.5), on at least one frame
 * @param radiusPx half side of the window
 * @param span frames to follow over, in inclusive, out exclusive
 */
export async function followPoints(
  source: LumaSource,
  marked: readonly ReadonlyMap<number, Point2>[],
  radiusPx: number,
  span: { readonly in: number; readonly out: number },
  onFrame?: () => void,
  signal?: AbortSignal,
): Promise<PointPath[]> {
  const { widthPx: w, heightPx: h } = source;
  const keys = [...new Set(marked.flatMap((m) => [...m.keys()]))]
    .filter((f) => f >= span.in && f < span.out)
    .sort((a, b) => a - b);
  const ahead = marked.map(() => new Map<number, FollowedPoint>());
  const behind = marked.map(() => new Map<number, FollowedPoint>());
  for (const [i, key] of keys.entries()) {
    const start = await lumaAt(source, key);
    for (const [ways, to, backwards] of [
      [ahead, keys[i + 1] ?? span.out, false],
      [behind, keys[i - 1] ?? span.in - 1, true],
    ] as const) {
      if (Math.abs(to - key) < 2) continue;
      let before = buildPyramid(start.slice(), w, h, LEVELS);
      // Marked here, or carried to here by the pass from an earlier mark: a mark may name only some of the points.
      const live = marked.map((m) => m.get(key) ?? null);
      const steps = marked.map(() => 0);
      const frames = backwards ? framesBackward(source, key - 1, to + 1) : source.frames(key + 1, to);
      for await (const f of frames) {
        signal?.throwIfAborted();
        const now = buildPyramid(f.luma.slice(), w, h, LEVELS);
        for (let p = 0; p < live.length; p++) {
          const at = live[p];
          if (at === null || at === undefined) continue;
          const next = step(before, now, at[0], at[1], radiusPx);
          live[p] = next;
          if (next === null) continue;
          steps[p]!++;
          ways[p]!.set(f.index, { x: next[0], y: next[1], sdPx: Math.hypot(MARK_SD, STEP_SD * steps[p]!) });
        }
        before = now;
        onFrame?.();
      }
    }
  }
  return marked.map((m, p) => ({ at: blended(m, ahead[p]!, behind[p]!, keys) }));
}

/** Both ways of one point laid together: each counts by its sd and its nearness to its mark. */
function blended(
  marks: ReadonlyMap<number, Point2>,
  ahead: ReadonlyMap<number, FollowedPoint>,
  behind: ReadonlyMap<number, FollowedPoint>,
  keys: readonly number[],
): Map<number, FollowedPoint> {
  const out = new Map<number, FollowedPoint>();
  for (const [f, p] of marks) out.set(f, { x: p[0], y: p[1], sdPx: MARK_SD });
  for (const f of new Set([...ahead.keys(), ...behind.keys()])) {
    if (out.has(f)) continue;
    const a = ahead.get(f);
    const b = behind.get(f);
    if (a === undefined || b === undefined) {
      out.set(f, (a ?? b)!);
      continue;
    }
    const from = keys.filter((k) => k < f).at(-1) ?? f - 1;
    const to = keys.find((k) => k > f) ?? f + 1;
    const wa = (to - f) / a.sdPx ** 2;
    const wb = (f - from) / b.sdPx ** 2;
    const k = wb / (wa + wb);
    out.set(f, {
      x: a.x + k * (b.x - a.x),
      y: a.y + k * (b.y - a.y),
      sdPx: Math.hypot((1 - k) * a.sdPx + k * b.sdPx, 0.5 * Math.hypot(a.x - b.x, a.y - b.y)),
    });
  }
  return out;
}

/** One point from one frame to the next, or null where it can't be found again. */
function step(
  a: readonly PyramidLevel[],
  b: readonly PyramidLevel[],
  x: number,
  y: number,
  radius: number,
): Point2 | null {
  const there = descend(a, b, x, y, radius);
  if (there === null || there.alike < LEAST_ALIKE) return null;
  const back = descend(b, a, there.x, there.y, radius);
  return back === null || Math.hypot(back.x - x, back.y - y) > BACK_PX ? null : [there.x, there.y];
}

function descend(
  a: readonly PyramidLevel[],
  b: readonly PyramidLevel[],
  x: number,
  y: number,
  radius: number,
): { x: number; y: number; alike: number } | null {
  let dx = 0;
  let dy = 0;
  let alike = 0;
  for (let l = Math.min(a.length, b.length) - 1; l >= 0; l--) {
    const k = 2 ** l;
    const found = window(a[l]!, b[l]!, x / k, y / k, dx / k, dy / k, Math.max(4, Math.round(radius / Math.sqrt(k))));
    if (found === null) {
      if (l === 0) return null;
      continue;
    }
    dx = found.dx * k;
    dy = found.dy * k;
    alike = found.alike;
  }
  return { x: x + dx, y: y + dy, alike };
}

/** Shift of a window with gain and bias taken out; `alike` is the correlation at the end. */
function window(
  a: PyramidLevel,
  b: PyramidLevel,
  x: number,
  y: number,
  dx0: number,
  dy0: number,
  r: number,
): { dx: number; dy: number; alike: number } | null {
  const side = 2 * r + 1;
  const n = side * side;
  const patch = new Float64Array(n);
  const gx = new Float64Array(n);
  const gy = new Float64Array(n);
  const q = new Float64Array(n);
  if (!sample(a, x, y, r, patch)) return null;
  const wide = new Float64Array((side + 2) * (side + 2));
  if (!sample(a, x, y, r + 1, wide)) return null;
  let gxx = 0;
  let gxy = 0;
  let gyy = 0;
  for (let v = 0, i = 0; v < side; v++)
    for (let u = 0; u < side; u++, i++) {
      const o = (v + 1) * (side + 2) + u + 1;
      gx[i] = (wide[o + 1]! - wide[o - 1]!) / 2;
      gy[i] = (wide[o + side + 2]! - wide[o - side - 2]!) / 2;
      gxx += gx[i]! * gx[i]!;
      gxy += gx[i]! * gy[i]!;
      gyy += gy[i]! * gy[i]!;
    }
  const least = (gxx + gyy - Math.hypot(gxx - gyy, 2 * gxy)) / 2;
  const det = gxx * gyy - gxy * gxy;
  if (!(least > 1e-5 * n)) return null;
  const pm = mean(patch);
  const pv = Math.sqrt(Math.max(1e-12, variance(patch, pm)));
  let dx = dx0;
  let dy = dy0;
  let alike = 0;
  for (let round = 0; round < ROUNDS; round++) {
    if (!sample(b, x + dx, y + dy, r, q)) return null;
    const qm = mean(q);
    const qv = Math.sqrt(Math.max(1e-12, variance(q, qm)));
    const gain = pv / qv;
    let sx = 0;
    let sy = 0;
    let dot = 0;
    for (let i = 0; i < n; i++) {
      const e = patch[i]! - pm - gain * (q[i]! - qm);
      sx += e * gx[i]!;
      sy += e * gy[i]!;
      dot += (patch[i]! - pm) * (q[i]! - qm);
    }
    alike = dot / (n * pv * qv);
    const ux = (sx * gyy - sy * gxy) / det;
    const uy = (sy * gxx - sx * gxy) / det;
    dx += ux;
    dy += uy;
    if (!(Math.hypot(dx - dx0, dy - dy0) < 2 * r)) return null;
    if (Math.hypot(ux, uy) < 0.01) break;
  }
  return { dx, dy, alike };
}

/** Bilinear square about (x, y); false where it leaves the picture. */
function sample(p: PyramidLevel, x: number, y: number, r: number, out: Float64Array): boolean {
  const px = x - 0.5 - r;
  const py = y - 0.5 - r;
  const ix = Math.floor(px);
  const iy = Math.floor(py);
  const fx = px - ix;
  const fy = py - iy;
  const side = 2 * r + 1;
  if (!(ix >= 0 && iy >= 0 && ix + side + 1 < p.width && iy + side + 1 < p.height)) return false;
  for (let v = 0, i = 0; v < side; v++) {
    let o = (iy + v) * p.width + ix;
    for (let u = 0; u < side; u++, i++, o++)
      out[i] =
        (p.data[o]! * (1 - fx) + p.data[o + 1]! * fx) * (1 - fy) +
        (p.data[o + p.width]! * (1 - fx) + p.data[o + p.width + 1]! * fx) * fy;
  }
  return true;
}

function mean(v: Float64Array): number {
  let s = 0;
  for (let i = 0; i < v.length; i++) s += v[i]!;
  return s / v.length;
}

function variance(v: Float64Array, m: number): number {
  let s = 0;
  for (let i = 0; i < v.length; i++) s += (v[i]! - m) ** 2;
  return s / v.length;
}
