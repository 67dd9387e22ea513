/**
 * Lines that run into a hole on one side and out of it on the other, drawn through it before the rest is made up: a
 * rail, a wire, a window's edge behind somebody broad (structure before texture: J. Sun, L. Yuan, J. Jia, H.-Y. Shum,
 * "Image completion with structure propagation", SIGGRAPH 2005; there the lines are drawn by hand). Shifts along a line
 * (line-shifts.ts) need more of it beside the hole than the hole is wide, and are whole pixels of a small picture. Here
 * both ends must be seen and be alike: an edge at the border, its like on the far side about where its slope leads,
 * both going on alike for some way outwards, and their colours not far apart. What stands about the two ends is then
 * mixed from one to the other.
 */
import { ABOUT, LIKE, edgeAt, unlike, wayThrough } from './line-shifts.js';

/** The far end lies where the edge's slope says within this share of its way through the hole, and so many px. */
const ASIDE = 0.1;
const ASIDE_PX = 2;
/** Narrower holes need no lines, px; directions at both ends agree within this angle's cosine. */
const LEAST_WAY = 12;
const ALONG = Math.cos((12 * Math.PI) / 180);
/** How far outwards both ends must go on alike: a share of the way through, and at least so many px. */
const RUN = 0.12;
const LEAST_RUN = 12;
/** Pixels along each end whose mean is carried on. */
const MEAN_PX = 8;
/** Ends whose colours lie farther apart (coded, all channels) are not of one line. */
const MOST_APART = 0.25;
/** Lines drawn at most. */
const MOST = 24;

interface Ends {
  readonly x: number;
  readonly y: number;
  /** To the far end, px. */
  readonly dx: number;
  readonly dy: number;
}

interface Span extends Ends {
  readonly said: number;
}

/** A picture to be filled; what is drawn is known from then on. Planes of w × h. */
export interface DrawnInto {
  /** Three values a pixel, interleaved, coded. */
  readonly rgb: Float32Array;
  readonly hole: Uint8Array;
  /** 1 where it may be copied from. */
  readonly known: Uint8Array;
  readonly w: number;
  readonly h: number;
}

/** Draws the lines into the hole, in place: what is drawn is no hole any more. Returns how many there are. */
export function drawSpans(into: DrawnInto): number {
  const spans = spansOf(into);
  const free = into.hole.slice();
  const drawn: number[] = [];
  for (const span of spans) drawn.push(...draw(into, span, free));
  for (const i of drawn) {
    into.hole[i] = 0;
    into.known[i] = 1;
  }
  return spans.length;
}

/** The lines, those with the steepest edges first. */
function spansOf(from: DrawnInto): Span[] {
  const { hole, known, rgb, w, h } = from;
  const found: Span[] = [];
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (known[i] === 0 || hole[i] !== 0 || !(hole[i - 1]! + hole[i + 1]! + hole[i - w]! + hole[i + w]! > 0)) continue;
      const edge = edgeAt(rgb, known, w, h, x, y);
      if (edge === null) continue;
      for (const side of [1, -1] as const) {
        const span = spanAt(from, x, y, side * edge.x, side * edge.y, edge.steep);
        if (span !== null) found.push(span);
      }
    }
  return found.toSorted((a, b) => b.said - a.said || a.y - b.y || a.x - b.x).slice(0, MOST);
}

/** The line that leaves a border pixel in a direction through the hole; null where it is not met again behind it. */
function spanAt(from: DrawnInto, x: number, y: number, ux: number, uy: number, steep: number): Span | null {
  const { rgb, hole, known, w, h } = from;
  const way = wayThrough(hole, w, h, x, y, ux, uy);
  if (way < LEAST_WAY) return null;
  const aside = Math.ceil(ASIDE * way + ASIDE_PX);
  let best: Span | null = null;
  let least = LIKE;
  for (let m = way + ABOUT + 1; m <= way + ABOUT + 3; m++) {
    const at = (b: number): number => {
      const to = { dx: Math.round(ux * m - uy * b), dy: Math.round(uy * m + ux * b) };
      return unlike(rgb, known, w, h, x, y, to);
    };
    for (let b = -aside; b <= aside; b++) {
      const d = at(b);
      if (!(d < least)) continue;
      const dx = ux * m - uy * b;
      const dy = uy * m + ux * b;
      const far = edgeAt(rgb, known, w, h, x + Math.round(dx), y + Math.round(dy));
      const along =
        far === null ? 0 : Math.min(Math.abs(far.x * ux + far.y * uy), (ux * dx + uy * dy) / Math.hypot(dx, dy));
      if (along < ALONG || far!.steep > 2 * steep || steep > 2 * far!.steep) continue;
      least = d;
      const part = lowest(at(b - 1), d, at(b + 1));
      best = {
        x,
        y,
        dx: Math.round(dx) - uy * part,
        dy: Math.round(dy) + ux * part,
        said: Math.min(steep, far!.steep),
      };
    }
  }
  return best !== null && goesOn(from, best, way) && !(apart(from, best) > MOST_APART) ? best : null;
}

/** How far the mean colours about the two ends lie apart, over the places that both of them know. */
function apart(from: DrawnInto, span: Span): number {
  const { near, far } = endsOf(from, span);
  const sums = [0, 0, 0];
  let count = 0;
  for (let k = 0; k < near.length; k++) {
    const d = near[k]! - far[k]!;
    if (!Number.isFinite(d)) continue;
    sums[k % 3] = sums[k % 3]! + d;
    count += 1 / 3;
  }
  return Math.hypot(...sums) / Math.max(1, count);
}

/** Where a parabola through three values a step apart is lowest, −.5 to .5 from the middle one. */
function lowest(before: number, middle: number, after: number): number {
  const bend = before - 2 * middle + after;
  return bend > 0 && Number.isFinite(bend) ? Math.min(0.5, Math.max(-0.5, (0.5 * (before - after)) / bend)) : 0;
}

/** Do both ends go on alike outwards? */
function goesOn({ rgb, known, w, h }: DrawnInto, { x, y, dx, dy }: Span, way: number): boolean {
  const length = Math.hypot(dx, dy);
  const run = Math.max(LEAST_RUN, RUN * way);
  for (let m = 2; m <= run; m += 2) {
    const out = { dx: Math.round((dx / length) * m), dy: Math.round((dy / length) * m) };
    if (!(unlike(rgb, known, w, h, x, y, { dx: -out.dx, dy: -out.dy }) < LIKE)) return false;
    const beyond = { dx: Math.round(dx) + out.dx, dy: Math.round(dy) + out.dy };
    if (!(unlike(rgb, known, w, h, x, y, beyond) < LIKE)) return false;
  }
  return true;
}

/** Colours across the line about its two ends. */
function endsOf(from: DrawnInto, { x, y, dx, dy }: Ends): { near: Float32Array; far: Float32Array } {
  const length = Math.hypot(dx, dy);
  const ax = dx / length;
  const ay = dy / length;
  return { near: profile(from, x, y, ax, ay, -1), far: profile(from, x + dx, y + dy, ax, ay, 1) };
}

/**
 * Mixes what stands about the two ends along the line, as broad as the ends were compared. `free`: 1 where nothing is
 * drawn yet. Returns the pixels drawn.
 */
function draw(into: DrawnInto, { x, y, dx, dy }: Span, free: Uint8Array): number[] {
  const { rgb, hole, w, h } = into;
  const length = Math.hypot(dx, dy);
  const ax = dx / length;
  const ay = dy / length;
  const { near, far } = endsOf(into, { x, y, dx, dy });
  const out: number[] = [];
  const x0 = Math.max(0, Math.floor(Math.min(x, x + dx) - ABOUT));
  const y0 = Math.max(0, Math.floor(Math.min(y, y + dy) - ABOUT));
  const x1 = Math.min(w - 1, Math.ceil(Math.max(x, x + dx) + ABOUT));
  const y1 = Math.min(h - 1, Math.ceil(Math.max(y, y + dy) + ABOUT));
  for (let v = y0; v <= y1; v++)
    for (let u = x0; u <= x1; u++) {
      const i = v * w + u;
      const t = ((u - x) * ax + (v - y) * ay) / length;
      const s = (v - y) * ax - (u - x) * ay;
      if (hole[i] === 0 || free[i] === 0 || t < 0 || t > 1 || Math.abs(s) > ABOUT) continue;
      const at = s + ABOUT;
      const k = Math.min(2 * ABOUT - 1, Math.floor(at));
      const f = at - k;
      const mixed = [0, 1, 2].map((c) => {
        const a = near[3 * k + c]! * (1 - f) + near[3 * (k + 1) + c]! * f;
        const b = far[3 * k + c]! * (1 - f) + far[3 * (k + 1) + c]! * f;
        return a * (1 - t) + b * t;
      });
      if (!mixed.every(Number.isFinite)) continue;
      rgb.set(mixed, 3 * i);
      free[i] = 0;
      out.push(i);
    }
  return out;
}

/**
 * Colours across the line at 2 ABOUT + 1 places, each the mean of some pixels outwards; not a number where nothing of
 * them is known.
 */
function profile(from: DrawnInto, x: number, y: number, ax: number, ay: number, outwards: 1 | -1): Float32Array {
  const { rgb, known, w, h } = from;
  const out = new Float32Array(3 * (2 * ABOUT + 1));
  for (let k = 0; k <= 2 * ABOUT; k++) {
    let count = 0;
    for (let m = 0; m < MEAN_PX; m++) {
      const u = x + outwards * m * ax - (k - ABOUT) * ay;
      const v = y + outwards * m * ay + (k - ABOUT) * ax;
      const i = Math.floor(v) * w + Math.floor(u);
      if (u < 0 || v < 0 || u >= w - 1 || v >= h - 1) continue;
      if (known[i] === 0 || known[i + 1] === 0 || known[i + w] === 0 || known[i + w + 1] === 0) continue;
      const f = u - Math.floor(u);
      const g = v - Math.floor(v);
      for (let c = 0; c < 3; c++) {
        const top = rgb[3 * i + c]! * (1 - f) + rgb[3 * (i + 1) + c]! * f;
        const low = rgb[3 * (i + w) + c]! * (1 - f) + rgb[3 * (i + w + 1) + c]! * f;
        out[3 * k + c] = out[3 * k + c]! + top * (1 - g) + low * g;
      }
      count++;
    }
    for (let c = 0; c < 3; c++) out[3 * k + c] = count === 0 ? NaN : out[3 * k + c]! / count;
  }
  return out;
}
