/**
 * Which of a few shifts each pixel of a hole is copied by, so that copies meet one another and the border with the
 * least seam: the montage of K. He, J. Sun, "Statistics of patch offsets for image completion", ECCV 2012, section 4,
 * with the seam's cost of V. Kwatra et al., "Graphcut textures", SIGGRAPH 2003, solved by expansion moves (Y. Boykov,
 * O. Veksler, R. Zabih, "Fast approximate energy minimization via graph cuts", IEEE PAMI 23, 2001). The cost is a
 * metric, so every move is a cut; its edges are brought to the symmetric ones of the grid's cut by moving half of each
 * edge's surplus to its two pixels.
 */
import { maskBox } from '../../image/mask-box.js';
import { gridCut } from '../../image/grid-cut.js';
import type { Offset } from './patch-offsets.js';
import { ROUGH } from './patch-roughness.js';

/** Border pixels as far off (px) have a say in what a hole's pixel is copied by, each with so much. */
const BORDER = 2;
const SAY = 0.5;
/** What a copy costs that would read something unknown (a colour's length is at most 1.7). */
const UNKNOWN = 1e3;
const HALF_KNOWN = 0.3;
const ROUNDS = 2;

/** A picture with a hole, planes of height × width. */
export interface HoledPicture {
  /** Three values a pixel, interleaved, coded. */
  readonly rgb: Float32Array;
  readonly hole: Uint8Array;
  /** 1 where it may be copied from. */
  readonly known: Uint8Array;
  readonly width: number;
  readonly height: number;
  /** What copying a pixel costs besides seams, as a colour's length. */
  readonly dear?: Float32Array;
  /**
   * A pair a pixel that is compared beside colour (patch-roughness.ts, whose squares count ROUGH times): else the
   * smoothest piece of a picture meets everything best.
   */
  readonly rough?: Float32Array;
}

/**
 * The index of the shift for each pixel of the hole; −1 elsewhere. Every pixel of the hole must have a shift that leads
 * to a known one.
 */
export function labelOffsets(picture: HoledPicture, offsets: readonly Offset[]): Int32Array {
  const montage = new Montage(picture, offsets);
  for (let round = 0; round < ROUNDS; round++) {
    let moved = 0;
    for (let k = 0; k < offsets.length; k++) moved += montage.expand(k);
    if (moved === 0) break;
  }
  return montage.labels();
}

/** The labels over the hole's box while they are improved. */
class Montage {
  private readonly picture: HoledPicture;
  private readonly offsets: readonly Offset[];
  /** How many pixels of the picture on each shift leads. */
  private readonly lead: readonly number[];
  private readonly boxWidth: number;
  private readonly boxHeight: number;
  /** For each pixel of the box: its place in the picture, whether it is in the hole, its shift. */
  private readonly places: Int32Array;
  private readonly inHole: Uint8Array;
  private readonly label: Int32Array;
  /** For each shift, what it costs each pixel of the box by itself. */
  private readonly unary: readonly Float32Array[];

  constructor(picture: HoledPicture, offsets: readonly Offset[]) {
    const { hole, width, height } = picture;
    const [x0, y0, x1, y1] = maskBox(hole, width, height) ?? [0, 0, 0, 0];
    this.picture = picture;
    this.offsets = offsets;
    this.lead = offsets.map(({ dx, dy }) => dy * width + dx);
    this.boxWidth = x1 - x0;
    this.boxHeight = y1 - y0;
    const count = this.boxWidth * this.boxHeight;
    this.places = new Int32Array(count);
    this.inHole = new Uint8Array(count);
    for (let y = 0, b = 0; y < this.boxHeight; y++)
      for (let x = 0; x < this.boxWidth; x++, b++) {
        this.places[b] = (y + y0) * width + x + x0;
        this.inHole[b] = hole[this.places[b]!]!;
      }
    this.unary = offsets.map((_, k) => {
      const out = new Float32Array(count);
      for (let b = 0; b < count; b++) if (this.inHole[b] !== 0) out[b] = this.atBorder(this.places[b]!, k);
      return out;
    });
    this.label = this.cheapest(count);
  }

  /** Each pixel's shift, over the whole picture. */
  labels(): Int32Array {
    const out = new Int32Array(this.picture.width * this.picture.height).fill(-1);
    for (let b = 0; b < this.label.length; b++) if (this.inHole[b] !== 0) out[this.places[b]!] = this.label[b]!;
    return out;
  }

  /** Lets pixels change to the shift k where all together cost less so; how many did. */
  expand(k: number): number {
    const { terminal, edges } = this.moveCosts(k);
    const gain = terminal.map((v) => -v);
    const take = gridCut(gain, edges, this.boxWidth, this.boxHeight);
    let moved = 0;
    for (let b = 0; b < this.label.length; b++)
      if (this.inHole[b] !== 0 && take[b] === 1 && this.label[b] !== k) {
        this.label[b] = k;
        moved++;
      }
    return moved;
  }

  /** The move to k as a cut: cost of taking it less that of staying, and of parting neighbours. */
  private moveCosts(k: number): {
    terminal: Float32Array;
    edges: [Float32Array, Float32Array, Float32Array, Float32Array];
  } {
    const { boxWidth, boxHeight, inHole, label, unary } = this;
    const count = boxWidth * boxHeight;
    const terminal = new Float32Array(count);
    const empty = (): Float32Array => new Float32Array(count);
    const edges: [Float32Array, Float32Array, Float32Array, Float32Array] = [empty(), empty(), empty(), empty()];
    for (let b = 0; b < count; b++) if (inHole[b] !== 0) terminal[b] = unary[k]![b]! - unary[label[b]!]![b]!;
    for (let y = 0; y < boxHeight; y++)
      for (let x = 0; x < boxWidth; x++)
        for (let d = 0; d < 2; d++) {
          const p = y * boxWidth + x;
          const q = d === 0 ? p + 1 : p + boxWidth;
          if ((d === 0 ? x + 1 >= boxWidth : y + 1 >= boxHeight) || inHole[p] === 0 || inHole[q] === 0) continue;
          const stay = this.between(p, q, label[p]!, label[q]!);
          const second = this.between(p, q, label[p]!, k);
          const first = this.between(p, q, k, label[q]!);
          const half = Math.max(0, second + first - stay) / 2;
          edges[d === 0 ? 0 : 2][p] = half;
          terminal[p] = terminal[p]! + first - stay - half;
          terminal[q] = terminal[q]! + second - stay - half;
        }
    return { terminal, edges };
  }

  /** The shift that costs each pixel least by itself. */
  private cheapest(count: number): Int32Array {
    const { unary } = this;
    const label = new Int32Array(count).fill(-1);
    for (let b = 0; b < count; b++) {
      if (this.inHole[b] === 0) continue;
      label[b] = 0;
      for (let k = 1; k < unary.length; k++) if (unary[k]![b]! < unary[label[b]!]![b]!) label[b] = k;
    }
    return label;
  }

  /** What the shift k costs a pixel of the picture by itself: by what is known beside it. */
  private atBorder(i: number, k: number): number {
    if (!this.valid(i, k)) return UNKNOWN;
    const { hole, known, width, height, dear } = this.picture;
    const lead = this.lead[k]!;
    const x = i % width;
    const y = Math.floor(i / width);
    let sum = dear === undefined ? 0 : dear[i + lead]!;
    for (let v = Math.max(0, y - BORDER); v <= Math.min(height - 1, y + BORDER); v++)
      for (let u = Math.max(0, x - BORDER); u <= Math.min(width - 1, x + BORDER); u++) {
        const q = v * width + u;
        if (hole[q] === 0 && known[q] !== 0) sum += SAY * (this.valid(q, k) ? this.apart(q, q + lead) : HALF_KNOWN);
      }
    return sum;
  }

  /** Seam between two neighbours of the box that are copied by shifts a and c. */
  private between(p: number, q: number, a: number, c: number): number {
    return this.seam(this.places[p]!, a, c) + this.seam(this.places[q]!, a, c);
  }

  private seam(i: number, a: number, c: number): number {
    if (a === c) return 0;
    return this.valid(i, a) && this.valid(i, c) ? this.apart(i + this.lead[a]!, i + this.lead[c]!) : HALF_KNOWN;
  }

  /** Does the shift k lead from a pixel of the picture to a known one? */
  private valid(i: number, k: number): boolean {
    const { known, width, height } = this.picture;
    const x = (i % width) + this.offsets[k]!.dx;
    const y = Math.floor(i / width) + this.offsets[k]!.dy;
    return x >= 0 && y >= 0 && x < width && y < height && known[y * width + x] !== 0;
  }

  /** How unlike two pixels of the picture are. */
  private apart(i: number, j: number): number {
    const { rgb, rough } = this.picture;
    const r = rgb[3 * i]! - rgb[3 * j]!;
    const g = rgb[3 * i + 1]! - rgb[3 * j + 1]!;
    const b = rgb[3 * i + 2]! - rgb[3 * j + 2]!;
    if (rough === undefined) return Math.sqrt(r * r + g * g + b * b);
    const u = rough[2 * i]! - rough[2 * j]!;
    const v = rough[2 * i + 1]! - rough[2 * j + 1]!;
    return Math.sqrt(r * r + g * g + b * b + ROUGH * (u * u + v * v));
  }
}

/**
 * Shifts with enough added that every pixel of the hole has one which leads to a known pixel: to the nearest known
 * along a row, else anywhere.
 */
export function coverHole(
  offsets: readonly Offset[],
  hole: Uint8Array,
  known: Uint8Array,
  w: number,
  h: number,
): Offset[] {
  const out = [...offsets];
  const sources: number[] = [];
  for (let i = 0; i < known.length; i++) if (known[i] !== 0) sources.push(i);
  if (sources.length === 0) return [];
  const isKnown = (x: number, y: number): boolean => x >= 0 && y >= 0 && x < w && y < h && known[y * w + x] !== 0;
  for (let i = 0; i < hole.length; i++) {
    if (hole[i] === 0) continue;
    const x = i % w;
    const y = Math.floor(i / w);
    if (!out.some(({ dx, dy }) => isKnown(x + dx, y + dy))) out.push(toNearest(sources, x, y, w));
  }
  return out;
}

/** The shift to the nearest of the sources, a row away counting double. */
function toNearest(sources: readonly number[], x: number, y: number, w: number): Offset {
  let best: Offset = { dx: 0, dy: 0 };
  let least = Infinity;
  for (const s of sources) {
    const dx = (s % w) - x;
    const dy = Math.floor(s / w) - y;
    const far = dx * dx + 4 * dy * dy;
    if (far < least) {
      least = far;
      best = { dx, dy };
    }
  }
  return best;
}
