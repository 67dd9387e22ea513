/**
 * The patch step on a take: before the peel each frame gets the region of another take (or of the same at another time)
 * laid onto its own. Regions drawn on one frame are followed through their takes; those drawn on several are carried
 * between them.
 */
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { apply, invert, multiply, type Point2 } from '../../geometry/mat3.js';
import { toCodedRgb } from '../../media/convert.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import type { Mark, MarksFile, RegionFile } from '../../plate/marks/marks.js';
import { trackRegion } from '../../plate/ride/ride.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import { carryRegion, rideCarrier, STILL, type Carrier } from '../ride/carrier.js';
import { patchFrame } from '../render/frame-box.js';
import { NO_REGION } from './no-region.js';
import { partPoses, type PartPoses } from './part-poses.js';
import { patchRegion } from './patch.js';
import { screenTest, type ScreenTest } from './patch-screen.js';
import type { PatchStep } from '../performer-steps.js';

/**
 * Replaces a region of a take's frames; close when done. It may be asked again after, as an inspection does after its
 * render.
 */
export interface TakePatcher {
  patch(frame: VideoFrame): Promise<VideoFrame>;
  close(): Promise<void>;
}

export type Outline = (frame: number) => readonly Point2[];

/** Opens the source at once (its errors are the caller's); regions are followed when the first frame is asked for. */
export async function takePatcher(step: PatchStep, takeFile: string): Promise<TakePatcher> {
  let opened: Promise<VideoReader> | null = Promise.resolve(await VideoReader.open(step.source));
  let outlines: Promise<readonly [Outline, Outline, PartPoses]> | null = null;
  // A part of the plate has no screen behind it: green there is the film's own.
  let screen: ScreenTest | null | undefined = step.onto === 'plate' ? null : undefined;
  return {
    async patch(frame) {
      // Its buffers are the reader's, and others may read on while the source is waited for.
      const out = copyFrame(frame);
      outlines ??= (async () => {
        const target = await followed(takeFile, step.targetRegion),
          from =
            takeFile === step.source && step.targetRegion === step.sourceRegion
              ? target
              : await followed(step.source, step.sourceRegion);
        return [target, from, await partPoses(takeFile, step.source, step.offsetFrames, target, from)] as const;
      })();
      const [target, from, poses] = await outlines,
        source = await (opened ??= VideoReader.open(step.source));
      const k = frame.index + step.offsetFrames;
      // Beyond the source's ends there is nothing to lay on.
      if (k < 0 || k >= source.info.frameCount) return frame;
      const coded = toCodedRgb(await source.frame(k));
      screen ??= screen === null ? null : screenTest(coded, frame.colour.transfer);
      const patched = patchRegion(toCodedRgb(out), coded, target(frame.index), from(k), {
        chromaShift: frame.chromaShift,
        ...(screen === null ? {} : { screen }),
        ...(poses(frame.index) === null ? {} : { pose: poses(frame.index)! }),
      });
      if (patched === null) return out;
      patchFrame(
        out,
        [patched.box[0], patched.box[1], patched.box[2], patched.box[3]],
        patched.coded.data,
        Uint8Array.from(patched.cover, (v) => (v > 0 ? 1 : 0)),
      );
      return out;
    },
    async close() {
      const was = opened;
      opened = null;
      await (await was)?.close();
    },
  };
}

/**
 * The outline of a region on every frame of its file, followed from where it was drawn. Drawn on several frames, what
 * the followed motion leaves over at each is shared out between them; where it goes worse with them than standing still
 * would (the head turned, the track was lost), the drawn outlines alone are carried from one to the next.
 */
export async function followed(file: string, region: RegionFile): Promise<Outline> {
  const keys = [...region.frames].sort((a, b) => a.frame - b.frame),
    first = keys[0]!;
  const reader = await VideoReader.open(file);
  try {
    if (reader.info.frameCount < 2) return () => first.polygon;
    const carrier = rideCarrier(
      await trackRegion(readerLumaSource(reader), { at: first.frame, polygon: first.polygon }),
    );
    return carryRegion(region, misses(keys, carrier) < misses(keys, STILL) || keys.length === 1 ? carrier : STILL);
  } catch (error) {
    // A region that can't be followed stands still: the fit along its outline takes up small movements.
    if (error instanceof PlatewrightError && error.code.startsWith('PW-RIDE')) return carryRegion(region, STILL);
    throw error;
  } finally {
    await reader.close();
  }
}

/** How far the middles of the outlines come from those drawn next, each carried from the one before, px in all. */
function misses(keys: RegionFile['frames'], carrier: Carrier): number {
  const middle = (p: readonly Point2[]): Point2 => [
    p.reduce((s, q) => s + q[0] / p.length, 0),
    p.reduce((s, q) => s + q[1] / p.length, 0),
  ];
  return keys.slice(1).reduce((sum, k, i) => {
    const before = keys[i]!,
      m = multiply(carrier.at(k.frame), invert(carrier.at(before.frame))),
      a = middle(before.polygon.map(([x, y]) => apply(m, x, y))),
      b = middle(k.polygon);
    return sum + Math.hypot(a[0] - b[0], a[1] - b[1]);
  }, 0);
}

/** Corners of the outline made from a head mark; the same in both takes, so that corner answers corner. */
const CORNERS = 28;
/** A head's outline is drawn round the skull: fur stands out from it, and an opened jaw hangs below. */
export const HEAD_ROUND = 1.25;
const BELOW = 1.6;

/** The round region that a head mark asks for. */
export function headRegion(m: Extract<Mark, { kind: 'head' }>): [number, number][] {
  const [cx, cy, rx, ry, deg] = m.ellipse,
    t = (deg * Math.PI) / 180;
  return Array.from({ length: CORNERS }, (_, i): [number, number] => {
    const a = (2 * Math.PI * i) / CORNERS,
      x = HEAD_ROUND * rx * Math.cos(a),
      y = (Math.sin(a) > 0 ? BELOW : HEAD_ROUND) * ry * Math.sin(a);
    return [cx + x * Math.cos(t) - y * Math.sin(t), cy + x * Math.sin(t) + y * Math.cos(t)];
  });
}

/** The region that a take's marks give to a patch: its patch marks, else its head; null for neither. */
export function patchRegionOf(marks: MarksFile): RegionFile | null {
  const drawn = marks.marks.flatMap((m) =>
    m.kind === 'patch' ? [{ frame: m.frame ?? marks.frame, polygon: m.polygon }] : [],
  );
  if (drawn.length > 0) return { frames: drawn.sort((a, b) => a.frame - b.frame) };
  const heads = marks.marks.flatMap((m) =>
    m.kind === 'head' ? [{ frame: m.frame ?? marks.frame, polygon: headRegion(m) }] : [],
  );
  return heads.length > 0 ? { frames: heads.sort((a, b) => a.frame - b.frame) } : null;
}

/**
 * The step that patches the plate with another moment of itself, from a patch mark on the plate that says how many
 * frames later (or, negative, earlier) its part is taken; null where no mark does.
 */
export function proposePlatePatch(plateMarks: MarksFile): PatchStep | null {
  const marked = plateMarks.marks.flatMap((m) =>
    m.kind === 'patch' && m.offsetFrames !== undefined && m.offsetFrames !== 0 ? [m] : [],
  );
  const first = marked[0];
  if (first === undefined) return null;
  const region: RegionFile = {
    frames: marked
      .filter((m) => m.offsetFrames === first.offsetFrames)
      .map((m) => ({ frame: m.frame ?? plateMarks.frame, polygon: m.polygon }))
      .sort((a, b) => a.frame - b.frame),
  };
  const k = first.offsetFrames!;
  return {
    step: 'patch',
    onto: 'plate',
    on: true,
    source: '',
    sourceRegion: region,
    targetRegion: region,
    offsetFrames: k,
    why: `the marked part of the plate is taken from ${framesAway(k)} in the same shot, followed at both times`,
  };
}

/** `3 frames later`, `1 frame earlier`. */
export const framesAway = (offset: number): string =>
  `${counted(Math.abs(offset), 'frame')} ${offset > 0 ? 'later' : 'earlier'}`;

/** Proposes the step; off, with the reason, where a mark is missing. */
export function proposePatch(
  sourceFile: string,
  targetMarks: MarksFile,
  sourceMarks: MarksFile,
  offsetFrames = 0,
): PatchStep {
  const target = patchRegionOf(targetMarks),
    source = patchRegionOf(sourceMarks);
  if (target === null || source === null) {
    return {
      step: 'patch',
      on: false,
      source: sourceFile,
      sourceRegion: source ?? NO_REGION,
      targetRegion: target ?? NO_REGION,
      offsetFrames,
      why:
        `${target === null ? 'the take' : 'the take that lends its part'} does not say which part: ` +
        'add a patch mark (outline) or a head mark',
    };
  }
  return {
    step: 'patch',
    on: true,
    source: sourceFile,
    sourceRegion: source,
    targetRegion: target,
    offsetFrames,
    why:
      "the marked part of another take, followed and laid onto this one's before the peel" +
      (offsetFrames === 0 ? '' : `, ${framesAway(offsetFrames)} in it`),
  };
}
