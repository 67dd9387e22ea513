/**
 * Whether the performer is solid where the recipe rendered again shows the same picture: the plate's share is fitted
 * beside what is asked, and holes are seen pixel by pixel, as the picture is the plate's where the performer should be
 * and should not look like it. Of any other picture holes are told by the plate's own patches; how much shows through
 * all over is read in see-through.ts.
 */
import type { Expected } from '../texture/against-take.js';
import { coreOf, type DepthAt } from '../texture/fineness.js';
import type { SeenFrame } from '../reader/frame.js';

/** Side of a cell, px, and how deep in the core it lies. */
const CELL = 8,
  DEPTH = 2;

/** Sum over a cell of the squared distance from its middle, along one axis. */
const PLANE = (CELL * CELL * (CELL * CELL - 1)) / 12;

/**
 * Share of the plate in the recipe's own picture: what is seen, cell by cell and less a plane each, as so much of what
 * is asked and so much of the plate behind (least squares of both together), so that a coat's own likeness to the plate
 * falls out. Null where less than twelve cells are covered or the plate has no pattern.
 */
export function readThroughBeside(f: SeenFrame, expected: Expected): number | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    [x0, y0, x1, y1] = f.box,
    deep = coreOf(f.matte, W, f.box),
    n = CELL * CELL,
    flat = (luma: Float32Array, x: number, y: number): Float64Array => {
      const out = new Float64Array(n);
      let m = 0,
        sx = 0,
        sy = 0;
      for (let k = 0; k < n; k++) {
        const v = luma[(y + Math.floor(k / CELL)) * W + x + (k % CELL)]!;
        out[k] = v;
        m += v / n;
        sx += v * ((k % CELL) - (CELL - 1) / 2);
        sy += v * (Math.floor(k / CELL) - (CELL - 1) / 2);
      }
      for (let k = 0; k < n; k++)
        out[k] =
          out[k]! -
          m -
          (sx / PLANE) * ((k % CELL) - (CELL - 1) / 2) -
          (sy / PLANE) * (Math.floor(k / CELL) - (CELL - 1) / 2);
      return out;
    };
  let cells = 0,
    ee = 0,
    ep = 0,
    pp = 0,
    je = 0,
    jp = 0;
  for (let y = y0; y + CELL <= Math.min(y1, H); y += CELL)
    for (let x = x0; x + CELL <= Math.min(x1, W); x += CELL) {
      if (
        [0, CELL - 1].some((v) =>
          [0, CELL - 1].some((u) => deep((y + v) * W + x + u) < DEPTH || expected.matte[(y + v) * W + x + u]! < 0.98),
        )
      )
        continue;
      cells++;
      // Luma alone: another saturation changes the coat's pattern in colours.
      const j = flat(f.luma, x, y),
        e = flat(expected.luma, x, y),
        p = flat(f.plateLuma, x, y);
      for (let k = 0; k < n; k++) {
        ee += e[k]! * e[k]!;
        ep += e[k]! * p[k]!;
        pp += p[k]! * p[k]!;
        je += j[k]! * e[k]!;
        jp += j[k]! * p[k]!;
      }
    }
  const det = ee * pp - ep * ep;
  return cells < 12 || !(det > 1e-9) ? null : (ee * jp - ep * je) / det;
}

/**
 * How near to the plate (coded, mean of three channels over 3 × 3 px) a hole is, and how far from it what should stand
 * there.
 */
const PLATE = 0.03,
  LEAST_PLATE = 0.012,
  APART = 0.12;

/**
 * Share of the performer as asked that shows the plate instead, and the box about one such place; for a picture that is
 * the recipe's own but for that. `gain`, `offset`: as bright as it is seen, coded.
 */
export function readHoles(
  f: SeenFrame,
  expected: Expected,
  gain: number,
  offset: number,
): { readonly share: number; readonly at: readonly [number, number, number, number] } | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    N = W * H,
    [x0, y0, x1, y1] = f.box,
    j = f.join.data,
    p = f.plate.data,
    e = expected.coded.data;
  // As near as join and plate are where nothing was added: a coat that was only graded towards the plate's colours
  // stays farther from it.
  let noise = 0,
    n = 0;
  for (let i = 0; i < N; i += 5)
    if (f.matte[i]! < 0.003) {
      noise +=
        (Math.abs(j[i]! - p[i]!) + Math.abs(j[N + i]! - p[N + i]!) + Math.abs(j[2 * N + i]! - p[2 * N + i]!)) / 3;
      n++;
    }
  const like = Math.min(PLATE, Math.max(LEAST_PLATE, (2 * noise) / Math.max(1, n)));
  let all = 0,
    holes = 0,
    bx = 0,
    by = 0;
  for (let y = Math.max(1, y0); y < Math.min(H - 1, y1); y += 2)
    for (let x = Math.max(1, x0); x < Math.min(W - 1, x1); x += 2) {
      if (expected.matte[y * W + x]! < 0.98) continue;
      all++;
      let near = 0,
        apart = 0;
      for (let c = 0; c < 3; c++) {
        let a = 0,
          b = 0;
        for (let dy = -1; dy <= 1; dy++)
          for (let dx = -1; dx <= 1; dx++) {
            const i = c * N + (y + dy) * W + x + dx;
            a += j[i]! - p[i]!;
            b += gain * e[i]! + offset - p[i]!;
          }
        near += Math.abs(a) / 27;
        apart += Math.abs(b) / 27;
      }
      if (near < like && apart > APART) {
        holes++;
        bx = x;
        by = y;
      }
    }
  return all < 100
    ? null
    : {
        share: holes / all,
        at: [Math.max(0, bx - 12), Math.max(0, by - 12), Math.min(W, bx + 12), Math.min(H, by + 12)],
      };
}

/**
 * Side of a patch, px; how many noises of join and plate it may differ by on the root mean square; and how far (coded)
 * the performer about it must be from the plate: its mean colour, or single pixels by so much and by so many times what
 * the patch may differ by. A rough coat of the plate's mean colour is still nowhere the plate.
 */
const PATCH = 3,
  LIKE = 1.5,
  OTHER = 0.08,
  ROUGH = 0.1,
  ROUGH_TIMES = 6;
/** Half of the side over which the performer about a patch is averaged, px. */
const ABOUT = 12;
const HALF = PATCH >> 1;
/** About how many patches outside tell the noise, and how many px apart they lie at least. */
const PATCHES = 5000,
  CLOSEST = 11;
/** Fewest of a patch's eight neighbours that are the plate's too. */
const TOGETHER = 3;

/**
 * Holes told by the picture alone: patches deep in the matte that are the plate's own, pattern and colour, up to
 * another draw of grain, where the performer about them is far from the plate. A coat does not look like the very thing
 * that it hides. `known`: `coreOf` the frame's matte.
 */
export function readHolesAlone(
  f: SeenFrame,
  known?: DepthAt,
): { readonly share: number; readonly at: readonly [number, number, number, number] } | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    [x0, y0, x1, y1] = f.box,
    deep = known ?? coreOf(f.matte, W, f.box),
    limit = alikeLimit(f);
  if (limit === null) return null;
  const w = (x1 - x0 + 2) >> 1,
    like = new Uint8Array(w * ((y1 - y0 + 2) >> 1));
  let all = 0;
  for (let y = Math.max(HALF, y0); y < Math.min(H - HALF, y1); y += 2)
    for (let x = Math.max(HALF, x0); x < Math.min(W - HALF, x1); x += 2) {
      if (deep(y * W + x) < DEPTH) continue;
      all++;
      if (differs(f, x, y) > limit) continue;
      const apart = apartFromCoat(f, x, y);
      if (apart.mean > OTHER || apart.rough > Math.max(ROUGH, ROUGH_TIMES * Math.sqrt(limit)))
        like[((y - y0) >> 1) * w + ((x - x0) >> 1)] = 1;
    }
  if (all < 100) return null;
  const { holes, last } = together(like, w),
    bx = last < 0 ? 0 : x0 + 2 * (last % w),
    by = last < 0 ? 0 : y0 + 2 * Math.floor(last / w);
  return {
    share: holes / all,
    at: [Math.max(0, bx - 12), Math.max(0, by - 12), Math.min(W, bx + 12), Math.min(H, by + 12)],
  };
}

/** Mean squared difference of join and plate over a patch. */
function differs({ join, plate }: SeenFrame, x: number, y: number): number {
  const { width: W } = join,
    N = W * join.height;
  let s = 0;
  for (let c = 0; c < 3; c++)
    for (let v = -HALF; v <= HALF; v++)
      for (let u = -HALF; u <= HALF; u++) {
        const i = c * N + (y + v) * W + x + u;
        s += (join.data[i]! - plate.data[i]!) ** 2;
      }
  return s / (3 * PATCH * PATCH);
}

/**
 * Difference up to which a patch counts as the plate's own, by those outside the performer; null where they are few.
 */
function alikeLimit(f: SeenFrame): number | null {
  const { width: W, height: H } = f.join,
    bare = (i: number): boolean => f.matte[i]! < 0.003;
  const outside: number[] = [],
    step = Math.max(CLOSEST, Math.round(Math.sqrt((W * H) / PATCHES)));
  for (let y = HALF; y < H - HALF; y += step)
    for (let x = HALF; x < W - HALF; x += step)
      if (bare(y * W + x) && bare((y - HALF) * W + x - HALF) && bare((y + HALF) * W + x + HALF))
        outside.push(differs(f, x, y));
  if (outside.length < 100) return null;
  const noise = outside.sort((a, b) => a - b)[outside.length >> 1]!;
  return LIKE * LIKE * Math.max(noise, 4e-6);
}

/**
 * How far the plate's patch lies from the performer's mean colour about it, and the performer's pixels there from the
 * plate's (root mean square), means of the channels.
 */
function apartFromCoat(
  { join, plate, matte }: SeenFrame,
  x: number,
  y: number,
): { readonly mean: number; readonly rough: number } {
  const { width: W, height: H } = join,
    N = W * H;
  let mean = 0,
    rough = 0;
  for (let c = 0; c < 3; c++) {
    let own = 0,
      off = 0,
      n = 0,
      back = 0;
    for (let v = -HALF; v <= HALF; v++)
      for (let u = -HALF; u <= HALF; u++) back += plate.data[c * N + (y + v) * W + x + u]! / (PATCH * PATCH);
    for (let v = Math.max(0, y - ABOUT); v <= Math.min(H - 1, y + ABOUT); v += 2)
      for (let u = Math.max(0, x - ABOUT); u <= Math.min(W - 1, x + ABOUT); u += 2)
        if (matte[v * W + u]! > 0.98 && Math.max(Math.abs(v - y), Math.abs(u - x)) > PATCH) {
          const i = c * N + v * W + u;
          own += join.data[i]!;
          off += (join.data[i]! - plate.data[i]!) ** 2;
          n++;
        }
    if (n < 20) continue;
    mean += Math.abs(own / n - back) / 3;
    rough += Math.sqrt(off / n) / 3;
  }
  return { mean, rough };
}

/** One patch is like the plate by chance now and then; a hole holds together. Their number, and the last one. */
function together(like: Uint8Array, w: number): { readonly holes: number; readonly last: number } {
  let holes = 0,
    last = -1;
  for (let i = w + 1; i < like.length - w - 1; i++) {
    if (like[i] === 0) continue;
    const beside =
      like[i - 1]! +
      like[i + 1]! +
      like[i - w]! +
      like[i + w]! +
      like[i - w - 1]! +
      like[i - w + 1]! +
      like[i + w - 1]! +
      like[i + w + 1]!;
    if (beside < TOGETHER) continue;
    holes++;
    last = i;
  }
  return { holes, last };
}
