/**
 * The outline: screen colour left on it, and edges darker or brighter than the mixture of performer and new background they
 * should be. The background behind the outline lies in the performer's shade as far as the bare ground beside it does: a body that sits close
 * before a wall darkens it, and the outline with it (true ones of a dim indoor scene read -6.5 L* without this, -1.4 with it).
 *
 * What the coat is at its very outline is foretold from the covered pixels beside it, and only as surely as those are even: a smooth body lit from
 * the side or behind grows brighter towards its limb within a few pixels (measured on traced ones: linear light of .12, .18, .28, .38, .51 at depths
 * of 7, 5, 3.5, 2.5 and 1.5 px, .70 to .82 at the outline). Such places count the less the steeper the coat is there, which hangs on covered
 * pixels alone, so that a fault of the outline is weighed no otherwise than a true one.
 */
import { bt709Decode, bt709Encode } from '../colour/transfer.js';
import { nearestInSet } from '../image/distance.js';
import { gaussianPlane } from '../image/gaussian.js';
import type { Box } from '../join/ground.js';
import { grow, type SeenFrame } from './frame.js';

export interface EdgeReading {
  /** Screen colour in excess at the outline and inside, beyond what the background brings, as a share of brightness. */
  readonly spill: number;
  /** Mean excess of the screen's colour in the plate about the performer, as a share of its brightness: what such a set throws back has that colour by right. */
  readonly set: number;
  /** Mean L* of the outline less that of the mixture it should be, beyond what a coat darkens by itself. */
  readonly lightness: number;
  /** Where on the outline most of either is. */
  readonly spillAt: Box;
  readonly lightAt: Box;
}

/** Side of a cell in which the worst place is told, px. */
const CELL = 24;

/** Sums by cells of the picture, to tell where most is. */
class Cells {
  private readonly sums = new Map<number, number>();
  private readonly x0: number;
  private readonly y0: number;

  constructor(x0: number, y0: number) {
    this.x0 = x0;
    this.y0 = y0;
  }

  add(x: number, y: number, value: number): void {
    const key = Math.floor(y / CELL) * 4096 + Math.floor(x / CELL);
    this.sums.set(key, (this.sums.get(key) ?? 0) + value);
  }

  /** The cell with the largest sum of the sign, in the picture. */
  most(sign: number, width: number, height: number): Box {
    let best = 0,
      value = -Infinity;
    for (const [key, v] of this.sums)
      if (sign * v > value) {
        value = sign * v;
        best = key;
      }
    const x = this.x0 + CELL * (best % 4096),
      y = this.y0 + CELL * Math.floor(best / 4096);
    return [x, y, Math.min(width, x + CELL), Math.min(height, y + CELL)];
  }
}

/**
 * By how much (L*) the outline of a body is darker than the mixture by itself: hairs stand in each other's shade. 69 true pictures read
 * −3.6 to 2.1, in the middle −.9 (traced furred ones −1.5 ± .7, smooth made bodies −.2 ± 1.3).
 */
const OWN = 0.9;

/** Half-covered pixels: this much to that much alpha. */
const LOW = 0.08,
  HIGH = 0.92;

/** Reads one frame; null where there is no outline to read. `screen` says which primary the screen was. */
export function readEdges(f: SeenFrame, screen: 'green' | 'blue'): EdgeReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join;
  const N = W * H;
  const [x0, y0, x1, y1] = grow(f.box, 4, 4, W, H);
  const w = x1 - x0,
    h = y1 - y0;
  // How deep each wholly covered pixel lies.
  const outside = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) outside[y * w + x] = f.matte[(y0 + y) * W + x0 + x]! < 0.98 ? 1 : 0;
  const depth = nearestInSet(outside, w, h).distance;
  const s = screen === 'green' ? 1 : 2,
    o = screen === 'green' ? 2 : 1;
  const j = f.join.data,
    b = f.plate.data;
  let spill = 0,
    spillWeight = 0;
  const spilt = new Cells(x0, y0),
    lights = new Cells(x0, y0);
  // Grain has every colour by turns, and only one of them counts: softened first it counts for none.
  const soft = [0, 1, 2].map((c) => {
    const part = new Float32Array(w * h);
    for (let y = 0; y < h; y++) part.set(j.subarray(c * N + (y0 + y) * W + x0, c * N + (y0 + y) * W + x1), y * w);
    return gaussianPlane(part, w, h, 1);
  });
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const p = (y0 + y) * W + x0 + x,
        a = f.matte[p]!,
        q = y * w + x;
      if (a <= 0.3) continue;
      const there = Math.max(0, soft[s]![q]! - Math.max(soft[0]![q]!, soft[o]![q]!)),
        behind = Math.max(0, b[s * N + p]! - Math.max(b[p]!, b[o * N + p]!));
      // Background seen through the outline may be of the screen's colour by right.
      const over = a * Math.max(0, there - (1 - a) * behind);
      spill += over;
      if (over > 0) spilt.add(x, y, over);
      spillWeight += a * Math.max(0.05, f.luma[p]!);
    }
  }
  let set = 0,
    bright = 0;
  const [u0, v0, u1, v1] = grow(f.box, 0.5 * (f.box[3] - f.box[1]), 0.5 * (f.box[3] - f.box[1]), W, H);
  for (let y = v0; y < v1; y += 3)
    for (let x = u0; x < u1; x += 3) {
      const p = y * W + x;
      if (f.matte[p]! > 0.02) continue;
      set += Math.max(0, b[s * N + p]! - Math.max(b[p]!, b[o * N + p]!));
      bright += Math.max(0.05, f.plateLuma[p]!);
    }
  const near = rim(f, [x0, y0, x1, y1], depth, SHALLOW, lights),
    far = rim(f, [x0, y0, x1, y1], depth, DEEP);
  if (near === null) return null;
  const wide = far === null ? 0 : far / 2;
  const lightness = (Math.abs(wide) > Math.abs(near) ? wide : near) + OWN;
  return {
    spill: spillWeight > 0 ? spill / spillWeight : 0,
    set: bright > 0 ? set / bright : 0,
    lightness,
    spillAt: spilt.most(1, W, H),
    lightAt: lights.most(Math.sign(lightness), W, H),
  };
}

/**
 * Depth (px) of the core that stands for the performer at its outline. A rounded coat darkens towards its outline by itself, so
 * the nearest covered pixels are the fair measure; an edge that is dark over some pixels inwards too shows against deeper
 * ones, and that difference counts half.
 */
const SHALLOW = 1,
  DEEP = 4;

/**
 * How much deeper the coat is looked at again, px; how far within the outline the mean of 5 × 5 covered pixels about the nearest lies, px; light that stands
 * for black in ratios; and what is taken for the change where the body is too thin to tell (own choices).
 */
const DEEPER = 3,
  MIDST = 0.7,
  BLACK = 1e-3,
  UNSEEN_CHANGE = 0.3,
  MOST_CHANGE = 1.5;

/** L* by which a coat's own change may move the mixture before the place counts less: at it half (own choice). */
const EVEN = 2;

/** L* of a mixture of display codes. */
function codeMixture(own: number, back: number, a: number): number {
  return lightness(bt709Decode(a * bt709Encode(own) + (1 - a) * bt709Encode(back)));
}

/** Where a print's shoulder begins, display-linear, and the last that is told from white. */
const SHOULDER = 0.5,
  WHITE = 0.985;

/**
 * The mixture as it is where lens or join mixed the light before a tone curve held the brightest back: straight up to a half, then an exponential that reaches for 1
 * (own choice among usual curves). A body near white is then brighter than it shows, and its outline with it.
 */
function beforeShoulder(own: number, back: number, a: number): number {
  const open = (v: number): number =>
      v < SHOULDER ? v : SHOULDER - (1 - SHOULDER) * Math.log((1 - Math.min(WHITE, v)) / (1 - SHOULDER)),
    y = a * open(own) + (1 - a) * open(back);
  return y < SHOULDER ? y : 1 - (1 - SHOULDER) * Math.exp((SHOULDER - y) / (1 - SHOULDER));
}

/** Change of L* with luminance. */
function slopeOfLightness(y: number): number {
  return y > 216 / 24389 ? 116 / 3 / Math.cbrt(y * y) : 24389 / 27;
}

/** Mean L* of the outline less that of the mixture of the core nearest to it with the background; null where too little is seen. */
function rim(
  f: SeenFrame,
  box: readonly [number, number, number, number],
  depth: ArrayLike<number>,
  least: number,
  cells?: Cells,
): number | null {
  const { width: W, height: H } = f.join;
  const N = W * H;
  const [x0, y0, x1, y1] = box;
  const w = x1 - x0,
    h = y1 - y0;
  const core = new Uint8Array(w * h);
  let count = 0;
  for (let i = 0; i < w * h; i++)
    if (depth[i]! >= least) {
      core[i] = 1;
      count++;
    }
  if (count < 50) return null;
  const { nearest, distance } = nearestInSet(core, w, h);
  const cores = new CoreMeans(),
    shades = new ShadeMeans();
  // Bare ground beside the outline: what the performer shades there it shades behind the outline too.
  const bare = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) bare[y * w + x] = f.matte[(y0 + y) * W + x0 + x]! < BARE ? 1 : 0;
  const ground = nearestInSet(bare, w, h);
  const reach = Math.max(6, 0.12 * Math.min(w, h));
  const j = f.join.data,
    b = f.plate.data;
  let light = 0,
    weights = 0,
    pixels = 0;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = y * w + x,
        p = (y0 + y) * W + x0 + x;
      const a = f.matte[p]!,
        far = distance[i]!;
      if (a < LOW || a > HIGH || far > reach) continue;
      const nx = nearest[i]! % w,
        ny = Math.floor(nearest[i]! / w),
        own = cores.of(f, x0 + nx, y0 + ny);
      const X = Math.round(nx + (DEEPER * (nx - x)) / far),
        Y = Math.round(ny + (DEEPER * (ny - y)) / far);
      const deeper = X >= 0 && Y >= 0 && X < w && Y < h && core[Y * w + X] === 1 ? cores.of(f, x0 + X, y0 + Y) : null;
      // Logarithm by which the coat goes on to change up to here, as it does over the pixels inside.
      const change =
        deeper === null
          ? UNSEEN_CHANGE
          : Math.max(
              -MOST_CHANGE,
              Math.min(
                MOST_CHANGE,
                (Math.log((Math.max(0, own) + BLACK) / (Math.max(0, deeper) + BLACK)) * (far + MIDST)) /
                  (DEEPER - MIDST),
              ),
            );
      const shade =
        ground.distance[i]! > reach
          ? 1
          : shades.of(f, x0 + (ground.nearest[i]! % w), y0 + Math.floor(ground.nearest[i]! / w));
      const back = shade * luminance(bt709Decode(b[p]!), bt709Decode(b[N + p]!), bt709Decode(b[2 * N + p]!));
      // A lens and a join mix light, a scaler and an encoder codes: between the two mixtures nothing is wrong.
      const mixed = a * own + (1 - a) * back,
        most = Math.max(lightness(mixed), lightness(beforeShoulder(own, back, a)));
      // A coat that falls off towards its limb may have done so up to here.
      const least = Math.min(most, codeMixture(deeper !== null && change < 0 ? own * Math.exp(change) : own, back, a));
      const is = lightness(luminance(bt709Decode(j[p]!), bt709Decode(j[N + p]!), bt709Decode(j[2 * N + p]!)));
      const sd = Math.abs(change) * a * own * slopeOfLightness(mixed),
        weight = 1 / (1 + (sd / EVEN) ** 2),
        off = weight * (is > most ? is - most : is < least ? is - least : 0);
      light += off;
      cells?.add(x, y, off);
      weights += weight;
      pixels++;
    }
  }
  return pixels < 20 ? null : light / weights;
}

function luminance(r: number, g: number, b: number): number {
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** CIE L* of a luminance (white = 1). */
function lightness(y: number): number {
  return y > 216 / 24389 ? 116 * Math.cbrt(y) - 16 : (24389 / 27) * Math.max(0, y);
}

/** Most alpha of bare ground. */
const BARE = 0.01;

/** Light that the join leaves of the plate's, over 5 × 5 pixels of bare ground about a place; each is made once. */
class ShadeMeans {
  private readonly known = new Map<number, number>();

  of(f: SeenFrame, x: number, y: number): number {
    const { width: W, height: H, data } = f.join,
      N = W * H,
      q = y * W + x,
      b = f.plate.data;
    const have = this.known.get(q);
    if (have !== undefined) return have;
    let seen = 0,
      plate = 0;
    for (let yy = Math.max(0, y - 2); yy <= Math.min(H - 1, y + 2); yy++) {
      for (let xx = Math.max(0, x - 2); xx <= Math.min(W - 1, x + 2); xx++) {
        const p = yy * W + xx;
        if (f.matte[p]! >= BARE) continue;
        seen += luminance(bt709Decode(data[p]!), bt709Decode(data[N + p]!), bt709Decode(data[2 * N + p]!));
        plate += luminance(bt709Decode(b[p]!), bt709Decode(b[N + p]!), bt709Decode(b[2 * N + p]!));
      }
    }
    const shade = plate < 1e-4 ? 1 : Math.min(2, seen / plate);
    this.known.set(q, shade);
    return shade;
  }
}

/** Linear luminance of the means of 5 × 5 pixels about core pixels, among those that are core enough; each is made once. */
class CoreMeans {
  private readonly known = new Map<number, number>();

  of(f: SeenFrame, x: number, y: number): number {
    const { width: W, height: H, data } = f.join;
    const N = W * H,
      q = y * W + x;
    const have = this.known.get(q);
    if (have !== undefined) return have;
    let r = 0,
      g = 0,
      b = 0,
      n = 0;
    for (let yy = Math.max(0, y - 2); yy <= Math.min(H - 1, y + 2); yy++) {
      for (let xx = Math.max(0, x - 2); xx <= Math.min(W - 1, x + 2); xx++) {
        const p = yy * W + xx;
        if (f.matte[p]! < 0.98 && p !== q) continue;
        r += data[p]!;
        g += data[N + p]!;
        b += data[2 * N + p]!;
        n++;
      }
    }
    const y709 = luminance(bt709Decode(r / n), bt709Decode(g / n), bt709Decode(b / n));
    this.known.set(q, y709);
    return y709;
  }
}
