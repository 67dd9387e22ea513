/**
 * What the lit screen has in common. One cloth under one light has one chromaticity, whatever folds and fall-off do to
 * its brightness; only where the key does not come may the fill tint it otherwise (Shafer, Using color to separate
 * reflection components, Color Research and Application 10, 1985; Maxwell, Friedhoff & Smith, CVPR, 2008). A pale coat
 * before a faded cloth, greened by its bounce, lies near enough to the screen's hue to be taken for it, and a colour
 * that is found cell by cell then settles on the coat: bright pixels are held to the chromaticity that most of the
 * screen has, dark ones to what lies as near to it as most of the take's dark screen does, and so are far brighter
 * ones, such as a floor under a lamp of its own, which a camera clips: what is clipped tells only the least of the
 * screen's own channel, and the other two say how much came there.
 */
import { kernels } from '../../image/kernels.js';
import { median } from '../../image/statistics.js';
import { CLIPPED, relit, rowLight, type RowLight } from './row-light.js';
import type { SmallLinear } from './small-linear.js';
import type { Floats } from './work-space.js';

export interface LitHue {
  /** Colour of the lit screen, its brightness the median. */
  readonly colour: readonly [number, number, number];
  /** Largest ρ (tangent of the angle between two colours) of a lit pixel. */
  readonly limit: number;
  /** The same where no key comes: how far this take's own dark screen lies from its lit one. */
  readonly darkLimit: number;
  /** The same where far more light comes than on most of it: a lamp of its own, or a camera that clips. */
  readonly brightLimit: number;
  /**
   * Whether much of it lies off that colour as seen and not once its clipped channel is set free: the camera clips, and
   * what it shows may never be far brighter than the rest.
   */
  readonly clips: boolean;
  /** Rows under another light, as a floor's may be; null where there are none. */
  readonly rows: RowLight | null;
}

type Rgb = readonly [number, number, number];

/** A screen of two cloths, or under lamps of two colours, scatters more: so many medians of ρ are allowed. */
const MEDIANS = 4;
const LEAST = 0.1;
/**
 * Most where no key comes, and what is allowed where too little dark screen is seen to tell; the first look's own
 * limit.
 */
const DARK = 0.35;
/** Share of the screen that is enough to tell how far its dark and its bright parts lie from the rest. */
const ENOUGH = 0.01;
/** Shares of the lit screen's brightness between which a pixel may be without the key. */
const LIT_FROM = 0.7;
export const DARK_UNTIL = 0.35;
/** The same upwards: up to where a pixel is as bright as most of the screen, and from where it is far brighter. */
export const LIT_UNTIL = 1 / LIT_FROM;
const BRIGHT_FROM = 1 / DARK_UNTIL;
/**
 * Of what is clipped, at most so many times what is seen may have come there, and so little that white, which clips
 * too, still lies that many limits away (own choice).
 */
const FREED = 2.5,
  FREED_STEP = 0.1,
  WHITE_AWAY = 1.3;
const LOOKED_AT = 20_000;

/** @param sure the first look at what is screen; null where that is nothing */
export function litHue(small: SmallLinear, sure: Uint8Array): LitHue | null {
  const { data } = small,
    n = small.width * small.height,
    step = Math.max(1, Math.floor(n / LOOKED_AT));
  const at: number[] = [];
  for (let i = 0; i < n; i += step) if (sure[i] === 1) at.push(i);
  if (at.length === 0) return null;
  // Medians of the unit vectors' parts: half of the looked at may be something else.
  const length = Float32Array.from(at, (i) => Math.hypot(data[i]!, data[n + i]!, data[2 * n + i]!) || 1e-6);
  const unit = [0, 1, 2].map((p) => median(Float32Array.from(at, (i, k) => data[p * n + i]! / length[k]!))) as [
    number,
    number,
    number,
  ];
  const size = Math.hypot(...unit) || 1,
    usual = median(length);
  const colour: [number, number, number] = [
    (unit[0] / size) * usual,
    (unit[1] / size) * usual,
    (unit[2] / size) * usual,
  ];
  const rho = Float32Array.from(at, (i) => rhoOf(data[i]!, data[n + i]!, data[2 * n + i]!, colour)),
    power = usual * usual;
  const light = Float32Array.from(
    at,
    (i) => (data[i]! * colour[0] + data[n + i]! * colour[1] + data[2 * n + i]! * colour[2]) / power,
  );
  const dark = rho.filter((_, k) => light[k]! < DARK_UNTIL),
    bright = rho.filter((_, k) => light[k]! > BRIGHT_FROM);
  const limit = limitOf(median(rho)),
    enough = ENOUGH * at.length;
  return {
    colour,
    limit,
    darkLimit: dark.length < enough ? DARK : Math.max(limit, limitOf(median(dark))),
    brightLimit: bright.length < enough ? limit : Math.max(limit, limitOf(median(bright))),
    clips: clippedOf(data, at, rho, colour, limit) >= enough,
    rows: rowLight(small, sure, colour, limit),
  };
}

/**
 * How many of the pixels `at` lie farther off than `limit` as they are seen, and within it with their own channel set
 * free.
 */
function clippedOf(data: Float32Array, at: readonly number[], rho: Float32Array, colour: Rgb, limit: number): number {
  const n = data.length / 3,
    free = freeing(colour);
  let count = 0;
  at.forEach((i, k) => {
    if (rho[k]! > limit && rhoOf(...free(data[i]!, data[n + i]!, data[2 * n + i]!, FREED), colour) <= limit) count += 1;
  });
  return count;
}

function limitOf(scatter: number): number {
  return Math.min(DARK, Math.max(LEAST, MEDIANS * scatter));
}

function rhoOf(r: number, g: number, b: number, [cr, cg, cb]: Rgb): number {
  const power = cr * cr + cg * cg + cb * cb,
    s = (r * cr + g * cg + b * cb) / power;
  return Math.sqrt(((r - s * cr) ** 2 + (g - s * cg) ** 2 + (b - s * cb) ** 2) / power) / Math.max(s, 1e-3);
}

/**
 * The picture as it would be in the lit screen's light all over, row by row; the same one where no row has another.
 * In the room that `floats` makes.
 */
export function evenlyLit(small: SmallLinear, lit: LitHue | null, floats: Floats): SmallLinear {
  return lit === null || lit.rows === null ? small : relit(small, lit.rows, floats);
}

/**
 * Takes out of `sure` and `weight`, in place, what is as bright as the lit screen and has another chromaticity, both as
 * it is and in its row's light: a lamp's pool on the floor is nearer to the wall's light than its row is.
 * @param even the picture evenly lit
 */
export function holdToLit(
  small: SmallLinear,
  even: SmallLinear,
  lit: LitHue,
  sure: Uint8Array,
  weight: Float32Array,
): void {
  if (even === small) return holdToOne(small, lit, sure, weight);
  const [alsoSure, alsoWeight] = [sure.slice(), weight.slice()];
  holdToOne(small, lit, sure, weight);
  holdToOne(even, lit, alsoSure, alsoWeight);
  for (let i = 0; i < sure.length; i += 1) {
    if (alsoSure[i] === 0) continue;
    sure[i] = 1;
    weight[i] = alsoWeight[i]!;
  }
}

/** Takes out what has another chromaticity than the lit screen, by the kernel. */
export function holdToOne(small: SmallLinear, lit: LitHue, sure: Uint8Array, weight: Float32Array): void {
  const { width: w, height: h } = small,
    door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'holdLit',
      [
        scope.input(small.data),
        w,
        h,
        ...lit.colour,
        lit.limit,
        lit.darkLimit,
        lit.brightLimit,
        DARK_UNTIL,
        LIT_FROM,
        LIT_UNTIL,
        BRIGHT_FROM,
        CLIPPED,
        mostFreed(lit),
        scope.changed(sure),
        scope.changed(weight),
      ],
      h,
      w * 4,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/**
 * Up to how many times what is seen the screen's own channel may be where the camera clipped it; 1 where no far
 * brighter screen is seen to lie farther off than the rest, nor any that clips.
 */
function mostFreed({ colour, limit, brightLimit, clips }: LitHue): number {
  if (!(brightLimit > limit) && !clips) return 1;
  const green = colour[1] > colour[2];
  for (let k = FREED; k > 1; k -= FREED_STEP)
    if (rhoOf(1, green ? k : 1, green ? 1 : k, colour) > WHITE_AWAY * brightLimit) return k;
  return 1;
}

/** The screen's own channel by what the other two tell, where it is clipped. */
const freedOf = (lead: number, most: number, along: number, square: number, top: number): number =>
  lead > CLIPPED ? Math.max(lead, Math.min(most * lead, (along * top) / Math.max(1e-12, square))) : lead;

/** The same for a whole colour. */
function freeing([cr, cg, cb]: Rgb): (r: number, g: number, b: number, most: number) => Rgb {
  return cg > cb
    ? (r, g, b, most) => [r, freedOf(g, most, r * cr + b * cb, cr * cr + cb * cb, cg), b]
    : (r, g, b, most) => [r, g, freedOf(b, most, r * cr + g * cg, cr * cr + cg * cg, cb)];
}

/** Plain twin of {@link holdToOne}. */
export function holdToOnePlain(small: SmallLinear, lit: LitHue, sure: Uint8Array, weight: Float32Array): void {
  const { data } = small,
    n = small.width * small.height,
    [cr, cg, cb] = lit.colour,
    power = cr * cr + cg * cg + cb * cb,
    free = freeing(lit.colour),
    freed = mostFreed(lit);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0) continue;
    const [r, g, b] = free(data[i]!, data[n + i]!, data[2 * n + i]!, freed);
    const s = (r * cr + g * cg + b * cb) / power;
    const dark = Math.min(1, Math.max(0, (LIT_FROM - s) / (LIT_FROM - DARK_UNTIL))),
      bright = Math.min(1, Math.max(0, (s - LIT_UNTIL) / (BRIGHT_FROM - LIT_UNTIL))),
      most =
        (lit.limit + (lit.darkLimit - lit.limit) * dark + (lit.brightLimit - lit.limit) * bright) * Math.max(s, 1e-3);
    if ((r - s * cr) ** 2 + (g - s * cg) ** 2 + (b - s * cb) ** 2 <= most * most * power) continue;
    sure[i] = 0;
    weight[i] = 0;
  }
}
