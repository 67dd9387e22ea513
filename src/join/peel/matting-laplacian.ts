/**
 * Coverage settled along the picture's own colour lines: A. Levin, D. Lischinski & Y. Weiss, "A closed-form solution to
 * natural image matting", IEEE PAMI 30(2), 2008. In every window of 3 × 3 pixels coverage is nearly linear in colour;
 * what departs from it is made least, beside a first estimate that pulls weakly (as in J. Wang & M. Cohen, CVPR 2007),
 * by conjugate gradients preconditioned by the diagonal (M. Hestenes & E. Stiefel, J. Res. NBS 49, 1952). Only windows
 * that reach into the unknown band are looked at.
 */
import type { Picture } from '../../image/picture.js';

/**
 * Regularisation of a window's covariance (coded units squared), pull of the first estimate, steps. Tried on furred
 * subjects over real clips.
 */
const EPSILON = 1e-4,
  PULL = 0.02,
  STEPS = 40;
/** Per window: mean (3), inverse covariance (6), in this order xx xy xz yy yz zz. */
const FIELDS = 9;

/**
 * @param coded RGB
 * @param alpha first estimate in the band, what is known elsewhere; settled in place
 * @param band 1 where it is unknown
 * @param pull how strongly the first estimate holds each pixel; alike everywhere unless given
 */
export function settleByLaplacian(coded: Picture, alpha: Float32Array, band: Uint8Array, pull?: Float32Array): void {
  const { width: w, height: h, data } = coded,
    n = w * h,
    around = Int32Array.of(-w - 1, -w, -w + 1, -1, 0, 1, w - 1, w, w + 1),
    { windows, unknown } = reached(band, w, h),
    count = windows.length,
    models = new Float64Array(FIELDS * count);
  for (let k = 0; k < count; k++) model(data, n, windows[k]!, around, models, FIELDS * k);
  if (unknown.length === 0) return;
  const r = new Float64Array(n),
    p = new Float64Array(n),
    q = new Float64Array(n),
    diagonal = new Float64Array(n);
  for (let k = 0; k < count; k++)
    for (let j = 0; j < 9; j++) diagonal[windows[k]! + around[j]!] = diagonal[windows[k]! + around[j]!]! + 1;
  const x = Float64Array.from(alpha);
  multiply(data, n, windows, around, models, x, q);
  let rz = 0;
  for (const i of unknown) {
    r[i] = -q[i]!;
    const z = r[i]! / (diagonal[i]! + (pull?.[i] ?? PULL));
    p[i] = z;
    rz += r[i]! * z;
  }
  for (let step = 0; step < STEPS && rz > 1e-9; step++) {
    multiply(data, n, windows, around, models, p, q);
    let pq = 0;
    for (const i of unknown) pq += p[i]! * (q[i]! + (pull?.[i] ?? PULL) * p[i]!);
    if (!(pq > 0)) break;
    const a = rz / pq;
    let next = 0;
    for (const i of unknown) {
      x[i] = x[i]! + a * p[i]!;
      r[i] = r[i]! - a * (q[i]! + (pull?.[i] ?? PULL) * p[i]!);
      next += (r[i]! * r[i]!) / (diagonal[i]! + (pull?.[i] ?? PULL));
    }
    const b = next / rz;
    for (const i of unknown) p[i] = r[i]! / (diagonal[i]! + (pull?.[i] ?? PULL)) + b * p[i]!;
    rz = next;
  }
  for (const i of unknown) alpha[i] = Math.min(1, Math.max(0, x[i]!));
}

/** Pixels of the band, and centres of the windows that reach into it. */
function reached(
  band: Uint8Array,
  w: number,
  h: number,
): { readonly windows: Int32Array; readonly unknown: Int32Array } {
  const touched = new Uint8Array(w * h),
    unknown = new Int32Array(w * h),
    windows = new Int32Array(w * h);
  let pixels = 0,
    centres = 0;
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      if (band[i] === 0) continue;
      unknown[pixels++] = i;
      for (let v = Math.max(1, y - 1); v <= Math.min(h - 2, y + 1); v++)
        for (let u = Math.max(1, x - 1); u <= Math.min(w - 2, x + 1); u++) touched[v * w + u] = 1;
    }
  for (let i = 0; i < touched.length; i++) if (touched[i] === 1) windows[centres++] = i;
  return { windows: windows.slice(0, centres), unknown: unknown.slice(0, pixels) };
}

function model(data: Float32Array, n: number, centre: number, around: Int32Array, out: Float64Array, at: number): void {
  let mr = 0,
    mg = 0,
    mb = 0,
    rr = 0,
    rg = 0,
    rb = 0,
    gg = 0,
    gb = 0,
    bb = 0;
  for (let j = 0; j < 9; j++) {
    const i = centre + around[j]!,
      r = data[i]!,
      g = data[n + i]!,
      b = data[2 * n + i]!;
    mr += r;
    mg += g;
    mb += b;
    rr += r * r;
    rg += r * g;
    rb += r * b;
    gg += g * g;
    gb += g * b;
    bb += b * b;
  }
  mr /= 9;
  mg /= 9;
  mb /= 9;
  const e = EPSILON / 9,
    xx = rr / 9 - mr * mr + e,
    xy = rg / 9 - mr * mg,
    xz = rb / 9 - mr * mb,
    yy = gg / 9 - mg * mg + e,
    yz = gb / 9 - mg * mb,
    zz = bb / 9 - mb * mb + e;
  const a = yy * zz - yz * yz,
    b = xz * yz - xy * zz,
    c = xy * yz - xz * yy,
    k = 1 / (xx * a + xy * b + xz * c);
  out[at] = mr;
  out[at + 1] = mg;
  out[at + 2] = mb;
  out[at + 3] = k * a;
  out[at + 4] = k * b;
  out[at + 5] = k * c;
  out[at + 6] = k * (xx * zz - xz * xz);
  out[at + 7] = k * (xy * xz - xx * yz);
  out[at + 8] = k * (xx * yy - xy * xy);
}

/** out = L v: in each window what of v is not linear in colour. */
function multiply(
  data: Float32Array,
  n: number,
  windows: Int32Array,
  around: Int32Array,
  models: Float64Array,
  v: Float64Array,
  out: Float64Array,
): void {
  out.fill(0);
  for (let k = 0, at = 0; k < windows.length; k++, at += FIELDS) {
    const centre = windows[k]!,
      mr = models[at]!,
      mg = models[at + 1]!,
      mb = models[at + 2]!;
    let mean = 0,
      cr = 0,
      cg = 0,
      cb = 0;
    for (let j = 0; j < 9; j++) {
      const i = centre + around[j]!,
        p = v[i]!;
      mean += p;
      cr += (data[i]! - mr) * p;
      cg += (data[n + i]! - mg) * p;
      cb += (data[2 * n + i]! - mb) * p;
    }
    mean /= 9;
    cr /= 9;
    cg /= 9;
    cb /= 9;
    const xy = models[at + 4]!,
      xz = models[at + 5]!,
      yz = models[at + 7]!,
      ar = models[at + 3]! * cr + xy * cg + xz * cb,
      ag = xy * cr + models[at + 6]! * cg + yz * cb,
      ab = xz * cr + yz * cg + models[at + 8]! * cb,
      b = mean - ar * mr - ag * mg - ab * mb;
    for (let j = 0; j < 9; j++) {
      const i = centre + around[j]!;
      out[i] = out[i]! + v[i]! - (ar * data[i]! + ag * data[n + i]! + ab * data[2 * n + i]! + b);
    }
  }
}
