/**
 * The screen's colour at every small pixel of one frame, and which pixels surely are screen.
 *
 * A lit screen of one cloth has one chromaticity; folds, fall-off and shadow change its brightness s. With B the local
 * screen colour and I the pixel, s = I·B / B·B, and ρ = |I − sB| / (s|B|) is the tangent of the angle between the two
 * colours in linear light. Pixels of small ρ are screen; B is their mean in cells, filled behind the performer
 * (priorFill); the two are found in turn, the limit of ρ following the screen's own scatter.
 */
import { kernels } from '../../image/kernels.js';
import { median } from '../../image/statistics.js';
import { labelAreas, partsOf } from './label-areas.js';
import { dropGreyed } from './greyed-screen.js';
import { evenlyLit, holdToLit, litHue, type LitHue } from './lit-hue.js';
import { cellMoments } from './local-unmix.js';
import { resampleCells } from './resample-cells.js';
import { hueWithin, type ScreenHue } from '../../take/screen/screen-hue.js';
import { leastGrey } from './row-light.js';
import { takeShadowTint } from './shadow-tint.js';
import type { SmallLinear } from './small-linear.js';
import { ownFloats, type Floats } from './work-space.js';

export interface ScreenField {
  /** Screen colour, planar RGB, small size. */
  readonly colour: Float32Array;
  /** 1 where the pixel surely is screen. */
  readonly sure: Uint8Array;
  /** 1 where it is screen too, but a rim's grey is mixed in and its colour says nothing (`greyed-screen.ts`). */
  readonly tinged?: Uint8Array;
  /** Limit of ρ used at last. */
  readonly limit: number;
  /**
   * Mean square of I − B over sure pixels and channels: the screen's noise after averaging, plus its finest texture.
   */
  readonly noise: number;
  /** What the lit screen has in common, where the field was found by its hue or was told it. */
  readonly lit?: LitHue | null;
}

/** Small pixels a cell of the screen field. */
const CELL = 4;
const LEAST_LIMIT = 0.05;
const LARGEST_LIMIT = 0.25;
/**
 * Darkest that a screen is looked for in, as a share of its lit colour: four stops. The shadow that the performer casts
 * has the fill's light alone, and phones deepen it; a brief that asks for three stops of key over fill is met by one of
 * an eighth.
 */
const DARKEST = 1 / 16;

/**
 * @param start planar RGB screen colours to start from (an earlier model of the same set-up), or null to start from
 * `hue`
 * @param known what the lit screen has in common on another frame of the same set-up
 */
export function screenField(
  small: SmallLinear,
  hue: ScreenHue,
  start: Float32Array | null = null,
  floats: Floats = ownFloats,
  known: LitHue | null = null,
): ScreenField {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const masks = floats(2 * ((n + 3) >> 2));
  const tinged = new Uint8Array(masks.buffer, masks.byteOffset + 4 * ((n + 3) >> 2), n).fill(0);
  const judged: Judged = {
    rho: floats(n),
    excess: floats(n),
    weight: floats(n),
    sure: new Uint8Array(masks.buffer, masks.byteOffset, n),
    square: floats(h),
  };
  const { rho, excess, weight, sure } = judged;
  const scatter = new Float32Array(Math.ceil(n / 5));
  let colour = start;
  let limit = start === null ? 0.35 : 0.15;
  let noise = 0;
  let lit = known;
  let even = evenlyLit(small, lit, floats);
  let least = leastGrey(small, even, floats);
  const turns = start === null ? 4 : 2;
  for (let turn = 0; turn < turns; turn += 1) {
    const wide = colour === null;
    if (wide) {
      judgeByHue(small, hue, limit, judged);
      lit = litHue(small, sure);
      even = evenlyLit(small, lit, floats);
      least = leastGrey(small, even, floats);
    } else judgeScreen(data, colour!, w, h, DARKEST, 1.6, limit, judged);
    if (lit !== null) holdToLit(small, even, lit, sure, weight);
    const found = gather(sure, rho, scatter),
      square = sumOf(judged.square);
    if (!wide && lit !== null) takeShadowTint(small, lit, sure, weight, DARKEST, LEAST_LIMIT);
    if (lit !== null) dropGreyed(least, lit, sure, weight, tinged);
    if (!wide && turn >= turns - 2) dropStrays(small, sure, weight, limit, floats);
    const cells = cellMoments(data, weight, w, h, CELL, 4, 3, floats);
    if (cells === null) break;
    colour = resampleCells(cells.moments, cells.grid, CELL, w, h, 3, undefined, { floats });
    noise = square / Math.max(15 * found, 1);
    const own = Math.max(LEAST_LIMIT, 3.5 * median(scatter.subarray(0, found)));
    limit = wide ? Math.min(0.3, Math.max(own, 0.12)) : Math.min(LARGEST_LIMIT, own);
  }
  takeInSpecks(sure, excess, w, h);
  if (colour === null) {
    colour = new Float32Array(3 * n);
    for (let p = 0; p < 3; p += 1) colour.fill(hue.linear[p]!, p * n, (p + 1) * n);
  }
  return { colour, sure, tinged, limit, noise, lit };
}

/**
 * ρ of every fifth pixel that is screen. Loops that run long stand in functions of their own: the compiler takes a
 * function whole, with all that it calls.
 */
function gather(sure: Uint8Array, rho: Float32Array, scatter: Float32Array): number {
  let found = 0;
  for (let i = 0; i < sure.length; i += 5) {
    if (sure[i] === 0) continue;
    scatter[found] = rho[i]!;
    found += 1;
  }
  return found;
}

function sumOf(values: Float32Array): number {
  let sum = 0;
  for (let i = 0; i < values.length; i += 1) sum += values[i]!;
  return sum;
}

/** What one look at the picture says of each pixel, filled anew in every turn. */
export interface Judged {
  readonly rho: Float32Array;
  /** rho over its limit; 99 where the strength s is out of bounds. */
  readonly excess: Float32Array;
  /** 1 where the pixel is screen, else 0; `sure` says the same. */
  readonly weight: Float32Array;
  readonly sure: Uint8Array;
  /** A row's sum of |I - B|² over screen pixels. */
  readonly square: Float32Array;
}

/** Fills `judged` by the kernel. @param colour B, planar */
export function judgeScreen(
  data: Float32Array,
  colour: Float32Array,
  w: number,
  h: number,
  low: number,
  high: number,
  limit: number,
  judged: Judged,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    const bytes = door.owns(judged.sure) ? judged.sure.byteOffset : scope.allocate(w * h);
    door.run(
      'screenJudge',
      [
        scope.input(data),
        scope.input(colour),
        w,
        h,
        low,
        high,
        limit,
        scope.output(judged.rho),
        scope.output(judged.excess),
        scope.output(judged.weight),
        bytes,
        scope.output(judged.square),
      ],
      h,
      w * 6,
    );
    if (!door.owns(judged.sure)) judged.sure.set(new Uint8Array(door.memory.buffer, bytes, w * h));
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. `also`: what else a screen pixel must be. */
export function judgeScreenPlain(
  data: Float32Array,
  colour: Float32Array,
  w: number,
  h: number,
  low: number,
  high: number,
  limit: number,
  judged: Judged,
  also: ((r: number, g: number, b: number) => boolean) | null = null,
): void {
  const n = w * h;
  judged.square.fill(0);
  for (let i = 0; i < n; i += 1) {
    const r = data[i]!;
    const g = data[n + i]!;
    const b = data[2 * n + i]!;
    const br = colour[i]!;
    const bg = colour[n + i]!;
    const bb = colour[2 * n + i]!;
    const power = br * br + bg * bg + bb * bb;
    const s = (r * br + g * bg + b * bb) / power;
    const xr = r - s * br;
    const xg = g - s * bg;
    const xb = b - s * bb;
    const rho = Math.sqrt((xr * xr + xg * xg + xb * xb) / power) / Math.max(s, 1e-3);
    const within = s > low && s < high;
    const is = within && rho < limit && (also === null || also(r, g, b));
    judged.rho[i] = rho;
    judged.excess[i] = within ? rho / limit : 99;
    judged.sure[i] = is ? 1 : 0;
    judged.weight[i] = is ? 1 : 0;
    if (!is) continue;
    const y = (i / w) | 0;
    judged.square[y] = judged.square[y]! + (r - br) ** 2 + (g - bg) ** 2 + (b - bb) ** 2;
  }
}

/** The first look, when nothing but the hue is known: wide in brightness, held to the hue. */
function judgeByHue(small: SmallLinear, hue: ScreenHue, limit: number, judged: Judged): void {
  const n = small.width * small.height;
  const flat = new Float32Array(3 * n);
  for (let p = 0; p < 3; p += 1) flat.fill(hue.linear[p]!, p * n, (p + 1) * n);
  const most = Math.min(24, hue.spreadDeg + 4);
  judgeScreenPlain(small.data, flat, small.width, small.height, DARKEST, 4, limit, judged, hueWithin(hue.hueDeg, most));
}

/** Most pixels of a speck. */
const SPECK = 4;
const SPECK_EXCESS = 1.6;

/**
 * A few pixels alone on the screen, only just off its colour (the rim of a hard shadow, a stitch), are screen. A part
 * is followed from its pixels until it proves too large or too foreign, so no labelling of the whole picture is needed.
 * By the kernel.
 */
export function takeInSpecks(sure: Uint8Array, excess: Float32Array, w: number, h: number): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('takeSpecks', [scope.changed(sure), scope.input(excess), w, h, SPECK, SPECK_EXCESS], 1, 1, 64);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link takeInSpecks}. */
export function takeInSpecksPlain(sure: Uint8Array, excess: Float32Array, w: number, h: number): void {
  const n = w * h;
  const part = new Int32Array(SPECK + 1);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 1 || excess[i]! >= SPECK_EXCESS) continue;
    part[0] = i;
    let count = 1;
    let small = true;
    for (let k = 0; k < count && small; k += 1) {
      const at = part[k]!;
      const x = at % w;
      const y = (at - x) / w;
      for (let v = y > 0 ? y - 1 : 0; v <= y + 1 && v < h && small; v += 1) {
        for (let u = x > 0 ? x - 1 : 0; u <= x + 1 && u < w; u += 1) {
          const j = v * w + u;
          if (sure[j] === 1) continue;
          let known = false;
          for (let m = 0; m < count; m += 1) if (part[m] === j) known = true;
          if (known) continue;
          if (count === SPECK || excess[j]! >= SPECK_EXCESS) {
            small = false;
            break;
          }
          part[count] = j;
          count += 1;
        }
      }
    }
    if (small) for (let k = 0; k < count; k += 1) sure[part[k]!] = 1;
  }
}

/**
 * Small parts must look like the screen round them, not only share its hue: a dark green strap is no screen. By
 * kernels.
 */
export function dropStrays(
  small: SmallLinear,
  sure: Uint8Array,
  weight: Float32Array,
  limit: number,
  floats: Floats,
): void {
  const { width: w, height: h, data } = small,
    n = w * h,
    large = 0.01 * n;
  const door = kernels();
  const scope = door.scope();
  try {
    const mask = scope.changed(sure);
    const { labels, area, count } = partsOf(mask, w, h, scope);
    const areas = new Int32Array(door.memory.buffer, area, count);
    let any = false;
    let minor = false;
    for (let l = 1; l < count; l += 1) {
      if (areas[l]! >= large) any = true;
      else if (areas[l]! > 0) minor = true;
    }
    if (!any || !minor) return;
    const major = scope.allocate(n),
      majorWeight = floats(n);
    door.run('largeParts', [mask, 1, labels, area, large, major, w], h, w);
    door.run('maskFloats', [major, scope.output(majorWeight), w], h, w);
    scope.finish();
    const cells = cellMoments(data, majorWeight, w, h, CELL, 4, 3, floats)!;
    const around = resampleCells(cells.moments, cells.grid, CELL, w, h, 3, undefined, { floats });
    door.run(
      'dropMinor',
      [
        scope.input(data),
        scope.input(around),
        mask,
        major,
        labels,
        area,
        scope.allocate(16 * count),
        count,
        n,
        limit,
        scope.changed(weight),
      ],
      1,
      1,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link dropStrays}. */
export function dropStraysPlain(
  small: SmallLinear,
  sure: Uint8Array,
  weight: Float32Array,
  limit: number,
  floats: Floats,
): void {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const { labels, area } = labelAreas(sure, w, h);
  const large = 0.01 * n;
  let any = false;
  let minor = false;
  for (let l = 1; l < area.length; l += 1) {
    if (area[l]! >= large) any = true;
    else if (area[l]! > 0) minor = true;
  }
  if (!any || !minor) return;
  const major = floats(n);
  for (let i = 0; i < n; i += 1) major[i] = sure[i] === 1 && area[labels[i]!]! >= large ? 1 : 0;
  const cells = cellMoments(data, major, w, h, CELL, 4, 3, floats)!;
  const around = resampleCells(cells.moments, cells.grid, CELL, w, h, 3, undefined, { floats });
  const total = new Float64Array(area.length);
  const off = new Float64Array(area.length);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0 || major[i] === 1) continue;
    const r = around[i]!;
    const g = around[n + i]!;
    const b = around[2 * n + i]!;
    const power = r * r + g * g + b * b;
    const s = (data[i]! * r + data[n + i]! * g + data[2 * n + i]! * b) / power;
    const l = labels[i]!;
    total[l] = total[l]! + s;
    off[l] =
      off[l]! +
      Math.sqrt(((data[i]! - s * r) ** 2 + (data[n + i]! - s * g) ** 2 + (data[2 * n + i]! - s * b) ** 2) / power);
  }
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0 || major[i] === 1) continue;
    const l = labels[i]!;
    const s = total[l]! / area[l]!;
    if (s < 0.5 || s > 1.5 || off[l]! / area[l]! > limit * s) {
      sure[i] = 0;
      weight[i] = 0;
    }
  }
}
