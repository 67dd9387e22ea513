/**
 * Another frame to go by where the region is mostly hidden on the frame that it was drawn on. Ways that the region
 * may have gone (with the set; with a part of it that moves by itself, ride-key-layers.ts) lay it on other frames;
 * on each the picture there is compared with the others along that way, and the frame that most of the shot looks
 * like is the reference. Which way is right is told by the same number: what hides the region agrees with it only
 * while it is there. Units: pixels, frame numbers.
 */
import { apply, IDENTITY3, invert, multiply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { align } from './ride-align.js';
import { localScale, priorInformation } from './ride-generators.js';
import { RideMemory } from './ride-memory.js';
import { allocatePyramid, fillPyramid, type LumaLevel } from './ride-pyramid.js';
import { lumaAt, type LumaSource } from './ride-source.js';
import { createScratch, type AlignScratch } from './ride-sums.js';
import { buildTemplate, type RideTemplate } from './ride-template.js';

/**
 * Where the anchor's pixels lie on other frames (frames that it does not know are left
 * out), and how far it may err there, px.
 */
export interface Way {
  readonly at: ReadonlyMap<number, Mat3>;
  readonly placePx: number;
  readonly shapePx: number;
}

export interface Reference {
  readonly frame: number;
  /** The region on that frame. */
  readonly polygon: readonly Point2[];
  /** Mean share of it that agrees over the frames looked at. */
  readonly worth: number;
  /** By how much more of it agrees with the frame it was drawn on at its place than beside it. */
  readonly overChance: number;
}

/** Frames compared with each other. */
const SAMPLES = 9;
/** A candidate must lie in the picture by this share. */
const WITHIN = 0.85;
/**
 * Share of the way's doubt allowed at a second try on the frame that the region was drawn on: what hides most of it
 * there pulls a fit aside, and closer to where the way has it the rest is heard.
 */
const TIGHT = 0.2;
const NEAR = { startLevel: 1, stopLevel: 0 };
/** Places beside the region, in its sizes, that tell what agrees by chance. */
const ASIDE = [
  [0.3, 0],
  [-0.3, 0],
  [0, 0.3],
  [0, -0.3],
  [0.25, 0.25],
] as const;
/** Way's doubt (px) from which a place is sought from the coarsest level on. */
const FAR_PX = 12;

/** A frame looked at: where it shows the region, and the region's template on it where it holds it. */
interface Looked {
  readonly frame: number;
  readonly at: Mat3;
  readonly levels: readonly LumaLevel[];
  readonly template: RideTemplate | null;
}

/**
 * The best frame along `way`; null where none can hold the region. `frames`: the span, in (inclusive) to out
 * (exclusive).
 */
export async function bestReference(
  source: LumaSource,
  home: number,
  polygon: readonly Point2[],
  way: Way,
  frames: { readonly in: number; readonly out: number },
  signal?: AbortSignal,
): Promise<Reference | null> {
  const count = frames.out - frames.in;
  const all = [
    ...new Set(Array.from({ length: SAMPLES }, (_, i) => frames.in + Math.round((i * (count - 1)) / (SAMPLES - 1)))),
  ].filter((f) => f !== home);
  const samples = all.filter((f) => way.at.has(f));
  if (samples.length < 2) return null;
  const memory = new RideMemory();
  try {
    const seen = await lookAt(source, [...samples, home], home, polygon, way, memory, signal);
    let best: Reference | null = null;
    for (const r of seen) {
      if (r.template === null) continue;
      const scratch = createScratch(r.template, memory);
      const back = invert(r.at);
      let sum = 0;
      let atHome = 0;
      for (const s of seen) {
        if (s === r) continue;
        const start = multiply(multiply(s.at, back), r.template.toPixels);
        if (s.frame === home)
          atHome = Math.max(
            agreed(r.template, s.levels, start, way, 1, { stopLevel: 0 }, scratch),
            agreed(r.template, s.levels, start, way, TIGHT, NEAR, scratch),
          );
        else sum += agreed(r.template, s.levels, start, way, 1, { stopLevel: 1 }, scratch);
      }
      // Frames to which the way does not lead agree with nothing.
      const worth = sum / (all.length - 1);
      if (best !== null && worth <= best.worth) continue;
      best = {
        frame: r.frame,
        polygon: polygon.map(([x, y]) => apply(r.at, x, y)),
        worth,
        overChance: atHome - agreedBeside(r.template, back, seen.at(-1)!.levels, polygon, way, scratch),
      };
    }
    return best;
  } finally {
    memory.close();
  }
}

/** Reads the frames; the last of them is the one that the region was drawn on. */
async function lookAt(
  source: LumaSource,
  frames: readonly number[],
  home: number,
  polygon: readonly Point2[],
  way: Way,
  memory: RideMemory,
  signal: AbortSignal | undefined,
): Promise<Looked[]> {
  const pyramid = allocatePyramid(source.widthPx, source.heightPx, 6, memory);
  const seen: Looked[] = [];
  for (const frame of frames) {
    signal?.throwIfAborted();
    fillPyramid(await lumaAt(source, frame), pyramid);
    const at = frame === home ? null : way.at.get(frame)!;
    const there = at === null ? polygon : polygon.map(([x, y]) => apply(at, x, y));
    const template =
      at !== null && inPicture(there, source.widthPx, source.heightPx) >= WITHIN
        ? buildTemplate(pyramid, there, frame, { limit: 6000, memory })
        : null;
    // The finest level is asked on the frame alone that it was drawn on.
    const levels = pyramid.map((l, k) =>
      k === 0 && frame !== home ? { ...l, data: new Float32Array(4) } : { ...l, data: memory.copy(l.data) },
    );
    seen.push({ frame, at: at ?? IDENTITY3, template, levels });
  }
  return seen;
}

/**
 * What agrees by chance: the median of places beside the region's own, as soft textures agree with anything by a part.
 */
function agreedBeside(
  template: RideTemplate,
  toHome: Mat3,
  home: readonly LumaLevel[],
  polygon: readonly Point2[],
  way: Way,
  scratch: AlignScratch,
): number {
  const start = multiply(toHome, template.toPixels);
  const { width, height } = sizeOf(polygon);
  const shares = ASIDE.map(([x, y]) => {
    const aside = multiply([1, 0, x * width, 0, 1, y * height, 0, 0, 1], start);
    return agreed(template, home, aside, way, TIGHT, NEAR, scratch);
  });
  return shares.sort((a, b) => a - b)[ASIDE.length >> 1]!;
}

/** Share of the template that agrees with a frame about `start`. */
function agreed(
  template: RideTemplate,
  frame: readonly LumaLevel[],
  start: Mat3,
  way: Way,
  tight: number,
  levels: { readonly startLevel?: number; readonly stopLevel: number },
  scratch: AlignScratch,
): number {
  const prior = priorInformation(template.corners, localScale(start), tight * way.shapePx, tight * way.placePx);
  const fit = align(
    template,
    frame,
    start,
    { predicted: start, prior, ...(way.placePx < FAR_PX ? { startLevel: 2 } : {}), ...levels },
    scratch,
  );
  return fit === null ? 0 : fit.agreement * fit.visible;
}

function sizeOf(polygon: readonly Point2[]): { width: number; height: number } {
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  return { width: Math.max(...xs) - Math.min(...xs), height: Math.max(...ys) - Math.min(...ys) };
}

/** Share of a region's box that lies in the picture. */
export function inPicture(polygon: readonly Point2[], w: number, h: number): number {
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  const x0 = Math.min(...xs);
  const x1 = Math.max(...xs);
  const y0 = Math.min(...ys);
  const y1 = Math.max(...ys);
  if (![x0, x1, y0, y1].every(Number.isFinite) || x1 - x0 < 8 || y1 - y0 < 8) return 0;
  const along = (a: number, b: number, most: number): number =>
    Math.max(0, Math.min(b, most) - Math.max(a, 0)) / (b - a);
  return along(x0, x1, w) * along(y0, y1, h);
}
