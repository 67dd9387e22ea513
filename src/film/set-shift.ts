/**
 * How the set moves between two small frames, and what moves beside it. The set is what most blocks show: a vote over
 * the blocks' shifts finds the shift and growth on which the largest group agrees; from there a homography is fitted to
 * the pictures themselves (Gauss-Newton on brightness, Lucas & Kanade 1981; Tukey weights leave out what moves by
 * itself; gain and bias are free), because a picture tilts and leans as well when a camera turns or comes nearer over
 * ground. What then still differs is asked for its own displacement block by block.
 *
 * Two frames can't tell a thing that moves from one that stands nearer or farther than the rest while the camera
 * travels.
 */
import { solveCholesky } from '../geometry/linear-solve.js';
import type { Mat3 } from '../geometry/mat3.js';
import { gaussianPlane } from '../image/gaussian.js';
import { sampleBilinear } from '../image/sampling.js';
import { BLOCKS, BLOCKS_X, BLOCKS_Y, type BlockMatcher } from './block-match.js';
import { SMALL_H, SMALL_W, type SmallFrame } from './small-frame.js';

/** Shift (cells) at the middle and growth (0.02: two per cent larger). */
export interface SetShift {
  readonly dx: number;
  readonly dy: number;
  readonly growth: number;
}

/** Block shifts are whole cells, so that two of one motion differ by up to half a cell either way. */
const AGREE = 0.75;
/** Growths that are tried: a push or pull of up to 8 % over the pair. */
const GROWTHS = [0, ...[1, 2, 3, 4, 5, 6, 7, 8].flatMap((k) => [k / 100, -k / 100])];

/**
 * The vote, after `matcher.match(a, b)`. A camera that follows somebody holds him still, and the picture's global
 * correlation with him. Growth has to win over a twentieth of the blocks more than none does.
 */
export function setShift(matcher: BlockMatcher, whole: { readonly dx: number; readonly dy: number }): SetShift {
  const blocks = matcher
    .blockShifts()
    .map((s, k) => ({ ...s, ...middleOf(k) }))
    .filter((s) => s.textured && s.left < 0.6);
  if (blocks.length < 6) return { dx: whole.dx, dy: whole.dy, growth: 0 };
  let best: SetShift = { dx: whole.dx, dy: whole.dy, growth: 0 };
  let votes = 0;
  for (const growth of GROWTHS) {
    const at = blocks.map((s) => ({ x: s.dx - growth * s.x, y: s.dy - growth * s.y }));
    for (const c of at) {
      const group = at.filter((s) => Math.abs(s.x - c.x) <= AGREE && Math.abs(s.y - c.y) <= AGREE);
      const mine = group.length - (growth === 0 ? 0 : blocks.length / 20);
      if (mine <= votes) continue;
      votes = mine;
      best = {
        dx: group.reduce((t, s) => t + s.x, 0) / group.length,
        dy: group.reduce((t, s) => t + s.y, 0) / group.length,
        growth,
      };
    }
  }
  return best;
}

/** A block's middle from the picture's, cells. */
function middleOf(k: number): { x: number; y: number } {
  return {
    x: ((k % BLOCKS_X) + 0.5 - BLOCKS_X / 2) * (SMALL_W / BLOCKS_X),
    y: (Math.floor(k / BLOCKS_X) + 0.5 - BLOCKS_Y / 2) * (SMALL_H / BLOCKS_Y),
  };
}

const W = SMALL_W;
const H = SMALL_H;
const LUMA = W * H;
/** Unknowns: six affine terms and two of perspective about the middle, gain, bias. */
const UNKNOWNS = 10;
const ROUNDS = 12;
/** The scan's cells alias a little; this much smoothing makes them differentiable. */
const SMOOTH_CELLS = 0.8;
/**
 * A block that lies this far (cells) from where the set takes it moves by itself, where its own noise allows the
 * statement.
 */
const BESIDE_CELLS = 0.8;
const SURE = 3;
/** Or one of which less than this share of the contrast is found again even so: covered, uncovered, changed. */
const LOST = 0.6;
/** Least contrast of a block (8-bit code values, standard deviation) to be asked. */
const LEAST_CONTRAST = 3;

function smooth(f: SmallFrame): Float32Array {
  const p = new Float32Array(LUMA);
  for (let i = 0; i < LUMA; i++) p[i] = f[i]! / 256;
  return gaussianPlane(p, W, H, SMOOTH_CELLS);
}

/** Homography from the cells of `a` to those of `b` that the set follows, started from the vote. */
function fitSet(a: Float32Array, b: Float32Array, start: SetShift): { h: Mat3; gain: number; bias: number } {
  const s = 1 / (W / 2);
  const cx = W / 2;
  const cy = H / 2;
  // b(x + d) with d from p: x' = (x + p0 + p1·u + p2·v) / (1 + p6·u + p7·v), in units of half the width from the
  // middle.
  const p = new Float64Array([start.dx * s, start.growth, 0, start.dy * s, 0, start.growth, 0, 0]);
  let gain = 1;
  let bias = 0;
  let scale = Infinity;
  const J = new Float64Array(UNKNOWNS);
  const residual = new Float32Array(LUMA);
  for (let round = 0; round < ROUNDS; round++) {
    const A = new Float64Array(UNKNOWNS * UNKNOWNS);
    const B = new Float64Array(UNKNOWNS);
    const sizes: number[] = [];
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const at = y * W + x;
        const u = (x + 0.5 - cx) * s;
        const v = (y + 0.5 - cy) * s;
        const z = 1 / (1 + p[6]! * u + p[7]! * v);
        const X = (u + p[0]! + p[1]! * u + p[2]! * v) * z;
        const Y = (v + p[3]! + p[4]! * u + p[5]! * v) * z;
        const bx = X / s + cx;
        const by = Y / s + cy;
        residual[at] = NaN;
        if (bx < 1.5 || by < 1.5 || bx > W - 1.5 || by > H - 1.5) continue;
        const value = sampleBilinear(b, W, H, bx, by);
        const r = a[at]! - gain * value - bias;
        residual[at] = r;
        if (at % 3 === 0) sizes.push(Math.abs(r));
        const w = scale === Infinity ? 1 : Math.abs(r) < scale ? (1 - (r / scale) ** 2) ** 2 : 0;
        if (w === 0) continue;
        const gx = (gain * (sampleBilinear(b, W, H, bx + 0.5, by) - sampleBilinear(b, W, H, bx - 0.5, by))) / s;
        const gy = (gain * (sampleBilinear(b, W, H, bx, by + 0.5) - sampleBilinear(b, W, H, bx, by - 0.5))) / s;
        J[0] = gx * z;
        J[1] = gx * u * z;
        J[2] = gx * v * z;
        J[3] = gy * z;
        J[4] = gy * u * z;
        J[5] = gy * v * z;
        const along = -(gx * X + gy * Y) * z;
        J[6] = along * u;
        J[7] = along * v;
        J[8] = value;
        J[9] = 1;
        for (let i = 0; i < UNKNOWNS; i++) {
          const wi = w * J[i]!;
          B[i]! += wi * r;
          for (let j = 0; j <= i; j++) A[i * UNKNOWNS + j]! += wi * J[j]!;
        }
      }
    if (sizes.length < 200) break;
    sizes.sort((m, n) => m - n);
    // 4.685 robust deviations (Holland & Welsch 1977), at least two code values.
    scale = Math.max(2, 4.685 * 1.4826 * sizes[sizes.length >> 1]!);
    for (let i = 0; i < UNKNOWNS; i++) {
      A[i * UNKNOWNS + i]! *= 1.0001;
      A[i * UNKNOWNS + i]! += 1e-6;
      for (let j = 0; j < i; j++) A[j * UNKNOWNS + i] = A[i * UNKNOWNS + j]!;
    }
    const d = solveCholesky(A, B, UNKNOWNS);
    if (d === null) break;
    for (let i = 0; i < 8; i++) p[i]! += d[i]!;
    gain += d[8]!;
    bias += d[9]!;
  }
  return { h: [1 + p[1]!, p[2]!, p[0]! / s, p[4]!, 1 + p[5]!, p[3]! / s, p[6]! * s, p[7]! * s, 1], gain, bias };
}

/**
 * Share (0..1) of the textured blocks that do not follow the set from `a` to `b`.
 * @param start the vote; a camera that is known to stand gives no motion, and `hold` then keeps the set where it is
 */
export function besideShare(
  a: SmallFrame,
  b: SmallFrame,
  matcher: BlockMatcher,
  start: SetShift,
  hold = false,
): number {
  const A = smooth(a);
  const B = smooth(b);
  const { h, gain, bias } = hold ? { h: [1, 0, 0, 0, 1, 0, 0, 0, 1] as Mat3, gain: 1, bias: 0 } : fitSet(A, B, start);
  const warped = new Float32Array(LUMA);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const u = x + 0.5 - W / 2;
      const v = y + 0.5 - H / 2;
      const z = 1 / (h[6] * u + h[7] * v + 1);
      const bx = (h[0] * u + h[1] * v + h[2]) * z + W / 2;
      const by = (h[3] * u + h[4] * v + h[5]) * z + H / 2;
      warped[y * W + x] =
        bx < 1 || by < 1 || bx > W - 1 || by > H - 1 ? NaN : gain * sampleBilinear(B, W, H, bx, by) + bias;
    }
  const shifts = matcher.blockShifts();
  let moves = 0;
  let asked = 0;
  for (let k = 0; k < BLOCKS; k++) {
    const m = middleOf(k);
    const own = shifts[k]!;
    const set = { x: h[0] * m.x + h[1] * m.y + h[2] - m.x, y: h[3] * m.x + h[4] * m.y + h[5] - m.y };
    const here = blockResidual(A, warped, k, 0, 0);
    if (here === null || here.contrast < LEAST_CONTRAST) continue;
    asked++;
    const there = own.left < LOST ? blockResidual(A, warped, k, own.dx - set.x, own.dy - set.y) : null;
    const best = there !== null && there.left < here.left ? there : here;
    const far = Math.hypot(best.dx, best.dy);
    if (best.left > LOST || (far > BESIDE_CELLS && far > SURE * best.sd)) moves++;
  }
  return asked > 0 ? moves / asked : 0;
}

/**
 * Displacement that explains a block best, tried from (x, y), cells; what is left of its variance; null where it leaves
 * the picture.
 */
function blockResidual(
  a: Float32Array,
  warped: Float32Array,
  k: number,
  x: number,
  y: number,
): { dx: number; dy: number; sd: number; left: number; contrast: number } | null {
  const x0 = (k % BLOCKS_X) * (W / BLOCKS_X);
  const y0 = Math.floor(k / BLOCKS_X) * (H / BLOCKS_Y);
  const bw = W / BLOCKS_X;
  const bh = H / BLOCKS_Y;
  let dx = x;
  let dy = y;
  let sd = Infinity;
  let left = 1;
  let contrast = 0;
  for (let round = 0; round < 4; round++) {
    let n = 0;
    let xx = 0;
    let xy = 0;
    let yy = 0;
    let xr = 0;
    let yr = 0;
    let rr = 0;
    let sa = 0;
    let saa = 0;
    let sr = 0;
    let sx = 0;
    let sy = 0;
    for (let j = 0; j < bh; j++)
      for (let i = 0; i < bw; i++) {
        const px = x0 + i + 0.5 + dx;
        const py = y0 + j + 0.5 + dy;
        if (px < 1.5 || py < 1.5 || px > W - 1.5 || py > H - 1.5) continue;
        const v = sampleBilinear(warped, W, H, px, py);
        const gx = sampleBilinear(warped, W, H, px + 0.5, py) - sampleBilinear(warped, W, H, px - 0.5, py);
        const gy = sampleBilinear(warped, W, H, px, py + 0.5) - sampleBilinear(warped, W, H, px, py - 0.5);
        if (!(Math.abs(v + gx + gy) < Infinity)) continue;
        const t = a[(y0 + j) * W + x0 + i]!;
        const r = t - v;
        n++;
        sa += t;
        saa += t * t;
        sr += r;
        rr += r * r;
        sx += gx;
        sy += gy;
        xx += gx * gx;
        xy += gx * gy;
        yy += gy * gy;
        xr += gx * r;
        yr += gy * r;
      }
    if (n < (bw * bh) / 2) return round === 0 ? null : { dx, dy, sd, left, contrast };
    // A bias of its own: moments about the means.
    xx -= (sx * sx) / n;
    yy -= (sy * sy) / n;
    xy -= (sx * sy) / n;
    xr -= (sx * sr) / n;
    yr -= (sy * sr) / n;
    rr -= (sr * sr) / n;
    const variance = saa - (sa * sa) / n;
    contrast = Math.sqrt(Math.max(0, variance / n));
    left = rr / Math.max(1e-9, variance);
    const ridge = 0.02 * (xx + yy) + 1e-6;
    const det = (xx + ridge) * (yy + ridge) - xy * xy;
    sd = Math.sqrt(((rr / n + 0.25) * (xx + yy + 2 * ridge)) / det);
    const ux = ((yy + ridge) * xr - xy * yr) / det;
    const uy = ((xx + ridge) * yr - xy * xr) / det;
    const most = Math.max(1, Math.hypot(ux, uy));
    dx += ux / most;
    dy += uy / most;
    if (Math.hypot(ux, uy) < 0.02) break;
  }
  return { dx, dy, sd, left, contrast };
}
