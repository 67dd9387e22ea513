/**
 * Windows on and round what stirs: laid out, followed from frame to frame, and freed of the affine motion that
 * they share (the camera's and the body's own), which is fitted by iteratively re-weighted least squares with
 * Tukey's weights (P. Huber, *Robust Statistics*, 1981).
 */
import { insidePolygon } from '../../image/polygon.js';
import { WIN, affineFit, follow } from './stir-follow.js';

export interface StirWindow {
  /** Middle, px of the first frame, and whether it lies in the region. */
  readonly x: number;
  readonly y: number;
  readonly inside: boolean;
  /** Where it was found last, px from its place: the next search begins there. */
  px: number;
  py: number;
  alive: boolean;
  /** Its way from its place in each frame after the first, px. */
  readonly dx: number[];
  readonly dy: number[];
  /** The same without the common motion. */
  readonly ux: number[];
  readonly uy: number[];
  /** Sum of the standard deviations of its way, px. */
  sd: number;
}

/**
 * Windows of the surround that move by themselves this much more than the stillest third of them have no say in the
 * common motion.
 */
const CALM = 3;

/** About 260 windows over the region (px) and a third of its size to each side. */
export function stirWindows(region: readonly (readonly [number, number])[], w: number, h: number): StirWindow[] {
  const xs = region.map((p) => p[0]);
  const ys = region.map((p) => p[1]);
  const x0 = Math.min(...xs);
  const x1 = Math.max(...xs);
  const y0 = Math.min(...ys);
  const y1 = Math.max(...ys);
  // The surround shows how the camera and the body move; a third of the region's size to each side.
  const mx = Math.max(20, (x1 - x0) / 3);
  const my = Math.max(20, (y1 - y0) / 3);
  const step = Math.max(7, Math.round(Math.sqrt(((x1 - x0 + 2 * mx) * (y1 - y0 + 2 * my)) / 260)));
  const points: StirWindow[] = [];
  for (let y = y0 - my; y <= y1 + my; y += step)
    for (let x = x0 - mx; x <= x1 + mx; x += step) {
      if (x > WIN + 2 && y > WIN + 2 && x < w - WIN - 3 && y < h - WIN - 3)
        points.push({
          x: Math.round(x),
          y: Math.round(y),
          inside: insidePolygon(region, x, y),
          px: 0,
          py: 0,
          alive: true,
          dx: [],
          dy: [],
          ux: [],
          uy: [],
          sd: 0,
        });
    }
  return points;
}

/**
 * Follows every window over luma planes of `w` × `h`, always against the first; a window that was not found once is
 * dropped. Returns how many frames there were.
 */
export async function followWindows(
  points: readonly StirWindow[],
  frames: AsyncIterable<Float32Array> | Iterable<Float32Array>,
  w: number,
  h: number,
): Promise<number> {
  let key: Float32Array | null = null;
  let base = [0, 0, 0, 0, 0, 0];
  let n = 0;
  for await (const frame of frames) {
    n++;
    if (key === null) {
      key = frame.slice();
      continue;
    }
    // Always against the first frame, so that nothing drifts; the last shift is where the search begins.
    const got: { p: StirWindow; dx: number; dy: number }[] = [];
    for (const p of points) {
      if (!p.alive) continue;
      const start =
        p.px === 0 && p.py === 0
          ? [base[0]! + base[1]! * p.x + base[2]! * p.y, base[3]! + base[4]! * p.x + base[5]! * p.y]
          : [p.px, p.py];
      const f = follow(key, frame, w, h, p.x, p.y, start[0]!, start[1]!);
      // What was not found once has no say: it is not known how it moves.
      if (f === null) {
        p.alive = false;
        continue;
      }
      p.px = f.dx;
      p.py = f.dy;
      p.dx.push(f.dx);
      p.dy.push(f.dy);
      p.sd += f.sd;
      got.push({ p, ...f });
    }
    const calm = got.filter((g) => !g.p.inside);
    base =
      affineFit(
        (calm.length >= 8 ? calm : got).map((g) => g.p),
        calm.length >= 8 ? calm : got,
      ) ?? base;
  }
  return n;
}

/** Fills `ux`, `uy` of the windows that were followed over all `steps`; false where no common motion can be told. */
export function takeOffCommonMotion(whole: readonly StirWindow[], steps: number): boolean {
  const calm = whole.filter((p) => !p.inside);
  const ground = calm.length >= 8 ? calm : whole;
  let say: number[] = ground.map(() => 1);
  for (let round = 0; round < 5; round++) {
    for (const p of whole) {
      p.ux.length = 0;
      p.uy.length = 0;
    }
    for (let t = 0; t < steps; t++) {
      const model = affineFit(
        ground,
        ground.map((p) => ({ dx: p.dx[t]!, dy: p.dy[t]! })),
        say,
      );
      if (model === null) return false;
      for (const p of whole) {
        p.ux.push(p.dx[t]! - model[0]! - model[1]! * p.x - model[2]! * p.y);
        p.uy.push(p.dy[t]! - model[3]! - model[4]! * p.x - model[5]! * p.y);
      }
    }
    const rms = ground.map((p) => Math.sqrt(p.ux.reduce((s, v, t) => s + v * v + p.uy[t]! ** 2, 0) / steps));
    const sorted = [...rms].sort((p, q) => p - q);
    const cut = CALM * Math.max(0.02, sorted[Math.floor(0.3 * (sorted.length - 1))]!);
    say = rms.map((r) => (r >= cut ? 0 : (1 - (r / cut) ** 2) ** 2));
  }
  return true;
}
