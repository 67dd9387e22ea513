/**
 * How near a joined picture comes to the true one: mean CIEDE2000 after a Gaussian of 1.2 px on both (so that two draws
 * of one grain differ little), inside the performer, in the edge band (soft matte widened by 3 px), in the shadow and
 * outside; the lightness bias at the edge; structural similarity (Wang, Bovik, Sheikh & Simoncelli 2004) of luma in the
 * box that holds performer and shadow; the overlap of the shadow's area.
 */
import { maskBox } from '../src/image/mask-box.js';
import { ciede2000 } from '../src/colour/ciede2000.js';
import { linearToLab } from '../src/colour/lab.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { dilate } from '../src/image/morphology.js';
import { codedToLinear } from '../src/media/convert.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';

export const SIGMA_PX = 1.2;

export interface Regions {
  /** 0 outside, 1 performer, 2 edge band, 3 shadow. */
  readonly label: Uint8Array;
  readonly width: number;
  readonly height: number;
}

export function blurred(coded: Picture): Picture {
  const out = createPicture(coded.width, coded.height, 3);
  for (let c = 0; c < 3; c++)
    gaussianPlane(plane(coded, c), coded.width, coded.height, SIGMA_PX, SIGMA_PX, plane(out, c));
  return out;
}

const luma = (p: Picture, i: number, n: number): number =>
  0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!;

/**
 * Pixels clearly darker than the plate without the performer, outside its band: the shadow. Coded pictures, blurred.
 */
export function shadowMask(joined: Picture, base: Picture, label: Uint8Array): Uint8Array {
  const n = joined.width * joined.height;
  const out = new Uint8Array(n);
  for (let i = 0; i < n; i++) if (label[i] === 0 && luma(joined, i, n) < 0.85 * luma(base, i, n) - 0.005) out[i] = 1;
  // Single pixels are grain: a shadow has eight neighbours of its kind.
  const kept = new Uint8Array(n);
  const w = joined.width;
  for (let y = 1; y < joined.height - 1; y++) {
    for (let x = 1; x < w - 1; x++) {
      let sum = 0;
      for (let dy = -1; dy <= 1; dy++) for (let dx = -1; dx <= 1; dx++) sum += out[(y + dy) * w + x + dx]!;
      if (sum >= 7) kept[y * w + x] = 1;
    }
  }
  return kept;
}

export function regions(matte: Float32Array, width: number, height: number, truth: Picture, base: Picture): Regions {
  const n = width * height;
  const soft = new Float32Array(n);
  for (let i = 0; i < n; i++) soft[i] = matte[i]! > 0.02 && matte[i]! < 0.98 ? 1 : 0;
  const band = dilate(soft, width, height, 3);
  const label = new Uint8Array(n);
  for (let i = 0; i < n; i++) label[i] = band[i]! > 0.5 ? 2 : matte[i]! >= 0.98 ? 1 : 0;
  const shadow = shadowMask(truth, base, label);
  // The two renderings differ in a few places far off; a shadow lies near what throws it.
  const near = reach(matte, width, height);
  for (let y = near[1]; y < near[3]; y++)
    for (let x = near[0]; x < near[2]; x++) if (shadow[y * width + x] === 1) label[y * width + x] = 3;
  return { label, width, height };
}

/** Box round the matte, one and a half times its height to each side, half above and below. */
function reach(matte: Float32Array, width: number, height: number): [number, number, number, number] {
  const box = maskBox(matte, width, height, 0.1);
  if (box === null) return [0, 0, 0, 0];
  const [x0, y0, x1, y1] = box;
  const h = y1 - y0;
  return [
    Math.max(0, Math.round(x0 - 1.5 * h)),
    Math.max(0, Math.round(y0 - 0.5 * h)),
    Math.min(width, Math.round(x1 + 1.5 * h)),
    Math.min(height, Math.round(y1 + 0.5 * h)),
  ];
}

export interface JoinScore {
  readonly performer: number;
  readonly edge: number;
  readonly shadow: number;
  readonly outside: number;
  /** Mean L* of the join less the truth's, in the edge band. */
  readonly edgeBias: number;
  readonly performerBias: readonly [number, number, number];
  readonly shadowBias: number;
  readonly shadowIou: number;
  /** The join's shadow where the truth has none, over the performer's area. */
  readonly shadowStray: number;
  /** Shadow's area of the join over that of the truth. */
  readonly shadowArea: number;
  /**
   * Light left where both pictures lie in shadow, of the join over that of the truth
   * (linear luma): 1 is as dark as it should be.
   */
  readonly shadowLeft: number;
  /** Light taken there, of the join over that of the truth. */
  readonly shadowLost: number;
  readonly ssim: number;
}

/** `join`, `truth`, `base`: display-coded BT.709, blurred. */
export function scoreFrame(join: Picture, truth: Picture, base: Picture, r: Regions): JoinScore {
  const n = r.width * r.height;
  const a = codedToLinear(join, 'bt709');
  const b = codedToLinear(truth, 'bt709');
  const open = codedToLinear(base, 'bt709');
  let leftJoin = 0;
  let leftTruth = 0;
  let light = 0;
  const sum = [0, 0, 0, 0];
  const count = [0, 0, 0, 0];
  let bias = 0;
  let sb = 0;
  const pb = [0, 0, 0];
  let both = 0;
  let either = 0;
  const mask = shadowMask(
    join,
    base,
    Uint8Array.from(r.label, (v) => (v === 3 ? 0 : v)),
  );
  const near = reach(
    Float32Array.from(r.label, (v) => (v === 1 || v === 2 ? 1 : 0)),
    r.width,
    r.height,
  );
  const shadow = new Uint8Array(n);
  for (let y = near[1]; y < near[3]; y++)
    for (let x = near[0]; x < near[2]; x++) shadow[y * r.width + x] = mask[y * r.width + x]!;
  for (let i = 0; i < n; i++) {
    const k = r.label[i]!;
    if (k === 0 && i % 3 !== 0) {
      if (shadow[i] === 1) either++;
      continue;
    }
    const [L1, a1, b1] = linearToLab(a.data[i]!, a.data[n + i]!, a.data[2 * n + i]!);
    const [L2, a2, b2] = linearToLab(b.data[i]!, b.data[n + i]!, b.data[2 * n + i]!);
    sum[k]! += ciede2000(L1, a1, b1, L2, a2, b2);
    count[k]!++;
    if (k === 2) bias += L1 - L2;
    if (k === 1) {
      pb[0]! += L1 - L2;
      pb[1]! += a1 - a2;
      pb[2]! += b1 - b2;
    }
    if (k === 3) {
      sb += L1 - L2;
      if (shadow[i] === 1) {
        both++;
        leftJoin += luma(a, i, n);
        leftTruth += luma(b, i, n);
        light += luma(open, i, n);
      }
      either++;
    } else if (shadow[i] === 1) either++;
  }
  const mean = (k: number): number => (count[k]! > 0 ? sum[k]! / count[k]! : NaN);
  return {
    performer: mean(1),
    edge: mean(2),
    shadow: mean(3),
    outside: mean(0),
    edgeBias: bias / Math.max(1, count[2]!),
    performerBias: pb.map((v) => v / Math.max(1, count[1]!)) as [number, number, number],
    shadowBias: sb / Math.max(1, count[3]!),
    shadowIou: either > 0 ? both / either : NaN,
    shadowStray: (either - count[3]!) / Math.max(1, count[1]!),
    shadowArea: count[3]! > 0 ? (either - count[3]! + both) / count[3]! : NaN,
    shadowLeft: leftTruth > 0 ? leftJoin / leftTruth : NaN,
    shadowLost: light > leftTruth ? (light - leftJoin) / (light - leftTruth) : NaN,
    ssim: ssim(join, truth, r),
  };
}

/**
 * Whether most of the true shadow's pixels lie inside it, with shadow to all four sides. Of a body
 * that hides its own shadow a rim some pixels wide shows: there a border that is one pixel off takes
 * half of the overlap and more, whatever threw it.
 */
export function isWide(r: Regions): boolean {
  const { label, width: w } = r;
  let all = 0;
  let inside = 0;
  for (let i = w; i < label.length - w; i++) {
    if (label[i] !== 3) continue;
    all++;
    if (label[i - 1] === 3 && label[i + 1] === 3 && label[i - w] === 3 && label[i + w] === 3) inside++;
  }
  return all > 0 && inside > 0.5 * all;
}

/** Mean SSIM of luma where the performer, its band or its shadow is, Gaussian window of 1.5 px. */
function ssim(x: Picture, y: Picture, r: Regions): number {
  const { width: w, height: h } = r;
  const n = w * h;
  const a = new Float32Array(n);
  const b = new Float32Array(n);
  const aa = new Float32Array(n);
  const bb = new Float32Array(n);
  const ab = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    const p = luma(x, i, n);
    const q = luma(y, i, n);
    a[i] = p;
    b[i] = q;
    aa[i] = p * p;
    bb[i] = q * q;
    ab[i] = p * q;
  }
  const [ma, mb, maa, mbb, mab] = [a, b, aa, bb, ab].map((p) => gaussianPlane(p, w, h, 1.5)) as [
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const c1 = 0.01 ** 2;
  const c2 = 0.03 ** 2;
  let sum = 0;
  let count = 0;
  for (let i = 0; i < n; i++) {
    if (r.label[i] === 0) continue;
    const p = ma[i]!;
    const q = mb[i]!;
    sum +=
      ((2 * p * q + c1) * (2 * (mab[i]! - p * q) + c2)) /
      ((p * p + q * q + c1) * (maa[i]! - p * p + mbb[i]! - q * q + c2));
    count++;
  }
  return count > 0 ? sum / count : NaN;
}
