/**
 * Turn: yaw of the person or thing ridden on for every frame, from a few key poses and the parallax of its
 * surface; or from a face, where eyes and nose are marked (turn-face.ts). Where the body is comes from a `body`,
 * `upright`, `stand` or `head` mark, else from what moves against the set.
 */
import { PlatewrightError } from '../../core/errors.js';
import type { Rate } from '../../core/rational.js';
import { apply, IDENTITY3, multiply, type Mat3 } from '../../geometry/mat3.js';
import { inverseOr, SetFollower } from '../camera/camera-follow.js';
import type { MarksFile } from '../marks/marks.js';
import { lumaAt, type LumaSource } from '../ride/ride-source.js';
import { facesOf, turnOfFace } from './turn-face.js';
import { SurfaceFlow, type BodyPlace, type SurfaceRate } from './turn-flow.js';
import { posesOf, turnFromPoses, type Pose } from './turn-poses.js';
import { ANY_SWING, PERSON_SWING, PROFILE_LIMIT, solveProfile } from './turn-profile.js';
import type { Turn } from '../types.js';

export interface TurnRequest {
  readonly marks: MarksFile;
  readonly rate: Rate;
  readonly onProgress?: (done: number, of: number) => void;
  readonly signal?: AbortSignal;
}

/**
 * A marked face decides where there is one. Throws `PW-TURN-POSES` for fewer than two poses on different
 * frames, `PW-TURN-FRAME` for one outside the clip.
 */
export async function measureTurn(source: LumaSource, request: TurnRequest): Promise<Turn & { readonly how: string }> {
  if (facesOf(request.marks).length > 0) return turnOfFace(source, request);
  const poses = unwrapped(request.marks);
  if (poses.length < 2)
    throw new PlatewrightError(
      'PW-TURN-POSES',
      'a turn needs pose marks on at least two frames or a face mark, ' +
        `but the marks file has ${poses.length} pose(s); add {"kind":"pose","frame":0,"yawDeg":-60}`,
    );
  const late = poses.find((p) => p.frame >= source.frameCount);
  if (late)
    throw new PlatewrightError(
      'PW-TURN-FRAME',
      `a pose is on frame ${late.frame}, but the clip ends at frame ${source.frameCount - 1}`,
    );
  if (source.frameCount > PROFILE_LIMIT) {
    return {
      ...turnFromPoses(poses, source.frameCount, request.rate)!,
      how: `from the poses alone: the clip is longer than ${PROFILE_LIMIT} frames; cut it to the turn`,
    };
  }
  const { cameras, energy } = await watchSet(source, request);
  const marked = bodyFromMarks(request.marks);
  const body = marked?.place ?? bodyFromMotion(energy, source.widthPx, source.heightPx);
  if (body === null)
    return {
      ...turnFromPoses(poses, source.frameCount, request.rate)!,
      how: 'from the poses alone: nothing that moves was found; mark the body',
    };
  const at = marked?.frame ?? poses[0]!.frame;
  const flow = new SurfaceFlow(await lumaAt(source, 0), 0, source.widthPx, source.heightPx);
  const rates: SurfaceRate[] = [];
  // Cells that never change show the set behind, which would speak for standing still.
  const columns = Math.ceil(source.widthPx / CELL);
  const limit = 1.5 * quietLevel(energy);
  for await (const f of source.frames(1, source.frameCount)) {
    request.signal?.throwIfAborted();
    const fromMark = multiply(cameras[f.index - 1]!, inverseOr(cameras[Math.min(at, cameras.length - 1)]!));
    const [x, y] = apply(fromMark, body.x0, (body.y0 + body.y1) / 2);
    const shifted = {
      ...body,
      x0: x,
      y0: body.y0 + y - (body.y0 + body.y1) / 2,
      y1: body.y1 + y - (body.y0 + body.y1) / 2,
    };
    const toFirst = inverseOr(cameras[f.index - 1]!);
    const moves = (px: number, py: number): boolean => {
      const [u, v] = apply(toFirst, px, py);
      const c = Math.floor(u / CELL);
      const r = Math.floor(v / CELL);
      return c < 0 || r < 0 || c >= columns || r * columns + c >= energy.length || energy[r * columns + c]! > limit;
    };
    rates.push(flow.next(f.luma, shifted, multiply(cameras[f.index]!, toFirst), moves));
    request.onProgress?.(source.frameCount + f.index, 2 * source.frameCount);
  }
  const found = rates.filter((r) => Number.isFinite(r.spread)).length;
  return {
    ...solveProfile(
      poses,
      rates,
      0,
      request.rate,
      marked?.kind === 'body' || marked?.kind === 'upright' ? PERSON_SWING : ANY_SWING,
    ),
    how:
      `${poses.length} poses and the slide of the surface (${found} of ${rates.length} frame pairs; ` +
      `body ${marked === null ? 'found by its motion' : `from the ${marked.kind} mark`})`,
  };
}

function unwrapped(marks: MarksFile): Pose[] {
  const sorted = posesOf(marks)
    .sort((a, b) => a.frame - b.frame)
    .filter((p, i, all) => i === 0 || p.frame !== all[i - 1]!.frame);
  const out: Pose[] = [];
  for (const p of sorted) {
    let yawDeg = p.yawDeg;
    const last = out.at(-1)?.yawDeg;
    if (last !== undefined) {
      while (yawDeg - last > 180) yawDeg -= 360;
      while (yawDeg - last < -180) yawDeg += 360;
    }
    out.push({ frame: p.frame, yawDeg });
  }
  return out;
}

interface Watched {
  cameras: Mat3[];
  energy: Float32Array;
}
const CELL = 8;

/**
 * The camera's homographies (first frame to each) and, per 8 × 8 cell of the first frame, how much changes against the
 * set.
 */
async function watchSet(source: LumaSource, request: TurnRequest): Promise<Watched> {
  const { widthPx: w, heightPx: h } = source;
  const first = await lumaAt(source, 0);
  const follower = new SetFollower({ index: 0, luma: first }, w, h);
  const columns = Math.ceil(w / CELL);
  const rows = Math.ceil(h / CELL);
  const energy = new Float32Array(columns * rows);
  const cameras: Mat3[] = [IDENTITY3];
  const previous = first.slice();
  try {
    for await (const f of source.frames(1, source.frameCount)) {
      request.signal?.throwIfAborted();
      const set = follower.follow(f);
      const step = multiply(set.fromFirst, inverseOr(cameras.at(-1)!));
      const home = inverseOr(cameras.at(-1)!);
      cameras.push(set.fromFirst);
      for (let y = 4; y < h - 4; y += 4)
        for (let x = 4; x < w - 4; x += 4) {
          const [u, v] = apply(step, x + 0.5, y + 0.5);
          const ui = Math.round(u - 0.5);
          const vi = Math.round(v - 0.5);
          if (ui < 0 || vi < 0 || ui >= w || vi >= h) continue;
          const [cx, cy] = apply(home, x + 0.5, y + 0.5);
          const c = Math.floor(cx / CELL);
          const r = Math.floor(cy / CELL);
          if (c >= 0 && r >= 0 && c < columns && r < rows)
            energy[r * columns + c] = energy[r * columns + c]! + Math.abs(f.luma[vi * w + ui]! - previous[y * w + x]!);
        }
      previous.set(f.luma);
      request.onProgress?.(f.index, 2 * source.frameCount);
    }
  } finally {
    follower.close();
  }
  return { cameras, energy };
}

function bodyFromMarks(marks: MarksFile): { place: BodyPlace; frame: number; kind: string } | null {
  for (const kind of ['body', 'head', 'upright'] as const) {
    const m = marks.marks.find((q) => q.kind === kind);
    if (m === undefined) continue;
    const frame = ('frame' in m ? m.frame : undefined) ?? marks.frame;
    if (m.kind === 'body' && m.polygon) {
      const xs = m.polygon.map((p) => p[0]);
      const ys = m.polygon.map((p) => p[1]);
      const x0 = Math.min(...xs);
      const x1 = Math.max(...xs);
      return {
        kind,
        frame,
        place: { x0: (x0 + x1) / 2, radiusPx: (x1 - x0) / 2, y0: Math.min(...ys), y1: Math.max(...ys) },
      };
    }
    if (m.kind === 'body' && m.axis) {
      const [a, b] = m.axis;
      const length = Math.hypot(a[0] - b[0], a[1] - b[1]);
      return {
        kind,
        frame,
        place: { x0: (a[0] + b[0]) / 2, radiusPx: 0.18 * length, y0: Math.min(a[1], b[1]), y1: Math.max(a[1], b[1]) },
      };
    }
    if (m.kind === 'head')
      return {
        kind,
        frame,
        place: {
          x0: m.ellipse[0],
          radiusPx: m.ellipse[2],
          y0: m.ellipse[1] - m.ellipse[3],
          y1: m.ellipse[1] + m.ellipse[3],
        },
      };
    if (m.kind === 'upright') {
      const tall = Math.abs(m.foot[1] - m.top[1]);
      const top = Math.min(m.foot[1], m.top[1]);
      return {
        kind,
        frame,
        place: { x0: (m.foot[0] + m.top[0]) / 2, radiusPx: 0.14 * tall, y0: top + 0.2 * tall, y1: top + 0.75 * tall },
      };
    }
  }
  return null;
}

/** What the grain alone makes of a still cell: the lower third of all. */
function quietLevel(energy: Float32Array): number {
  const sorted = Float32Array.from(energy).sort();
  return sorted[Math.floor(sorted.length / 3)]! + 1e-4;
}

/** The axis is the middle of the motion energy above the set's own level; null where nothing stands out. */
function bodyFromMotion(energy: Float32Array, w: number, h: number): BodyPlace | null {
  const columns = Math.ceil(w / CELL);
  const rows = Math.ceil(h / CELL);
  const floor = 1.5 * quietLevel(energy);
  const alongX = new Float64Array(columns);
  const alongY = new Float64Array(rows);
  let total = 0;
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      const e = Math.max(0, energy[r * columns + c]! - floor);
      alongX[c] = alongX[c]! + e;
      alongY[r] = alongY[r]! + e;
      total += e;
    }
  if (total < 0.02 * floor * columns * rows) return null;
  const quantile = (v: Float64Array, q: number): number => {
    let s = 0;
    for (let i = 0; i < v.length; i++) {
      s += v[i]!;
      if (s >= q * total) return (i + 0.5) * CELL;
    }
    return v.length * CELL;
  };
  const x0 = quantile(alongX, 0.12);
  const x1 = quantile(alongX, 0.88);
  const y0 = quantile(alongY, 0.06);
  const y1 = quantile(alongY, 0.94);
  if (x1 - x0 < 20 || y1 - y0 < 30) return null;
  return { x0: quantile(alongX, 0.5), radiusPx: Math.max(14, 0.4 * (x1 - x0)), y0, y1 };
}
