/**
 * One anchor of a ride followed outwards and solved as a whole; where the region is mostly hidden on the
 * anchor's own frame, by way of another frame that the shot looks more like (ride-reference.ts): the
 * track is solved from there, and the anchor's place in it carries the mark through. What is seen of the
 * region on its own frame then decides where it lies.
 */
import { PlatewrightError } from '../../core/errors.js';
import { IDENTITY3, multiply, normalise, tryInvert, type Point2 } from '../../geometry/mat3.js';
import { RideCamera } from './ride-camera.js';
import { Follower } from './ride-follow.js';
import { keyLayers, type KeyLayer } from './ride-key-layers.js';
import type { FollowedFrame } from './ride-keys.js';
import { RideMemory } from './ride-memory.js';
import { bestReference, inPicture, type Reference, type Way } from './ride-reference.js';
import { reworkTrack, type SolvedFrame } from './ride-rework.js';
import { framesBackward, lumaAt, type LumaFrame, type LumaSource } from './ride-source.js';
import type { RideTrack } from '../types.js';

export interface AnchorTrack {
  readonly model: RideTrack['model'];
  /** Anchor pixels to each frame's, the anchor's own frame left out. */
  readonly frames: readonly SolvedFrame[];
  /** The frame that was gone by in place of the anchor's; absent where its own serves. */
  readonly reference?: number;
}

/** Frames between the neighbouring anchors: in (inclusive) to out (exclusive). */
export interface AnchorSpan {
  readonly in: number;
  readonly out: number;
}

/**
 * A region of which as much agrees over the shot is not looked at again; below the second, it is; between them where
 * parts of it go their own ways on its own frame (own choice, which costs time alone: ordinary keys of hard made
 * sequences that are hidden whole or leave the picture have .61 to .64, hidden keys .13 to .62).
 */
const SERVES = 0.75;
const DOES_NOT = 0.6;
/** Another frame must agree with the shot by so much more. */
const BETTER = 0.15;
/** Once followed from there it must still do better, by less: frames on which all is hidden count there. */
const STILL = 0.05;
/** And with so much of the region on its own frame, beyond what agrees by chance. */
const AT_HOME = 0.08;
/** How far (px) ways may err: the set's and those of parts; a poor fit's own. */
const CLOSE = { placePx: 8, shapePx: 3 };
const LOOSE = { placePx: 40, shapePx: 15 };
/** A part that fills more of the region than this is what was followed already. */
const MOST = 0.6;
/** Parts that are followed. */
const MOST_PARTS = 4;
/** Frames on either side of the anchor's on which its parts are sought. */
const ASIDE = 2;

/** Follows `polygon` from frame `at`. `step` is told each frame done. */
export async function followAnchor(
  source: LumaSource,
  at: number,
  polygon: readonly Point2[],
  span: AnchorSpan,
  step: () => void,
  signal?: AbortSignal,
): Promise<AnchorTrack> {
  const own = await followFrom(source, at, polygon, span, step, signal);
  // Of a region that is drawn half outside the picture only the half inside was compared.
  const worth = worthOf(own.raw) * inPicture(polygon, source.widthPx, source.heightPx);
  if (worth >= SERVES || own.raw.length < 4) return own;
  const parts = await partsOf(source, at, polygon, span);
  if (worth >= DOES_NOT && parts.every((p) => p.length < 2)) return own;
  const other = await otherReference(source, at, polygon, span, own.raw, parts.flat(), worth, signal);
  if (other === null) return own;
  const theirs = await followFrom(source, other.frame, other.polygon, span, () => undefined, signal);
  if (worthOf(theirs.raw) < worth + STILL) return own;
  return throughReference(theirs, other, at) ?? own;
}

interface Followed extends AnchorTrack {
  readonly raw: readonly FollowedFrame[];
}

async function followFrom(
  source: LumaSource,
  at: number,
  polygon: readonly Point2[],
  span: AnchorSpan,
  step: () => void,
  signal?: AbortSignal,
): Promise<Followed> {
  const keyFrame = { index: at, luma: await lumaAt(source, at) };
  const follower = new Follower(keyFrame, source.widthPx, source.heightPx, polygon);
  try {
    const raw = await bothWays(follower, keyFrame, source, span, () => {
      signal?.throwIfAborted();
      step();
    });
    return { ...(await reworkTrack(source, follower, at, raw, signal)), raw };
  } finally {
    follower.close();
  }
}

/** Every frame of the span but the key's, in rising order. */
async function bothWays(
  follower: Follower,
  keyFrame: LumaFrame,
  source: LumaSource,
  span: AnchorSpan,
  step: () => void,
): Promise<FollowedFrame[]> {
  const at = keyFrame.index;
  const ahead = await followAll(
    follower,
    keyFrame,
    source,
    span.out > at + 1 ? source.frames(at + 1, span.out) : null,
    step,
  );
  follower.restart();
  const behind = await followAll(
    follower,
    keyFrame,
    source,
    span.in < at ? framesBackward(source, at - 1, span.in) : null,
    step,
  );
  return [...behind.reverse(), ...ahead];
}

/** Follows every frame of one direction, with the set's motion beside. */
async function followAll(
  follower: Follower,
  keyFrame: LumaFrame,
  source: LumaSource,
  frames: AsyncGenerator<LumaFrame> | null,
  step: () => void,
): Promise<FollowedFrame[]> {
  const out: FollowedFrame[] = [];
  if (frames === null) return out;
  const camera = new RideCamera(keyFrame, source.widthPx, source.heightPx);
  const memory = new RideMemory();
  const luma = memory.floats(source.widthPx * source.heightPx);
  try {
    for await (const f of frames) {
      // Once into the kernels' memory for all that look at it.
      luma.set(f.luma);
      const frame = { index: f.index, luma };
      out.push(follower.follow(frame, camera.follow(frame)));
      step();
    }
  } finally {
    camera.close();
    memory.close();
  }
  return out;
}

/** Mean share of the region that agrees with its key over the frames. */
function worthOf(frames: readonly FollowedFrame[]): number {
  return frames.reduce((s, f) => s + (f.found ? f.agreement * f.visible : 0), 0) / Math.max(1, frames.length);
}

/**
 * A frame that tells the region better than the one it was drawn on; null where none does,
 * or what the shot shows there has no part in it.
 */
async function otherReference(
  source: LumaSource,
  at: number,
  polygon: readonly Point2[],
  span: AnchorSpan,
  own: readonly FollowedFrame[],
  parts: readonly KeyLayer[],
  worth: number,
  signal?: AbortSignal,
): Promise<Reference | null> {
  const set: Way = { at: new Map(own.flatMap((f) => (f.set === null ? [] : [[f.frame, f.set] as const]))), ...CLOSE };
  const self: Way = { at: new Map(own.flatMap((f) => (f.found ? [[f.frame, f.homography] as const] : []))), ...LOOSE };
  const bestOf = async (ways: readonly Way[]): Promise<Reference | null> => {
    let best: Reference | null = null;
    for (const way of ways) {
      const r = await bestReference(source, at, polygon, way, span, signal);
      if (r !== null && r.overChance >= AT_HOME && r.worth >= worth + BETTER && (best === null || r.worth > best.worth))
        best = r;
    }
    return best;
  };
  return (await bestOf([set, self])) ?? bestOf(await waysOfParts(source, at, polygon, parts, span, signal));
}

/** What moves together within the region of its own frame, as a frame before and one after show it. */
async function partsOf(
  source: LumaSource,
  at: number,
  polygon: readonly Point2[],
  span: AnchorSpan,
): Promise<KeyLayer[][]> {
  const luma = await lumaAt(source, at);
  const out: KeyLayer[][] = [];
  for (const frames of [-ASIDE, ASIDE])
    if (at + frames >= span.in && at + frames < span.out)
      out.push(keyLayers(luma, await lumaAt(source, at + frames), frames, source.widthPx, source.heightPx, polygon));
  return out;
}

/** Where the region's parts lead it that move by themselves on its own frame. */
async function waysOfParts(
  source: LumaSource,
  at: number,
  polygon: readonly Point2[],
  parts: readonly KeyLayer[],
  span: AnchorSpan,
  signal?: AbortSignal,
): Promise<Way[]> {
  const keyFrame = { index: at, luma: await lumaAt(source, at) };
  const out: Way[] = [];
  for (const part of parts.filter((l) => l.share < MOST).slice(0, MOST_PARTS)) {
    const follower = partFollower(keyFrame, source, polygon, part);
    if (follower === null) continue;
    try {
      const seen = await bothWays(follower, keyFrame, source, span, () => signal?.throwIfAborted());
      out.push({ at: new Map(seen.filter((f) => f.found).map((f) => [f.frame, f.homography])), ...CLOSE });
    } finally {
      follower.close();
    }
  }
  return out;
}

/** Null where the layer holds too few pixels to be followed. */
function partFollower(
  keyFrame: LumaFrame,
  source: LumaSource,
  polygon: readonly Point2[],
  layer: KeyLayer,
): Follower | null {
  try {
    return new Follower(keyFrame, source.widthPx, source.heightPx, polygon, layer.belongs);
  } catch (error) {
    if (error instanceof PlatewrightError && error.code === 'PW-RIDE-REGION') return null;
    throw error;
  }
}

/** A track from the reference told from the anchor's frame; null where that does not lie in it. */
function throughReference(track: Followed, reference: Reference, at: number): AnchorTrack | null {
  const home = track.frames.find((f) => f.frame === at);
  const back = home === undefined ? null : tryInvert(home.homography);
  if (home === undefined || back === null) return null;
  const tell = (f: SolvedFrame): SolvedFrame => {
    const sdPx = Math.hypot(f.sdPx, home.sdPx);
    return {
      ...f,
      homography: normalise(multiply(f.homography, back)),
      sdPx,
      confidence: Math.min(f.confidence, home.confidence),
    };
  };
  const own: SolvedFrame = { frame: reference.frame, homography: IDENTITY3, found: true, sdPx: 0, confidence: 0.99 };
  const frames = [...track.frames.filter((f) => f.frame !== at), own].sort((a, b) => a.frame - b.frame).map(tell);
  // The model is the reference's; from the anchor it is the same family.
  return { model: track.model, frames, reference: reference.frame };
}
