/**
 * The outline of a take's performer where no screen tells it: found on one frame from what a person pointed at there
 * and from what moves by itself, carried to the others, and handed back as lines that a hand can move. A line that a
 * person drew or took holds as it is on its frame; between two such frames it is carried from both and joined.
 */
import { PlatewrightError } from '../../core/errors.js';
import { distanceToSet } from '../../image/distance.js';
import { rasterizePolygon, type Point } from '../../image/polygon.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import { labelAreas } from '../peel/label-areas.js';
import { edgeCost, firstOutline } from './first-outline.js';
import type { Hints } from './outline-hints.js';
import { outlineMask, outlinePolygon } from './outline-polygon.js';
import { ownMotion } from './own-motion.js';
import { blockFor, boxAbout, partOf, smallFrame, type SmallBox, type SmallFrame } from './small-frame.js';

/** Widest small picture: memory and time are bounded by it. */
const MOST_WIDTH = 960;
/**
 * Frames before and after the one in question that tell what moves (fewer near the take's ends; both sides, as what is
 * uncovered seems to move on one), and the width on which that is looked for.
 */
const BESIDE = [3, 8] as const,
  MOTION_WIDTH = 480;
/** Radius of a touch, small pixels. */
const TOUCH = 4;
/** Share of its size that a moving part's box is widened by; least and largest share of the picture that it holds. */
const WIDEN = 0.22,
  LEAST_MOVING = 0.004,
  MOST_MOVING = 0.6;
/** An outline found without motion must lie on edges so much plainer to be taken in place of the one found with it. */
const MUCH_CLEARER = 0.8;
/** Corners of a line for hands lie so far from the true one at most, share of the picture's height. */
const HAND_TOLERANCE = 0.004;

/** One frame of a take as a small picture, `block` px of the take to one of its pixels. */
export async function smallAt(reader: VideoReader, frame: number, block: number): Promise<SmallFrame> {
  return smallFrame(toCodedRgb(await reader.frame(frame)), block);
}

/** Block for a performer of this box, in pixels of the take. */
export function blockOf(widthPx: number, side: number): number {
  return Math.max(blockFor(side), Math.ceil(widthPx / MOST_WIDTH));
}

/** Longer side of the points' bounds, px. */
export function sideOf(points: readonly Point[]): number {
  const xs = points.map((p) => p[0]),
    ys = points.map((p) => p[1]);
  return Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
}

export interface FoundOutline {
  readonly polygon: [number, number][];
  readonly why: string;
  /** Share of the picture that it holds. */
  readonly share: number;
}

/**
 * Finds the outline on one frame, or (`drawn`) corrects the one that is there by the touches; null with the reason and
 * the way out where that can't be done. Throws `PW-OUTLINE-FRAME` for a frame outside the take.
 */
export async function findOutline(
  reader: VideoReader,
  frame: number,
  hints: Hints,
  drawn: readonly Point[] | null = null,
): Promise<FoundOutline | { readonly polygon: null; readonly why: string }> {
  const { widthPx: w, heightPx: h, frameCount } = reader.info;
  if (frame >= frameCount)
    throw new PlatewrightError(
      'PW-OUTLINE-FRAME',
      `frame ${frame} lies outside the take, which ends at frame ${frameCount - 1}`,
      { kind: 'input' },
    );
  const rough = await roughLook(reader, frame, drawn),
    where = hints.about.length > 0 ? hints.about : openBox(rough, hints, drawn);
  if (where === null)
    return {
      polygon: null,
      why:
        `nothing on frame ${frame} moves plainly against the set, ` +
        `so the program can't tell who is the performer: put a rough line about it ("about"), ` +
        'or touch it in two or three places',
    };
  const block = blockOf(w, isBox(where) ? rough.block * longerSide(where) : sideOf(where.flat())),
    small = await smallAt(reader, frame, block),
    must = mustBe(small, block, where, rough.block);
  touch(must, hints.performer, 1, small.width, small.height, block);
  touch(must, hints.set, -1, small.width, small.height, block);
  const part = boxAbout(
    Uint8Array.from(must, (v) => (v === -1 ? 0 : 1)),
    small.width,
    small.height,
    0.12,
    16,
  );
  if (part === null) return { polygon: null, why: 'the line about the performer lies outside the picture' };
  const found = outlineWithin(small, block, must, part, rough, drawn === null && hints.about.length > 0),
    area = found === null ? 0 : found.reduce((sum, v) => sum + v, 0);
  if (found === null || area < LEAST_AREA)
    return {
      polygon: null,
      why:
        `no outline could be found on frame ${frame}: what is inside the line has the colours of what is outside; ` +
        'touch the performer in a few places, or draw the outline by hand',
    };
  const mask = pasted(found, part, small.width, small.height);
  return {
    polygon: outlinePolygon(mask, small.width, small.height, block, Math.max(1, HAND_TOLERANCE * h)),
    share: (area * block * block) / (w * h),
    why:
      `the performer's outline as found ${foundBy(hints, drawn !== null, rough.motion !== null)}: ` +
      'look at it where light and colours meet their like, and move its points',
  };
}

/** By what the outline was found, in words. */
function foundBy(hints: Hints, corrected: boolean, moved: boolean): string {
  if (corrected) return 'anew by the touches';
  if (hints.about.length > 0) return `inside the rough line about it${moved ? ' and by its own motion' : ''}`;
  return hints.performer.length > 0 ? 'by the touches on it' : 'by what moves against the set';
}

/** Fewest small pixels of an outline. */
const LEAST_AREA = 30;

/** The frame made small, and what of it is the performer by motion (over nothing) or by the outline drawn before. */
interface RoughLook {
  readonly own: SmallFrame;
  readonly block: number;
  /** Null where there is no other frame to tell it. */
  readonly motion: Float32Array | null;
}

async function roughLook(reader: VideoReader, frame: number, drawn: readonly Point[] | null): Promise<RoughLook> {
  const { widthPx, frameCount } = reader.info,
    block = Math.max(1, Math.round(widthPx / MOTION_WIDTH)),
    room = Math.min(frame, frameCount - 1 - frame),
    ways = [...new Set(BESIDE.map((d) => Math.min(d, room)))].filter((d) => d > 0),
    own = await smallAt(reader, frame, block),
    others: { away: number; frame: SmallFrame }[] = [];
  for (const n of ways.flatMap((d) => [frame - d, frame + d]))
    others.push({ away: n - frame, frame: await smallAt(reader, n, block) });
  if (drawn === null) return { own, block, motion: others.length === 0 ? null : ownMotion(own, others) };
  const inside = outlineMask(drawn, own.width, own.height, block);
  return { own, block, motion: Float32Array.from(inside, (v) => (v === 1 ? 2 : -1)) };
}

/**
 * Box of the rough picture that holds the performer where no line is put about it: what was drawn, or what moves. Null
 * where nothing tells it.
 */
function openBox({ own, block, motion }: RoughLook, hints: Hints, drawn: readonly Point[] | null): SmallBox | null {
  const { width, height } = own,
    touched = hints.performer.flat();
  const held =
    drawn === null
      ? null
      : boxAbout(outlineMask([...drawn, ...touched], width, height, block), width, height, WIDEN, 6);
  if (held !== null) return held;
  const seeds = touched.map(([x, y]): Point => [x / block, y / block]),
    moving = motion === null ? null : movingBox(motion, width, height, seeds);
  if (moving !== null || hints.performer.length === 0) return moving;
  // Touched, and nothing moves: the whole picture is open, the set's colours come from its rim.
  return [Math.round(0.03 * width), Math.round(0.03 * height), width - Math.round(0.03 * width), height];
}

type Lines = readonly (readonly Point[])[];
const isBox = (where: SmallBox | Lines): where is SmallBox => typeof where[0] === 'number';
const longerSide = ([x0, y0, x1, y1]: SmallBox): number => Math.max(x1 - x0, y1 - y0);

/** Of each small pixel: 0 open, −1 the set: open is what lies inside the lines, or the box of the rough picture. */
function mustBe({ width, height }: SmallFrame, block: number, where: SmallBox | Lines, roughBlock: number): Int8Array {
  const must = new Int8Array(width * height).fill(-1);
  if (isBox(where)) {
    const k = roughBlock / block;
    for (let y = Math.floor(where[1] * k); y < Math.min(height, where[3] * k); y++)
      for (let x = Math.floor(where[0] * k); x < Math.min(width, where[2] * k); x++) must[y * width + x] = 0;
    return must;
  }
  for (const line of where) {
    const inside = rasterizePolygon(
      line.map(([x, y]) => [x / block, y / block] as const),
      width,
      height,
    );
    for (let i = 0; i < must.length; i++) if (inside[i]! > 0.5) must[i] = 0;
  }
  return must;
}

/** The outline over the part of the small picture; `tryBoth`: the clearer of those with and without its motion. */
function outlineWithin(
  small: SmallFrame,
  block: number,
  must: Int8Array,
  part: SmallBox,
  rough: RoughLook,
  tryBoth: boolean,
): Uint8Array | null {
  const [x0, y0, x1, y1] = part,
    w = x1 - x0,
    { own, motion } = rough,
    prior = motion === null ? null : widened(motion, own.width, own.height, rough.block / block, part);
  const partMust = new Int8Array(w * (y1 - y0));
  for (let y = y0; y < y1; y++) partMust.set(must.subarray(y * small.width + x0, y * small.width + x1), (y - y0) * w);
  const cropped = partOf(small, part),
    first = firstOutline(cropped, partMust, prior);
  return tryBoth && prior !== null ? clearer(cropped, first, firstOutline(cropped, partMust, null)) : first;
}

function pasted(found: Uint8Array, [x0, y0, x1, y1]: SmallBox, w: number, h: number): Uint8Array {
  const mask = new Uint8Array(w * h);
  for (let y = y0; y < y1; y++) mask.set(found.subarray((y - y0) * (x1 - x0), (y - y0 + 1) * (x1 - x0)), y * w + x0);
  return mask;
}

/**
 * Of two outlines the one that lies on the plainer edges of the picture: motion misleads where the performer holds
 * still and others move.
 */
function clearer(frame: SmallFrame, a: Uint8Array | null, b: Uint8Array | null): Uint8Array | null {
  return a === null || (b !== null && edgeCost(frame, b) < MUCH_CLEARER * edgeCost(frame, a)) ? b : a;
}

function touch(
  must: Int8Array,
  strokes: readonly (readonly Point[])[],
  value: 1 | -1,
  w: number,
  h: number,
  block: number,
): void {
  for (const stroke of strokes)
    for (let k = 0; k < stroke.length; k++) {
      const [x0, y0] = stroke[k]!,
        [x1, y1] = stroke[Math.min(stroke.length - 1, k + 1)]!,
        steps = Math.max(1, Math.ceil(Math.hypot(x1 - x0, y1 - y0) / block));
      for (let s = 0; s <= steps; s++) {
        const cx = (x0 + ((x1 - x0) * s) / steps) / block,
          cy = (y0 + ((y1 - y0) * s) / steps) / block;
        for (let y = Math.max(0, Math.floor(cy - TOUCH)); y < Math.min(h, cy + TOUCH); y++)
          for (let x = Math.max(0, Math.floor(cx - TOUCH)); x < Math.min(w, cx + TOUCH); x++)
            if ((x + 0.5 - cx) ** 2 + (y + 0.5 - cy) ** 2 <= TOUCH * TOUCH) must[y * w + x] = value;
      }
    }
}

/**
 * Box of the part that moves by itself: the largest, or those that were touched; widened. Null where it is too small or
 * nearly everything.
 */
function movingBox(motion: Float32Array, w: number, h: number, seeds: readonly Point[]): SmallBox | null {
  const moves = Uint8Array.from(motion, (v) => (v > 1 ? 1 : 0)),
    apart = distanceToSet(moves, w, h),
    joined = Uint8Array.from(apart, (d) => (d <= 1.5 ? 1 : 0)),
    { labels, area } = labelAreas(joined, w, h);
  // Trees and posts near a camera that travels move against the set too, and reach in from the picture's edge.
  const rim = new Float64Array(area.length);
  for (let x = 0; x < w; x++) {
    rim[labels[x]!]!++;
    rim[labels[(h - 1) * w + x]!]!++;
  }
  for (let y = 0; y < h; y++) {
    rim[labels[y * w]!]!++;
    rim[labels[y * w + w - 1]!]!++;
  }
  let best = -1,
    most = 0;
  for (let l = 1; l < area.length; l++) {
    const worth = area[l]! * (1 - Math.min(0.9, rim[l]! / (2 * Math.sqrt(Math.max(1, area[l]!)))));
    if (worth > most) {
      most = worth;
      best = l;
    }
  }
  const wanted = new Set(
    seeds
      .map(
        ([x, y]) =>
          labels[Math.min(h - 1, Math.max(0, Math.floor(y))) * w + Math.min(w - 1, Math.max(0, Math.floor(x)))]!,
      )
      .filter((l) => l > 0),
  );
  if (wanted.size === 0 && best > 0) wanted.add(best);
  if (
    wanted.size === 0 ||
    (seeds.length > 0 &&
      !wanted.has(labels[Math.min(h - 1, Math.floor(seeds[0]![1])) * w + Math.min(w - 1, Math.floor(seeds[0]![0]))]!))
  )
    return null;
  const part = Uint8Array.from(labels, (l) => (wanted.has(l) ? 1 : 0)),
    held = part.reduce((s, v) => s + v, 0);
  return held < LEAST_MOVING * w * h || held > MOST_MOVING * w * h ? null : boxAbout(part, w, h, WIDEN, 6);
}

/** A plane of the rough picture on a part of a finer or coarser one: nearest. */
function widened(plane: Float32Array, w: number, h: number, k: number, [x0, y0, x1, y1]: SmallBox): Float32Array {
  const out = new Float32Array((x1 - x0) * (y1 - y0));
  for (let y = y0, i = 0; y < y1; y++)
    for (let x = x0; x < x1; x++, i++)
      out[i] = plane[Math.min(h - 1, Math.floor((y + 0.5) / k)) * w + Math.min(w - 1, Math.floor((x + 0.5) / k))]!;
  return out;
}
