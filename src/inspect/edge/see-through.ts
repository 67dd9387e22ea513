/**
 * How much of the plate shows through the whole performer. A coat has nothing in common with what it hides, so in the
 * covered core the slope of the picture's pattern over the plate's is nought but for chance, and the plate's share
 * where it shows through. The slope is taken in small cells and three bands, an octave apart; a cell counts the less
 * the more pattern of its own it has (weighted least squares), so smooth parts tell most. What chance leaves is told by
 * the scatter of places: all frames of one place are one draw, because where plate and performer hold still every frame
 * says the same. Places are taken of the picture and, again, of the performer, which a pan may carry along with what is
 * behind it; the larger error counts. A performer that carries the plate's very draw of grain (laid on with it, or
 * kept) has grain in common and nothing else: where the finer band shows more than the middle one, the coarse one
 * decides alone.
 *
 * What is seen through shows in all bands alike, but for fine pattern that an encoder took away; a coat whose shading
 * happens to go as the plate's light does shows in the coarser ones. How much of each band join and plate have in common
 * beside the performer says what an encoder may have taken (part of that is grain drawn anew, which takes nothing): as
 * much of it as makes the bands agree best is put back, and what they disagree by even so is doubt (Birge's ratio: R. T.
 * Birge, "The calculation of errors by the method of least squares", Physical Review 40, 1932).
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { coreOf, type DepthAt } from '../texture/fineness.js';
import { grow, type SeenFrame } from '../reader/frame.js';

export interface SeeThrough {
  /** Share of the plate, and its standard error. */
  readonly share: number;
  readonly sd: number;
}

/** Widths between which the bands lie, px, and the side of a cell of each. */
const WIDTHS = [0, 1, 2, 4] as const,
  CELLS = [8, 8, 16] as const;
/** How deep in the core a cell lies, px; fewest cells of a frame, and fewest places of all frames. */
const DEPTH = 2,
  FEWEST = 4,
  PLACES = 8;
/** How many standard errors two bands may lie apart and still tell the same. */
const ALIKE = 3;
/** How far a band's filter reaches, px. */
const REACH = 14;

/** Most alpha of what lies beside the performer. */
const BARE = 0.004;
/** Least share of the fine band in common beside the performer, over the middle one's, from which it tells something. */
const KEPT = 0.5;
/** How much of what is not in common may have been taken: none to all. */
const TAKEN = [0, 0.25, 0.5, 0.75, 1] as const;

interface Place {
  xy: number;
  xx: number;
}
/** One band's sums by place of the picture and by place of the performer, and those of the plate beside it. */
interface Band {
  readonly picture: Map<number, Place>;
  readonly performer: Map<number, Place>;
  readonly beside: Place;
}

/** A cell's place in the picture, and what join and plate have in common there beyond their means: sums of products. */
interface Cell {
  readonly x: number;
  readonly y: number;
  readonly xy: number;
  readonly xx: number;
  /** Variance of the join. */
  readonly yy: number;
}

/** A part of join and plate between two widths of softening: what the finer has beyond the coarser. */
interface Part {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  readonly join: Float32Array;
  readonly softJoin: Float32Array;
  readonly plate: Float32Array;
  readonly softPlate: Float32Array;
}

/** Adds up frame after frame. */
export class SeeThroughReader {
  private readonly bands: Band[] = CELLS.map(() => ({
    picture: new Map<number, Place>(),
    performer: new Map<number, Place>(),
    beside: { xy: 0, xx: 0 },
  }));

  /**
   * Reads one frame; the share by this frame alone (middle band), null where too little is covered. `known`: `coreOf`
   * its matte.
   */
  add(f: SeenFrame, known?: DepthAt): number | null {
    if (f.box === null) return null;
    const { width: W, height: H } = f.join,
      [x0, y0, x1, y1] = grow(f.box, REACH, REACH, W, H),
      w = x1 - x0,
      h = y1 - y0,
      deep = known ?? coreOf(f.matte, W, f.box),
      middle = middleOf(f);
    const crop = (v: Float32Array): Float32Array => {
      const out = new Float32Array(w * h);
      for (let y = 0; y < h; y++) out.set(v.subarray((y0 + y) * W + x0, (y0 + y) * W + x1), y * w);
      return out;
    };
    const sharpJoin = crop(f.luma),
      sharpPlate = crop(f.plateLuma);
    let join = sharpJoin,
      plate = sharpPlate,
      alone: number | null = null;
    CELLS.forEach((side, k) => {
      const softJoin = gaussianPlane(sharpJoin, w, h, WIDTHS[k + 1]!),
        softPlate = gaussianPlane(sharpPlate, w, h, WIDTHS[k + 1]!),
        part = { x0, y0, width: w, height: h, join, softJoin, plate, softPlate },
        covered = cellsWhere(part, side, (x, y) => deep(y * W + x) >= DEPTH, CORNERS),
        share = addCells(this.bands[k]!, covered, side, middle);
      if (k === 1) alone = share;
      addBeside(
        this.bands[k]!.beside,
        cellsWhere(part, side, (x, y) => f.matte[y * W + x]! <= BARE, side),
      );
      join = softJoin;
      plate = softPlate;
    });
    return alone;
  }

  /** Of all frames; null where too little is covered or the plate has no pattern. */
  result(): SeeThrough | null {
    const [fine, middle, coarse] = this.bands.map(slopeOf) as [SeeThrough | null, SeeThrough | null, SeeThrough | null];
    // Of a performer too small for the coarse band, grain of one draw can't be told from the plate seen through it.
    if (coarse === null) return null;
    if (fine === null || middle === null) return coarse;
    const beyond = (a: SeeThrough, b: SeeThrough): number => (a.share - b.share) / Math.hypot(a.sd, b.sd),
      apart = beyond(fine, middle);
    if (apart > ALIKE || (apart > 0 && beyond(middle, coarse) > ALIKE)) return coarse;
    const kept = [0, 1, 2].map((k) => this.kept(k)),
      list = [fine, middle, coarse].map((q, k) => ({ ...q, kept: kept[k]! }));
    if (apart < -ALIKE && kept[0]! < KEPT) list.shift();
    return TAKEN.map((taken) => together(list.map((q) => over(q, q.kept ** taken)))).reduce((best, q) =>
      q.birge < best.birge ? q : best,
    );
  }

  /** Share of a band's pattern that join and plate have in common beside the performer, over the middle band's. */
  private kept(band: number): number {
    const common = ({ beside: { xy, xx } }: Band): number => (xx > 0 ? xy / xx : NaN),
      share = common(this.bands[band]!) / common(this.bands[1]!);
    return share > 0 ? share : 1;
  }
}

function over({ share, sd }: SeeThrough, kept: number): SeeThrough {
  return { share: share / kept, sd: sd / kept };
}

/** Their weighted mean; they doubt each other by as much as they lie farther apart than their errors say. */
function together(list: readonly SeeThrough[]): SeeThrough & { readonly birge: number } {
  const weight = (q: SeeThrough): number => 1 / Math.max(1e-8, q.sd * q.sd),
    share = list.reduce((s, q) => s + q.share * weight(q), 0) / list.reduce((s, q) => s + weight(q), 0),
    birge = Math.sqrt(list.reduce((s, q) => s + (q.share - share) ** 2 * weight(q), 0) / (list.length - 1));
  // Bands of one picture are not quite draws of their own: no more than the best of them is believed.
  return { share, sd: Math.min(...list.map((q) => q.sd)) * Math.max(1, birge), birge };
}

/** A cell is looked at by its corners alone. */
const CORNERS = 2;

/**
 * The cells of a part, on a grid of the picture's own so that a place is the same on every frame, in which `counts` holds
 * at `points` by `points` pixels, the corners among them.
 */
function cellsWhere(part: Part, side: number, counts: (x: number, y: number) => boolean, points: number): Cell[] {
  const { x0, y0, width, height } = part,
    step = (side - 1) / (points - 1),
    out: Cell[] = [];
  for (let y = Math.ceil(y0 / side) * side; y + side <= y0 + height; y += side)
    for (let x = Math.ceil(x0 / side) * side; x + side <= x0 + width; x += side) {
      let all = true;
      for (let v = 0; v < points && all; v++)
        for (let u = 0; u < points && all; u++) all = counts(x + u * step, y + v * step);
      if (all) out.push(cellAt(part, side, x, y));
    }
  return out;
}

function cellAt(
  { x0, y0, width: w, join, softJoin, plate, softPlate }: Part,
  side: number,
  x: number,
  y: number,
): Cell {
  const n = side * side;
  let xy = 0,
    xx = 0,
    yy = 0,
    mj = 0,
    mp = 0;
  for (let v = y - y0; v < y - y0 + side; v++)
    for (let u = x - x0; u < x - x0 + side; u++) {
      const i = v * w + u,
        a = join[i]! - softJoin[i]!,
        b = plate[i]! - softPlate[i]!;
      xy += a * b;
      xx += b * b;
      yy += a * a;
      mj += a;
      mp += b;
    }
  return { x, y, xy: xy - (mj * mp) / n, xx: xx - (mp * mp) / n, yy: (yy - (mj * mj) / n) / n };
}

/**
 * What a cell counts: the less, the more pattern of its own it has. The smoothest tenth tells about how much pattern
 * grain alone makes: a cell that happens to be smoother counts no more for it.
 */
function weightOf(cells: readonly Cell[]): (c: Cell) => number {
  const floor = cells.map((c) => c.yy).sort((a, b) => a - b)[Math.floor(cells.length / 10)]! + 1e-7;
  return (c) => 1 / (c.yy + floor);
}

/** Adds a frame's covered cells to a band; their share alone, null of too few. `middle`: of the performer, px. */
function addCells(band: Band, cells: readonly Cell[], side: number, middle: readonly [number, number]): number | null {
  if (cells.length < FEWEST) return null;
  const weight = weightOf(cells);
  let xy = 0,
    xx = 0;
  for (const c of cells) {
    const q = weight(c);
    put(band.picture, 65536 * c.y + c.x, q * c.xy, q * c.xx);
    put(
      band.performer,
      Math.round((c.y - middle[1]) / side) * 4096 + Math.round((c.x - middle[0]) / side),
      q * c.xy,
      q * c.xx,
    );
    xy += q * c.xy;
    xx += q * c.xx;
  }
  return xx > 0 ? xy / xx : null;
}

function addBeside(beside: Place, cells: readonly Cell[]): void {
  if (cells.length < FEWEST) return;
  const weight = weightOf(cells);
  for (const c of cells) {
    beside.xy += weight(c) * c.xy;
    beside.xx += weight(c) * c.xx;
  }
}

/** Middle of what is covered, px. */
function middleOf(f: SeenFrame): [number, number] {
  const W = f.join.width,
    [x0, y0, x1, y1] = f.box!;
  let x = 0,
    y = 0,
    n = 0;
  for (let v = y0; v < y1; v += 2)
    for (let u = x0; u < x1; u += 2) {
      const a = f.matte[v * W + u]!;
      x += a * u;
      y += a * v;
      n += a;
    }
  return [x / n, y / n];
}

function put(places: Map<number, Place>, key: number, xy: number, xx: number): void {
  const at = places.get(key);
  if (at === undefined) places.set(key, { xy, xx });
  else {
    at.xy += xy;
    at.xx += xx;
  }
}

function slopeOf(band: Band): SeeThrough | null {
  if (Math.min(band.picture.size, band.performer.size) < PLACES) return null;
  let xy = 0,
    xx = 0;
  for (const p of band.picture.values()) {
    xy += p.xy;
    xx += p.xx;
  }
  if (!(xx > 1e-6)) return null;
  const share = xy / xx,
    scatter = (places: ReadonlyMap<number, Place>): number => {
      let left = 0;
      for (const p of places.values()) left += (p.xy - share * p.xx) ** 2;
      return Math.sqrt(left) / xx;
    };
  return { share, sd: Math.max(scatter(band.picture), scatter(band.performer)) };
}
