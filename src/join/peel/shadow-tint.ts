/**
 * Screen in the performer's own shadow where none of it is near enough to be known: under a belly, between legs. The
 * colour that is carried there is the lit screen's, and the shadow has another tint, as the fill's light and the coat's
 * bounce do (Shafer, 1985; Maxwell, Friedhoff & Smith, CVPR, 2008). The tint is read where the take's screen is dark
 * and sure, and what has it is screen as well. It is read only where it is one: half of that screen lies within the
 * limit of it, and it lies as near to the lit screen's as lit pixels must, or twice as far the way that a fill turns
 * it; else a dark coat has passed for screen, and would draw the rest of itself in.
 */
import { kernels } from '../../image/kernels.js';
import { median } from '../../image/statistics.js';
import { DARK_UNTIL, type LitHue } from './lit-hue.js';
import { takePockets, type ReadTint } from './shadow-pockets.js';
import type { SmallLinear } from './small-linear.js';

/** Fewest of the looked at pixels that tell a tint; every how many are looked at; and of how many medians are taken. */
const ENOUGH = 40;
const STEP = 5;
const MOST = 2000;
/**
 * How far the tint may lie off the lit screen's, in limits of a lit pixel. That limit is how much one light scatters,
 * .1 at least; the shadow has another light, the fill's. A fill of illuminant A (CIE 15) under a key of D65 turns green
 * cloths by .19 to .42 (computed for five), so that a fill half as warm keeps within .2. It raises one of the two
 * channels that the cloth holds back and lowers the other; a shaded coat in the screen's light raises both
 * (`greyed-screen.ts`), and past one limit such a tint is not read.
 */
const FILL_TILT = 2;

/**
 * Takes dark pixels of the shadow's tint into `sure` and `weight`, in place, by the kernel.
 * @param darkest least share of the lit screen's brightness @param limit largest ρ from the tint
 */
export function takeShadowTint(
  small: SmallLinear,
  lit: LitHue,
  sure: Uint8Array,
  weight: Float32Array,
  darkest: number,
  limit: number,
): void {
  const { data } = small;
  const [lr, lg, lb] = lit.colour;
  const power = lr * lr + lg * lg + lb * lb;
  const least = darkest * power;
  const most = DARK_UNTIL * power;
  const read = tintOf(data, lit, sure, least, most, limit);
  if (read === null) return;
  takeTint(small, lit, read.tint, [least, most], limit, sure, weight);
  takePockets(small, lit, read, sure, weight);
}

/**
 * Takes what has the unit colour `tint` within `limit`, and strengths along the lit screen's colour between `least` and
 * `most`, into `sure` and `weight`, by the kernel.
 */
export function takeTint(
  { width: w, height: h, data }: SmallLinear,
  { colour }: Pick<LitHue, 'colour'>,
  tint: readonly [number, number, number],
  [least, most]: readonly [number, number],
  limit: number,
  sure: Uint8Array,
  weight: Float32Array,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    const parts = [scope.changed(sure), scope.changed(weight)];
    door.run('takeTint', [scope.input(data), w, h, ...colour, ...tint, least, most, limit, ...parts], h, w * 4);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link takeTint}. */
export function takeTintPlain(
  data: Float32Array,
  { colour: [lr, lg, lb] }: Pick<LitHue, 'colour'>,
  [tr, tg, tb]: readonly [number, number, number],
  [least, most]: readonly [number, number],
  limit: number,
  sure: Uint8Array,
  weight: Float32Array,
): void {
  const n = sure.length;
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 1) continue;
    const r = data[i]!;
    const g = data[n + i]!;
    const b = data[2 * n + i]!;
    const s = r * lr + g * lg + b * lb;
    if (s < least || s > most) continue;
    const along = r * tr + g * tg + b * tb;
    if (r * r + g * g + b * b - along * along > limit * limit * along * along) continue;
    sure[i] = 1;
    weight[i] = 1;
  }
}

/**
 * Unit colour and strength of the dark screen; null where too little is seen, or it has no one tint near the lit
 * screen's.
 */
function tintOf(
  data: Float32Array,
  lit: LitHue,
  sure: Uint8Array,
  least: number,
  most: number,
  limit: number,
): ReadTint | null {
  const n = sure.length;
  const [lr, lg, lb] = lit.colour;
  let at: number[] = [];
  for (let i = 0; i < n; i += STEP) {
    if (sure[i] === 0) continue;
    const s = data[i]! * lr + data[n + i]! * lg + data[2 * n + i]! * lb;
    if (s >= least && s <= most) at.push(i);
  }
  if (at.length < ENOUGH) return null;
  const every = Math.ceil(at.length / MOST);
  if (every > 1) at = at.filter((_, k) => k % every === 0);
  const length = at.map((i) => Math.hypot(data[i]!, data[n + i]!, data[2 * n + i]!));
  const [r, g, b] = [0, n, 2 * n].map((p) => median(at.map((i, k) => data[p + i]! / length[k]!))) as [
    number,
    number,
    number,
  ];
  const size = Math.hypot(r, g, b);
  const tint = [r / size, g / size, b / size] as const;
  const scatter = median(
    at.map((i, k) => tangent((data[i]! * tint[0] + data[n + i]! * tint[1] + data[2 * n + i]! * tint[2]) / length[k]!)),
  );
  const tilt = tangent((tint[0] * lr + tint[1] * lg + tint[2] * lb) / Math.hypot(lr, lg, lb));
  if (scatter > limit || tilt > (greyer(tint, lit.colour) ? 1 : FILL_TILT) * lit.limit) return null;
  return { tint, usual: median(at.map((i) => data[i]! * lr + data[n + i]! * lg + data[2 * n + i]! * lb)), least, most };
}

/** Whether both channels that the cloth holds back are more of its main one than on the lit screen. */
function greyer(tint: readonly [number, number, number], lit: readonly [number, number, number]): boolean {
  const main = lit[1] >= lit[2] ? 1 : 2;
  return [0, 3 - main].every((p) => tint[p]! * lit[main]! > lit[p]! * tint[main]!);
}

/** Tangent of the angle of a cosine. */
function tangent(cosine: number): number {
  return Math.sqrt(Math.max(0, 1 - cosine * cosine)) / Math.max(cosine, 1e-3);
}
