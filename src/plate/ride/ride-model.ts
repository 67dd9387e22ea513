/**
 * Choosing how freely a region moves: the simplest of translation, similarity, affine and perspective that
 * explains the track within its own uncertainty (a likelihood-ratio test per frame, its median over the frames
 * against the freedoms it saves). The constrained warp of a frame is its maximum-likelihood one given the frame's
 * information, so no second pass over the pictures is needed.
 */
import { solveCholesky } from '../../geometry/linear-solve.js';
import { apply, invert, multiply, normalise, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { generatorExp, generatorLog } from './ride-generators.js';
import type { FollowedFrame } from './ride-keys.js';
import type { RideTemplate } from './ride-template.js';

export type RideModel = 'translation' | 'similarity' | 'affine' | 'perspective';
const FREEDOMS: readonly (readonly [RideModel, number])[] = [
  ['translation', 2],
  ['similarity', 4],
  ['affine', 6],
];

/** The model and the frames brought onto it. Frames that were not found are left. */
export function chooseModel(
  template: RideTemplate,
  frames: readonly FollowedFrame[],
): { model: RideModel; frames: FollowedFrame[] } {
  const found = frames.filter((f) => f.found && f.information !== null);
  const usual = percentile(
    found.map((f) => f.inliers * f.visible),
    0.8,
  );
  const usable = found.filter((f) => f.inliers * f.visible > 0.6 * usual);
  if (usable.length < 2 || usable.length < 0.3 * frames.length) return { model: 'perspective', frames: [...frames] };
  for (const [model, dims] of FREEDOMS) {
    const fits = usable.map((f) => constrain(template, f, dims));
    const ratio = median(fits.map((q) => q.misfit / (8 - dims)));
    const shift = percentile(
      fits.map((q) => q.shiftPx),
      0.9,
    );
    if (ratio < 1 && shift < 0.15) {
      return {
        model,
        frames: frames.map((f) => {
          if (!f.found || f.information === null) return f;
          return { ...f, homography: constrain(template, f, dims).homography };
        }),
      };
    }
  }
  return { model: 'perspective', frames: [...frames] };
}

/** A homography brought onto a model, nearest in the metric of `information`. */
export function ontoModel(template: RideTemplate, model: RideModel, homography: Mat3, information: Float64Array): Mat3 {
  const dims = FREEDOMS.find(([m]) => m === model)?.[1];
  return dims === undefined ? homography : constrain(template, { homography, information }, dims).homography;
}

/** The warp with the first `dims` generators only that is nearest in the metric of the frame's information. */
function constrain(
  template: RideTemplate,
  f: Pick<FollowedFrame, 'homography' | 'information'>,
  dims: number,
): { homography: Mat3; misfit: number; shiftPx: number } {
  const toUnit = invert(template.toPixels);
  const m = normalise(multiply(toUnit, multiply(f.homography, template.toPixels)));
  const target = template.corners.map(([u, v]) => apply(m, u, v));
  let s = startOf(template, target, dims);
  const a = new Float64Array(dims * dims);
  const b = new Float64Array(dims);
  const info = f.information!;
  for (let it = 0; it < 5; it++) {
    const inverse = tryInvert(s);
    if (inverse === null) break;
    const e = generatorLog(multiply(inverse, m));
    for (let r = 0; r < dims; r++) {
      let q = 0;
      for (let c = 0; c < 8; c++) q += info[r * 8 + c]! * e[c]!;
      b[r] = q;
      for (let c = 0; c < dims; c++) a[r * dims + c] = info[r * 8 + c]!;
      a[r * dims + r] = a[r * dims + r]! * (1 + 1e-9) + 1e-9;
    }
    const d = solveCholesky(a, b, dims);
    if (d === null) break;
    const step = new Float64Array(8);
    step.set(d);
    s = normalise(multiply(s, generatorExp(step)));
  }
  const inverse = tryInvert(s);
  const e = inverse === null ? new Float64Array(8) : generatorLog(multiply(inverse, m));
  let misfit = 0;
  for (let r = 0; r < 8; r++) for (let c = 0; c < 8; c++) misfit += e[r]! * info[r * 8 + c]! * e[c]!;
  let shift = 0;
  template.corners.forEach(([u, v], i) => {
    const [x, y] = apply(s, u, v);
    shift += ((x - target[i]![0]) ** 2 + (y - target[i]![1]) ** 2) / template.corners.length;
  });
  return {
    homography: normalise(multiply(template.toPixels, multiply(s, toUnit))),
    misfit,
    shiftPx: Math.sqrt(shift) * template.scale,
  };
}

/** Least squares on the corners: a start within the group. */
function startOf(template: RideTemplate, target: readonly (readonly [number, number])[], dims: number): Mat3 {
  const n = template.corners.length;
  let mu = 0;
  let mv = 0;
  let mx = 0;
  let my = 0;
  template.corners.forEach(([u, v], i) => {
    mu += u / n;
    mv += v / n;
    mx += target[i]![0] / n;
    my += target[i]![1] / n;
  });
  if (dims === 2) return [1, 0, mx - mu, 0, 1, my - mv, 0, 0, 1];
  let uu = 0;
  let uv = 0;
  let vv = 0;
  let xu = 0;
  let xv = 0;
  let yu = 0;
  let yv = 0;
  template.corners.forEach(([u, v], i) => {
    const a = u - mu;
    const b = v - mv;
    const x = target[i]![0] - mx;
    const y = target[i]![1] - my;
    uu += a * a;
    uv += a * b;
    vv += b * b;
    xu += x * a;
    xv += x * b;
    yu += y * a;
    yv += y * b;
  });
  let p: number, q: number, r: number, s: number;
  if (dims === 4) {
    p = s = (xu + yv) / (uu + vv);
    r = (yu - xv) / (uu + vv);
    q = -r;
  } else {
    const det = uu * vv - uv * uv;
    p = (xu * vv - xv * uv) / det;
    q = (xv * uu - xu * uv) / det;
    r = (yu * vv - yv * uv) / det;
    s = (yv * uu - yu * uv) / det;
  }
  return [p, q, mx - p * mu - q * mv, r, s, my - r * mu - s * mv, 0, 0, 1];
}

function median(v: readonly number[]): number {
  return percentile(v, 0.5);
}

function percentile(v: readonly number[], p: number): number {
  const s = [...v].sort((a, b) => a - b);
  return s[Math.min(s.length - 1, Math.floor(p * s.length))] ?? 0;
}
