/**
 * Scores a matte and its colour against the truth, as matting papers do.
 *
 * SAD, MSE, Gradient and Connectivity: Rhemann et al., "A perceptually motivated online benchmark for image matting",
 * CVPR 2009 (Gaussian derivatives of sigma 1.4, exponent 2; connectivity with theta 0.15 and steps of 0.1, exponent 1).
 * dtSSD: Erofeev et al., "Perceptually motivated benchmark for video matting", BMVC 2015, here the root of the mean.
 * All are taken over the soft band: true alpha strictly between 0 and 1, widened by a disc of 10 px.
 * Mattes: width × height, 0..1. Colours: planar R'G'B', display-coded.
 */
export interface MatteScore {
  /** × 1e-3. */
  readonly mse: number;
  /** / 1000. */
  readonly sad: number;
  /** / 1000. */
  readonly grad: number;
  /** / 1000. */
  readonly conn: number;
  /** Mean alpha error in the solid core, per cent. */
  readonly holes: number;
  /**
   * Mean false alpha at least 10 px outside any soft pixel, per cent (not in the table of figures; kept for honesty).
   */
  readonly ghosts: number;
}

/** 1 inside the soft band: soft pixels of the true matte widened by a disc of `radius`. */
export function softBand(truth: Float32Array, w: number, h: number, radius = 10): Uint8Array {
  const soft = new Uint8Array(w * h);
  for (let i = 0; i < soft.length; i += 1) soft[i] = truth[i]! > 0 && truth[i]! < 1 ? 1 : 0;
  const rows = new Int32Array(w * h).fill(1 << 20);
  for (let y = 0; y < h; y += 1) {
    let d = 1 << 20;
    for (let x = 0; x < w; x += 1) {
      d = soft[y * w + x] === 1 ? 0 : d + 1;
      rows[y * w + x] = d;
    }
    d = 1 << 20;
    for (let x = w - 1; x >= 0; x -= 1) {
      d = soft[y * w + x] === 1 ? 0 : d + 1;
      if (d < rows[y * w + x]!) rows[y * w + x] = d;
    }
  }
  const out = new Uint8Array(w * h);
  for (let y = 0; y < h; y += 1) {
    for (let x = 0; x < w; x += 1) {
      for (let j = Math.max(y - radius, 0); j <= Math.min(y + radius, h - 1); j += 1) {
        const d = rows[j * w + x]!;
        if (d <= radius && d * d + (j - y) * (j - y) <= radius * radius) {
          out[y * w + x] = 1;
          break;
        }
      }
    }
  }
  return out;
}

/** All single-frame figures. `band` from `softBand`. */
export function scoreMatte(
  matte: Float32Array,
  truth: Float32Array,
  band: Uint8Array,
  w: number,
  h: number,
): MatteScore {
  const n = w * h;
  let count = 0;
  let square = 0;
  let absolute = 0;
  let hole = 0;
  let core = 0;
  let ghost = 0;
  let outside = 0;
  for (let i = 0; i < n; i += 1) {
    const d = matte[i]! - truth[i]!;
    if (band[i] === 1) {
      count += 1;
      square += d * d;
      absolute += Math.abs(d);
    } else if (truth[i]! >= 1) {
      core += 1;
      hole += Math.abs(d);
    } else {
      outside += 1;
      ghost += Math.abs(d);
    }
  }
  return {
    mse: (1e3 * square) / Math.max(count, 1),
    sad: absolute / 1000,
    grad: gradientError(matte, truth, band, w, h),
    conn: connectivityError(matte, truth, band, w, h),
    holes: (100 * hole) / Math.max(core, 1),
    ghosts: (100 * ghost) / Math.max(outside, 1),
  };
}

/** Root-mean-square error of the change from the frame before, × 100, over the band of the later frame. */
export function dtSsd(
  now: Float32Array,
  before: Float32Array,
  truthNow: Float32Array,
  truthBefore: Float32Array,
  band: Uint8Array,
): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < band.length; i += 1) {
    if (band[i] === 0) continue;
    const d = now[i]! - before[i]! - (truthNow[i]! - truthBefore[i]!);
    sum += d * d;
    count += 1;
  }
  return 100 * Math.sqrt(sum / Math.max(count, 1));
}

function gaussianDerivativeKernels(): { smooth: Float64Array; derive: Float64Array; radius: number } {
  const sigma = 1.4;
  const radius = Math.ceil(sigma * Math.sqrt(-2 * Math.log(Math.sqrt(2 * Math.PI) * sigma * 1e-2)));
  const smooth = new Float64Array(2 * radius + 1);
  const derive = new Float64Array(2 * radius + 1);
  let norm = 0;
  for (let i = -radius; i <= radius; i += 1) {
    const g = Math.exp(-(i * i) / (2 * sigma * sigma)) / (sigma * Math.sqrt(2 * Math.PI));
    smooth[i + radius] = g;
    derive[i + radius] = (-i * g) / (sigma * sigma);
  }
  // Rhemann et al. normalise the two-dimensional kernel to unit energy.
  for (let j = 0; j < smooth.length; j += 1)
    for (let i = 0; i < smooth.length; i += 1) norm += (smooth[j]! * derive[i]!) ** 2;
  norm = Math.sqrt(norm);
  for (let i = 0; i < derive.length; i += 1) derive[i] = derive[i]! / norm;
  return { smooth, derive, radius };
}

function gradientMagnitude(image: Float32Array, w: number, h: number): Float32Array {
  const { smooth, derive, radius } = gaussianDerivativeKernels();
  const pass = (src: Float32Array, kernel: Float64Array, horizontal: boolean): Float32Array => {
    const out = new Float32Array(w * h);
    for (let y = 0; y < h; y += 1) {
      for (let x = 0; x < w; x += 1) {
        let s = 0;
        for (let k = -radius; k <= radius; k += 1) {
          const i = horizontal
            ? y * w + Math.min(Math.max(x - k, 0), w - 1)
            : Math.min(Math.max(y - k, 0), h - 1) * w + x;
          s += kernel[k + radius]! * src[i]!;
        }
        out[y * w + x] = s;
      }
    }
    return out;
  };
  const gx = pass(pass(image, smooth, false), derive, true);
  const gy = pass(pass(image, smooth, true), derive, false);
  const out = new Float32Array(w * h);
  for (let i = 0; i < out.length; i += 1) out[i] = Math.hypot(gx[i]!, gy[i]!);
  return out;
}

function gradientError(matte: Float32Array, truth: Float32Array, band: Uint8Array, w: number, h: number): number {
  const a = gradientMagnitude(matte, w, h);
  const b = gradientMagnitude(truth, w, h);
  let sum = 0;
  for (let i = 0; i < band.length; i += 1) if (band[i] === 1) sum += (a[i]! - b[i]!) ** 2;
  return sum / 1000;
}

function connectivityError(matte: Float32Array, truth: Float32Array, band: Uint8Array, w: number, h: number): number {
  const n = w * h;
  const level = new Float32Array(n).fill(-1);
  const step = 0.1;
  let inside: Uint8Array = new Uint8Array(n).fill(1);
  for (let k = 1; k <= 10; k += 1) {
    const t = k * step;
    const mask = new Uint8Array(n);
    for (let i = 0; i < n; i += 1) mask[i] = matte[i]! >= t - 1e-6 && truth[i]! >= t - 1e-6 ? 1 : 0;
    const largest = largestComponent(mask, w, h);
    for (let i = 0; i < n; i += 1) if (level[i] === -1 && inside[i] === 1 && largest[i] === 0) level[i] = t - step;
    inside = largest;
  }
  let sum = 0;
  for (let i = 0; i < n; i += 1) {
    if (band[i] === 0) continue;
    const l = level[i] === -1 ? 1 : level[i]!;
    const dm = matte[i]! - l;
    const dt = truth[i]! - l;
    sum += Math.abs(1 - dm * (dm >= 0.15 ? 1 : 0) - (1 - dt * (dt >= 0.15 ? 1 : 0)));
  }
  return sum / 1000;
}

function largestComponent(mask: Uint8Array, w: number, h: number): Uint8Array {
  const label = new Int32Array(w * h);
  const stack = new Int32Array(w * h);
  let best = 0;
  let bestSize = 0;
  let next = 0;
  for (let s = 0; s < mask.length; s += 1) {
    if (mask[s] === 0 || label[s] !== 0) continue;
    next += 1;
    let top = 0;
    let size = 0;
    stack[top++] = s;
    label[s] = next;
    while (top > 0) {
      const i = stack[--top]!;
      size += 1;
      const x = i % w;
      const visit = (j: number): void => {
        if (mask[j] === 1 && label[j] === 0) {
          label[j] = next;
          stack[top++] = j;
        }
      };
      if (x > 0) visit(i - 1);
      if (x < w - 1) visit(i + 1);
      if (i >= w) visit(i - w);
      if (i < w * (h - 1)) visit(i + w);
    }
    if (size > bestSize) {
      bestSize = size;
      best = next;
    }
  }
  const out = new Uint8Array(w * h);
  if (best > 0) for (let i = 0; i < out.length; i += 1) out[i] = label[i] === best ? 1 : 0;
  return out;
}

/** sRGB decoding (IEC 61966-2-1), for mixing display-coded colours in linear light. */
function decode(v: number): number {
  const c = Math.min(Math.max(v, 0), 1);
  return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
}

function encode(v: number): number {
  const c = Math.min(Math.max(v, 0), 1);
  return c <= 0.0031308 ? c * 12.92 : 1.055 * c ** (1 / 2.4) - 0.055;
}

/**
 * RMSE 0..255 over the band of performer-over-background against the true one, mean square over the given backgrounds
 * (planar coded R'G'B' or a single grey value), mixed in linear light.
 */
export function compositeError(
  matte: Float32Array,
  colour: Float32Array,
  truth: Float32Array,
  trueColour: Float32Array,
  band: Uint8Array,
  backgrounds: readonly (Float32Array | number)[],
): number {
  const n = band.length;
  let total = 0;
  for (const background of backgrounds) {
    let sum = 0;
    let count = 0;
    for (let c = 0; c < 3; c += 1) {
      for (let i = 0; i < n; i += 1) {
        if (band[i] === 0) continue;
        const b = decode(typeof background === 'number' ? background : background[c * n + i]!);
        const a = matte[i]!;
        const t = truth[i]!;
        const ours = encode(a * decode(colour[c * n + i]!) + (1 - a) * b);
        const theirs = encode(t * decode(trueColour[c * n + i]!) + (1 - t) * b);
        sum += (ours - theirs) ** 2;
        count += 1;
      }
    }
    total += 255 * Math.sqrt(sum / Math.max(count, 1));
  }
  return total / backgrounds.length;
}
