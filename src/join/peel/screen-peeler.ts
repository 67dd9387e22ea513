/**
 * The peel as the renderer uses it: a model of the screen from frames spread over the take (and a clean frame of the
 * empty set, where one is named), then the performer a frame, cut to the pixels that hold it.
 */
import { PlatewrightError } from '../../core/errors.js';
import { createPicture } from '../../image/picture.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import { carryRegion, STILL } from '../ride/carrier.js';
import { screenKey, type ScreensOfTake } from './kept-screens.js';
import { peelModel, peelWithin, smallOf, type PeeledWithin, type PeelOptions, type ScreenModel } from './peel.js';
import { boxOf } from './matte-box.js';
import { premultipliedCut, premultipliedHalf } from './halve-performer.js';
import { differencePeeler, NOTHING, type Peeler, type PerformerPicture } from './performer.js';
import type { SmallLinear } from './small-linear.js';
import { clothDoubt, readCloth } from '../../take/screen/cloth-or-lawn.js';
import type { PeelStep } from '../performer-steps.js';

/** Frames from which the screen is modelled. */
const MODEL_FRAMES = 8;
/** Frames from the empty one that are looked at beside it: leaves swing to and fro in a second or so. */
const BESIDE = [-12, -7, -3, 3, 7, 12] as const;
/** Pixels kept about the performer for filters. */
const BORDER = 3;

/** Frames of a take from `in` (inclusive) to `out` (exclusive). */
export interface TakeSpan {
  readonly in: number;
  readonly out: number;
}

/**
 * The screen of a take. @param screen its colour, found by itself unless told @param kept where it may be known from
 * before, and is kept @param cleanFrame a frame of the take, in or out of the span, that shows the set without the
 * performer. @throws `PW-PEEL-CLEAN` where that frame lies outside the take, and the `PW-PEEL-...` errors of the model
 */
export async function screenModelOf(
  take: VideoReader,
  span: TakeSpan,
  screen?: 'green' | 'blue',
  cleanFrame?: number,
  kept?: ScreensOfTake,
): Promise<ScreenModel> {
  if (cleanFrame !== undefined && cleanFrame >= take.info.frameCount) {
    throw cleanOutside(cleanFrame, take.info.frameCount);
  }
  const key = kept === undefined ? null : screenKey(kept.file, span, screen, cleanFrame);
  const known = key === null ? null : kept!.screens.find(key);
  if (known !== null) return known;
  const frames: VideoFrame[] = [];
  const count = Math.min(MODEL_FRAMES, span.out - span.in);
  for (let i = 0; i < count; i++)
    frames.push(copyFrame(await take.frame(span.in + Math.floor(((i + 0.5) * (span.out - span.in)) / count))));
  const model = peelModel(frames, {
    ...(screen === undefined ? {} : { screen }),
    ...(cleanFrame === undefined ? {} : { clean: copyFrame(await take.frame(cleanFrame)) }),
  });
  if (key !== null) {
    kept!.screens.keep(key, model);
    // The strongest hue of all is the strongest of its own family: asked for by its colour it is the same model.
    if (screen === undefined) kept!.screens.keep(screenKey(kept!.file, span, model.hue.family, cleanFrame)!, model);
  }
  return model;
}

function cleanOutside(frame: number, count: number): PlatewrightError {
  return new PlatewrightError(
    'PW-PEEL-CLEAN',
    `frame ${frame} was named as the empty set, but the take ends at frame ${count - 1}; ` +
      'name a frame of it on which nobody stands before the screen',
    { kind: 'input' },
  );
}

/**
 * Peeler of a take shot before a screen of the step's colour, or by difference to a clean frame. Throws the
 * `PW-PEEL-...` errors of the model; `PW-PEEL-CLEAN` where the clean frame lies outside the take.
 */
export async function screenPeeler(
  step: PeelStep,
  take: VideoReader,
  span: TakeSpan,
  kept?: ScreensOfTake,
): Promise<Peeler> {
  if (step.method === 'difference') {
    if (step.cleanFrame === undefined)
      throw new PlatewrightError(
        'PW-PEEL-CLEAN',
        'peeling by difference needs a take frame that shows the set without the performer; ' +
          'give its number as cleanFrame of the peel step, or peel by an outline',
        { kind: 'input' },
      );
    if (step.cleanFrame >= take.info.frameCount) throw cleanOutside(step.cleanFrame, take.info.frameCount);
    return differencePeeler(await emptyFrames(take, step.cleanFrame), step.garbage, take);
  }
  const { model, clean } = await screenSetOf(step, take, span, kept);
  return modelPeeler(model, step, clean);
}

/** The named empty frame, and neighbours that are probably empty too: how they differ tells how the set stirs. */
async function emptyFrames(take: VideoReader, named: number): Promise<VideoFrame[]> {
  const last = take.info.frameCount - 1,
    at = [named, ...BESIDE.map((d) => named + d).filter((n) => n >= 0 && n <= last)],
    frames: VideoFrame[] = [];
  for (const n of at) frames.push(copyFrame(await take.frame(n)));
  return frames;
}

/**
 * What is known of a take's screen before any frame is peeled; plain arrays, so that one thread can make it for all.
 */
export interface ScreenSet {
  readonly model: ScreenModel;
  /** The empty set, where its shadow is kept. */
  readonly clean: SmallLinear | null;
}

/** For a step of method `screen`. Throws the `PW-PEEL-...` errors of the model. */
export async function screenSetOf(
  step: PeelStep,
  take: VideoReader,
  span: TakeSpan,
  kept?: ScreensOfTake,
): Promise<ScreenSet> {
  const clean =
    step.keepShadow === true && step.cleanFrame !== undefined
      ? smallOf(copyFrame(await take.frame(step.cleanFrame)))
      : null;
  return { model: await screenModelOf(take, span, step.screen, step.cleanFrame, kept), clean };
}

/** Peeler by a model that is there already. @param clean the empty set, for the shadow that is kept */
export function modelPeeler(
  model: ScreenModel,
  step: Pick<PeelStep, 'quality' | 'spill' | 'garbage' | 'dropEdges' | 'keep' | 'alsoKeep' | 'keepShadow'>,
  clean: SmallLinear | null = null,
): Peeler {
  const garbage = step.garbage === undefined ? null : carryRegion(step.garbage, STILL);
  const keep = [...(step.keep === undefined ? [] : [step.keep]), ...(step.alsoKeep ?? [])].map((k) =>
    carryRegion(k, STILL),
  );
  return {
    peel(frame: VideoFrame, halvings = 0, spill = step.spill): PerformerPicture {
      const options: PeelOptions = {
        quality: step.quality,
        spill,
        halved: halvings > 0,
        ...(step.dropEdges === true ? { dropEdges: true } : {}),
        ...(garbage === null ? {} : { garbage: [garbage(frame.index)] }),
        ...(keep.length === 0 ? {} : { keep: keep.map((at) => at(frame.index)) }),
        ...(step.keepShadow === true ? { shadow: { clean } } : {}),
      };
      return peelWithin(model, frame, options, (peeled) => premultiplied(peeled, halvings > 0));
    },
  };
}

/**
 * Least share of the pictures that a screen holds (as the take's verdict has it), and half the widest range of hues of
 * one.
 */
const LEAST_SHARE = 0.12,
  MOST_SPREAD_DEG = 15;

/**
 * Whether what was found is a screen or something green or blue of a garden or a room. One cloth is one hue: 10.5 to
 * 12° wide on every practice screen and a painted wall; a hedge 22, bushes behind a dog 28, the sky 15.
 */
export function screenDoubt(model: ScreenModel): string | null {
  const { family, share, spreadDeg } = model.hue;
  if (share < LEAST_SHARE)
    return `what is ${family} in it holds ${(100 * share).toFixed(0)} % of the picture, too little for a screen`;
  return spreadDeg >= MOST_SPREAD_DEG ? `what is ${family} in it is of many hues, as leaves are, not one cloth` : null;
}

/**
 * Why what was found may be no screen by the empty set itself; null where it looks like cloth or paint.
 *
 * @param useful 1 where the set counts; all of it where absent
 */
export function emptyDoubt(model: ScreenModel, clean: SmallLinear, useful?: Float32Array): string | null {
  return clothDoubt(readCloth(clean, model.hue, useful), model.hue.family);
}

/**
 * The performer cut out of a peel's pictures, premultiplied, in a picture of its own; with `half` at half the take's
 * size, as halvePerformer would make it of a full peel.
 */
function premultiplied({ alpha, colour, box, unit, shadow }: PeeledWithin, half: boolean): PerformerPicture {
  const { width: w, data: a } = alpha;
  const tight = boxOf(a, w, box, NOTHING);
  if (tight === null) return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0] };
  // What lies beyond the peel's own box is nothing, and not written: the border must not reach into it.
  const x0 = Math.max(box[0], tight[0] - BORDER),
    y0 = Math.max(box[1], tight[1] - BORDER),
    x1 = Math.min(box[2], tight[2] + BORDER),
    y1 = Math.min(box[3], tight[3] + BORDER);
  const kept = shadow === undefined ? {} : { shadow };
  if (half && unit === 1) return { ...premultipliedHalf(alpha, colour, [x0, y0, x1, y1]), ...kept };
  return {
    picture: premultipliedCut(alpha, colour, [x0, y0, x1, y1]),
    box: [x0, y0, x1, y1],
    ...(unit === 1 ? {} : { unit }),
    ...kept,
  };
}
