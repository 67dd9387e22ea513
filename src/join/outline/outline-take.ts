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
import type { Mark, MarksFile } from '../../plate/marks/marks.js';
import { labelAreas } from '../peel/label-areas.js';
import { edgeCost, firstOutline } from './first-outline.js';
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

export interface Hints {
  readonly about: readonly (readonly Point[])[];
  readonly performer: readonly (readonly Point[])[];
  readonly set: readonly (readonly Point[])[];
}

/** What a take's marks say of its performer's outline on a frame. */
export function hintsOn(marks: MarksFile, frame: number): Hints {
  const here = marks.marks.filter((m) => (('frame' in m ? m.frame : undefined) ?? marks.frame) === frame);
  const touches = here.filter((m): m is Extract<Mark, { kind: 'touch' }> => m.kind === 'touch');
  return {
    about: here.filter((m): m is Extract<Mark, { kind: 'about' }> => m.kind === 'about').map((m) => m.polygon),
    performer: touches.filter((t) => t.on === 'performer').map((t) => t.points),
    set: touches.filter((t) => t.on === 'set').map((t) => t.points),
  };
}

/** Frames on which a person pointed at the performer. */
export function hintedFrames(marks: MarksFile): number[] {
  return [
    ...new Set(
      marks.marks
        .filter((m) => m.kind === 'about' || m.kind === 'touch')
        .map((m) => ('frame' in m ? m.frame : undefined) ?? marks.frame),
    ),
  ].sort((a, b) => a - b);
}

/** The outlines drawn on a take, by frame; the last of a frame counts. */
export function drawnOutlines(marks: MarksFile): { frame: number; polygon: [number, number][] }[] {
  const by = new Map<number, [number, number][]>();
  for (const m of marks.marks)
    if (m.kind === 'body' && m.polygon !== undefined) by.set(m.frame ?? marks.frame, m.polygon);
  return [...by].sort((a, b) => a[0] - b[0]).map(([frame, polygon]) => ({ frame, polygon }));
}

export async function smallAt(reader: VideoReader, frame: number, block: number): Promise<SmallFrame> {
  return smallFrame(toCodedRgb(await reader.frame(frame)), block);
}

/** Block for a performer of this box, in pixels of the take. */
export function blockOf(widthPx: number, side: number): number {
  return Math.max(blockFor(side), Math.ceil(widthPx / MOST_WIDTH));
}

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
 * the way out where that can't be done.
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
  const rough = Math.max(1, Math.round(w / MOTION_WIDTH)),
    room = Math.min(frame, frameCount - 1 - frame),
    ways = [...new Set(BESIDE.map((d) => Math.min(d, room)))].filter((d) => d > 0),
    beside = ways.flatMap((d) => [frame - d, frame + d]),
    own = await smallAt(reader, frame, rough),
    others: { away: number; frame: SmallFrame }[] = [];
  for (const n of beside) others.push({ away: n - frame, frame: await smallAt(reader, n, rough) });
  const motion =
      drawn === null
        ? others.length === 0
          ? null
          : ownMotion(own, others)
        : outlineMask(drawn, own.width, own.height, rough).reduce(
            (m, v, i) => {
              m[i] = v === 1 ? 2 : -1;
              return m;
            },
            new Float32Array(own.width * own.height),
          ),
    pointed = hints.about.length > 0 || hints.performer.length > 0;
  const about = hints.about.length > 0 ? hints.about : null;
  let box: SmallBox | null = null;
  if (about === null) {
    if (drawn !== null)
      box = boxAbout(
        outlineMask([...drawn, ...hints.performer.flat()], own.width, own.height, rough),
        own.width,
        own.height,
        WIDEN,
        6,
      );
    const seeds = hints.performer.flat().map(([x, y]): Point => [x / rough, y / rough]);
    box ??= motion === null ? null : movingBox(motion, own.width, own.height, seeds);
    if (box === null && !pointed)
      return {
        polygon: null,
        why:
          `nothing on frame ${frame} moves plainly against the set, ` +
          `so the program can't tell who is the performer: put a rough line about it ("about"), ` +
          'or touch it in two or three places',
      };
    if (box === null) {
      // Touched, and nothing moves: the whole picture is open, the set's colours come from its rim.
      box = [
        Math.round(0.03 * own.width),
        Math.round(0.03 * own.height),
        own.width - Math.round(0.03 * own.width),
        own.height,
      ];
    }
  }
  const side = about !== null ? sideOf(about.flat()) : rough * Math.max(box![2] - box![0], box![3] - box![1]),
    block = blockOf(w, side),
    small = await smallAt(reader, frame, block),
    { width: sw, height: sh } = small,
    must = new Int8Array(sw * sh).fill(-1);
  if (about !== null)
    for (const line of about) {
      const inside = rasterizePolygon(
        line.map(([x, y]) => [x / block, y / block] as const),
        sw,
        sh,
      );
      for (let i = 0; i < must.length; i++) if (inside[i]! > 0.5) must[i] = 0;
    }
  else {
    const k = rough / block;
    for (let y = Math.floor(box![1] * k); y < Math.min(sh, box![3] * k); y++)
      for (let x = Math.floor(box![0] * k); x < Math.min(sw, box![2] * k); x++) must[y * sw + x] = 0;
  }
  touch(must, hints.performer, 1, sw, sh, block);
  touch(must, hints.set, -1, sw, sh, block);
  const open = must.map((v) => (v === -1 ? 0 : 1)),
    part = boxAbout(Uint8Array.from(open), sw, sh, 0.12, 16);
  if (part === null) return { polygon: null, why: 'the line about the performer lies outside the picture' };
  const pw = part[2] - part[0],
    ph = part[3] - part[1],
    prior = motion === null ? null : widened(motion, own.width, own.height, rough / block, part);
  const partMust = new Int8Array(pw * ph);
  for (let y = 0; y < ph; y++)
    partMust.set(must.subarray((y + part[1]) * sw + part[0], (y + part[1]) * sw + part[2]), y * pw);
  const cropped = partOf(small, part),
    found =
      drawn !== null || about === null || prior === null
        ? firstOutline(cropped, partMust, prior)
        : clearer(cropped, firstOutline(cropped, partMust, prior), firstOutline(cropped, partMust, null)),
    area = found === null ? 0 : found.reduce((s, v) => s + v, 0);
  if (found === null || area < 30)
    return {
      polygon: null,
      why:
        `no outline could be found on frame ${frame}: what is inside the line has the colours of what is outside; ` +
        'touch the performer in a few places, or draw the outline by hand',
    };
  const mask = new Uint8Array(sw * sh);
  for (let y = 0; y < ph; y++) mask.set(found.subarray(y * pw, (y + 1) * pw), (y + part[1]) * sw + part[0]);
  const by =
    drawn !== null
      ? 'anew by the touches'
      : about !== null
        ? 'inside the rough line about it'
        : pointed
          ? 'by the touches on it'
          : 'by what moves against the set';
  return {
    polygon: outlinePolygon(mask, sw, sh, block, Math.max(1, HAND_TOLERANCE * h)),
    share: (area * block * block) / (w * h),
    why:
      `the performer's outline as found ` +
      `${by}${drawn === null && about !== null && motion !== null ? ' and by its own motion' : ''}: ` +
      'look at it where light and colours meet their like, and move its points',
  };
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
