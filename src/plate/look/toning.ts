/**
 * Film without colours of its own: black and white, or toned and tinted, so that what colour there is hangs on
 * brightness alone (dyes that follow the silver, or one over all of the stock). Told by how far the chroma of small
 * blocks strays about a line through the blocks of like brightness (own method; a segmented least-squares fit).
 *
 * Blocks, since grain and coded chroma stray more from pixel to pixel than the film's tone does.
 */
import type { Picture } from '../../image/picture.js';
import type { FilmToning } from '../types.js';

/** Blocks that a picture is wide. */
const ACROSS = 80;
/** Bands of coded luma, 0 to 1. */
const BANDS = 32;
/** Fewest blocks of a band that a line is laid through, and that tell its colour. */
const LEAST_BLOCKS = 8;
/**
 * Most that the blocks' chroma may stray (rms, coded 0..1). Toned copies of five clips stray by 0 (black and white) to
 * .010, coloured shots by .0125 at least where they show more than one plain wall; see docs/measures.md.
 */
const MOST_STRAY = 2.2 / 255;
/**
 * Mean chroma under which the film counts as black and white, coded, and most that it may stray then: black and white
 * film is grey to the code wherever one looks, a grey room before a colour camera is not (own choice).
 */
const NEUTRAL = 2 / 255,
  NEUTRAL_STRAY = 1 / 255;
/**
 * Least breadth of luma, 5 to 95 %, over which a tint is believed: one wall under one light has one colour by itself.
 */
const LEAST_BREADTH = 0.25;

/** Sums of one band: number, luma y, chroma u (R' − Y') and v (B' − Y'), and their products. */
interface Band {
  n: number;
  y: number;
  yy: number;
  readonly chroma: readonly [Chroma, Chroma];
}
interface Chroma {
  sum: number;
  square: number;
  byLuma: number;
}

const noChroma = (): Chroma => ({ sum: 0, square: 0, byLuma: 0 });

/** Gathers display-coded R'G'B' pictures (planar, 0..1) and tells their toning. */
export class ToningCounter {
  private readonly bands: Band[] = Array.from({ length: BANDS }, () => ({
    n: 0,
    y: 0,
    yy: 0,
    chroma: [noChroma(), noChroma()],
  }));

  add(coded: Picture): void {
    const { width: w, height: h, data } = coded,
      px = w * h,
      side = Math.max(2, Math.round(w / ACROSS));
    for (let top = 0; top + side <= h; top += side)
      for (let left = 0; left + side <= w; left += side) {
        const rgb: [number, number, number] = [0, 0, 0];
        for (let y = top; y < top + side; y++)
          for (let i = y * w + left; i < y * w + left + side; i++)
            for (let c = 0; c < 3; c++) rgb[c]! += data[c * px + i]!;
        this.addBlock(rgb[0] / side ** 2, rgb[1] / side ** 2, rgb[2] / side ** 2);
      }
  }

  private addBlock(r: number, g: number, b: number): void {
    const y = 0.2126 * r + 0.7152 * g + 0.0722 * b,
      band = this.bands[Math.max(0, Math.min(BANDS - 1, Math.floor(y * BANDS)))]!;
    band.n++;
    band.y += y;
    band.yy += y * y;
    for (const [c, v] of [r - y, b - y].entries()) {
      const chroma = band.chroma[c]!;
      chroma.sum += v;
      chroma.square += v * v;
      chroma.byLuma += v * y;
    }
  }

  /** Null where the pictures have colours of their own, or show too little to tell. */
  toning(): FilmToning | null {
    const full = this.bands.filter((b) => b.n >= LEAST_BLOCKS),
      n = full.reduce((s, b) => s + b.n, 0);
    if (n === 0) return null;
    const stray = Math.sqrt(full.reduce((s, b) => s + strayOf(b), 0) / (2 * n)),
      mean = full.reduce((s, b) => s + Math.abs(b.chroma[0].sum) + Math.abs(b.chroma[1].sum), 0) / (2 * n);
    if (stray > MOST_STRAY) return null;
    if (mean <= NEUTRAL) return stray <= NEUTRAL_STRAY ? { colours: [] } : null;
    return this.breadth() < LEAST_BREADTH ? null : { colours: full.map(colourOf) };
  }

  /** Breadth of luma between the bands at 5 and at 95 % of the blocks. */
  private breadth(): number {
    const all = this.bands.reduce((s, b) => s + b.n, 0);
    const at = (share: number): number => {
      let s = 0;
      return this.bands.findIndex((b) => (s += b.n) >= share * all) / BANDS;
    };
    return at(0.95) - at(0.05);
  }
}

/** Sum of squares that a band's two chromas stray by about their lines over luma. */
function strayOf({ n, y, yy, chroma }: Band): number {
  const spread = yy - (y * y) / n;
  let sum = 0;
  for (const c of chroma) {
    const along = c.byLuma - (c.sum * y) / n;
    sum += Math.max(0, c.square - c.sum ** 2 / n - (spread > 1e-9 ? along ** 2 / spread : 0));
  }
  return sum;
}

/** A band's mean colour, coded R'G'B'. */
function colourOf({ n, y, chroma: [u, v] }: Band): [number, number, number] {
  const luma = y / n,
    r = luma + u.sum / n,
    b = luma + v.sum / n;
  return [r, (luma - 0.2126 * r - 0.0722 * b) / 0.7152, b];
}
