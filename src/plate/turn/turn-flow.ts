/**
 * How fast the surface of a turning body slides across the picture. A cylinder of the body's half width R shows a shift
 * of a · R √(1 − (x/R)²) at distance x from its axis when it turns by a (radians): for every arc in question all small
 * patches on the body's middle are compared with the next frame at their shift (normalised correlation, so that light
 * falling on a turning body does not matter; the camera's own motion taken out), and the arc with the largest sum wins,
 * to a fraction by a parabola. Edges of the outline, which stand still, are left out. One number a frame pair, in arcs
 * of that cylinder; the key poses give the true scale.
 */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { allocatePyramid, fillPyramid, type LumaLevel } from '../ride/ride-pyramid.js';

export interface BodyPlace {
  readonly x0: number;
  readonly y0: number;
  readonly y1: number;
  readonly radiusPx: number;
}
export interface SurfaceRate {
  readonly frame: number;
  /**
   * Slide since the frame before, as the arc (radians) of a cylinder of the body's half width; its standard error; and
   * how many patches told it (under six: nothing is told, `spread` infinite).
   */
  readonly rate: number;
  readonly spread: number;
  readonly patches: number;
}

const HALF = 7;
const N = (2 * HALF + 1) ** 2;
const STEP = 0.008;
const REACH = 30;

/** Takes the luma of frames in order; each `next` compares with the one before. */
export class SurfaceFlow {
  private previous: LumaLevel[];
  private current: LumaLevel[];
  private frame: number;

  constructor(first: Float32Array, frame: number, widthPx: number, heightPx: number) {
    this.previous = allocatePyramid(widthPx, heightPx, 1);
    this.current = allocatePyramid(widthPx, heightPx, 1);
    fillPyramid(first, this.previous);
    this.frame = frame;
  }

  /**
   * Rate from the last frame given to this one. `camera` maps the last frame's pixels of the set to this frame's;
   * `moves` says whether a place of the last frame belongs to something that moves at all.
   */
  next(
    luma: Float32Array,
    body: BodyPlace,
    camera: Mat3,
    moves: (x: number, y: number) => boolean = () => true,
  ): SurfaceRate {
    fillPyramid(luma, this.current);
    const halves = [0, 1].map(() => new Float64Array(2 * REACH + 1));
    const patch = new Float32Array(N);
    const scores = new Float64Array(2 * REACH + 1);
    let count = 0;
    const step = Math.max(5, Math.min(16, body.radiusPx / 7));
    let row = 0;
    for (let y = body.y0 + HALF; y < body.y1 - HALF; y += step, row++) {
      for (let x = body.x0 - 0.62 * body.radiusPx; x <= body.x0 + 0.62 * body.radiusPx; x += step) {
        if (!moves(x, y)) continue;
        const [sx, sy] = apply(camera, x, y);
        const c = body.radiusPx * Math.sqrt(1 - ((x - body.x0) / body.radiusPx) ** 2);
        if (!this.score(x, y, sx, sy, c, patch, scores)) continue;
        const half = halves[row % 2]!;
        for (let k = 0; k < scores.length; k++) half[k] = half[k]! + scores[k]!;
        count++;
      }
    }
    [this.previous, this.current] = [this.current, this.previous];
    this.frame++;
    if (count < 6) return { frame: this.frame, rate: 0, spread: Infinity, patches: count };
    const all = halves[0]!.map((v, k) => v + halves[1]![k]!);
    const rate = peakOf(all);
    const one = peakOf(halves[0]!);
    const two = peakOf(halves[1]!);
    if (rate === null) return { frame: this.frame, rate: 0, spread: Infinity, patches: count };
    const spread = one === null || two === null ? 0.03 : Math.abs(one - two) / 2;
    return { frame: this.frame, rate, spread: spread + 0.0025, patches: count };
  }

  /** Squared positive correlation of one patch at every arc; false where it has no texture across. */
  private score(
    x: number,
    y: number,
    sx: number,
    sy: number,
    c: number,
    patch: Float32Array,
    out: Float64Array,
  ): boolean {
    const a = this.previous[0]!;
    const b = this.current[0]!.data;
    const w = a.width;
    const h = a.height;
    const px = x - 0.5;
    const py = y - 0.5;
    if (!(px - HALF >= 1 && py - HALF >= 1 && px + HALF < w - 2 && py + HALF < h - 2)) return false;
    let mean = 0;
    let across = 0;
    for (let k = 0, v = -HALF; v <= HALF; v++)
      for (let u = -HALF; u <= HALF; u++, k++) {
        patch[k] = bilinear(a.data, w, px + u, py + v);
        mean += patch[k]! / N;
        const g = bilinear(a.data, w, px + u + 1, py + v) - bilinear(a.data, w, px + u - 1, py + v);
        across += g * g;
      }
    if (across < 1.5e-4 * N) return false;
    let tt = 0;
    for (let k = 0; k < N; k++) {
      patch[k] = patch[k]! - mean;
      tt += patch[k]! * patch[k]!;
    }
    for (let i = -REACH; i <= REACH; i++) {
      const qx = sx - 0.5 + i * STEP * c;
      const qy = sy - 0.5;
      if (!(qx - HALF >= 0 && qy - HALF >= 0 && qx + HALF < w - 1 && qy + HALF < h - 1)) {
        out[i + REACH] = 0;
        continue;
      }
      let m = 0;
      let ss = 0;
      let ts = 0;
      for (let k = 0, v = -HALF; v <= HALF; v++)
        for (let u = -HALF; u <= HALF; u++, k++) {
          const s = bilinear(b, w, qx + u, qy + v);
          m += s;
          ss += s * s;
          ts += s * patch[k]!;
        }
      const r = ts / Math.sqrt(tt * Math.max(1e-9, ss - (m * m) / N));
      out[i + REACH] = r > 0 ? r * r : 0;
    }
    return true;
  }
}

/**
 * Arc of the largest sum, by a parabola through its neighbours; null at the edge of the
 * search or where nothing stands out.
 */
function peakOf(sum: Float64Array): number | null {
  let best = 1;
  for (let k = 1; k < sum.length - 1; k++) if (sum[k]! > sum[best]!) best = k;
  if (best <= 1 || best >= sum.length - 2) return null;
  const a = sum[best - 1]!;
  const b = sum[best]!;
  const c = sum[best + 1]!;
  const bend = a - 2 * b + c;
  return (best - REACH + (bend < 0 ? (0.5 * (a - c)) / bend : 0)) * STEP;
}

function bilinear(d: Float32Array, w: number, x: number, y: number): number {
  const xi = x | 0;
  const yi = y | 0;
  const fx = x - xi;
  const fy = y - yi;
  const o = yi * w + xi;
  const a = d[o]! + fx * (d[o + 1]! - d[o]!);
  const b = d[o + w]! + fx * (d[o + w + 1]! - d[o + w]!);
  return a + fy * (b - a);
}
