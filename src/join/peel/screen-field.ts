/**
 * The screen's colour at every small pixel of one frame, and which pixels surely are screen.
 *
 * A lit screen of one cloth has one chromaticity; folds, fall-off and shadow change its brightness s. With B the local
 * screen colour and I the pixel, s = I·B / B·B, and ρ = |I − sB| / (s|B|) is the tangent of the angle between the two
 * colours in linear light. Pixels of small ρ are screen; B is their mean in cells, filled behind the performer
 * (priorFill); the two are found in turn, the limit of ρ following the screen's own scatter.
 */
import { median } from '../../image/statistics.js';
import { dropGreyed } from './greyed-screen.js';
import { evenlyLit, holdToLit, litHue, type LitHue } from './lit-hue.js';
import { cellMoments } from './local-unmix.js';
import { resampleCells } from './resample-cells.js';
import { hueWithin, type ScreenHue } from '../../take/screen/screen-hue.js';
import { leastGrey } from './row-light.js';
import { takeShadowTint } from './shadow-tint.js';
import type { SmallLinear } from './small-linear.js';
import { ownFloats, type Floats } from './work-space.js';
import { type Judged, judgeScreen, judgeScreenPlain } from './judge-screen.js';
import { takeInSpecks } from './screen-specks.js';
import { dropStrays, CELL } from './screen-strays.js';

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

/** The first look, when nothing but the hue is known: wide in brightness, held to the hue. */
function judgeByHue(small: SmallLinear, hue: ScreenHue, limit: number, judged: Judged): void {
  const n = small.width * small.height;
  const flat = new Float32Array(3 * n);
  for (let p = 0; p < 3; p += 1) flat.fill(hue.linear[p]!, p * n, (p + 1) * n);
  const most = Math.min(24, hue.spreadDeg + 4);
  judgeScreenPlain(small.data, flat, small.width, small.height, DARKEST, 4, limit, judged, hueWithin(hue.hueDeg, most));
}
