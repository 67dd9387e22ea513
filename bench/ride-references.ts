/**
 * What people would otherwise use to follow a plane, from @techstark/opencv-js (its build has neither
 * SIMD nor threads): Lucas-Kanade points chained from frame to frame under a RANSAC homography, and ECC
 * (Evangelidis & Psarakis, PAMI 2008) of the key frame's region, started from the frame before. Both
 * read 8-bit luma, as that library's users would.
 */
import { createRequire } from 'node:module';
import { apply, multiply, normalise, type Mat3, type Point2 } from '../src/geometry/mat3.js';

// The library has no types for what is used here.
// eslint-disable-next-line @typescript-eslint/no-explicit-any
type Vision = any;

export async function openVision(): Promise<Vision> {
  const cv = createRequire(import.meta.url)('@techstark/opencv-js');
  if (cv.Mat === undefined)
    await new Promise<void>((done) => {
      cv.onRuntimeInitialized = () => done();
    });
  // Never hand out the module from an async function: its `then` resolves to itself.
  return { cv };
}

function grey(cv: Vision, frame: Uint8Array, w: number, h: number): Vision {
  const m = new cv.Mat(h, w, cv.CV_8UC1);
  m.data.set(frame);
  return m;
}

function inPolygonMask(cv: Vision, quad: readonly Point2[], w: number, h: number): Vision {
  const mask = cv.Mat.zeros(h, w, cv.CV_8UC1);
  const inside = (x: number, y: number): boolean =>
    quad.every((p, i) => {
      const q = quad[(i + 1) % quad.length]!;
      return (q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0]) >= 0;
    });
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (inside(x + 0.5, y + 0.5)) mask.data[y * w + x] = 255;
  return mask;
}

/** Corners a frame by chained Lucas-Kanade with RANSAC, library defaults. */
export function lucasKanade(
  { cv }: Vision,
  frames: readonly Uint8Array[],
  w: number,
  h: number,
  quad: readonly Point2[],
): Point2[][] {
  let before = grey(cv, frames[0]!, w, h);
  let total: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];
  let corners = quad.map((p) => [...p] as unknown as Point2);
  const out: Point2[][] = [corners];
  for (let t = 1; t < frames.length; t++) {
    const now = grey(cv, frames[t]!, w, h);
    const mask = inPolygonMask(cv, corners, w, h);
    const points = new cv.Mat();
    const next = new cv.Mat();
    const status = new cv.Mat();
    const error = new cv.Mat();
    const none = new cv.Mat();
    cv.goodFeaturesToTrack(before, points, 200, 0.01, 7, mask, 3, false, 0.04);
    if (points.rows >= 4) {
      cv.calcOpticalFlowPyrLK(before, now, points, next, status, error, new cv.Size(21, 21), 3);
      const a: number[] = [];
      const b: number[] = [];
      for (let i = 0; i < points.rows; i++)
        if (status.data[i] === 1) {
          a.push(points.data32F[2 * i], points.data32F[2 * i + 1]);
          b.push(next.data32F[2 * i], next.data32F[2 * i + 1]);
        }
      if (a.length >= 8) {
        const from = cv.matFromArray(a.length / 2, 1, cv.CV_32FC2, a);
        const to = cv.matFromArray(b.length / 2, 1, cv.CV_32FC2, b);
        const step = cv.findHomography(from, to, cv.RANSAC, 3);
        // Its pixel centres are whole numbers; ours lie half a pixel further.
        if (step.rows === 3) total = normalise(multiply(shifted([...step.data64F] as unknown as Mat3), total));
        for (const m of [from, to, step]) m.delete();
      }
    }
    for (const m of [before, mask, points, next, status, error, none]) m.delete();
    before = now;
    corners = quad.map((p) => apply(total, p[0], p[1]));
    out.push(corners);
  }
  before.delete();
  return out;
}

/** Corners a frame by ECC of the region against the key frame, warm-started; a frame that fails keeps the last warp. */
export function enhancedCorrelation(
  { cv }: Vision,
  frames: readonly Uint8Array[],
  w: number,
  h: number,
  quad: readonly Point2[],
): Point2[][] {
  const xs = quad.map((p) => p[0]);
  const ys = quad.map((p) => p[1]);
  const x0 = Math.max(0, Math.floor(Math.min(...xs)));
  const y0 = Math.max(0, Math.floor(Math.min(...ys)));
  const x1 = Math.min(w, Math.ceil(Math.max(...xs)));
  const y1 = Math.min(h, Math.ceil(Math.max(...ys)));
  const first = grey(cv, frames[0]!, w, h);
  const patch = first.roi(new cv.Rect(x0, y0, x1 - x0, y1 - y0)).clone();
  const warp = cv.matFromArray(3, 3, cv.CV_32FC1, [1, 0, x0, 0, 1, y0, 0, 0, 1]);
  const all = new cv.Mat();
  const stop = new cv.TermCriteria(cv.TermCriteria_COUNT + cv.TermCriteria_EPS, 50, 1e-4);
  const out: Point2[][] = [quad.map((p) => [...p] as unknown as Point2)];
  for (let t = 1; t < frames.length; t++) {
    const now = grey(cv, frames[t]!, w, h);
    const kept = Float32Array.from(warp.data32F as Float32Array);
    try {
      cv.findTransformECC(patch, now, warp, cv.MOTION_HOMOGRAPHY, stop, all, 5);
    } catch {
      warp.data32F.set(kept);
    }
    now.delete();
    const m = multiply([...(warp.data32F as Float32Array)] as unknown as Mat3, [1, 0, -x0, 0, 1, -y0, 0, 0, 1]);
    out.push(quad.map((p) => apply(shifted(m), p[0], p[1])));
  }
  for (const m of [first, patch, warp, all]) m.delete();
  return out;
}

/** A homography over whole-number pixel centres as one over centres at +0.5. */
function shifted(m: Mat3): Mat3 {
  return multiply([1, 0, 0.5, 0, 1, 0.5, 0, 0, 1], multiply(m, [1, 0, -0.5, 0, 1, -0.5, 0, 0, 1]));
}
