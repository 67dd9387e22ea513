/**
 * Where a take's chroma samples truly stand between its luma samples. The file says it (left, in most), but what many
 * programs and cameras do is to average pairs of pixels, which puts the samples half a pixel further right; read by the
 * tag, every colour edge then lies half a pixel beside its luma edge, and a matte is wrong all round its outline.
 *
 * Across an edge luma and chroma change at one place. In small windows chroma is regressed on luma brought to the
 * chroma grid at each of five places; what is left over, as a parabola over the places, is least at the true one.
 * Shading beside an edge draws the place towards the shaded side, alike on left and on right edges, so that the mean of
 * both is taken.
 *
 * After the regression of the guided filter (He, Sun & Tang, PAMI, 2013). Sites: ITU-T H.273, table 6 and figure 1
 * (chroma sample location types 0, left, and 1, centre). The windows' size and limits were chosen on made files, whose
 * place is known.
 */
import type { VideoFrame } from '../../media/types.js';

/** Places tried, luma pixels right of the left of each pair. */
const PLACES = [-0.5, 0, 0.5, 1, 1.5] as const;
const STEP = 0.5;
/** Half a window's side in chroma samples, and a window's samples. */
const R = 2,
  WINDOW = (2 * R + 1) ** 2;
/**
 * Least variance of chroma in a window, and what is added to luma's (8-bit codes squared): about an encoder's noise.
 */
const LEAST = 64,
  FLOOR = 4;
/**
 * Most of a window's chroma that luma may leave unexplained at the best place, and least correlation of chroma with x.
 */
const LEFT_OVER = 0.25,
  SLOPE = 0.3;
/** Windows looked at a frame at the most; windows of a kind and in all that make a reading. */
const MOST = 12000,
  LEAST_KIND = 40,
  LEAST_ALL = 300;
/** Frames looked at. */
const FRAMES = 3;

/** Unexplained chroma by place, for rising and falling edges of either chroma plane. */
interface Left {
  readonly sums: Float64Array;
  windows: number;
}

/**
 * Place of the chroma samples along x as the pictures show it, luma pixels right of the left of each pair: 0 is left,
 * .5 centre. Null where they show too few colour edges, or chroma is not halved along x. @param frames of one file,
 * equally large
 */
export function measuredChromaPlace(frames: readonly VideoFrame[]): number | null {
  const kinds = Array.from({ length: 4 }, (): Left => ({ sums: new Float64Array(PLACES.length), windows: 0 }));
  const step = Math.max(1, frames.length / FRAMES);
  for (let k = 0; k < frames.length; k += step) {
    const frame = frames[Math.floor(k)]!;
    if (frame.layout === 'yuv' && frame.chromaShift[0] === 1 && frame.chromaShift[1] <= 1) gather(frame, kinds);
  }
  if (kinds.reduce((s, k) => s + k.windows, 0) < LEAST_ALL) return null;
  let place = 0,
    weight = 0;
  for (const plane of [0, 1]) {
    const [rising, falling] = [leastOf(kinds[2 * plane]!), leastOf(kinds[2 * plane + 1]!)];
    if (rising === null || falling === null) continue;
    const w = 1 / (1 / rising.bend + 1 / falling.bend);
    place += w * 0.5 * (rising.at + falling.at);
    weight += w;
  }
  return weight > 0 ? place / weight : null;
}

/** The standard's site nearest to what the frames show; the file's own where they do not show it. */
export function chromaSiteSeen(frames: readonly VideoFrame[]): readonly [number, number] | null {
  const first = frames[0];
  if (first === undefined || first.layout !== 'yuv' || first.chromaShift[0] !== 1) return null;
  const place = measuredChromaPlace(frames);
  return [place === null ? first.chromaSite[0] : place > 0.25 ? 0.5 : 0, first.chromaSite[1]];
}

/** Where a parabola through the least sum and its neighbours is least, and how strongly it bends. */
function leastOf({ sums, windows }: Left): { at: number; bend: number } | null {
  if (windows < LEAST_KIND) return null;
  let j = 1;
  for (let k = 2; k < PLACES.length - 1; k += 1) if (sums[k]! < sums[j]!) j = k;
  const bend = sums[j - 1]! - 2 * sums[j]! + sums[j + 1]!;
  if (!(bend > 0)) return null;
  const at = PLACES[j]! + (STEP * (sums[j - 1]! - sums[j + 1]!)) / (2 * bend);
  return { at: Math.min(Math.max(at, PLACES[0]), PLACES[PLACES.length - 1]!), bend };
}

function gather(frame: VideoFrame, kinds: readonly Left[]): void {
  const w = frame.widthPx,
    h = frame.heightPx,
    cw = (w + 1) >> 1,
    ch = frame.chromaShift[1] === 1 ? (h + 1) >> 1 : h,
    unit = 2 ** (8 - frame.bitDepth);
  const chroma = [frame.planes[1]!, frame.planes[2]!] as (Uint8Array | Uint16Array)[] as [
      Uint8Array | Uint16Array,
      Uint8Array | Uint16Array,
    ],
    found = [windowsOf(chroma[0], cw, ch, unit), windowsOf(chroma[1], cw, ch, unit)] as const;
  const every = Math.max(1, Math.ceil((found[0].length + found[1].length) / MOST));
  const rows = new LumaRows(frame, cw, unit);
  // Both planes' windows row by row together: luma's rows are made once.
  for (let a = 0, b = 0; a < found[0].length || b < found[1].length; ) {
    const first = a < found[0].length && (b >= found[1].length || found[0][a]! <= found[1][b]!),
      plane = first ? 0 : 1;
    look(found[plane][first ? a : b]!, chroma[plane], cw, unit, rows, kinds, 2 * plane);
    if (first) a += every;
    else b += every;
  }
}

/**
 * Middles of the windows, by row, whose chroma varies and changes along x. Sums go on from window to window by what
 * comes and goes: codes are whole numbers (or, of deeper files, so many quarters of one), so nothing is lost by it.
 */
function windowsOf(chroma: Uint8Array | Uint16Array, cw: number, ch: number, unit: number): number[] {
  const out: number[] = [],
    sum = new Float64Array(cw),
    square = new Float64Array(cw);
  for (let y = 0; y < 2 * R && y < ch; y += 1) addRow(chroma, y * cw, 1, unit, sum, square);
  for (let y = R; y < ch - R; y += 1) {
    addRow(chroma, (y + R) * cw, 1, unit, sum, square);
    if (y > R) addRow(chroma, (y - R - 1) * cw, -1, unit, sum, square);
    windowsOfRow(sum, square, y * cw, out);
  }
  return out;
}

/** A row of chroma comes to the columns' sums (`sign` 1) or goes (-1). */
function addRow(
  chroma: Uint8Array | Uint16Array,
  from: number,
  sign: number,
  unit: number,
  sum: Float64Array,
  square: Float64Array,
): void {
  const cw = sum.length;
  for (let x = 0; x < cw; x += 1) {
    const v = unit * chroma[from + x]!;
    sum[x] = sum[x]! + sign * v;
    square[x] = square[x]! + sign * v * v;
  }
}

function windowsOfRow(sum: Float64Array, square: Float64Array, row: number, out: number[]): void {
  const cw = sum.length;
  let s = 0,
    q = 0,
    slope = 0;
  for (let k = 0; k <= 2 * R && k < cw; k += 1) {
    s += sum[k]!;
    q += square[k]!;
    slope += (k - R) * sum[k]!;
  }
  for (let x = R; x < cw - R; x += 1) {
    const variance = q / WINDOW - (s / WINDOW) ** 2;
    // Variance of x within a window: R (R + 1) / 3.
    if (variance > LEAST && Math.abs(slope / WINDOW) > SLOPE * Math.sqrt((variance * R * (R + 1)) / 3))
      out.push(row + x);
    if (x + R + 1 === cw) break;
    const goes = sum[x - R]!,
      comes = sum[x + R + 1]!;
    s += comes - goes;
    q += square[x + R + 1]! - square[x - R]!;
    slope += R * goes + (R + 1) * comes - s;
  }
}

/** What luma at each place leaves of one window's chroma. */
function look(
  middle: number,
  chroma: ArrayLike<number>,
  cw: number,
  unit: number,
  rows: LumaRows,
  kinds: readonly Left[],
  kind: number,
): void {
  const y = Math.floor(middle / cw),
    x = middle - y * cw,
    left = LEFT;
  let sc = 0,
    scc = 0,
    slope = 0;
  for (let j = -R; j <= R; j += 1)
    for (let k = -R; k <= R; k += 1) {
      const c = unit * chroma[middle + j * cw + k]!;
      sc += c;
      scc += c * c;
      slope += k * c;
    }
  const variance = scc / WINDOW - (sc / WINDOW) ** 2;
  let least = Infinity;
  for (let p = 0; p < PLACES.length; p += 1) {
    let sl = 0,
      sll = 0,
      slc = 0;
    for (let j = -R; j <= R; j += 1) {
      const row = rows.at(y + j, p),
        from = middle + j * cw;
      for (let k = -R; k <= R; k += 1) {
        const l = row[x + k]!;
        sl += l;
        sll += l * l;
        slc += l * unit * chroma[from + k]!;
      }
    }
    const shared = slc / WINDOW - (sl * sc) / WINDOW ** 2;
    left[p] = 1 - shared ** 2 / ((sll / WINDOW - (sl / WINDOW) ** 2 + FLOOR) * variance);
    if (left[p]! < least) least = left[p]!;
  }
  if (least > LEFT_OVER) return;
  const to = kinds[kind + (slope > 0 ? 0 : 1)]!;
  to.windows += 1;
  for (let p = 0; p < PLACES.length; p += 1) to.sums[p] = to.sums[p]! + left[p]!;
}
const LEFT = new Float64Array(PLACES.length);

/**
 * Luma brought to the chroma grid at each place by a cubic B-spline, the same at all of them; the last few rows are
 * kept.
 */
class LumaRows {
  private readonly known: Int32Array;
  private readonly kept: Float32Array[][];
  private readonly upright: Float32Array;
  private readonly frame: VideoFrame;
  private readonly unit: number;

  constructor(frame: VideoFrame, cw: number, unit: number) {
    this.frame = frame;
    this.unit = unit;
    this.kept = Array.from({ length: 2 * R + 1 }, () => PLACES.map(() => new Float32Array(cw)));
    this.known = new Int32Array(2 * R + 1).fill(-1);
    this.upright = new Float32Array(frame.widthPx);
  }

  at(y: number, place: number): Float32Array {
    const slot = y % this.kept.length;
    if (this.known[slot] !== y) {
      this.known[slot] = y;
      this.fill(y, this.kept[slot]!);
    }
    return this.kept[slot]![place]!;
  }

  private fill(y: number, rows: Float32Array[]): void {
    const { widthPx: w, heightPx: h } = this.frame,
      luma = this.frame.planes[0]! as Uint8Array | Uint16Array,
      down = this.frame.chromaShift[1] === 1;
    this.upright.fill(0);
    for (const [d, share] of down ? tapsAt(this.frame.chromaSite[1]) : [[0, 1] as const])
      addLuma(luma, Math.min(Math.max((down ? 2 * y : y) + d, 0), h - 1) * w, share * this.unit, this.upright);
    for (let p = 0; p < PLACES.length; p += 1) ontoPlace(this.upright, TAPS[p]!, rows[p]!);
  }
}

/** Loops in functions of their own, so that each is compiled once and for good. */
function addLuma(luma: Uint8Array | Uint16Array, from: number, share: number, to: Float32Array): void {
  for (let x = 0; x < to.length; x += 1) to[x] = to[x]! + share * luma[from + x]!;
}

/** Every second sample of a row about a place, ends repeated; summed in single precision, tap by tap. */
function ontoPlace(row: Float32Array, taps: readonly (readonly [number, number])[], out: Float32Array): void {
  const w = row.length,
    [[d0, a], [d1, b], [d2, c], [d3, e]] = taps as [
      readonly [number, number],
      readonly [number, number],
      readonly [number, number],
      readonly [number, number],
    ];
  const end = w - 1,
    round = Math.fround;
  for (let x = 0; x < out.length; x += 1) {
    const i = 2 * x;
    const p =
      i + d0 >= 0 && i + d3 <= end
        ? round(round(round(round(a * row[i + d0]!) + b * row[i + d1]!) + c * row[i + d2]!) + e * row[i + d3]!)
        : round(
            round(
              round(round(a * row[held(i + d0, end)]!) + b * row[held(i + d1, end)]!) + c * row[held(i + d2, end)]!,
            ) +
              e * row[held(i + d3, end)]!,
          );
    out[x] = p;
  }
}

function held(i: number, end: number): number {
  return i < 0 ? 0 : i > end ? end : i;
}

/** Offsets and shares of a cubic B-spline's samples about a place. */
function tapsAt(place: number): (readonly [number, number])[] {
  const base = Math.floor(place);
  return [-1, 0, 1, 2].map((k) => {
    const u = Math.abs(place - base - k);
    return [base + k, u < 1 ? 2 / 3 - u * u + u ** 3 / 2 : u < 2 ? (2 - u) ** 3 / 6 : 0] as const;
  });
}

const TAPS = PLACES.map(tapsAt);
