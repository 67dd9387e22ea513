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

interface Place {
  xy: number;
  xx: number;
}
/** One band's sums by place of the picture and by place of the performer. */
interface Band {
  readonly picture: Map<number, Place>;
  readonly performer: Map<number, Place>;
}

/** Adds up frame after frame. */
export class SeeThroughReader {
  private readonly bands: Band[] = CELLS.map(() => ({
    picture: new Map<number, Place>(),
    performer: new Map<number, Place>(),
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
      deep = known ?? coreOf(f.matte, W, f.box);
    const middle = middleOf(f);
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
        softPlate = gaussianPlane(sharpPlate, w, h, WIDTHS[k + 1]!);
      const cells: { key: number; own: number; xy: number; xx: number; yy: number }[] = [],
        n = side * side;
      // On a grid of the picture's own, so that a place is the same on every frame.
      for (let y = Math.ceil(y0 / side) * side; y + side <= y1; y += side)
        for (let x = Math.ceil(x0 / side) * side; x + side <= x1; x += side) {
          if (
            deep(y * W + x) < DEPTH ||
            deep(y * W + x + side - 1) < DEPTH ||
            deep((y + side - 1) * W + x) < DEPTH ||
            deep((y + side - 1) * W + x + side - 1) < DEPTH
          )
            continue;
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
          cells.push({
            key: y * W + x,
            own: Math.round((y - middle[1]) / side) * 4096 + Math.round((x - middle[0]) / side),
            xy: xy - (mj * mp) / n,
            xx: xx - (mp * mp) / n,
            yy: (yy - (mj * mj) / n) / n,
          });
        }
      if (cells.length >= FEWEST) {
        // The smoothest tenth tells about how much pattern grain alone makes: a cell that happens to be smoother counts
        // no more for it.
        const floor = cells.map((c) => c.yy).sort((a, b) => a - b)[Math.floor(cells.length / 10)]! + 1e-7,
          band = this.bands[k]!;
        let xy = 0,
          xx = 0;
        for (const c of cells) {
          const weight = 1 / (c.yy + floor);
          put(band.picture, c.key, weight * c.xy, weight * c.xx);
          put(band.performer, c.own, weight * c.xy, weight * c.xx);
          xy += weight * c.xy;
          xx += weight * c.xx;
        }
        if (k === 1) alone = xx > 0 ? xy / xx : null;
      }
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
    const list = apart < -ALIKE ? [middle, coarse] : [fine, middle, coarse],
      weight = (q: SeeThrough): number => 1 / Math.max(1e-8, q.sd * q.sd);
    const sum = list.reduce((s, q) => s + weight(q), 0);
    // Bands of one picture are not quite draws of their own: no more than the best of them is believed.
    return { share: list.reduce((s, q) => s + q.share * weight(q), 0) / sum, sd: Math.min(...list.map((q) => q.sd)) };
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
