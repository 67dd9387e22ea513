/**
 * The shadow that a removed person leaves on a frame: ground that hangs together with the outline and is darker than
 * the clean plate by about one factor in all channels (brightness and chromaticity distortion: T. Horprasert, D.
 * Harwood, L. S. Davis, "A statistical approach for real-time robust background subtraction and shadow detection", ICCV
 * FRAME-RATE 1999). It is decided as a whole, by a least cut of the smoothed ratio picture (D. M. Greig, B. T.
 * Porteous, A. H. Seheult, "Exact maximum a posteriori estimation for binary images", J. R. Statist. Soc. B 51, 1989),
 * so that the ground's relief, which a low sun lights from the side and shade does not, tears no holes into it; then
 * its soft rim goes too, as far as it is darker than noise. For a camera that stands or turns; where it travels, near
 * things pass and are dark too (erase-shadow-passing.ts).
 */
import { maskBox } from '../../image/mask-box.js';
import { decodePlane, transferTable } from '../../colour/transfer-plane.js';
import { connectedComponents } from '../../image/components.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { gridCut } from '../../image/grid-cut.js';
import { dilate, erode } from '../../image/morphology.js';
import { plane, type Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';
import { codedLuma } from './coded-luma.js';
import { ownTexture } from './own-texture.js';
import { crumbs } from './shadow-crumbs.js';

/** Gaussian over which light is compared, px: about a stone's joint, so that relief evens out. */
const SMOOTH_PX = 2;
/** Linear light added to both sides of a ratio: blacks are lifted and coded coarsely. */
const FLOOR = 0.004;
/**
 * Logarithm of the ratio at which a pixel is as likely shadow as not, at least; and this many sd of what the lit ground
 * shows.
 */
const LEAST_DARK = 0.1;
const NOISES = 3;
/** No shadow is darker (log of linear ratio). */
const MOST_DARK = 3.6;
/**
 * Channels' ratios may differ by this (log, linear): a share of how dark it is, and noise; by the larger share where
 * red is held back most and blue least, as under a low sun.
 */
const TINT_SHARE = 0.3;
const TINT_SKY = 0.65;
const TINT_LEAST = 0.1;
/**
 * Cost of an edge between shadow and ground, in pixels of the halved picture that are surely either; and the step of
 * log ratio over which it is for nothing.
 */
const EDGE = 0.7;
const STEP = 0.25;
/** Gap between outline and shadow that is bridged, as a share of the outline's height. */
const GAP = 0.2;
/** What lies beyond a further gap, half as wide, belongs where it is as dark (median log ratio) within this share. */
const AS_DARK = 0.35;
/** How far in from its rim what differs is judged, px of the halved picture. */
const RIM = 2;
/**
 * Of the soft rim, what is darker than this share of the shadow (log), or than so many sd of noise, goes too, at most
 * so far out: a share of the root of the shadow's area.
 */
const RIM_SHARE = 0.05;
const RIM_NOISES = 1.5;
const RIM_REACH = 0.3;
/** A few dark pixels are grain; more than so many times the person is the sun going in. */
const LEAST_AREA = 40;
const MOST_AREA = 3;

/**
 * Mask (0 or 1) of the shadow beside `hidden`, grown by its penumbra; null where there is none.
 * @param seen > 0 where the clean plate is known
 */
export function shadowBeside(
  frame: Picture,
  clean: Picture,
  hidden: Float32Array,
  seen: Float32Array,
): Float32Array | null {
  const { width: w, height: h } = frame,
    n = w * h,
    table = transferTable('bt709');
  const known = new Float32Array(n);
  for (let i = 0; i < n; i++) known[i] = hidden[i]! > 0 || !(seen[i]! > 0.5) ? 0 : 1;
  // What is hidden takes no part in what lies beside it.
  const share = gaussianPlane(known, w, h, SMOOTH_PX);
  const logs = [0, 1, 2].map((c) => {
    const [f, g] = [frame, clean].map((p) => {
      const l = decodePlane(plane(p, c), table);
      for (let i = 0; i < n; i++) l[i] = l[i]! * known[i]!;
      return gaussianPlane(l, w, h, SMOOTH_PX);
    }) as [Float32Array, Float32Array];
    for (let i = 0; i < n; i++)
      f[i] = known[i]! > 0 ? Math.log((f[i]! / share[i]! + FLOOR) / (g[i]! / share[i]! + FLOOR)) : 0;
    return f;
  }) as [Float32Array, Float32Array, Float32Array];
  const dark = new Float32Array(n);
  for (let i = 0; i < n; i++) dark[i] = -(0.2126 * logs[0][i]! + 0.7152 * logs[1][i]! + 0.0722 * logs[2][i]!);
  const noise = noiseOf(dark, known),
    half = halved(dark, logs, known, w, h, noise),
    { width, height } = half;
  const { labels: pieces, touching } = piecesOf(half, hidden, w, h, (inside, same) =>
    ownTexture({ frame: codedLuma(frame), clean: codedLuma(clean), inside, same, width: w, height: h }),
  );
  if (touching.size === 0) return null;
  const mask = new Float32Array(n),
    labels = new Int32Array(n),
    mark = new Uint8Array(n);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      const l = pieces[Math.min(height - 1, y >> 1) * width + Math.min(width - 1, x >> 1)]!;
      if (l !== 0 && known[i]! > 0 && touching.has(l)) {
        labels[i] = l;
        mark[i] = 1;
      }
    }
  let area = 0,
    whole = 0;
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0) whole++;
    if (mark[i] !== 0 && touching.has(labels[i]!)) {
      mask[i] = 1;
      area++;
    }
  }
  if (area < LEAST_AREA || area > MOST_AREA * whole) return null;
  return softRim(mask, dark, known, w, h, area, noise);
}

/**
 * The pieces of the cut, and the labels of those that are the shadow of what is hidden.
 *
 * @param things tells labels of what is no shadow, from where each pixel of the frame is well inside a piece and where
 * nothing differs
 */
function piecesOf(
  { cut, differs, dark, known, width, height }: Halved,
  hidden: Float32Array,
  w: number,
  h: number,
  things: (inside: Int32Array, same: Float32Array) => readonly number[],
): { readonly labels: Int32Array; readonly touching: Set<number> } {
  const { labels, components } = connectedComponents(cut, width, height, 8);
  const big = new Set(components.filter((c) => 4 * c.area >= LEAST_AREA).map((c) => c.label));
  const inner = erode(Float32Array.from(cut), width, height, RIM);
  const inside = new Int32Array(w * h);
  const same = new Float32Array(w * h);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      const o = Math.min(height - 1, y >> 1) * width + Math.min(width - 1, x >> 1);
      if (inner[o]! > 0 && hidden[i] === 0) inside[i] = labels[o]!;
      if (known[o] !== 0 && differs[o] === 0 && hidden[i] === 0) same[i] = 1;
    }
  // What adjoins a thing and is as little of a shadow falls with it (shadow-crumbs.ts).
  const mark = cut.slice();
  const gone = new Set(things(inside, same));
  for (let i = 0; i < mark.length; i++) if (gone.has(labels[i]!)) mark[i] = 0;
  for (const l of gone) big.delete(l);
  // Ground that every frame shows in the shadow is dark in the clean plate too and tells nothing: what lies beyond such
  // a gap still belongs.
  const outline = maskBox(hidden, w, h) ?? [0, 0, 0, 1];
  const gapPx = GAP * (outline[3] - 1 - outline[1]);
  const beside = dilate(hidden, w, h, Math.max(2, gapPx));
  const touching = new Set<number>();
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const l = labels[y * width + x]!;
      if (l !== 0 && big.has(l) && beside[2 * y * w + 2 * x]! > 0) touching.add(l);
    }
  alongTheGap({ labels, dark, width, height }, [...big], touching, gapPx / 2);
  for (const l of crumbs({ mark, differs, labels, width, height }, touching, RIM)) touching.delete(l);
  return { labels, touching };
}

/** Pieces as dark as those that belong already, beyond a gap: added in place. Labels at half the size. */
function alongTheGap(
  { labels, dark, width, height }: Pick<Halved, 'dark' | 'width' | 'height'> & { readonly labels: Int32Array },
  pieces: readonly number[],
  touching: Set<number>,
  gapPx: number,
): void {
  const depth = new Map<number, number>();
  const values = new Map<number, number[]>(pieces.map((l) => [l, []]));
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) values.get(labels[y * width + x]!)?.push(dark[y * width + x]!);
  for (const [l, v] of values) depth.set(l, median(v));
  for (let rest = pieces.filter((l) => !touching.has(l)); touching.size > 0 && rest.length > 0; ) {
    const near = dilate(
        Float32Array.from(labels, (l) => (touching.has(l) ? 1 : 0)),
        width,
        height,
        Math.max(2, gapPx / 2),
      ),
      met = new Set<number>(),
      own = [...touching].flatMap((l) => depth.get(l) ?? []);
    for (let i = 0; i < labels.length; i++) if (labels[i] !== 0 && near[i]! > 0) met.add(labels[i]!);
    const like = (l: number): boolean => own.some((d) => Math.abs(depth.get(l)! - d) < AS_DARK * d);
    const more = rest.filter((l) => met.has(l) && like(l));
    if (more.length === 0) return;
    for (const l of more) touching.add(l);
    rest = rest.filter((l) => !touching.has(l));
  }
}

/**
 * Sd of the log ratio where nothing differs: by the quartile next to zero of what is not darker, which no shadow
 * reaches.
 */
function noiseOf(dark: Float32Array, known: Float32Array): number {
  const v: number[] = [];
  for (let i = 0; i < dark.length; i += 5) if (known[i]! > 0) v.push(Math.abs(dark[i]!));
  return v.length < 50 ? 0.02 : Math.max(0.004, 1.4826 * median(v));
}

/** At half the size: the least cut, what differs there in any way, and how dark it is. */
interface Halved {
  readonly cut: Uint8Array;
  readonly differs: Uint8Array;
  readonly dark: Float32Array;
  /** 1 where frame and clean plate are known. */
  readonly known: Uint8Array;
  readonly width: number;
  readonly height: number;
}

function halved(
  dark: Float32Array,
  logs: readonly [Float32Array, Float32Array, Float32Array],
  known: Float32Array,
  w: number,
  h: number,
  noise: number,
): Halved {
  const width = Math.max(1, w >> 1),
    height = Math.max(1, h >> 1),
    n = width * height,
    threshold = Math.max(LEAST_DARK, NOISES * noise);
  const cost = new Float32Array(n),
    d = new Float32Array(n),
    differs = new Uint8Array(n),
    some = new Uint8Array(n);
  for (let y = 0, o = 0; y < height; y++)
    for (let x = 0; x < width; x++, o++) {
      const i = 2 * y * w + 2 * x,
        v = dark[i]!;
      if (known[i] === 0) continue;
      some[o] = 1;
      d[o] = v;
      const r = -logs[0][i]!,
        g = -logs[1][i]!,
        b = -logs[2][i]!,
        least = Math.min(r, g, b),
        most = Math.max(r, g, b),
        bluer = r >= g - TINT_LEAST && g >= b - TINT_LEAST;
      const like = most - least < (bluer ? TINT_SKY : TINT_SHARE) * Math.max(0, most) + TINT_LEAST && v < MOST_DARK;
      if (Math.max(Math.abs(least), Math.abs(most)) > 1.5 * threshold) differs[o] = 1;
      cost[o] = like ? Math.max(-1, Math.min(1, v / threshold - 1)) : -0.5;
    }
  const edges = [0, 1, 2, 3].map(() => new Float32Array(n)) as [Float32Array, Float32Array, Float32Array, Float32Array],
    to = [1, width + 1, width, width - 1] as const;
  for (let y = 0, o = 0; y < height; y++)
    for (let x = 0; x < width; x++, o++)
      for (let k = 0; k < 4; k++) {
        if ((k < 2 && x === width - 1) || (k > 0 && y === height - 1) || (k === 3 && x === 0)) continue;
        const q = o + to[k]!;
        if (some[o] === 0 || some[q] === 0) continue;
        const step = (d[o]! - d[q]!) / STEP;
        edges[k]![o] = EDGE * (k % 2 === 0 ? 1 : Math.SQRT1_2) * (0.1 + 0.9 * Math.exp(-step * step));
      }
  return { cut: gridCut(cost, edges, width, height), differs, dark: d, known: some, width, height };
}

/** The mask grown over its penumbra, through pixels that are darker than noise, and by a filter's reach. */
function softRim(
  mask: Float32Array,
  dark: Float32Array,
  known: Float32Array,
  w: number,
  h: number,
  area: number,
  noise: number,
): Float32Array {
  const n = w * h,
    deep: number[] = [];
  for (let i = 0; i < n; i += 3) if (mask[i]! > 0) deep.push(dark[i]!);
  const even = gaussianPlane(dark, w, h, 1.5),
    least = Math.max(RIM_SHARE * median(deep), RIM_NOISES * noise, 0.02),
    reach = Math.ceil(4 + RIM_REACH * Math.sqrt(area));
  let out = mask;
  for (let step = 0; step < reach; step += 2) {
    const wide = dilate(out, w, h, 2);
    let grew = 0;
    for (let i = 0; i < n; i++)
      if (wide[i]! > 0 && out[i] === 0) {
        if (known[i]! > 0 && even[i]! > least) grew++;
        else wide[i] = 0;
      }
    out = wide;
    if (grew === 0) break;
  }
  return dilate(out, w, h, 4);
}
