/**
 * What stands before the screen and stays: a peg and its shadow, tape, a mark on the floor. It has not the screen's
 * colour, so a frame by itself takes it for performer; over a take it is told by what it does: it hangs apart from the
 * performer, on the same pixels, in the same colours. Those colours are kept beside the screen's map, as a clean frame
 * would hold them, and a frame's part that shows little else is screen. A performer who sits still is no piece of the
 * set: it is the largest part of all. Nor is what a band of the screen's colour parts from it (a head above a green
 * collar): it stays by the performer, nearer than it is thick. (Background by consistency over time: Gloyer et al.,
 * SPIE 2421, 1995; parts by hysteresis: Canny, PAMI 8, 1986.)
 */
import { chamferDistance } from './chamfer-distance.js';
import { labelAreas } from './label-areas.js';
import type { ScreenField } from './screen-field.js';
import type { SmallLinear } from './small-linear.js';

/** Small pixels (y × width + x, rising) that show a piece, with its colour: planar, one a pixel. */
export interface SetPieces {
  readonly at: Int32Array;
  readonly colour: Float32Array;
}

/** Frames that must agree. */
const LEAST_FRAMES = 3;
/** Share of the frames in which a pixel must hang apart from the performer. */
const LEAST_SHARE = 0.5;
/** A part of more than this share of the largest is another performer. */
const LARGEST_PIECE = 0.25;
/** Small pixels (of 480 across the picture): a part that nowhere goes farther from the performer hangs on it. */
const HAIR = 8;
/**
 * A part that stays this near to the performer, in parts of what its thickest place reaches from middle to edge, is its
 * own (own choice).
 */
const NEAR_BY = 0.75;
/** Distance from the mean colour, as a share of the screen's strength there, within which the frames agree, rms. */
const AGREES = 0.12;
/** The same for a frame that is told to show a piece, which may lie in the performer's shadow: ρ and brightness. */
const SAME_HUE = 0.2;
const DARKEST = 0.12;
const BRIGHTEST = 1.4;
/** Share of a part's pixels that must show pieces. */
const MOSTLY = 0.6;
/** Where performer and piece touch, what lies within so many small pixels of the screen is told by its colour alone. */
const RIM = 2;

/**
 * @param frames of one take, of one size
 * @param fields their screens
 * @param map the screen over time, planar
 * @returns null where nothing stands there
 */
export function findSetPieces(
  frames: readonly SmallLinear[],
  fields: readonly ScreenField[],
  map: Float32Array,
): SetPieces | null {
  const first = frames[0]!,
    { width: w, height: h } = first,
    n = w * h;
  if (frames.length < LEAST_FRAMES) return null;
  const apart = new Uint8Array(n),
    off = frames.map(() => new Uint8Array(n));
  frames.forEach((_, k) => {
    const mask = fields[k]!.sure.map((s) => 1 - s),
      { labels, area } = labelAreas(mask, w, h);
    let largest = 0;
    for (let l = 1; l < area.length; l += 1) if (area[l]! > area[largest]!) largest = l;
    const body = off[k]!;
    for (let i = 0; i < n; i += 1) {
      if (mask[i] === 0) continue;
      const l = labels[i]!;
      if (l !== largest && area[l]! <= LARGEST_PIECE * area[largest]!) apart[i] = apart[i]! + 1;
      else body[i] = 1;
    }
  });
  const least = Math.max(2, LEAST_SHARE * frames.length),
    seed = new Uint8Array(n);
  let any = false;
  for (let i = 0; i < n; i += 1)
    if (apart[i]! >= least) {
      seed[i] = 1;
      any = true;
    }
  if (!any) return null;
  const nearBy = nearerThanThick(seed, off, w, h);
  // What stands off the performer by a hair's length is its own.
  let about = new Uint8Array(n);
  for (const b of off) for (let i = 0; i < n; i += 1) if (b[i] === 1) about[i] = 1;
  for (let k = 0; k < HAIR; k += 1) about = widenMask(about, w, h);
  const { labels: seeds, area: sizes } = labelAreas(seed, w, h),
    clear = new Uint8Array(sizes.length);
  for (let i = 0; i < n; i += 1) if (seed[i] === 1 && about[i] === 0) clear[seeds[i]!] = 1;
  for (let i = 0; i < n; i += 1) if (seed[i] === 1 && (clear[seeds[i]!] === 0 || nearBy[seeds[i]!] === 1)) seed[i] = 0;
  // Their soft edges too.
  const wide = widenMask(seed, w, h),
    at: number[] = [],
    colour: number[] = [];
  for (let i = 0; i < n; i += 1) {
    if (wide[i] === 0) continue;
    const mean = [0, 0, 0],
      square = [0, 0, 0];
    let count = 0;
    frames.forEach((f, k) => {
      if (off[k]![i] === 1) return;
      count += 1;
      for (let p = 0; p < 3; p += 1) {
        const v = f.data[p * n + i]!;
        mean[p] = mean[p]! + v;
        square[p] = square[p]! + v * v;
      }
    });
    if (count < least) continue;
    let spread = 0,
      power = 0;
    for (let p = 0; p < 3; p += 1) {
      mean[p] = mean[p]! / count;
      spread += Math.max(0, square[p]! / count - mean[p]! ** 2);
      power += Math.max(map[p * n + i]!, mean[p]!) ** 2;
    }
    if (spread > AGREES * AGREES * power) continue;
    at.push(i);
    colour.push(...mean);
  }
  if (at.length === 0) return null;
  const planar = new Float32Array(3 * at.length);
  for (let k = 0; k < at.length; k += 1) for (let p = 0; p < 3; p += 1) planar[p * at.length + k] = colour[3 * k + p]!;
  return { at: Int32Array.from(at), colour: planar };
}

/**
 * Per part of `seed`, as `labelAreas` counts them: 1 where on every frame it lies nearer to the performer (`bodies`)
 * than half of what its own thickest place reaches from middle to edge.
 */
function nearerThanThick(seed: Uint8Array, bodies: readonly Uint8Array[], w: number, h: number): Uint8Array {
  const { labels, area } = labelAreas(seed, w, h),
    depth = chamferDistance(
      Uint8Array.from(seed, (v) => 1 - v),
      w,
      h,
    ),
    thick = new Float32Array(area.length),
    out = new Uint8Array(area.length).fill(1);
  for (let i = 0; i < seed.length; i += 1)
    if (seed[i] === 1) thick[labels[i]!] = Math.max(thick[labels[i]!]!, depth[i]!);
  for (const body of bodies) {
    const away = chamferDistance(body, w, h),
      least = new Float32Array(area.length).fill(Infinity);
    for (let i = 0; i < seed.length; i += 1)
      if (seed[i] === 1) least[labels[i]!] = Math.min(least[labels[i]!]!, away[i]!);
    for (let l = 0; l < out.length; l += 1) if (!(least[l]! <= NEAR_BY * thick[l]!)) out[l] = 0;
  }
  return out;
}

/** Sets `colour` and `sure` of the field, in place, where a frame shows nothing but pieces of the set. */
export function holdSetPieces(small: SmallLinear, field: ScreenField, pieces: SetPieces): void {
  const { width: w, height: h, data } = small,
    n = w * h,
    m = pieces.at.length,
    { sure, colour } = field;
  const shows = new Uint8Array(n);
  let any = false;
  for (let k = 0; k < m; k += 1) {
    const i = pieces.at[k]!;
    if (sure[i] === 1) continue;
    const cr = pieces.colour[k]!,
      cg = pieces.colour[m + k]!,
      cb = pieces.colour[2 * m + k]!,
      power = cr * cr + cg * cg + cb * cb + 1e-12;
    const r = data[i]!,
      g = data[n + i]!,
      b = data[2 * n + i]!,
      s = (r * cr + g * cg + b * cb) / power;
    if (s < DARKEST || s > BRIGHTEST) continue;
    const rest = (r - s * cr) ** 2 + (g - s * cg) ** 2 + (b - s * cb) ** 2,
      strength = Math.max(s * s * power, 0.02 * (colour[i]! ** 2 + colour[n + i]! ** 2 + colour[2 * n + i]! ** 2));
    if (rest <= SAME_HUE * SAME_HUE * strength) {
      shows[i] = 1;
      any = true;
    }
  }
  if (!any) return;
  const mask = sure.map((s) => 1 - s),
    { labels, area } = labelAreas(mask, w, h),
    count = new Int32Array(area.length);
  for (let i = 0; i < n; i += 1) if (shows[i] === 1) count[labels[i]!] = count[labels[i]!]! + 1;
  let near: Uint8Array = sure;
  for (let k = 0; k < RIM; k += 1) near = widenMask(near, w, h);
  for (let k = 0; k < m; k += 1) {
    const i = pieces.at[k]!,
      l = labels[i]!;
    if (mask[i] === 0) continue;
    const alone = count[l]! >= MOSTLY * area[l]!;
    if (shows[i] === 0 && !alone) continue;
    if (!alone && near[i] === 0) continue;
    take(i);
  }
  // What is left of a part that is pieces for the most: its ragged edge.
  for (let i = 0; i < n; i += 1)
    if (mask[i] === 1 && sure[i] === 0 && count[labels[i]!]! >= MOSTLY * area[labels[i]!]!) take(i);

  function take(i: number): void {
    for (let p = 0; p < 3; p += 1) colour[p * n + i] = data[p * n + i]!;
    sure[i] = 1;
  }
}

/** The mask grown by one pixel, four-connected. */
function widenMask(mask: Uint8Array, w: number, h: number): Uint8Array<ArrayBuffer> {
  const out = Uint8Array.from(mask);
  for (let y = 0, i = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1, i += 1) {
      if (mask[i] === 1) continue;
      if (
        (x > 0 && mask[i - 1] === 1) ||
        (x < w - 1 && mask[i + 1] === 1) ||
        (y > 0 && mask[i - w] === 1) ||
        (y < h - 1 && mask[i + w] === 1)
      )
        out[i] = 1;
    }
  return out;
}
