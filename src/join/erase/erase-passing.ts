/**
 * A thing that passes between camera and set at a depth of its own (a post beside a travelling camera) and goes through
 * what is erased: no still picture of the set shows it, and flow does not follow what moves by several of its own
 * widths. It is a layer (J. Y. A. Wang, E. H. Adelson, "Representing moving images with layers", IEEE Trans. Image
 * Processing 3, 1994): in each frame the piece that differs from the still picture. The frame's visible pieces of it
 * are sought among those of other frames, over the set's own motion held still, by the overlap of masks whose colours
 * agree, on a coarse picture over all shifts; the best is refined (erase-align.ts). It is sought only where near frames
 * laid over the frame (erase-near.ts) miss the visible pieces more than what lies beside them, and believed only where
 * it then meets these far better than the set does, and better than the near frames do; then it hands on what the
 * erased hides of it.
 */
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { connectedComponents } from '../../image/components.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate, open } from '../../image/morphology.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { fitLocally } from './erase-align.js';
import { codedLuma } from './coded-luma.js';
import { gainOf } from './light-gain.js';
import { laySource, validity, type MosaicSource } from './mosaic-source.js';

/** What differs from the set by more (largest channel, coded, smoothed over a pixel) belongs to something else. */
const DIFFERS = 0.08;
/** Pieces narrower than twice this are edges a little out of place, px; smaller ones than LEAST_PX are nothing. */
const RIM_PX = 2;
const LEAST_PX = 120;
/** Where more of the surroundings differs, the still picture is none of the set. */
const MOST_SHARE = 0.35;
/** Frames looked at, nearest first, and how many of the first few must show it. */
const FRAMES = 12;
const TRIES = 4;
const LEAST_FOUND = 2;
/** Width of the coarse picture, and colours within this (sd, coded) are the same. */
const COARSE = 160;
const SAME = 0.06;
/**
 * Near frames miss the pieces where they differ there by more than so many times (rms) what they differ by elsewhere.
 */
const MISSES = 1.5;
/**
 * Near frames are asked about the pieces so far about the hidden part, px: what is laid over the frame reaches little
 * farther.
 */
const BESIDE_PX = 32;
/** Overlap asked of the masks, and what may be left of the set's squared difference on the visible pieces. */
const LEAST_OVERLAP = 0.5;
const LEFT = 0.15;

export interface PassingRequest {
  readonly frame: number;
  readonly around: Picture;
  readonly hidden: Float32Array;
  readonly still: Picture;
  readonly seen: Float32Array;
  /** What the near frames make of the box: the rival. */
  readonly near: Picture;
  /** Reference pixels → box pixels. */
  readonly toBox: Mat3;
  readonly sources: readonly MosaicSource[];
}

export interface Passing {
  /** Colour of the thing and how much of each hidden pixel it covers, over the box. */
  readonly picture: Picture;
  readonly cover: Float32Array;
  /** 1 where some frame told whether it is there. */
  readonly told: Float32Array;
  /** 1 where the frame itself shows it. */
  readonly visible: Float32Array;
}

/** Pieces (0 or 1) where a picture differs from the set. */
export function differing(picture: Picture, still: Picture, known: Float32Array): Float32Array {
  const { width: w, height: h } = picture,
    n = w * h,
    most = new Float32Array(n);
  for (let c = 0; c < 3; c++) {
    const d = new Float32Array(n),
      a = plane(picture, c),
      b = plane(still, c);
    for (let i = 0; i < n; i++) if (known[i]! > 0.5) d[i] = a[i]! - b[i]!;
    const s = gaussianPlane(d, w, h, 1);
    for (let i = 0; i < n; i++) most[i] = Math.max(most[i]!, Math.abs(s[i]!));
  }
  for (let i = 0; i < n; i++) most[i] = known[i]! > 0.5 && most[i]! > DIFFERS ? 1 : 0;
  return open(most, w, h, RIM_PX);
}

interface Sample {
  readonly picture: Picture;
  readonly mask: Float32Array;
  readonly known: Float32Array;
}

interface Pieces {
  readonly known: Float32Array;
  /** The still picture in the frame's light. */
  readonly still: Picture;
  /** 1 where the frame shows a piece that reaches the hidden part; null where none does. */
  readonly visible: Float32Array | null;
}

/** The frame's own pieces before the set; null where so much differs that the still picture is none of it. */
export function piecesBefore(r: Omit<PassingRequest, 'near'>): Pieces | null {
  const { width: w, height: h } = r.around,
    known = new Float32Array(w * h);
  for (let i = 0; i < known.length; i++) known[i] = r.hidden[i]! <= 0 && r.seen[i]! > 0.99 ? 1 : 0;
  const still = litAs(r.still, r.around, known),
    mask = differing(r.around, still, known);
  let all = 0,
    open = 0;
  for (let i = 0; i < mask.length; i++) {
    open += known[i]!;
    all += mask[i]!;
  }
  if (all > MOST_SHARE * open) return null;
  return { known, still, visible: all < LEAST_PX ? null : touching(mask, r.hidden, w, h) };
}

/** Whether the near frames miss the pieces visible about the hidden part, by what they miss beside these. */
export function missesPieces(
  around: Picture,
  near: Picture,
  hidden: Float32Array,
  { known, visible }: Pieces,
): boolean {
  if (visible === null) return false;
  const { width: w, height: h } = around,
    n = w * h,
    about = besides(hidden, w, h),
    sums = [0, 0],
    counts = [0, 0];
  for (let i = 0; i < n; i++) {
    if (!(known[i]! > 0.5) || !(about[i]! > 0)) continue;
    const k = visible[i]! > 0 ? 0 : 1;
    for (let c = 0; c < 3; c++) sums[k] = sums[k]! + (near.data[c * n + i]! - around.data[c * n + i]!) ** 2;
    counts[k] = counts[k]! + 1;
  }
  return counts[0]! > 0 && counts[1]! > 0 && sums[0]! / counts[0]! > MISSES ** 2 * (sums[1]! / counts[1]!);
}

function besides(hidden: Float32Array, w: number, h: number): Float32Array {
  return dilate(
    hidden.map((v) => (v > 0 ? 1 : 0)),
    w,
    h,
    BESIDE_PX,
  );
}

/** What passes before the set through the hidden part; null where nothing does, or no frame tells more of it. */
export function passing(r: PassingRequest, pieces: Pieces): Passing | null {
  const { known, visible, still } = pieces;
  if (visible === null) return null;
  const { width: w, height: h } = r.around,
    n = w * h;
  const own: Sample = { picture: r.around, mask: visible, known },
    beside = besides(r.hidden, w, h);
  const out: Passing = {
    picture: createPicture(w, h, 3),
    cover: new Float32Array(n),
    told: new Float32Array(n),
    visible: dilate(visible, w, h, 3),
  };
  const near = r.sources
    .filter((s) => s.frame !== r.frame)
    .toSorted((a, b) => Math.abs(a.frame - r.frame) - Math.abs(b.frame - r.frame) || a.frame - b.frame)
    .slice(0, FRAMES);
  let any = false,
    found = 0,
    looked = 0;
  for (const source of near) {
    // Pieces that not even two neighbours show alike are a stirring set, one badly in place, or something that bends.
    if (looked++ >= TRIES && found < LEAST_FOUND) return null;
    const matrix = multiply(r.toBox, source.toReference);
    const laid = laySource(source, matrix, w, h, 'lanczos3', null),
      shows = validity(source, matrix, w, h, null);
    const open = shows.map((v, i) => (v > 0.99 && r.seen[i]! > 0.99 ? 1 : 0));
    const lit = litAs(laid, still, open);
    const there: Sample = { picture: lit, mask: differing(lit, still, open), known: open };
    const place = placeOf(own, there, still, { near: r.near, beside }, w, h);
    if (place === null) continue;
    found++;
    if (hand(out, r.hidden, there, place, w, h)) any = true;
  }
  return any && found >= LEAST_FOUND ? out : null;
}

/** A copy of `picture` in the light of `like`, by the ratio where both are known. */
function litAs(picture: Picture, like: Picture, known: Float32Array): Picture {
  const n = picture.width * picture.height,
    gain = gainOf(picture, like, known),
    data = picture.data.slice();
  for (let c = 0; c < 3; c++) for (let i = c * n; i < (c + 1) * n; i++) data[i] = data[i]! * gain[c]!;
  return { ...picture, data };
}

/** The pieces that reach the hidden part; null where none does. */
function touching(mask: Float32Array, hidden: Float32Array, w: number, h: number): Float32Array | null {
  const rim = dilate(
    hidden.map((v) => (v > 0 ? 1 : 0)),
    w,
    h,
    RIM_PX + 3,
  );
  const { labels } = connectedComponents(Uint8Array.from(mask), w, h, 8);
  const reach = new Set<number>(),
    size = new Map<number, number>();
  for (let i = 0; i < mask.length; i++) {
    if (!(mask[i]! > 0.5)) continue;
    size.set(labels[i]!, (size.get(labels[i]!) ?? 0) + 1);
    if (rim[i]! > 0) reach.add(labels[i]!);
  }
  const out = new Float32Array(mask.length);
  let count = 0;
  for (let i = 0; i < out.length; i++)
    if (mask[i]! > 0.5 && reach.has(labels[i]!) && size.get(labels[i]!)! >= LEAST_PX) {
      out[i] = 1;
      count++;
    }
  return count < LEAST_PX ? null : out;
}

interface Rival {
  readonly near: Picture;
  /** > 0 where it is asked. */
  readonly beside: Float32Array;
}

/**
 * Box pixels → where the same point of the thing lies in the other frame as laid over the box; null where it is not
 * found there.
 */
function placeOf(own: Sample, there: Sample, still: Picture, rival: Rival, w: number, h: number): Mat3 | null {
  const shift = coarseShift(own, there, w, h);
  if (shift === null) return null;
  const n = w * h,
    about = dilate(own.mask, w, h, 3);
  const [tx, ty] = fineShift(own, there, about, shift, w, h);
  const moved: Mat3 = [1, 0, tx, 0, 1, ty, 0, 0, 1];
  const luma = codedLuma(there.picture),
    laid = new Float32Array(n),
    weight = new Float32Array(n);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const u = x + tx,
        v = y + ty,
        i = y * w + x;
      if (u < 0 || v < 0 || u >= w || v >= h) continue;
      laid[i] = luma[v * w + u]!;
      weight[i] = about[i]! > 0 && own.known[i]! > 0.5 && there.known[v * w + u]! > 0.5 ? 1 : 0;
    }
  const fit = fitLocally(codedLuma(own.picture), laid, weight, w, h, { reachPx: 1 });
  const places = fit.after < fit.before ? [multiply(moved, fit.matrix), moved] : [moved];
  let best: Mat3 | null = null,
    least = LEFT;
  for (const m of places) {
    let ours = 0,
      sets = 0,
      oursBeside = 0,
      nears = 0,
      count = 0;
    for (let i = 0; i < n; i++) {
      if (!(own.mask[i]! > 0.5)) continue;
      const x = (i % w) + 0.5,
        y = Math.floor(i / w) + 0.5,
        u = m[0] * x + m[1] * y + m[2],
        v = m[3] * x + m[4] * y + m[5];
      if (u < 1 || v < 1 || u >= w - 1 || v >= h - 1 || !(there.known[Math.floor(v) * w + Math.floor(u)]! > 0.5))
        continue;
      for (let c = 0; c < 3; c++) {
        const a = own.picture.data[c * n + i]!;
        const e = (sampleBilinear(plane(there.picture, c), w, h, u, v) - a) ** 2;
        ours += e;
        sets += (still.data[c * n + i]! - a) ** 2;
        if (rival.beside[i]! > 0) {
          oursBeside += e;
          nears += (rival.near.data[c * n + i]! - a) ** 2;
        }
      }
      count++;
    }
    if (count >= LEAST_PX && oursBeside < nears && ours < least * sets) {
      least = ours / sets;
      best = m;
    }
  }
  return best;
}

/** The shift of the coarse masks that overlap best where their colours agree, in pixels of the box. */
function coarseShift(own: Sample, there: Sample, w: number, h: number): readonly [number, number] | null {
  const k = Math.max(1, Math.ceil(w / COARSE)),
    cw = Math.floor(w / k),
    ch = Math.floor(h / k);
  const a = coarse(own, k, cw, ch, w, h),
    b = coarse(there, k, cw, ch, w, h);
  const about = dilate(
    a.mask.map((v) => (v > 0.5 ? 1 : 0)),
    cw,
    ch,
    2,
  );
  const at: number[] = [];
  for (let i = 0; i < about.length; i++) if (about[i]! > 0 && a.known[i]! > 0.9) at.push(i);
  let all = 0;
  for (const i of at) all += a.mask[i]!;
  let best: readonly [number, number] | null = null,
    most = LEAST_OVERLAP;
  const rx = Math.floor(cw / 2),
    ry = Math.max(2, Math.floor(ch / 10));
  for (let ty = -ry; ty <= ry; ty++)
    for (let tx = -rx; tx <= rx; tx++) {
      let both = 0,
        either = 0,
        mine = 0;
      for (const i of at) {
        const x = (i % cw) + tx,
          y = Math.floor(i / cw) + ty;
        if (x < 0 || y < 0 || x >= cw || y >= ch) continue;
        const j = y * cw + x;
        if (!(b.known[j]! > 0.9)) continue;
        const p = a.mask[i]!,
          q = b.mask[j]!;
        mine += p;
        either += Math.max(p, q);
        if (p > 0 && q > 0) {
          let d = 0;
          for (let c = 0; c < 3; c++) d += (a.rgb[c]![i]! - b.rgb[c]![j]!) ** 2;
          both += Math.min(p, q) * Math.exp(-d / (2 * SAME * SAME));
        }
      }
      // Along a thing like a post nothing tells how far: the least shift is taken.
      const score = mine < 0.4 * all || either <= 0 ? 0 : both / either - 0.002 * (Math.abs(tx) / 4 + Math.abs(ty));
      if (score > most) {
        most = score;
        best = [tx * k, ty * k];
      }
    }
  return best;
}

function coarse(
  s: Sample,
  k: number,
  cw: number,
  ch: number,
  w: number,
  h: number,
): { mask: Float32Array; known: Float32Array; rgb: Float32Array[] } {
  const n = w * h,
    out = {
      mask: new Float32Array(cw * ch),
      known: new Float32Array(cw * ch),
      rgb: [0, 1, 2].map(() => new Float32Array(cw * ch)),
    };
  for (let y = 0; y < ch * k; y++)
    for (let x = 0; x < cw * k; x++) {
      const i = y * w + x,
        o = Math.floor(y / k) * cw + Math.floor(x / k);
      out.known[o] = out.known[o]! + s.known[i]! / (k * k);
      if (!(s.mask[i]! > 0.5)) continue;
      out.mask[o] = out.mask[o]! + 1;
      for (let c = 0; c < 3; c++) out.rgb[c]![o] = out.rgb[c]![o]! + s.picture.data[c * n + i]!;
    }
  for (let o = 0; o < out.mask.length; o++) {
    const m = out.mask[o]!;
    if (m === 0) continue;
    for (let c = 0; c < 3; c++) out.rgb[c]![o] = out.rgb[c]![o]! / m;
    out.mask[o] = m / (k * k);
  }
  return out;
}

/** The whole-pixel shift about `from` at which both pictures differ least on the thing and its edges. */
function fineShift(
  own: Sample,
  there: Sample,
  about: Float32Array,
  from: readonly [number, number],
  w: number,
  h: number,
): [number, number] {
  const k = Math.max(2, Math.ceil(w / COARSE)) + 1,
    n = w * h,
    at: number[] = [];
  for (let i = 0; i < n; i++)
    if (about[i]! > 0 && own.known[i]! > 0.5 && ((i % w) + Math.floor(i / w)) % 2 === 0) at.push(i);
  let best: [number, number] = [from[0], from[1]],
    least = Infinity;
  for (let dy = -k; dy <= k; dy++)
    for (let dx = -k; dx <= k; dx++) {
      const tx = from[0] + dx,
        ty = from[1] + dy;
      let sum = 0,
        count = 0;
      for (const i of at) {
        const x = (i % w) + tx,
          y = Math.floor(i / w) + ty;
        if (x < 0 || y < 0 || x >= w || y >= h || !(there.known[y * w + x]! > 0.5)) continue;
        const j = y * w + x;
        for (let c = 0; c < 3; c++)
          sum += Math.min(0.15, Math.abs(own.picture.data[c * n + i]! - there.picture.data[c * n + j]!)) ** 2;
        count++;
      }
      const miss = count < LEAST_PX / 2 ? Infinity : (sum / count) * (1 + 0.002 * (dx * dx + dy * dy));
      if (miss < least) {
        least = miss;
        best = [tx, ty];
      }
    }
  return best;
}

/** Hands on what the other frame shows of the thing where nothing nearer did; whether that is anything. */
function hand(out: Passing, hidden: Float32Array, there: Sample, m: Mat3, w: number, h: number): boolean {
  const n = w * h,
    soft = gaussianPlane(dilate(there.mask, w, h, 1), w, h, 0.8);
  // At the edge of what the other frame shows, a piece's mask was smoothed and opened against nothing.
  const far = dilate(
    there.known.map((v) => (v > 0.5 ? 0 : 1)),
    w,
    h,
    RIM_PX + 3,
  );
  let any = false;
  for (let i = 0; i < n; i++) {
    if (!(hidden[i]! > 0) || out.told[i]! > 0) continue;
    const x = (i % w) + 0.5,
      y = Math.floor(i / w) + 0.5,
      u = m[0] * x + m[1] * y + m[2],
      v = m[3] * x + m[4] * y + m[5];
    if (u < 1 || v < 1 || u >= w - 1 || v >= h - 1 || far[Math.floor(v) * w + Math.floor(u)]! > 0) continue;
    out.told[i] = 1;
    const a = sampleBilinear(soft, w, h, u, v);
    if (!(a > 0.02)) continue;
    any = true;
    out.cover[i] = a;
    for (let c = 0; c < 3; c++) out.picture.data[c * n + i] = sampleBilinear(plane(there.picture, c), w, h, u, v);
  }
  return any;
}
