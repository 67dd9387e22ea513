/**
 * A performer whom the take's own frame cuts off: a torso behind a counter, arms that come in from the side, a bust.
 * The straight cut must lie outside the plate's picture or behind something; feet that were never filmed tell neither
 * how the camera looked down nor where a shadow starts. Rules and limits are our own.
 */
import { plane } from '../../image/picture.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { Box } from '../ground/ground.js';
import type { PerformerPicture } from './performer.js';

export type Side = 'left' | 'right' | 'top' | 'bottom';

/** Where the performer reaches one side of the take's picture: the two ends on it, take pixels. */
export interface Cut {
  readonly side: Side;
  readonly from: readonly [number, number];
  readonly to: readonly [number, number];
}

/** Alpha that counts as the performer's body. */
const BODY = 0.5;
/**
 * The performer is cut where this share of its own extent along a side lies on it: a paw or a hair on the border is no
 * cut.
 */
const LEAST_SHARE = 0.15;
/** Rows that a decoder or a matte's softness leaves beside the picture's border, px. */
const NEAR = 2;
/** A mark this near the take's border, as a share of its height, is on the border. */
const MARKED_NEAR = 0.03;

/** Sides of the take (of `widthPx` × `heightPx`) on which the performer is cut off. */
export function cutsOf(p: PerformerPicture, widthPx: number, heightPx: number): Cut[] {
  const unit = p.unit ?? 1,
    [x0, y0, x1, y1] = p.box;
  return cutsOfMatte(plane(p.picture, 3), p.picture.width, [0, 0, x1 - x0, y1 - y0], [x0, y0], unit, widthPx, heightPx);
}

/**
 * The same of a matte. @param stride its width @param box the part of it that holds the performer @param origin where
 * its (0, 0) lies in the take, in its own pixels
 * @param unit take pixels a pixel of it
 */
export function cutsOfMatte(
  alpha: Float32Array,
  stride: number,
  box: Box,
  origin: readonly [number, number],
  unit: number,
  widthPx: number,
  heightPx: number,
): Cut[] {
  const [x0, y0, x1, y1] = box,
    w = x1 - x0,
    h = y1 - y0,
    [ox, oy] = origin;
  if (w <= 0 || h <= 0) return [];
  const out: Cut[] = [],
    near = NEAR / unit,
    inset = Math.round(near);
  const run = (length: number, at: (i: number) => number): [number, number] | null => {
    let first = -1,
      last = -1;
    for (let i = 0; i < length; i++)
      if (alpha[at(i)]! > BODY) {
        if (first < 0) first = i;
        last = i;
      }
    return first < 0 || last + 1 - first < LEAST_SHARE * length ? null : [first, last + 1];
  };
  const row = (y: number): [number, number] | null => run(w, (x) => (y0 + y) * stride + x0 + x);
  const column = (x: number): [number, number] | null => run(h, (y) => (y0 + y) * stride + x0 + x);
  const add = (side: Side, found: [number, number] | null, point: (t: number) => [number, number]): void => {
    if (found !== null) out.push({ side, from: point(found[0]), to: point(found[1]) });
  };
  if (oy + y1 >= heightPx / unit - near)
    add('bottom', row(h - 1 - Math.min(h - 1, inset)), (t) => [unit * (ox + x0 + t), heightPx]);
  if (oy + y0 <= near) add('top', row(Math.min(h - 1, inset)), (t) => [unit * (ox + x0 + t), 0]);
  if (ox + x0 <= near) add('left', column(Math.min(w - 1, inset)), (t) => [0, unit * (oy + y0 + t)]);
  if (ox + x1 >= widthPx / unit - near)
    add('right', column(w - 1 - Math.min(w - 1, inset)), (t) => [widthPx, unit * (oy + y0 + t)]);
  return out;
}

/** Whether the performer's ground mark is where the take's lower border cuts it: its feet were not filmed. */
export function feetCut(cuts: readonly Cut[], ground: readonly [number, number], heightPx: number): boolean {
  return cuts.some((c) => c.side === 'bottom') && ground[1] >= (1 - MARKED_NEAR) * heightPx;
}

/** Frames of the take, at the least, that must show a performer that reaches in from a side, and their share. */
const REACHES_FRAMES = 4,
  REACHES_SHARE = 0.9;

/**
 * The side, left or right, from which the performer reaches in on all frames but a few: arms, which stand nowhere.
 * Their lowest part is no foot. Null for who comes in from there and then stands clear, or whose lower part is cut.
 *
 * @param seen the cuts of each frame looked at that shows the performer
 */
export function reachesInFrom(seen: readonly { readonly cuts: readonly Cut[] }[] | undefined): 'left' | 'right' | null {
  if (seen === undefined || seen.length < REACHES_FRAMES) return null;
  const share = (side: Side): number => seen.filter((s) => s.cuts.some((c) => c.side === side)).length / seen.length;
  if (share('bottom') > 1 - REACHES_SHARE) return null;
  return share('left') >= REACHES_SHARE ? 'left' : share('right') >= REACHES_SHARE ? 'right' : null;
}

export interface Shown {
  readonly side: Side;
  /** How far inside the plate's picture the cut lies at most, px, and on which frame. */
  readonly depthPx: number;
  readonly frame: number;
  /** Frames on which it is seen. */
  readonly frames: number;
}

/** Points along a cut that are looked at. */
const POINTS = 9;
/** Less than this shows nothing, px. */
const SEEN_PX = 0.75;

/**
 * Which cuts would be seen.
 *
 * @param cutsAt the cuts of the take's picture that a frame of the plate shows
 * @param window the plate's picture without its black bars: x0, y0, x1, y1
 * @param at take pixels to plate pixels on a frame of the plate
 */
export function shownCuts(
  cutsAt: (frame: number) => readonly Cut[],
  span: { readonly in: number; readonly out: number },
  at: (frame: number) => Mat3,
  window: readonly [number, number, number, number],
): Shown[] {
  const out = new Map<Side, { side: Side; depthPx: number; frame: number; frames: number }>(),
    [left, top, right, bottom] = window;
  for (let n = span.in; n < span.out; n++) {
    const m = at(n);
    for (const c of cutsAt(n)) {
      let deepest = 0;
      for (let i = 0; i < POINTS; i++) {
        const t = i / (POINTS - 1),
          [x, y] = apply(m, c.from[0] + t * (c.to[0] - c.from[0]), c.from[1] + t * (c.to[1] - c.from[1]));
        if (Math.min(x - left, right - x, y - top, bottom - y) <= 0) continue;
        // The way past the border on that side.
        deepest = Math.max(
          deepest,
          c.side === 'bottom' ? bottom - y : c.side === 'top' ? y - top : c.side === 'left' ? x - left : right - x,
        );
      }
      if (deepest <= SEEN_PX) continue;
      const s = out.get(c.side) ?? { side: c.side, depthPx: 0, frame: n, frames: 0 };
      s.frames++;
      if (deepest > s.depthPx) {
        s.depthPx = deepest;
        s.frame = n;
      }
      out.set(c.side, s);
    }
  }
  return [...out.values()];
}

/** A performer is moved down out of sight by at most this share of its height in the plate. */
const MOST_LOWERED = 0.12;

/**
 * Plate pixels by which the performer is to be lowered so that its lower cut leaves the picture; 0 where none is seen
 * or that would be too far.
 */
export function loweredBy(shown: readonly Shown[], performerPx: number): number {
  const below = shown.find((s) => s.side === 'bottom');
  return below === undefined || below.depthPx > MOST_LOWERED * performerPx ? 0 : below.depthPx + 1;
}

const SIDE_WORDS: Readonly<Record<Side, string>> = { left: 'left', right: 'right', top: 'upper', bottom: 'lower' };

/** What to say of cuts that stay in sight; empty where there are none. */
export function sayShown(shown: readonly Shown[], hasFront: boolean): string {
  return shown
    .map(
      (s) =>
        `; the take's ${SIDE_WORDS[s.side]} border cuts the performer off and would show on ` +
        `${s.frames === 1 ? 'one frame' : `${s.frames} frames`}, ` +
        `most on frame ${s.frame} (${s.depthPx.toFixed(0)} px inside the ` +
        `picture)${hasFront ? ', where nothing in front hides it' : ''}: ` +
        `stand it ${s.side === 'bottom' ? 'lower or larger' : 'nearer that side'}, ` +
        'mark what stands in front of it, or shoot it whole',
    )
    .join('');
}
