/**
 * A take looked at before there is a recipe: its performer on single frames, before a screen or without one, and what
 * the screen is like.
 */
import { clonePicture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { toLinear } from '../../media/convert.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { carryRegion, STILL } from '../ride/carrier.js';
import type { FootSeen } from '../ride/walking-foot.js';
import type { EdgeRoom } from './edge-room.js';
import type { ScreensOfTake } from './kept-screens.js';
import { lookOver } from './look-over.js';
import { smallOf } from './peel.js';
import { outlinePeeler, type PerformerPicture } from './performer.js';
import { emptyDoubt, modelPeeler, screenDoubt, screenModelOf, screenPeeler } from './screen-peeler.js';
import { shadowOnSet } from './set-shadow.js';
import type { SmallLinear } from './small-linear.js';

/** What was found behind a performer. */
export interface FoundScreen {
  readonly colour: 'green' | 'blue';
  /** Hue in scene-linear light: red 0, green 120, blue 240. */
  readonly hueDeg: number;
  /** Why it may be no screen at all; null where it looks like one. */
  readonly doubt: string | null;
}

/** What is known of a take whose screen is looked at. */
export interface ProbeOptions {
  /** The frame that shows the screen without the performer. */
  readonly cleanFrame?: number | undefined;
  /** The screen's useful part. */
  readonly garbage?: RegionFile | undefined;
  /** Where models of screens are kept. */
  readonly kept?: ScreensOfTake | undefined;
  /** Further frames on which the performer is wanted. */
  readonly also?: readonly number[];
  /** The take's camera moves. */
  readonly moving?: boolean;
}

/** A take as its screen shows it before there is a recipe. */
export interface ProbedScreen {
  /** The performer on the middle frame, `frame`, with its shadow on the screen; and on each of the further frames. */
  readonly performer: PerformerPicture;
  readonly frame: number;
  readonly others: readonly PerformerPicture[];
  readonly screen: FoundScreen;
  /** What to do with the room at the picture's edge. */
  readonly room: EdgeRoom;
  readonly feet: readonly FootSeen[];
}

/** Looks at a take's screen and at the performer before it. Throws `PW-PEEL-NO-SCREEN` where there is none. */
export async function probeScreen(
  take: VideoReader,
  quality: 'fast' | 'fine',
  { cleanFrame, garbage, kept, also = [], moving = false }: ProbeOptions = {},
): Promise<ProbedScreen> {
  const model = await screenModelOf(take, { in: 0, out: take.info.frameCount }, undefined, cleanFrame, kept);
  const clean = cleanFrame === undefined ? null : smallOf(copyFrame(await take.frame(cleanFrame)));
  const doubt =
    screenDoubt(model) ?? (clean === null ? null : emptyDoubt(model, clean, usefulOf(garbage, cleanFrame!, clean)));
  const frame = take.info.frameCount >> 1;
  const { room, feet } = await lookOver(take, model, garbage, moving);
  const step = { quality, spill: 1, dropEdges: room.drop, ...(garbage === undefined ? {} : { garbage }) };
  const peeler = modelPeeler(model, { ...step, keepShadow: true }, clean),
    performer = await peeler.peel(await take.frame(frame));
  const others: PerformerPicture[] = [];
  for (const n of also) others.push(await peeler.peel(await take.frame(n)));
  return {
    performer,
    frame,
    others,
    screen: { colour: model.hue.family, hueDeg: model.hue.hueDeg, doubt },
    room,
    feet,
  };
}

/** The marked part of a screen on the small picture of a frame; undefined where none was marked. */
function usefulOf(
  garbage: RegionFile | undefined,
  frame: number,
  { width, height, block }: SmallLinear,
): Float32Array | undefined {
  return garbage === undefined
    ? undefined
    : rasterizePolygon(
        carryRegion(garbage, STILL)(frame).map(([x, y]) => [x / block, y / block] as const),
        width,
        height,
      );
}

/**
 * The performer on one frame of a take without a screen: by the outlines drawn round it, else by difference to the
 * clean frame; null where neither is there.
 */
export async function probeWithoutScreen(
  take: VideoReader,
  quality: 'fast' | 'fine',
  how: { readonly outline?: RegionFile; readonly cleanFrame?: number; readonly garbage?: RegionFile },
): Promise<{ readonly performer: PerformerPicture; readonly frame: number } | null> {
  const base = { step: 'peel' as const, on: true, why: '', screen: 'green' as const, quality, spill: 0 };
  if (how.outline !== undefined) {
    const frame = Math.min(how.outline.frames[0]!.frame, take.info.frameCount - 1);
    return {
      performer: await outlinePeeler({ ...base, method: 'outline', outline: how.outline }).peel(
        await take.frame(frame),
      ),
      frame,
    };
  }
  if (how.cleanFrame === undefined) return null;
  const peeler = await screenPeeler(
    {
      ...base,
      method: 'difference',
      cleanFrame: how.cleanFrame,
      ...(how.garbage === undefined ? {} : { garbage: how.garbage }),
    },
    take,
    { in: 0, out: take.info.frameCount },
  );
  // The empty set may lie in the midst of the take: the frame farthest from it of three shows somebody.
  const count = take.info.frameCount,
    frame = [0.25, 0.5, 0.75]
      .map((t) => Math.floor(t * count))
      .sort((a, b) => Math.abs(b - how.cleanFrame!) - Math.abs(a - how.cleanFrame!))[
      how.cleanFrame > 0.35 * count && how.cleanFrame < 0.65 * count ? 0 : 1
    ]!;
  const shown = copyFrame(await take.frame(frame)),
    performer = await peeler.peel(shown);
  if ((performer.unit ?? 1) !== 1 || performer.box[2] <= performer.box[0]) return { performer, frame };
  const seen = clonePicture(toLinear(shown));
  return {
    performer: {
      ...performer,
      shadow: shadowOnSet(seen, toLinear(await take.frame(Math.min(how.cleanFrame, count - 1))), performer),
    },
    frame,
  };
}
