/**
 * The useful part of a take's screen, proposed: the region outside of which nothing is performer (stands, the
 * room beside the cloth, the floor before it). Screen is told by its colour over several frames; what the
 * screen encloses belongs to it; a notch in its edge belongs to it where something moves there (a performer
 * that crosses the edge) and stays out where nothing does (a stand that leans in). What parts the screen into large
 * pieces is the performer, still or not: a head and shoulders that fill the picture from top to bottom. A person
 * accepts or moves it; the peel then uses it as its garbage matte.
 * The rules about what counts as a notch are our own.
 */
import { PlatewrightError } from '../../core/errors.js';
import { connectedComponents } from '../../image/components.js';
import { close, dilate, erode, open } from '../../image/morphology.js';
import { convexHull, thinPolygon, traceOutline } from '../../image/outline.js';
import type { Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { resize } from '../../image/resize.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { ProposedMark } from '../../plate/marks/propose-marks.js';
import { findScreen, notScreen, type ScreenModel } from './screen.js';

export interface ScreenEdges {
  /** Corners in the pictures' pixels; null where there is nothing to propose. */
  readonly polygon: readonly [number, number][] | null;
  /** Share of the picture that would be cut off, and that is screen. */
  readonly outside: number;
  readonly screen: number;
  /** The performer crosses the screen's edge, or parts the screen. */
  readonly crossed: boolean;
  readonly why: string;
}

/** Frames looked at, and the width they are brought down to. */
const FRAMES = 12;
const WORK_PX = 320;
/** Less than this share outside is not worth a mark. */
const LEAST_OUTSIDE = 0.005;
/**
 * A picture is inset by this share of its width from the cloth's own edge, where hems and shadows lie, and by three
 * pixels at least: chroma of half size mixes both sides that far.
 */
const INSET = 0.004;
const INSET_PX = 3;
/** Coded change over the frames that is no noise, and the share of a notch's surroundings that must show it. */
const MOVES = 0.035;
const MOVING_SHARE = 0.03;
const MOST_CORNERS = 16;

/**
 * Cloth that something parts: pieces of it have at least this share of the largest one (what is green elsewhere in the
 * room is smaller), and this share of the picture.
 */
const PIECE_OF_LARGEST = 0.2;
const LEAST_PIECE = 0.02;
/** A stand is narrower in the middle than this share of the picture's width. */
const STAND = 0.06;

/** Pieces smaller than this share of the picture are dirt: notches in the screen's edge, and what moves beyond it. */
const LEAST_NOTCH = 0.0008;
const LEAST_LOOSE = 0.001;

/** From several frames of a take (display-coded RGB, all of one size). */
export function screenEdges(frames: readonly Picture[]): ScreenEdges {
  const none = (why: string): ScreenEdges => ({ polygon: null, outside: 0, screen: 0, crossed: false, why });
  const first = frames[0];
  if (first === undefined) return none('there is no frame to look at');
  const reduction = Math.max(1, first.width / WORK_PX);
  const size: Size = { w: Math.round(first.width / reduction), h: Math.round(first.height / reduction) };
  const { w, h } = size;
  const small = frames.map((f) => resize(f, w, h));
  const model = small.map((f) => findScreen(f)).sort((a, b) => (b?.share ?? 0) - (a?.share ?? 0))[0];
  if (model == null) return none('no green or blue screen was found');
  const { count, moves } = seenOver(small, model, size);
  const filled = clothOf(count, frames.length, size);
  const inset = Math.max(1, Math.round(INSET * w), Math.round(INSET_PX / reduction));
  const inner = cropped(erode(padded(filled, w, h, inset), w + 2 * inset, h + 2 * inset, inset), w, h, inset);
  const { taken, crossed } = crossings(inner, moves, size);
  const border = dilate(taken, w, h, 3 * gap(w));
  const all = Float32Array.from(inner, (v, i) => (v > 0 || border[i]! > 0 ? 1 : 0));
  const region = withHoles(largest(padded(open(all, w, h, 1), w, h, 0), w, h, 0), w, h);
  const screen = shareOf(filled);
  const outside = 1 - shareOf(region);
  if (outside < LEAST_OUTSIDE) return { ...none('the screen fills the picture: nothing needs to be cut off'), screen };
  return {
    polygon: outlineOf(region, size, first),
    outside,
    screen,
    crossed,
    why:
      `outside the ${model.colour} screen, ${Math.round(100 * outside)} % of the picture, ` +
      'nothing is performer' +
      `${crossed ? "; something moves across the screen's edge, or parts it, and was taken in: look there" : ''}; ` +
      'move its corners where it cuts too much or too little',
  };
}

interface Size {
  readonly w: number;
  readonly h: number;
}

/** Gaps in the cloth up to about this many pixels are closed (creases, clips). */
const gap = (w: number): number => Math.max(1, Math.round(0.008 * w));

function shareOf(mask: Float32Array): number {
  return mask.reduce((sum, v) => sum + (v > 0 ? 1 : 0), 0) / mask.length;
}

/** On how many frames each pixel is screen, and where the picture changes over the frames. */
function seenOver(
  frames: readonly Picture[],
  model: ScreenModel,
  { w, h }: Size,
): { count: Uint16Array; moves: Float32Array } {
  const n = w * h;
  const count = new Uint16Array(n);
  const low = new Float32Array(n).fill(9);
  const high = new Float32Array(n).fill(-9);
  const mask = new Uint8Array(n);
  for (const f of frames) {
    notScreen(f, model, mask);
    for (let i = 0; i < n; i++) {
      if (mask[i] === 0) count[i]!++;
      const y = 0.3 * f.data[i]! + 0.59 * f.data[n + i]! + 0.11 * f.data[2 * n + i]!;
      if (y < low[i]!) low[i] = y;
      if (y > high[i]!) high[i] = y;
    }
  }
  const changes = Float32Array.from(low, (v, i) => (high[i]! - v > MOVES ? 1 : 0));
  return { count, moves: open(changes, w, h, 1) };
}

/** The large pieces of screen with what each encloses. */
function clothOf(count: Uint16Array, frames: number, { w, h }: Size): Float32Array {
  // Seen as screen on one frame in seven is enough: the rest of the time somebody stood before it.
  const least = Math.max(1, Math.round(frames / 7));
  const r = gap(w);
  const ever = Float32Array.from(count, (c) => (c >= least ? 1 : 0));
  const seen = cropped(close(padded(ever, w, h, r), w + 2 * r, h + 2 * r, r), w, h, r);
  return withHoles(large(seen, { w, h }).mask, w, h);
}

/** A mask's large pieces, each by its number from 1 in `piece`. */
function large(mask: Float32Array, { w, h }: Size): { mask: Float32Array; piece: Int32Array } {
  const { labels, components } = connectedComponents(mask, w, h, 8);
  const most = Math.max(0, ...components.map((c) => c.area));
  const numbers = new Map<number, number>();
  for (const c of components)
    if (c.area === most || c.area >= Math.max(PIECE_OF_LARGEST * most, LEAST_PIECE * w * h))
      numbers.set(c.label, numbers.size + 1);
  const piece = Int32Array.from(labels, (l) => numbers.get(l) ?? 0);
  return { mask: Float32Array.from(piece, (v) => (v > 0 ? 1 : 0)), piece };
}

/** What belongs to the performer at and beyond the screen's edge, and whether anything does. */
function crossings(
  inner: Float32Array,
  moves: Float32Array,
  { w, h }: Size,
): { taken: Float32Array; crossed: boolean } {
  const n = w * h;
  const hull = rasterizePolygon(convexHull(cornersOf(inner, w, h)), w, h);
  const taken = new Float32Array(n);
  let crossed = false;
  const take = (labels: ArrayLike<number>, label: number): void => {
    crossed = true;
    for (let i = 0; i < n; i++) if (labels[i] === label) taken[i] = 1;
  };
  // Notches, each piece by itself: taken where something moves in or beside them.
  const apart = Float32Array.from(hull, (v, i) => (v > 0.5 && inner[i] === 0 ? 1 : 0));
  const notches = connectedComponents(apart, w, h, 4);
  const { piece: clothPiece } = large(inner, { w, h });
  for (const c of notches.components) {
    if (c.area < LEAST_NOTCH * n) continue;
    const piece = Float32Array.from(notches.labels, (l) => (l === c.label ? 1 : 0));
    const surroundings = dilate(piece, w, h, 2 * gap(w));
    let moving = 0,
      around = 0;
    const parted = new Set<number>();
    for (let i = 0; i < n; i++)
      if (surroundings[i]! > 0) {
        around++;
        if (moves[i]! > 0) moving++;
        if (clothPiece[i]! > 0) parted.add(clothPiece[i]!);
      }
    const parts = parted.size > 1 && c.area >= STAND * w * Math.max(c.x1 - c.x0, c.y1 - c.y0);
    if (parts || moving >= MOVING_SHARE * around) take(notches.labels, c.label);
  }
  // Beyond the hull: what moves and reaches to the screen is taken along with a border, so that no paw is cut off.
  const beyond = moves.map((v, i) => (v > 0 && hull[i]! < 0.5 ? 1 : 0));
  const loose = connectedComponents(beyond, w, h, 8);
  const whole = Float32Array.from(hull, (v) => (v > 0.5 ? 1 : 0));
  const touching = dilate(whole, w, h, 2);
  for (const c of loose.components) {
    if (c.area < LEAST_LOOSE * n) continue;
    if (loose.labels.some((l, i) => l === c.label && touching[i]! > 0)) take(loose.labels, c.label);
  }
  return { taken, crossed };
}

/** The region's outline with few corners, in the full picture's pixels; at the picture's border it goes past it. */
function outlineOf(region: Float32Array, { w, h }: Size, full: Picture): [number, number][] {
  const outline = traceOutline(region, w, h);
  let polygon = thinPolygon(outline, 0.8);
  for (let t = 1.2; polygon.length > MOST_CORNERS && t < 12; t *= 1.3) polygon = thinPolygon(outline, t);
  const past = 0.02 * full.width;
  const at = (v: number, end: number, fullEnd: number): number =>
    v <= 0.5 ? -past : v >= end - 0.5 ? fullEnd + past : Math.round((v * fullEnd * 10) / end) / 10;
  return polygon.map(([x, y]) => [at(x, w, full.width), at(y, h, full.height)]);
}

/**
 * The same from an open take, as a mark for a frame. Null with the reason where there is nothing to propose. Throws
 * `PW-MEDIA-NOPICTURE` for a take without a frame.
 */
export async function proposeScreenMark(
  reader: VideoReader,
  frame: number,
): Promise<{ readonly proposal: ProposedMark | null; readonly why: string }> {
  const total = reader.info.frameCount;
  if (reader.info.hasAlpha) return { proposal: null, why: 'the take brings its own alpha' };
  const pictures: Picture[] = [];
  for (let i = 0; i < Math.min(FRAMES, total); i++) {
    const p = toCodedRgb(await reader.frame(Math.floor(((i + 0.5) * total) / Math.min(FRAMES, total))));
    const k = Math.max(1, Math.floor(p.width / WORK_PX));
    // Only small pictures are kept: a take may be large.
    pictures.push(
      k === 1 ? { ...p, data: p.data.slice() } : resize(p, Math.round(p.width / k), Math.round(p.height / k)),
    );
  }
  const first = pictures[0];
  if (first === undefined) throw new PlatewrightError('PW-MEDIA-NOPICTURE', 'the take has no frame');
  const found = screenEdges(pictures);
  if (found.polygon === null) return { proposal: null, why: found.why };
  const sx = reader.info.widthPx / first.width;
  const sy = reader.info.heightPx / first.height;
  return {
    proposal: {
      mark: {
        kind: 'screen',
        frame,
        polygon: found.polygon.map(([x, y]) => [Math.round(x * sx * 10) / 10, Math.round(y * sy * 10) / 10]),
      },
      why: found.why,
      strength: 0.9,
    },
    why: found.why,
  };
}

/** With a border of r pixels that repeats the edge. */
function padded(src: ArrayLike<number>, w: number, h: number, r: number): Float32Array {
  const W = w + 2 * r;
  const H = h + 2 * r;
  const out = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      out[y * W + x] = src[Math.min(h - 1, Math.max(0, y - r)) * w + Math.min(w - 1, Math.max(0, x - r))]!;
  return out;
}

/** Without the border of `padded`. */
function cropped(src: Float32Array, w: number, h: number, r: number): Float32Array {
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++) out.set(src.subarray((y + r) * (w + 2 * r) + r, (y + r) * (w + 2 * r) + r + w), y * w);
  return out;
}

/** The largest piece of a padded mask, cropped. */
function largest(src: Float32Array, w: number, h: number, r: number): Float32Array {
  const mask = cropped(src, w, h, r);
  const c = connectedComponents(mask, w, h, 8);
  const best = c.components.reduce<number>((a, b) => (a === 0 || b.area > c.components[a - 1]!.area ? b.label : a), 0);
  return Float32Array.from(c.labels, (l) => (best > 0 && l === best ? 1 : 0));
}

/** With what it encloses: all that the picture's border can't reach. */
function withHoles(mask: Float32Array, w: number, h: number): Float32Array {
  const c = connectedComponents(
    mask.map((v) => (v > 0 ? 0 : 1)),
    w,
    h,
    4,
  );
  const open = new Set(
    c.components.filter((k) => k.x0 === 0 || k.y0 === 0 || k.x1 === w || k.y1 === h).map((k) => k.label),
  );
  return Float32Array.from(c.labels, (l) => (l === 0 || !open.has(l) ? 1 : 0));
}

/** Corners of every row's first and last pixel: enough for the hull. */
function cornersOf(mask: Float32Array, w: number, h: number): [number, number][] {
  const out: [number, number][] = [];
  for (let y = 0; y < h; y++) {
    let a = -1;
    let b = -1;
    for (let x = 0; x < w; x++)
      if (mask[y * w + x]! > 0) {
        if (a < 0) a = x;
        b = x + 1;
      }
    if (a >= 0) out.push([a, y], [a, y + 1], [b, y], [b, y + 1]);
  }
  return out;
}
