/**
 * How much of a blue screen's light the performer throws back, cell by cell, so that it can be divided out of the
 * performer's colour. A surface of reflectance ρ under key and fill of white light K shows ρ (K + q S), S the light
 * that the cloth throws on it: of each channel the share 1 / (1 + q S) is its own, whatever ρ is (von Kries'
 * coefficients; compare Barrow & Tenenbaum, Recovering intrinsic scene characteristics from images, 1978). Over q a
 * colour moves along one known curve in the plane of its logarithmic ratios, so that what it had without the bounce
 * needs one more line to be told.
 *
 * That line is the take's own: where the key comes the bounce is small beside it, so in each band of hues (counted
 * across the curve) the least blue that lit parts show tells where the coat lies, a pink collar as well as tan fur.
 * Where little is seen it falls back on what skin, fur and hair have in common: their reflectance rises from blue to
 * red. Green lies between the two others, and the limit of `performer-colour.ts` holds for it by itself; blue at the
 * end of the row would stay in a warm coat up to the mean of red and green.
 */
import { usualBlueness } from './coat-hue.js';
import type { FrameAnalysis } from './frame-analysis.js';
import type { CellGrid } from './local-unmix.js';

export interface ClothBounce {
  /**
   * Two fields of the analysis' grid: q, 0 where nothing is thrown back, and the most blue that a coat of the cell's
   * hue shows by itself, in parts of the geometric mean of its red and green.
   */
  readonly fields: Float32Array;
  /** The cloth's red and green in parts of its blue. */
  readonly red: number;
  readonly green: number;
}

/** Share of the light of a band of hues that lies under the line. */
const LOWEST = 0.2;
/** Cells that what is usual counts for. */
const USUAL = 50;
/** Small pixels from the screen at which a cell tells of the coat. */
const INSIDE = 3;
const SOLID = 0.98;
/** Bands of hues and steps of blueness, logarithmic. */
const HUES = { from: -1, step: 0.1, count: 36 },
  BLUES = { from: -3.5, step: 0.02, count: 250 };
/** Blueness over the line that is left to a pixel, logarithmic. */
const MARGIN = 0.1;
/**
 * Most of the cloth's light that falls on a surface, in parts of what would if it saw nothing else: wall or floor fill
 * half. With a reflectance of at most PALEST what a pixel shows of red bounds the light on it from below, and so q from
 * above: bright parts can't owe the cloth much.
 */
const MOST_SEEN = 0.5;
const PALEST = 0.9;
/** Most blueness that is taken for bounce, logarithmic. */
const MOST = 2.5;
const DARKEST = 2e-4;

/** A rectangle of the analysis' cells. */
interface Cells {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

/**
 * Of each cell of a rectangle: hue across the curve, blueness, and red and green light; logarithmic but the last two.
 */
interface Colours {
  readonly hue: Float32Array;
  readonly blueness: Float32Array;
  readonly red: Float32Array;
  readonly green: Float32Array;
}

/**
 * @param alpha of the picture that cells of `analysis` are counted on, w pixels wide
 * @param box its part that will be read, [x0, y0, x1, y1]; fields are 0 beyond it
 * @returns null for a green screen, and where nothing solid is seen
 */
export function clothBounce(
  analysis: FrameAnalysis,
  alpha: Float32Array,
  w: number,
  box: readonly [number, number, number, number],
): ClothBounce | null {
  const { red, green, blue } = meanOf(analysis.field.colour);
  if (!(blue > green) || !analysis.occupied) return null;
  const s1 = red / blue,
    s2 = green / blue,
    // How far hue moves back for each step of blueness along the curve, at its foot.
    lean = (s2 - s1) / (1 - 0.5 * (s1 + s2));
  const cells = cellsOf(analysis, box),
    colours = coloursOf(analysis, cells, lean),
    line = litLine(solidCells(analysis, cells, alpha, w, box[3]), colours, lean);
  if (line === null) return null;
  const logs = readLine(colours, line, s1, s2);
  boundShares(logs, colours, s1, s2, MOST_SEEN * PALEST * blue);
  const fields = new Float32Array(2 * analysis.grid.width * analysis.grid.height);
  lay(logs, cells, analysis.grid, fields);
  return { fields, red: s1, green: s2 };
}

/** The cells between whose middles a box's pixels are read, and one more to every side. */
function cellsOf({ grid, cell, small }: FrameAnalysis, box: readonly [number, number, number, number]): Cells {
  const px = cell * small.block,
    left = Math.max(0, Math.floor(box[0] / px) - 2),
    top = Math.max(0, Math.floor(box[1] / px) - 2);
  return {
    left,
    top,
    width: Math.min(grid.width, Math.ceil(box[2] / px) + 2) - left,
    height: Math.min(grid.height, Math.ceil(box[3] / px) + 2) - top,
  };
}

function meanOf(colour: Float32Array): { red: number; green: number; blue: number } {
  const n = colour.length / 3,
    step = Math.max(1, Math.floor(n / 5000)),
    sum = [0, 0, 0];
  let count = 0;
  for (let i = 0; i < n; i += step, count += 1) for (let c = 0; c < 3; c += 1) sum[c] = sum[c]! + colour[c * n + i]!;
  return { red: sum[0]! / count, green: sum[1]! / count, blue: sum[2]! / count };
}

function coloursOf({ performer, grid }: FrameAnalysis, { left, top, width, height }: Cells, lean: number): Colours {
  const m = width * height,
    n = grid.width * grid.height,
    out = {
      hue: new Float32Array(m),
      blueness: new Float32Array(m),
      red: new Float32Array(m),
      green: new Float32Array(m),
    };
  for (let v = 0; v < height; v += 1)
    for (let u = 0; u < width; u += 1) {
      const i = v * width + u,
        j = (top + v) * grid.width + left + u,
        r = Math.max(performer[j]!, DARKEST),
        g = Math.max(performer[n + j]!, DARKEST),
        lr = Math.log(r),
        lg = Math.log(g),
        z = Math.log(Math.max(performer[2 * n + j]!, DARKEST)) - 0.5 * (lr + lg);
      out.blueness[i] = z;
      out.hue[i] = lr - lg + lean * z;
      out.red[i] = r;
      out.green[i] = g;
    }
  return out;
}

/** Blueness without bounce a band of hues; null where no solid cell tells. */
function litLine(solid: readonly number[], { hue, blueness, red, green }: Colours, lean: number): Float32Array | null {
  if (solid.length === 0) return null;
  let sum = 0;
  for (const i of solid) sum += red[i]! + green[i]!;
  const most = (3 * sum) / solid.length,
    weight = new Float32Array(HUES.count * BLUES.count),
    seen = new Float32Array(HUES.count);
  for (const i of solid) {
    const k = slot(hue[i]!, HUES);
    weight[k * BLUES.count + slot(blueness[i]!, BLUES)]! += Math.min(red[i]! + green[i]!, most);
    seen[k]! += 1;
  }
  const line = new Float32Array(HUES.count);
  for (let k = 0; k < HUES.count; k += 1) {
    const at = HUES.from + k * HUES.step,
      [lowest, usual, highest] = usualBlueness(at, lean),
      count = (seen[k - 1] ?? 0) + seen[k]! + (seen[k + 1] ?? 0),
      own = count === 0 ? usual : Math.min(highest, Math.max(lowest, lowestOf(weight, k)));
    line[k] = (own * count + usual * USUAL) / (count + USUAL);
  }
  return line;
}

/** Cells of the rectangle whose middle is solid performer well inside the outline. */
function solidCells(
  { cell, fromScreen, small }: FrameAnalysis,
  { left, top, width, height }: Cells,
  alpha: Float32Array,
  w: number,
  bottom: number,
): number[] {
  const { width: sw, height: sh, block } = small,
    out: number[] = [];
  for (let v = 0; v < height; v += 1)
    for (let u = 0; u < width; u += 1) {
      const x = Math.min(w - 1, Math.floor((left + u + 0.5) * cell * block)),
        y = Math.min(bottom - 1, Math.floor((top + v + 0.5) * cell * block)),
        s = Math.min(sw - 1, Math.floor(x / block)) + sw * Math.min(sh - 1, Math.floor(y / block));
      if (fromScreen[s]! >= INSIDE && alpha[y * w + x]! > SOLID) out.push(v * width + u);
    }
  return out;
}

/** The blueness under which LOWEST of the light of a band and its two neighbours lies. */
function lowestOf(weight: Float32Array, band: number): number {
  const at = (b: number): number => {
    let s = 0;
    for (let k = Math.max(0, band - 1); k <= Math.min(HUES.count - 1, band + 1); k += 1)
      s += weight[k * BLUES.count + b]!;
    return s;
  };
  let all = 0;
  for (let b = 0; b < BLUES.count; b += 1) all += at(b);
  let sum = 0;
  for (let b = 0; b < BLUES.count; b += 1) {
    sum += at(b);
    if (sum >= LOWEST * all) return BLUES.from + b * BLUES.step;
  }
  return BLUES.from;
}

function slot(x: number, { from, step, count }: typeof HUES): number {
  return Math.min(count - 1, Math.max(0, Math.round((x - from) / step)));
}

/** Of each cell ln (1 + q), by how far it lies above the line, then the line itself. */
function readLine({ hue, blueness }: Colours, line: Float32Array, s1: number, s2: number): Float32Array {
  const logs = curve(s1, s2),
    n = hue.length,
    out = new Float32Array(2 * n),
    last = HUES.count - 1.001;
  for (let j = 0; j < n; j += 1) {
    const x = Math.min(last, Math.max(0, (hue[j]! - HUES.from) / HUES.step)),
      k = Math.floor(x),
      own = line[k]! + (line[k + 1]! - line[k]!) * (x - k),
      over = blueness[j]! - own;
    out[n + j] = own;
    if (over <= 0) continue;
    const y = (Math.min(over, MOST) / MOST) * (CURVE - 1),
      i = Math.min(CURVE - 2, Math.floor(y));
    out[j] = logs[i]! + (logs[i + 1]! - logs[i]!) * (y - i);
  }
  return out;
}

/**
 * Holds the shares to what the cloth can have lent, in place; what is bluer yet is so by itself, and the line goes up
 * to it.
 */
function boundShares(logs: Float32Array, { blueness, red }: Colours, s1: number, s2: number, lent: number): void {
  const n = red.length;
  for (let j = 0; j < n; j += 1) {
    const most = lent / red[j]!;
    if (Math.expm1(logs[j]!) <= most) continue;
    logs[j] = Math.log1p(most);
    logs[n + j] = blueness[j]! - logs[j]! + 0.5 * (Math.log1p(s1 * most) + Math.log1p(s2 * most));
  }
}

const CURVE = 64;

/** ln (1 + q) by blueness, from 0 to MOST in even steps. */
function curve(s1: number, s2: number): Float32Array {
  const blueOf = (log: number): number => {
    const q = Math.expm1(log);
    return log - 0.5 * (Math.log1p(s1 * q) + Math.log1p(s2 * q));
  };
  const out = new Float32Array(CURVE);
  for (let i = 1; i < CURVE; i += 1) {
    const wanted = (MOST * i) / (CURVE - 1);
    let low = 0,
      high = 8;
    for (let turn = 0; turn < 40; turn += 1) {
      const mid = 0.5 * (low + high);
      if (blueOf(mid) < wanted) low = mid;
      else high = mid;
    }
    out[i] = low;
  }
  return out;
}

/** q and the most blue, from means of the logarithms over three cells either way, into the grid's fields. */
function lay(logs: Float32Array, { left, top, width, height }: Cells, grid: CellGrid, fields: Float32Array): void {
  const m = width * height,
    n = grid.width * grid.height,
    across = new Float32Array(2 * m);
  for (let k = 0; k < 2 * height; k += 1)
    for (let u = 0, i = k * width; u < width; u += 1, i += 1)
      across[i] = (logs[u > 0 ? i - 1 : i]! + logs[i]! + logs[u + 1 < width ? i + 1 : i]!) / 3;
  for (let v = 0; v < height; v += 1) {
    const up = v > 0 ? -width : 0,
      down = v + 1 < height ? width : 0;
    for (let u = 0; u < width; u += 1) {
      const i = v * width + u,
        j = (top + v) * grid.width + left + u;
      fields[j] = Math.expm1((across[i + up]! + across[i]! + across[i + down]!) / 3);
      fields[n + j] = Math.exp((across[m + i + up]! + across[m + i]! + across[m + i + down]!) / 3 + MARGIN);
    }
  }
}
