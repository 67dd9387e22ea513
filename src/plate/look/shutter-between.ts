/**
 * How long the shutter stood open, told by comparing frames that the camera swept with frames of the same set that it
 * held: grass, leaves, fur and stone have no straight edges (motion-blur.ts needs them), but their texture is known
 * from the frame that held still. Where the camera moves v pixels a frame, detail along v is smeared by a box of s·v,
 * detail across it is not; so the still frame, laid over the other by the set's measured motion and smeared by a box of
 * length L, has the other's ratio of detail along to detail across just where L is right. Sums of squared differences
 * stand for detail, so that a place off by a pixel or a change of light does not count. A frame that moves itself, by w
 * along v, is smeared already: L² = s² (v² − w²), variances of boxes. After the uniform linear motion model (Sondhi,
 * "Image restoration", Proc. IEEE 1972); the comparison is our own.
 */
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { measured, type Measure } from '../../core/measure.js';
import type { LumaSource } from '../ride/ride-source.js';
import type { CameraMove } from '../types.js';

/** Half a tile, px, along and across the motion; what is read beyond it on either side for the smear. */
const HALF = 24;
const REACH = 24;
/** Frames on either side among which one that holds still is looked for, and most pairs looked at. */
const NEAR = 8;
const PAIRS = 6;
/**
 * Least motion beyond the still frame's, px a frame: a shorter smear is not told from the lens. Longest smear sought,
 * px.
 */
const LEAST_SPEED = 4;
const LONGEST = 2 * REACH - 2;
/** Both are softened by so much (sd, px), so that grain and the file's own sharpening count little. */
const SOFT = 0.8;
/**
 * Least detail across the motion (rms of coded differences over two pixels), and least likeness of a tile laid over.
 */
const LEAST_DETAIL = 0.012;
const LEAST_LIKE = 0.6;
const LEAST_TILES = 12;
const LEAST_FRAMES = 2;
/** An answer looser than an eighth of a frame is none. */
const LOOSEST_DEG = 45;
/**
 * A shutter open for a smaller share is not told from what laying a frame over another softens (.06 on
 * the practice pan, which was made without blur).
 */
const LEAST_SHARE = 0.12;

interface Pair {
  readonly swept: number;
  readonly held: number;
}

/**
 * Shutter angle (degrees) of a clip whose camera's move was measured; null where no frame is swept
 * beside one that is held, or too few tiles tell.
 */
export async function shutterBetween(
  source: LumaSource,
  camera: CameraMove,
  signal?: AbortSignal,
): Promise<Measure | null> {
  const { widthPx: w, heightPx: h } = source;
  const at = new Map(camera.frames.filter((f) => f.support >= 0.3).map((f) => [f.frame, f.homographyToFirst as Mat3]));
  const way = (from: number, to: number): Mat3 | null => {
    const a = at.get(from);
    const b = at.get(to);
    return a === undefined || b === undefined ? null : multiply(invert(b), a);
  };
  const shares: number[] = [];
  const used = new Set<number>();
  for (const { swept, held } of pairsOf(camera, way, [w / 2, h / 2])) {
    signal?.throwIfAborted();
    const n = await softened(source, swept);
    const m = await softened(source, held);
    const lay = way(swept, held);
    if (n === null || m === null || lay === null) continue;
    for (let y = 1.5 * HALF; y < h - HALF; y += 2 * HALF)
      for (let x = 1.5 * HALF; x < w - HALF; x += 2 * HALF) {
        const v = speedAt(way, swept, [x, y]);
        const p = apply(lay, x, y);
        const u = speedAt(way, held, p);
        if (v === null || u === null) continue;
        const speed = Math.hypot(v[0], v[1]);
        const beyond = Math.sqrt(Math.max(0, speed ** 2 - ((u[0] * v[0] + u[1] * v[1]) / speed) ** 2));
        if (!(beyond >= LEAST_SPEED)) continue;
        const length = smearOf(n, m, lay, [x, y], [v[0] / speed, v[1] / speed], w, h);
        if (length !== null) {
          shares.push(length / beyond);
          used.add(swept);
        }
      }
  }
  if (shares.length < LEAST_TILES || used.size < LEAST_FRAMES) return null;
  shares.sort((a, b) => a - b);
  const q = (k: number): number => shares[Math.min(shares.length - 1, Math.floor(k * shares.length))]!;
  const share = q(0.5);
  const spread = (q(0.75) - q(0.25)) / 1.35;
  // Tiles of one pair share what is wrong with it.
  const sd = Math.max(10, (360 * spread) / Math.sqrt(used.size));
  if (share > 1.15 || sd > LOOSEST_DEG) return null;
  return measured(
    share < LEAST_SHARE ? 0 : 360 * Math.min(1, share),
    'deg',
    share < LEAST_SHARE ? Math.max(sd, 180 * LEAST_SHARE) : sd,
    `texture of ${used.size} frames that the camera swept, beside frames that it held (${shares.length} places)`,
    [Math.min(...used), Math.max(...used)],
  );
}

/** Motion of a point, px a frame, from the frame before to the frame after. */
function speedAt(
  way: (from: number, to: number) => Mat3 | null,
  n: number,
  p: readonly [number, number],
): [number, number] | null {
  const on = way(n, n + 1);
  const back = way(n, n - 1);
  if (on === null || back === null) return null;
  const a = apply(on, p[0], p[1]);
  const b = apply(back, p[0], p[1]);
  return [(a[0] - b[0]) / 2, (a[1] - b[1]) / 2];
}

/** The most swept frames, each with the stillest near it. */
function pairsOf(
  camera: CameraMove,
  way: (from: number, to: number) => Mat3 | null,
  middle: readonly [number, number],
): Pair[] {
  const moving = camera.frames.flatMap((f) => {
    const v = speedAt(way, f.frame, middle);
    return v === null ? [] : [{ frame: f.frame, speed: Math.hypot(v[0], v[1]) }];
  });
  const out: Pair[] = [];
  for (const n of moving.toSorted((a, b) => b.speed - a.speed)) {
    if (out.length >= PAIRS || n.speed < LEAST_SPEED) break;
    if (out.some((o) => Math.abs(o.swept - n.frame) < 2)) continue;
    const held = moving
      .filter((m) => Math.abs(m.frame - n.frame) <= NEAR && m.speed < 0.5 * n.speed)
      .sort((a, b) => a.speed - b.speed)[0];
    if (held !== undefined) out.push({ swept: n.frame, held: held.frame });
  }
  return out;
}

async function softened(source: LumaSource, frame: number): Promise<Float32Array | null> {
  for await (const f of source.frames(frame, frame + 1))
    return gaussianPlane(f.luma, source.widthPx, source.heightPx, SOFT);
  return null;
}

/**
 * Length of the smear (px) of a tile of `n` about `centre` along the unit direction `u`, beside the tile
 * of `m` laid over it; null where it tells nothing.
 */
function smearOf(
  n: Float32Array,
  m: Float32Array,
  lay: Mat3,
  centre: readonly [number, number],
  u: readonly [number, number],
  w: number,
  h: number,
): number | null {
  const long = 2 * (HALF + REACH) + 1;
  const wide = 2 * HALF + 1;
  const a = new Float32Array(long * wide);
  const b = new Float32Array(long * wide);
  for (let j = 0; j < wide; j++)
    for (let i = 0; i < long; i++) {
      const s = i - HALF - REACH;
      const t = j - HALF;
      const x = centre[0] + s * u[0] - t * u[1];
      const y = centre[1] + s * u[1] + t * u[0];
      const q = apply(lay, x, y);
      const va = sample(n, x, y, w, h);
      const vb = sample(m, q[0], q[1], w, h);
      if (Number.isNaN(vb) || Number.isNaN(va)) return null;
      a[j * long + i] = va;
      b[j * long + i] = vb;
    }
  const target = detail(a, long, wide);
  if (target.across < LEAST_DETAIL ** 2) return null;
  const wanted = target.along / target.across;
  let before = { length: 0, ratio: Infinity };
  let found: number | null = null;
  for (let length = 0; length <= LONGEST && found === null; length++) {
    const d = detail(smeared(b, long, wide, length), long, wide);
    const ratio = d.along / d.across;
    if (ratio <= wanted)
      found =
        length === 0
          ? 0
          : before.length + (Math.log(before.ratio) - Math.log(wanted)) / (Math.log(before.ratio) - Math.log(ratio));
    before = { length, ratio };
  }
  return found === null || likeness(a, smeared(b, long, wide, found), long, wide) < LEAST_LIKE ? null : found;
}

/** Mean of a box of `length` px along the rows, exact for parts of a pixel (differences of the running sum). */
function smeared(p: Float32Array, long: number, wide: number, length: number): Float32Array {
  if (length < 0.05) return p;
  const out = new Float32Array(p.length);
  const sum = new Float64Array(long + 1);
  for (let j = 0; j < wide; j++) {
    for (let i = 0; i < long; i++) sum[i + 1] = sum[i]! + p[j * long + i]!;
    const upTo = (x: number): number => {
      const c = Math.min(long, Math.max(0, x));
      const k = Math.min(long - 1, Math.floor(c));
      return sum[k]! + (c - k) * p[j * long + k]!;
    };
    for (let i = 0; i < long; i++)
      out[j * long + i] = (upTo(i + 0.5 + length / 2) - upTo(i + 0.5 - length / 2)) / length;
  }
  return out;
}

/** Mean squared differences over two pixels, along and across, in the tile's middle. */
function detail(p: Float32Array, long: number, wide: number): { along: number; across: number } {
  let along = 0;
  let across = 0;
  let count = 0;
  for (let j = 1; j < wide - 1; j++)
    for (let i = REACH + 1; i < long - REACH - 1; i++, count++) {
      const k = j * long + i;
      along += (p[k + 1]! - p[k - 1]!) ** 2;
      across += (p[k + long]! - p[k - long]!) ** 2;
    }
  return { along: along / count, across: across / count };
}

/** Correlation of the two tiles' middles. */
function likeness(a: Float32Array, b: Float32Array, long: number, wide: number): number {
  let n = 0;
  let sa = 0;
  let sb = 0;
  let saa = 0;
  let sbb = 0;
  let sab = 0;
  for (let j = 0; j < wide; j++)
    for (let i = REACH; i < long - REACH; i++) {
      const x = a[j * long + i]!;
      const y = b[j * long + i]!;
      n++;
      sa += x;
      sb += y;
      saa += x * x;
      sbb += y * y;
      sab += x * y;
    }
  return (sab - (sa * sb) / n) / Math.sqrt(Math.max(1e-12, (saa - (sa * sa) / n) * (sbb - (sb * sb) / n)));
}

/** Bilinear; NaN outside the picture. */
function sample(p: Float32Array, x: number, y: number, w: number, h: number): number {
  const fx = x - 0.5;
  const fy = y - 0.5;
  const x0 = Math.floor(fx);
  const y0 = Math.floor(fy);
  if (x0 < 0 || y0 < 0 || x0 + 1 >= w || y0 + 1 >= h) return NaN;
  const tx = fx - x0;
  const ty = fy - y0;
  const i = y0 * w + x0;
  return (p[i]! * (1 - tx) + p[i + 1]! * tx) * (1 - ty) + (p[i + w]! * (1 - tx) + p[i + w + 1]! * tx) * ty;
}
