/**
 * Rows of the screen under another light than most of it. A cloth that runs from the wall over the floor takes the key
 * at one slope there and at another here, and far from the lamp the fill is most of what comes: the floor then has the
 * cloth's reflectance in another light, channel by channel another multiple of the wall's (von Kries; Finlayson, Drew &
 * Funt, Spectral sharpening, JOSA A 11, 1994, for how far that holds). Held to the wall's chromaticity such a floor is
 * no screen and comes along as performer. The light of a row is read at both of the picture's ends, which the performer
 * seldom reaches and the floor always does. It is followed from rows that have the lit screen's chromaticity over soft
 * changes only, as a body that does reach there (shoulders at the lower edge) begins at an edge.
 */
import { median } from '../../image/statistics.js';
import type { SmallLinear } from './small-linear.js';
import type { Floats } from './work-space.js';

/**
 * What the channels of each row are to be taken times to be as in the lit screen's light, at the picture's left end and
 * then at its right one, each planar RGB × rows; 1 where nothing else is known.
 */
export type RowLight = readonly [Float32Array, Float32Array];

/** Share of a row that is an end of it, and how much of an end must be screen at the first look. */
const END = 0.25;
const HELD = 0.5;
/** Every how many columns are looked at. */
const COLUMNS = 3;
/**
 * Largest change (tangent of the angle) over a hundredth of the picture's height: a cloth's bend into the floor changes
 * by .02 to .08, the edge of a coat by its whole distance within one (own choice).
 */
const STEP = 0.1;
/**
 * From here on in the screen's own channel, linear light, a camera's shoulder or its clipping turns the colour, and no
 * light.
 */
export const CLIPPED = 0.8;

type Rgb = readonly [number, number, number];

/**
 * The light of each row of `small`; null where no row lies farther from the lit screen than its pixels may.
 * @param sure 1 where the first look, by hue alone, found screen @param colour of the lit screen @param limit largest
 * tangent of a lit pixel's angle to it
 */
export function rowLight(small: SmallLinear, sure: Uint8Array, colour: Rgb, limit: number): RowLight | null {
  const wide = Math.max(1, Math.round(END * small.width));
  const ends = [0, small.width - wide].map((from) => lightOfEnd(small, sure, [from, wide], colour, limit));
  if (ends.every((light) => light === null)) return null;
  const [left, right] = ends.map((light) => light ?? new Float32Array(3 * small.height).fill(1)) as [
    Float32Array,
    Float32Array,
  ];
  return [left, right];
}

/** The light of the rows at one end; null where none lies farther than `limit` from the lit screen. */
function lightOfEnd(
  small: SmallLinear,
  sure: Uint8Array,
  columns: readonly [number, number],
  colour: Rgb,
  limit: number,
): Float32Array | null {
  const { height: h } = small;
  const main = colour[1] >= colour[2] ? 1 : 2;
  const tints = Array.from({ length: h }, (_, y) => tintOfEnd(small, sure, main, y, columns));
  const off = tints.map((t) => (t === null ? Infinity : tangent(t, colour)));
  const reached = followed(tints, off, limit, (STEP * 100) / h);
  const light = new Float32Array(3 * h).fill(1);
  let any = false;
  tints.forEach((tint, y) => {
    if (reached[y] === 0 || tint === null) return;
    any ||= off[y]! > limit;
    for (let p = 0; p < 3; p += 1)
      light[p * h + y] = (colour[p]! * tint[main]) / Math.max(1e-6, tint[p]! * colour[main]);
  });
  return any ? light : null;
}

/** Rows that soft changes lead to from rows within `limit` of the lit screen. */
function followed(tints: readonly (Rgb | null)[], off: readonly number[], limit: number, step: number): Uint8Array {
  const h = tints.length;
  const reached = Uint8Array.from(off, (v) => (v <= limit ? 1 : 0));
  const follow = (y: number, from: number): void => {
    const [a, b] = [tints[y], tints[from]];
    if (reached[from] === 1 && a && b && tangent(a, b) <= step) reached[y] = 1;
  };
  for (let y = 1; y < h; y += 1) follow(y, y - 1);
  for (let y = h - 2; y >= 0; y -= 1) follow(y, y + 1);
  return reached;
}

/** Unit colour of the screen at an end of row `y`, its first column and width; null where too little of it is seen. */
function tintOfEnd(
  { width: w, height: h, data }: SmallLinear,
  sure: Uint8Array,
  main: number,
  y: number,
  [from, wide]: readonly [number, number],
): Rgb | null {
  const n = w * h;
  const at: number[] = [];
  for (let i = y * w + from; i < y * w + from + wide; i += COLUMNS)
    if (sure[i] === 1 && data[main * n + i]! < CLIPPED) at.push(i);
  return at.length < (HELD * wide) / COLUMNS ? null : unitMedian(data, n, at);
}

function unitMedian(data: Float32Array, n: number, at: readonly number[]): Rgb {
  const length = at.map((i) => Math.hypot(data[i]!, data[n + i]!, data[2 * n + i]!) || 1e-6);
  return unit(
    [0, n, 2 * n].map((p) => median(at.map((i, k) => data[p + i]! / length[k]!))) as [number, number, number],
  );
}

function unit([r, g, b]: Rgb): Rgb {
  const size = Math.hypot(r, g, b) || 1;
  return [r / size, g / size, b / size];
}

/** Tangent of the angle between two colours. */
function tangent(a: Rgb, b: Rgb): number {
  const cosine = (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) / (Math.hypot(...a) * Math.hypot(...b) || 1);
  return Math.sqrt(Math.max(0, 1 - cosine * cosine)) / Math.max(cosine, 1e-3);
}

/**
 * `small` as it would be in the lit screen's light, row by row, from one end's light evenly to the other's; brightness
 * stays in the screen's own channel.
 */
export function relit(small: SmallLinear, [left, right]: RowLight, floats: Floats): SmallLinear {
  const { width: w, height: h } = small;
  const data = floats(3 * w * h);
  data.set(small.data);
  const [first, last] = [(END / 2) * w, (1 - END / 2) * w];
  const share = Float32Array.from({ length: w }, (_, x) => Math.min(1, Math.max(0, (x - first) / (last - first))));
  left.forEach((k, row) => {
    const more = right[row]! - k;
    if (k === 1 && more === 0) return;
    for (let x = 0; x < w; x += 1) data[row * w + x] = data[row * w + x]! * (k + share[x]! * more);
  });
  return { ...small, data };
}

/** The lesser of each channel in both pictures: what has more grey than the screen must have it in either light. */
export function leastGrey(small: SmallLinear, even: SmallLinear, floats: Floats): SmallLinear {
  if (even === small) return small;
  const data = floats(small.data.length);
  for (let i = 0; i < data.length; i += 1) data[i] = Math.min(small.data[i]!, even.data[i]!);
  return { ...small, data };
}
