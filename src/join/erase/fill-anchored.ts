/**
 * What is made up, held to what its border tells. Patches (patch-synthesis.ts) hand texture and edges on, but drift in
 * brightness over a wide hole; a membrane stretched from the border does not drift but shows nothing. So the fill keeps
 * its detail, and of its broad difference from the membrane it keeps the share β that it is worth. That is measured on
 * a rim of known picture about the hole, hidden on purpose and filled in the same way: the least-squares β of truth −
 * membrane on patches − membrane there (a cross-validation: S. Geisser, "The predictive sample reuse method", JASA 70,
 * 1975). The membrane's conductance falls at the patches' own edges (P. Perona, J. Malik, IEEE PAMI 12, 1990), so that
 * no colour runs from one thing into another. All of it at half the size; only the correction is brought to full size.
 */
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { double, halfSize } from '../../image/pyramid.js';
import { pushPull } from '../../image/push-pull.js';
import { percentile } from '../../image/statistics.js';
import { synthesisePatches, type SynthesisOptions } from '../synthesis/patch-synthesis.js';

/**
 * What is broader than this is held to the border: sd as a share of the hole's depth, and at least so many px of half
 * the size (a patch is 7 px). A wide hole's patches drift over its width, while their texture, which is finer, is
 * theirs: with the least width for all, wood and grass came out flat.
 */
const BROAD = 0.2;
const LEAST_BROAD = 1.25;
/** The rim hidden on purpose is so wide, as a share of the hole's depth, and at least so many px of half the size. */
const RIM = 0.6;
const LEAST_RIM = 4;
/**
 * β where too little rim is known to measure it, and the weight of that in rim pixels: its mean on 74 holes in real and
 * made clips.
 */
const USUAL = 0.3;
const USUAL_PX = 60;
/**
 * So much of the patches' broad contrast stays in any case: none at all looks flat beside the known picture, and costs
 * less than .1 dB.
 */
const LEAST = 0.2;
/** An edge is steeper than so many times the usual steepness of the known picture about the hole. */
const EDGE = 6;
const SWEEPS = 100;

/** As `synthesisePatches`, the broad brightness held to the border. */
export function fillAnchored(
  planes: readonly Float32Array[],
  hole: Uint8Array,
  known: Uint8Array,
  width: number,
  height: number,
  options: SynthesisOptions = {},
): Float32Array[] {
  const fill = synthesisePatches(planes, hole, known, width, height, options);
  const whole = halved(fill, hole, known, options.sources, width, height);
  if (whole === null) return fill;
  const { w, h } = whole;
  const share = worth(whole, options);
  if (share >= 1) return fill;
  const base = membrane(whole.planes, whole.hole, whole.known, w, h);
  const far = depth(whole.hole, w, h);
  const correction = whole.planes.map((p, c) => {
    const d = new Float32Array(w * h);
    for (let i = 0; i < d.length; i++) if (whole.hole[i] !== 0) d[i] = base[c]![i]! - p[i]!;
    const broad = gaussianPlane(d, w, h, broadOf(deepestOf(far)));
    // The border itself is met already.
    for (let i = 0; i < d.length; i++)
      broad[i] = whole.hole[i] !== 0 ? (1 - share) * Math.min(1, far[i]! / 2) * broad[i]! : 0;
    return double(broad, w, h, width, height);
  });
  for (let c = 0; c < fill.length; c++) {
    const f = fill[c]!,
      k = correction[c]!;
    for (let i = 0; i < f.length; i++) if (hole[i] !== 0) f[i] = f[i]! + k[i]!;
  }
  return fill;
}

interface Half {
  readonly w: number;
  readonly h: number;
  readonly planes: Float32Array[];
  readonly hole: Uint8Array;
  readonly known: Uint8Array;
  /** 1 where it may be copied from. */
  readonly sources: Uint8Array;
}

/**
 * Half the size, each pixel the mean of those of its four that have a value; null where nothing is left of the hole.
 */
function halved(
  planes: readonly Float32Array[],
  hole: Uint8Array,
  known: Uint8Array,
  sources: Uint8Array | undefined,
  width: number,
  height: number,
): Half | null {
  const w = halfSize(width),
    h = halfSize(height),
    n = w * h;
  const out: Half = {
    w,
    h,
    planes: planes.map(() => new Float32Array(n)),
    hole: new Uint8Array(n),
    known: new Uint8Array(n),
    sources: new Uint8Array(n).fill(1),
  };
  let any = false;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      let holes = 0,
        values = 0;
      const i = y * w + x;
      for (let d = 0; d < 4; d++) {
        const u = 2 * x + (d & 1),
          v = 2 * y + (d >> 1);
        if (u >= width || v >= height) continue;
        const j = v * width + u,
          has = hole[j] !== 0 || known[j] !== 0;
        if (!has) continue;
        if (hole[j] !== 0) holes++;
        if (sources !== undefined && sources[j] === 0) out.sources[i] = 0;
        values++;
        for (let c = 0; c < planes.length; c++) out.planes[c]![i] = out.planes[c]![i]! + planes[c]![j]!;
      }
      if (values === 0) continue;
      for (const p of out.planes) p[i] = p[i]! / values;
      if (2 * holes >= values) {
        out.hole[i] = 1;
        any = true;
      } else out.known[i] = 1;
    }
  return any ? out : null;
}

/** Depth of each pixel of the hole, px; 0 outside. */
function depth(hole: Uint8Array, w: number, h: number): Float32Array {
  const d = distanceToSet(
    Uint8Array.from(hole, (v) => 1 - v),
    w,
    h,
  );
  for (let i = 0; i < d.length; i++) if (hole[i] === 0 || !Number.isFinite(d[i]!)) d[i] = 0;
  return d;
}

function deepestOf(depths: Float32Array): number {
  let most = 0;
  for (const v of depths) if (v > most) most = v;
  return most;
}

function broadOf(deepest: number): number {
  return Math.max(LEAST_BROAD, BROAD * deepest);
}

/** How much of the patches' broad difference from the membrane is true, 0..1, as a rim hidden on purpose tells. */
function worth(of: Half, options: SynthesisOptions): number {
  const { w, h, planes } = of;
  const deepest = deepestOf(depth(of.hole, w, h)),
    broad = broadOf(deepest);
  const reach = Math.max(LEAST_RIM, RIM * deepest),
    away = distanceToSet(of.hole, w, h);
  const hole = new Uint8Array(w * h),
    known = new Uint8Array(w * h);
  let rim = 0;
  for (let i = 0; i < hole.length; i++) {
    const inRim = of.known[i] !== 0 && away[i]! <= reach;
    if (inRim) rim++;
    hole[i] = of.hole[i] !== 0 || inRim ? 1 : 0;
    known[i] = of.known[i] !== 0 && !inRim ? 1 : 0;
  }
  const empty = planes.map((p) => p.map((v, i) => (known[i] !== 0 ? v : 0)));
  const patches = synthesisePatches(empty, hole, known, w, h, { seed: options.seed ?? 1, sources: of.sources });
  const base = membrane(patches, hole, known, w, h);
  let both = 0,
    own = 0;
  for (let c = 0; c < planes.length; c++) {
    const a = new Float32Array(w * h),
      b = new Float32Array(w * h);
    for (let i = 0; i < a.length; i++) {
      if (hole[i] === 0) continue;
      a[i] = patches[c]![i]! - base[c]![i]!;
      b[i] = of.hole[i] !== 0 ? a[i]! : planes[c]![i]! - base[c]![i]!;
    }
    const sa = gaussianPlane(a, w, h, broad),
      sb = gaussianPlane(b, w, h, broad);
    for (let i = 0; i < a.length; i++)
      if (hole[i] !== 0 && of.hole[i] === 0) {
        both += sa[i]! * sb[i]!;
        own += sa[i]! * sa[i]!;
      }
  }
  const prior = (USUAL_PX * own) / Math.max(1, rim) + 1e-6;
  return Math.min(1, Math.max(LEAST, (both + USUAL * prior) / (own + prior)));
}

/**
 * The hole spanned from its border by heat that stops at the fill's edges: Gauss-Seidel sweeps with over-relaxation,
 * from the push-pull fill on.
 */
function membrane(
  fill: readonly Float32Array[],
  hole: Uint8Array,
  known: Uint8Array,
  w: number,
  h: number,
): Float32Array[] {
  const n = w * h;
  const out = pushPull(fill, Float32Array.from(known), w, h);
  const soft = fill.map((p) => gaussianPlane(p, w, h, 1));
  const steep = (i: number, j: number): number => Math.hypot(...soft.map((p) => p[i]! - p[j]!));
  const told: number[] = [];
  for (let y = 0; y + 1 < h; y += 2)
    for (let x = 0; x + 1 < w; x += 2) {
      const i = y * w + x;
      if (known[i] !== 0 && known[i + 1] !== 0 && known[i + w] !== 0) told.push(steep(i, i + 1), steep(i, i + w));
    }
  const edge = EDGE * Math.max(0.004, told.length === 0 ? 0.02 : percentile(told, 50));
  const right = new Float32Array(n),
    down = new Float32Array(n);
  const at: number[] = [];
  const passes = (i: number, j: number): number =>
    hole[j] === 0 && known[j] === 0 ? 0 : Math.max(1e-3, 1 / (1 + (steep(i, j) / edge) ** 4));
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      if (hole[i] === 0 && known[i] === 0) continue;
      if (x + 1 < w) right[i] = passes(i, i + 1);
      if (y + 1 < h) down[i] = passes(i, i + w);
      if (hole[i] !== 0 && x > 0 && y > 0 && x + 1 < w && y + 1 < h) at.push(i);
    }
  const order = Int32Array.from(at);
  for (const p of out) relax(p, order, right, down, w);
  return out;
}

function relax(p: Float32Array, order: Int32Array, right: Float32Array, down: Float32Array, w: number): void {
  for (let s = 0; s < SWEEPS; s++)
    for (let k = 0; k < order.length; k++) {
      const i = order[(s & 1) === 0 ? k : order.length - 1 - k]!;
      const a = right[i - 1]!,
        b = right[i]!,
        c = down[i - w]!,
        d = down[i]!,
        all = a + b + c + d;
      if (all <= 0) continue;
      p[i] = p[i]! + 1.7 * ((a * p[i - 1]! + b * p[i + 1]! + c * p[i - w]! + d * p[i + w]!) / all - p[i]!);
    }
}
