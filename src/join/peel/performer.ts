/**
 * The performer as it leaves the peel: premultiplied linear RGBA over the smallest box that holds it, one take frame at
 * a time. Sources: a screen take (peeled), a take that brings its own alpha, one cut out by an outline, or one taken
 * whole.
 */
import { clonePicture, createPicture, plane, type Picture } from '../../image/picture.js';
import { toCodedRgb, toLinear } from '../../media/convert.js';
import { rasterizePolygon } from '../../image/polygon.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { Box } from '../ground/ground.js';
import { carryRegion, STILL } from '../ride/carrier.js';
import { peelByOutline } from './peel-cutout.js';
import { peelByDifference } from './peel-difference.js';
import { emptySet } from './empty-set.js';
import { StandsAbout } from './stands-about.js';
import { blockMeans, blockSide, smallLinear } from './small-linear.js';
import type { ScreenShadow } from './screen-shadow.js';
import type { PeelStep } from '../performer-steps.js';

/** The performer of one take frame, off its background. */
export interface PerformerPicture {
  /** Premultiplied linear RGBA over `box`. */
  readonly picture: Picture;
  /** In take pixels (times `unit`); empty (x1 = x0) where nothing of the performer is there. */
  readonly box: Box;
  /**
   * Take pixels a pixel of the picture and its box: more than 1 where it was halved (halve-performer.ts), 1 where
   * absent.
   */
  readonly unit?: number;
  /** Further pictures of a layered take, by their number; `picture` and `box` are then those of none. */
  readonly layers?: ReadonlyMap<number, PerformerPicture>;
  /** The take's own shadow on its screen, over the whole take frame, where it was asked for. */
  readonly shadow?: ScreenShadow;
}

/** Turns a decoded take frame into the performer. */
export interface Peeler {
  /**
   * @param halvings times that the picture will be halved (halve-performer.ts); a peeler may do some of it, and says so
   * by `unit`
   * @param spill strength of spill removal in place of the step's, where the peeler removes any
   * @param soon for a picture that is seen while a hand moves and made again when it rests: a peeler that asks other
   * frames about this one may leave them
   */
  peel(
    frame: VideoFrame,
    halvings?: number,
    spill?: number,
    soon?: boolean,
  ): PerformerPicture | Promise<PerformerPicture>;
}

/** Alpha below this is nothing: half a code value of an 8-bit matte. */
export const NOTHING = 0.002;

/**
 * Cuts an RGBA picture down to the pixels that hold something, with a border for filters. `origin`: where its (0, 0)
 * lies in the take.
 */
export function tighten(picture: Picture, origin: readonly [number, number] = [0, 0], border = 3): PerformerPicture {
  const { width: w, height: h } = picture;
  const alpha = plane(picture, 3);
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0;
  for (let y = 0; y < h; y++) {
    const row = y * w;
    let first = -1,
      last = -1;
    for (let x = 0; x < w; x++)
      if (alpha[row + x]! > NOTHING) {
        if (first < 0) first = x;
        last = x;
      }
    if (first < 0) continue;
    if (first < x0) x0 = first;
    if (last + 1 > x1) x1 = last + 1;
    if (y < y0) y0 = y;
    y1 = y + 1;
  }
  if (x1 <= x0) return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0] };
  x0 = Math.max(0, x0 - border);
  y0 = Math.max(0, y0 - border);
  x1 = Math.min(w, x1 + border);
  y1 = Math.min(h, y1 + border);
  const out = createPicture(x1 - x0, y1 - y0, 4);
  for (let c = 0; c < 4; c++) {
    const from = plane(picture, c),
      to = plane(out, c);
    for (let y = y0; y < y1; y++) to.set(from.subarray(y * w + x0, y * w + x1), (y - y0) * out.width);
  }
  return { picture: out, box: [origin[0] + x0, origin[1] + y0, origin[0] + x1, origin[1] + y1] };
}

/** A take with its own alpha; one without is taken whole, opaque. */
export function alphaPeeler(): Peeler {
  return {
    peel(frame) {
      const linear = toLinear(frame);
      if (linear.channels === 4) return tighten(linear);
      return tighten(withAlpha(linear, new Float32Array(linear.width * linear.height).fill(1)));
    },
  };
}

/**
 * Half-width of the band in which an outline's edge is settled where nobody said how soft it is: fur scales with the
 * picture. Tried on furred subjects over real clips.
 */
export function outlineBand(heightPx: number): number {
  return Math.max(2, OUTLINE_BAND * heightPx);
}
const OUTLINE_BAND = 0.015;

/**
 * A performer cut out by an outline carried through the take, its edge settled on the picture (`peelByOutline`): on half
 * the picture where it will be halved, which takes a quarter of the time.
 */
export function outlinePeeler(step: PeelStep): Peeler {
  const outline = step.outline === undefined ? null : carryRegion(step.outline, STILL);
  return {
    peel(frame, halvings = 0) {
      if (outline === null) return alphaPeeler().peel(frame);
      const unit = halvings > 0 ? 2 : 1,
        points = outline(frame.index).map(([x, y]) => [x / unit, y / unit] as const),
        coded = reduced(toCodedRgb(frame), unit),
        linear = reduced(toLinear(frame), unit);
      const { width: w, height: h } = linear;
      const bandPx = (step.softPx ?? outlineBand(unit * h)) / unit,
        reach = Math.ceil(9 * bandPx);
      const xs = points.map((p) => p[0]),
        ys = points.map((p) => p[1]);
      // Nothing beyond the reach of the band's clouds has a say.
      const x0 = Math.max(0, Math.floor(Math.min(...xs)) - reach),
        y0 = Math.max(0, Math.floor(Math.min(...ys)) - reach);
      const x1 = Math.min(w, Math.ceil(Math.max(...xs)) + reach),
        y1 = Math.min(h, Math.ceil(Math.max(...ys)) + reach);
      if (!(x1 > x0 && y1 > y0)) return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0], unit };
      const { alpha, colour } = peelByOutline(
        cropRgb(coded, x0, y0, x1, y1),
        cropRgb(linear, x0, y0, x1, y1),
        [points.map((p) => [p[0] - x0, p[1] - y0] as const)],
        { bandPx },
      );
      return { ...tighten(withAlpha(colour, alpha.data), [x0, y0]), unit };
    },
  };
}

/** The colour planes as means of `unit` by `unit` pixels; the last column and row may stand for less. */
function reduced(picture: Picture, unit: number): Picture {
  if (unit === 1) return picture;
  const { width, height } = picture,
    out = createPicture(Math.ceil(width / unit), Math.ceil(height / unit), 3);
  blockMeans(picture.data.subarray(0, 3 * width * height), width, height, unit, out.data);
  return out;
}

/** The three colour planes of a part of a picture. */
function cropRgb(picture: Picture, x0: number, y0: number, x1: number, y1: number): Picture {
  const out = createPicture(x1 - x0, y1 - y0, 3);
  for (let c = 0; c < 3; c++) {
    const from = plane(picture, c),
      to = plane(out, c);
    for (let y = y0; y < y1; y++)
      to.set(from.subarray(y * picture.width + x0, y * picture.width + x1), (y - y0) * out.width);
  }
  return out;
}

/**
 * A performer told from the empty set of the same set-up (`peelByDifference`).
 *
 * @param frames of the take, or others of its size: the first without the performer, the others probably
 * @param useful what lies outside is never performer @param take whose frames about one have a say in it
 */
export function differencePeeler(frames: readonly VideoFrame[], useful?: RegionFile, take?: VideoReader): Peeler {
  const empty = clonePicture(toCodedRgb(frames[0]!)),
    set = emptySet(frames.map((f) => smallLinear(toLinear(f)))),
    about = take === undefined ? undefined : new StandsAbout(take, set),
    part = useful === undefined ? null : carryRegion(useful, STILL),
    { width: w } = empty,
    // Who stands there is told on small pictures, which must stay the same ones.
    mayHalve = blockSide(w) === 2 * blockSide(Math.ceil(w / 2));
  let half: Picture | null = null;
  return {
    async peel(frame, halvings = 0, _spill, soon = false) {
      const unit = halvings > 0 && mayHalve ? 2 : 1;
      if (unit > 1) half ??= reduced(empty, unit);
      // The frame is its reader's, and is read before others are asked for.
      const coded = reduced(toCodedRgb(frame), unit),
        linear = reduced(toLinear(frame), unit),
        stands = soon ? undefined : await about?.at(frame.index, smallLinear(linear)),
        { alpha, colour } = peelByDifference(coded, linear, unit > 1 ? half! : empty, {
          set,
          ...(stands === undefined ? {} : { stands }),
        });
      if (part !== null) {
        const inside = rasterizePolygon(
          part(frame.index).map(([x, y]) => [x / unit, y / unit] as const),
          alpha.width,
          alpha.height,
        );
        for (let i = 0; i < inside.length; i++) alpha.data[i] = alpha.data[i]! * inside[i]!;
      }
      return { ...tighten(withAlpha(colour, alpha.data)), unit };
    },
  };
}

function withAlpha(linear: Picture, alpha: Float32Array): Picture {
  const n = linear.width * linear.height;
  const out = createPicture(linear.width, linear.height, 4);
  for (let c = 0; c < 3; c++) {
    const from = plane(linear, c),
      to = plane(out, c);
    for (let i = 0; i < n; i++) to[i] = from[i]! * alpha[i]!;
  }
  plane(out, 3).set(alpha);
  return out;
}

/**
 * Mix of two performer pictures, `t` of the second, over the box that holds both: plain in-between where nothing better
 * is there.
 */
export function mixPerformers(a: PerformerPicture, b: PerformerPicture, t: number): PerformerPicture {
  if (t <= 0 || b.box[2] <= b.box[0]) return a;
  if (t >= 1 || a.box[2] <= a.box[0]) return b;
  const box: Box = [
    Math.min(a.box[0], b.box[0]),
    Math.min(a.box[1], b.box[1]),
    Math.max(a.box[2], b.box[2]),
    Math.max(a.box[3], b.box[3]),
  ];
  const out = createPicture(box[2] - box[0], box[3] - box[1], 4);
  for (const [p, k] of [
    [a, 1 - t],
    [b, t],
  ] as const) {
    const dx = p.box[0] - box[0],
      dy = p.box[1] - box[1];
    for (let c = 0; c < 4; c++) {
      const from = plane(p.picture, c),
        to = plane(out, c);
      for (let y = 0; y < p.picture.height; y++) {
        const o = (dy + y) * out.width + dx,
          i = y * p.picture.width;
        for (let x = 0; x < p.picture.width; x++) to[o + x] = to[o + x]! + k * from[i + x]!;
      }
    }
  }
  return { picture: out, box, ...(a.unit === undefined ? {} : { unit: a.unit }) };
}
