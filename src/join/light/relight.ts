/**
 * Gentle relight: turns the direction of the key on a performer whose shape is known only from its outline. The matte
 * is filled with balls (body-volume.ts), the balls' front surface, smoothed, gives a normal a pixel; with it the take's
 * shading is divided out and the plate's put in. Shading of a furred or matt body: fill + (1 − fill) × wrapped cosine
 * of the angle between normal and key (wrap as in Green, "Real-time approximations to subsurface scattering", GPU Gems
 * 2004, ch. 16). The ratio is limited, since a cast shadow or a burnt highlight of the take cannot be undone; how far
 * is stated in LIMIT.
 *
 * Vectors in the camera frame (x right, y down, z forward). All planes over one box, height × width.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { frontOfBalls } from '../body/ball-grids.js';
import { ballsOfMatte, largestOf } from '../body/body-volume.js';

/** Most that a pixel is made brighter or darker (ratio). */
export const LIMIT = 2.2;
/** Beyond this angle between the two keys the shading can't be moved honestly. */
export const MOST_DEG = 75;
/** Held with {@link STEEPEST} against joins with truth, some of which chose neither (docs/join/light.md). */
const WRAP = 0.15;

export interface RelightLamp {
  /** Unit vector towards the key. */
  readonly towards: readonly [number, number, number];
  /** Share of the full light that is fill, 0..1 per channel. */
  readonly fill: readonly [number, number, number];
}

/**
 * Surface normals of the filled matte: three planes nx, ny, nz (towards the camera is negative z). Zero where there is
 * no body.
 */
export function normalsOfMatte(alpha: Float32Array, width: number, height: number): Float32Array {
  const front = frontOfMatte(alpha, width, height);
  return front === null ? new Float32Array(3 * width * height) : normalsOfFront(front, width, height);
}

/** Height of the filled matte's front over the plane of the picture, smoothed; null where nothing fills it. */
function frontOfMatte(alpha: Float32Array, width: number, height: number): Float32Array | null {
  const balls = ballsOfMatte(alpha, width, height);
  if (balls.length === 0) return null;
  return gaussianPlane(frontOfBalls(balls, width, height), width, height, Math.max(1.5, 0.08 * largestOf(balls)));
}

function normalsOfFront(front: Float32Array, width: number, height: number): Float32Array {
  const n = width * height,
    out = new Float32Array(3 * n);
  for (let y = 0; y < height; y++) {
    const up = Math.max(0, y - 1) * width,
      row = y * width,
      down = Math.min(height - 1, y + 1) * width;
    for (let x = 0; x < width; x++) {
      const i = row + x;
      // The front surface stands at −z; its normal is (−∂z/∂x, −∂z/∂y, −1) with z the height towards the camera.
      const gx = (front[row + Math.max(0, x - 1)]! - front[row + Math.min(width - 1, x + 1)]!) / 2,
        gy = (front[up + x]! - front[down + x]!) / 2;
      const k = 1 / Math.sqrt(gx * gx + gy * gy + 1);
      out[i] = gx * k;
      out[n + i] = gy * k;
      out[2 * n + i] = -k;
    }
  }
  return out;
}

/**
 * Fur and cloth scatter light past the edge of the lit side: their shading is flatter than a hard body's by this share
 * (our own choice, held against the practice pictures).
 */
const FLATTEN = 0.15;

/** Wrapped cosine between a normal and a lamp, 0..1. */
export function facingOf(
  towards: readonly [number, number, number],
  nx: number,
  ny: number,
  nz: number,
  wrap = WRAP,
): number {
  const c = nx * towards[0] + ny * towards[1] + nz * towards[2];
  return Math.max(0, (c + wrap) / (1 + wrap));
}

/**
 * Slope that the surface is taken to approach where it turns away. At the outline of a hard body the last that is seen
 * faces aside; of fur and cloth one sees fibres, whose seen sides face the lens half (J. T. Kajiya & T. L. Kay,
 * "Rendering fur with three dimensional textures", SIGGRAPH 1989: fibres shade by their own direction, not the skin's).
 * At .7 nothing is seen more than 35° aside. With {@link WRAP} at .15, .6 to .9 serve alike (docs/join/light.md).
 */
const STEEPEST = 0.7;

/** A normal with its slope g brought to g / sqrt(1 + g² / STEEPEST²). */
function seenNormal(nx: number, ny: number, nz: number): readonly [number, number, number] {
  const z2 = Math.max(1e-12, nz * nz),
    bent = (nx * nx + ny * ny) / z2 / (STEEPEST * STEEPEST),
    k = 1 / Math.sqrt(1 + bent) / Math.sqrt(z2),
    x = nx * k,
    y = ny * k,
    q = 1 / Math.sqrt(1 + x * x + y * y);
  return [x * q, y * q, -q];
}

/** Rows that the shading is worked out on: it is smooth, and read between them. */
const WORK_ROWS = 110;

type Planes = readonly [Float32Array, Float32Array, Float32Array];

/**
 * Multiplies premultiplied linear colour (three planes) by the ratio of the two shadings, in place. `strength` 0..1 is
 * an exponent: half strength is half the stops.
 */
export function relight(
  colour: Planes,
  alpha: Float32Array,
  width: number,
  height: number,
  from: RelightLamp,
  to: RelightLamp,
  strength: number,
): void {
  const cell = workCell(height);
  const w = Math.ceil(width / cell),
    h = Math.ceil(height / cell);
  const front = frontOfMatte(cellMiddles(alpha, width, height, cell), w, h) ?? new Float32Array(w * h);
  if (w * h < RATIO_FROM || width * height < KERNEL_FROM_PIXELS) {
    relightOverPlain(colour, alpha, width, height, relightCellsPlain(front, w, h, from, to, strength), cell);
    return;
  }
  const door = kernels(),
    scope = door.scope();
  try {
    const ratio = scope.allocate(12 * w * h);
    const k = Float32Array.of(
      ...from.towards,
      ...to.towards,
      ...fillOf(from),
      ...fillOf(to),
      WRAP,
      (2 * strength) / MOST,
      MOST * Math.LOG2E,
      1 / (STEEPEST * STEEPEST),
    );
    door.run('relightCells', [scope.input(front), w, h, scope.input(k), ratio], h, w * 16, 4 * (w + 8));
    const { first, share } = columnCells(width, w, cell);
    door.run(
      'relightOver',
      [
        scope.changed(colour[0]),
        scope.changed(colour[1]),
        scope.changed(colour[2]),
        scope.input(alpha),
        width,
        ratio,
        w,
        h,
        cell,
        scope.input(first),
        scope.input(share),
      ],
      height,
      width * 4,
      12 * (w + 1),
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Pixels a cell, of those that the shading of a picture that high is worked out on. */
export const workCell = (height: number): number => Math.max(1, Math.floor(height / WORK_ROWS));

/** Alpha at the middle of each cell. */
export function cellMiddles(alpha: Float32Array, width: number, height: number, cell: number): Float32Array {
  const w = Math.ceil(width / cell),
    h = Math.ceil(height / cell),
    half = cell >> 1;
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    const row = Math.min(height - 1, y * cell + half) * width;
    for (let x = 0; x < w; x++) out[y * w + x] = alpha[row + Math.min(width - 1, x * cell + half)]!;
  }
  return out;
}

const MOST = Math.log(LIMIT);
/** Fewer cells take the plain twins. */
const RATIO_FROM = 256;

function fillOf(lamp: RelightLamp): number[] {
  return lamp.fill.map((f) => f + (1 - f) * FLATTEN);
}

/** The same for every row: the cell of each column and the part of the next; for groups of four. */
function columnCells(width: number, w: number, cell: number): { first: Int32Array; share: Float32Array } {
  const first = new Int32Array((width + 3) & ~3),
    share = new Float32Array((width + 3) & ~3);
  for (let x = 0; x < width; x++) {
    const u = Math.max(0, Math.min(w - 1.001, (x + 0.5) / cell - 0.5)),
      k = Math.floor(u);
    first[x] = k;
    share[x] = u - k;
  }
  return { first, share };
}

/** Plain twin of `relightCells`: the ratio of the two shadings on the normals of a front surface, three planes. */
export function relightCellsPlain(
  front: Float32Array,
  w: number,
  h: number,
  from: RelightLamp,
  to: RelightLamp,
  strength: number,
): Float32Array {
  const n = w * h,
    out = new Float32Array(3 * n),
    normals = normalsOfFront(front, w, h);
  const ff = fillOf(from),
    tf = fillOf(to);
  for (let i = 0; i < n; i++) {
    // Beyond the filled body the surface turns to the lens: fur's tips take what the body's edge takes.
    const [nx, ny, nz] = seenNormal(normals[i]!, normals[n + i]!, normals[2 * n + i]!);
    const gf = facingOf(from.towards, nx, ny, nz),
      gt = facingOf(to.towards, nx, ny, nz);
    for (let c = 0; c < 3; c++) {
      const before = ff[c]! + (1 - ff[c]!) * gf,
        after = tf[c]! + (1 - tf[c]!) * gt;
      const stops = Math.log(Math.max(0.05, after) / Math.max(0.05, before)) * strength;
      out[c * n + i] = Math.exp(MOST * Math.tanh(stops / MOST));
    }
  }
  return out;
}

/** Plain twin of `relightOver`: colour times a ratio on cells, bilinear between their middles. */
export function relightOverPlain(
  colour: Planes,
  alpha: Float32Array,
  width: number,
  height: number,
  ratio: Float32Array,
  cell: number,
): void {
  const w = Math.ceil(width / cell),
    h = Math.ceil(height / cell),
    n = w * h;
  const { first, share } = columnCells(width, w, cell);
  for (let y = 0; y < height; y++) {
    const v = Math.max(0, Math.min(h - 1.001, (y + 0.5) / cell - 0.5)),
      j = Math.floor(v),
      ty = v - j;
    const down = j + 1 < h ? w : 0;
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (alpha[i]! <= 0) continue;
      const tx = share[x]!,
        o = j * w + first[x]!,
        o1 = o + (first[x]! + 1 < w ? 1 : 0),
        o2 = o + down,
        o3 = o1 + down;
      for (let c = 0; c < 3; c++) {
        const r = c * n;
        colour[c]![i] =
          colour[c]![i]! *
          ((1 - tx) * (1 - ty) * ratio[r + o]! +
            tx * (1 - ty) * ratio[r + o1]! +
            (1 - tx) * ty * ratio[r + o2]! +
            tx * ty * ratio[r + o3]!);
      }
    }
  }
}
