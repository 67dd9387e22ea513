/**
 * A take's view and light, each from the surest that tells it: from elsewhere, the floor card, the marks, or how a
 * performer turns (view); from elsewhere, the card's ball or peg, marks and picture (light).
 */
import { RAD_PER_DEG } from '../core/angles.js';
import { framesPerSecond } from '../core/rational.js';
import { decodeLight } from '../media/light-curves.js';
import { codedToLinear } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { createPicture, type Picture } from '../image/picture.js';
import type { MarksFile } from '../plate/marks/marks.js';
import type { Pose } from '../plate/turn/turn-poses.js';
import type { Light, View } from '../plate/types.js';
import { cardOf, exposureOfCard, lightOfCard, paperFrames, viewOfCard } from './card/card-measures.js';
import type { TakeMeasures } from './measures.js';
import type { CardReading } from './card/read-card.js';
import type { Look } from './take-look.js';
import { heightPxOf, HOME_CAMERA, takeLight, takeView, toldInHeights } from './take-marks.js';
import type { TakeOptions } from './take-options.js';
import type { TakePass } from './take-pass.js';
import { motionSize, seenBody } from './seen-body.js';
import { chainRound, sightFromCoat } from './sight-from-coat.js';
import { sightFromTurn, type SeenBody, type SightFromTurn } from './sight-from-turn.js';

/** A lens that was told is right within this share, as everywhere (plate/view/view.ts). */
const KNOWN_LENS_LN_SD = 0.01;

/** What is known of a take when its view and light are told. */
export interface Known {
  readonly reader: VideoReader;
  readonly marks: MarksFile;
  readonly options: TakeOptions;
  /** The look's small pictures are this much smaller than the take's. */
  readonly factor: number;
  readonly card: CardReading | null;
  readonly look: Look | null;
  readonly performer: TakeMeasures['performer'];
}

/** Do marks settle how the camera stood? */
function viewSettled(marks: MarksFile): boolean {
  return (
    marks.cameraHeight !== undefined ||
    marks.marks.some(
      (m) => m.kind === 'upright' || m.kind === 'groundLines' || m.kind === 'rectangle' || m.kind === 'horizon',
    )
  );
}

const shadowMarked = (marks: MarksFile): boolean => marks.marks.some((m) => m.kind === 'shadow');

/**
 * The floor card, looked for where most white paper is seen, unless all that it tells is known already: where no mark
 * settles the view it may; its ball or peg also tells the light, better than a furred head does.
 */
export async function cardWhereAsked(
  file: string,
  marks: MarksFile,
  pass: TakePass,
  options: TakeOptions,
): Promise<CardReading | null> {
  const viewKnown = options.view !== undefined || viewSettled(marks);
  const lightKnown = options.light !== undefined || shadowMarked(marks);
  if (options.card === false || (viewKnown && lightKnown)) return null;
  return cardOf(file, paperFrames(pass.paper), marks.focalPx);
}

/**
 * How steeply the camera looks at a performer that turns, where nothing else settles how the camera stood and the
 * performer stays on one marked place: by its poses, else by its coat round `lookFrame`.
 */
export async function sightWhereAsked(
  { reader, marks, options, card, performer }: Known,
  pass: TakePass,
  poses: readonly Pose[],
  lookFrame: number,
): Promise<SightFromTurn | null> {
  const { widthPx, heightPx, lens } = reader.info;
  const places = new Set(
    marks.marks.flatMap((m) => (m.kind === 'performer' || m.kind === 'stand' ? [m.frame ?? marks.frame] : [])),
  );
  if (options.view !== undefined || card !== null || viewSettled(marks) || performer === null || places.size > 1)
    return null;
  const size = motionSize(widthPx, heightPx, heightPxOf(performer)),
    k = size.width / widthPx;
  const scaled = ([x, y]: readonly [number, number]): [number, number] => [x * k, (y * size.height) / heightPx];
  const place = {
      ground: scaled(performer.ground),
      top: scaled(performer.top),
      focalPx:
        k *
        (marks.focalPx ??
          lens?.focalPx ??
          widthPx / 2 / Math.tan((HOME_CAMERA.fieldOfView.medianDeg * RAD_PER_DEG) / 2)),
      widthPx: size.width,
      heightPx: size.height,
    },
    seen = (frame: number): Promise<SeenBody | null> => seenBody(reader, pass, frame, size);
  return (
    (await sightFromTurn(poses, place, seen)) ??
    (await sightFromCoat(
      chainRound(lookFrame, reader.info.frameCount, framesPerSecond(reader.info.rate)),
      place,
      marks.focalPx === undefined ? (lens?.lnSd ?? HOME_CAMERA.fieldOfView.lnSd) : KNOWN_LENS_LN_SD,
      seen,
    ))
  );
}

/** The take's view: told from elsewhere, the card's, or the marks'; and whether its lengths are performer heights. */
export function viewOf(
  known: Known,
  sight: SightFromTurn | null,
  notes: string[],
): { view: View | null; inHeights: boolean } {
  const { marks, options, card, performer } = known;
  const { widthPx, heightPx, lens: fileLens } = known.reader.info;
  const heightM = options.performerHeightM ?? null;
  const cardTells = card !== null && !viewSettled(marks);
  return {
    view:
      options.view ??
      (cardTells ? viewOfCard(card, widthPx, heightPx) : undefined) ??
      takeView({ marks, performer, widthPx, heightPx, fileLens, heightM, sight }, notes),
    inHeights: options.view === undefined && !cardTells && toldInHeights(marks, performer, heightM),
  };
}

/** The take's light: told from elsewhere, the card's unless a shadow is marked, or that of marks and picture. */
export function lightOf({ reader, marks, options, factor, card, look, performer }: Known, view: View | null): Light {
  const { colour } = reader.info;
  const light =
    options.light ??
    (card === null || shadowMarked(marks) ? null : lightOfCard(card)) ??
    takeLight({
      linear: look === null ? null : linearOf(look, reader),
      view,
      marks,
      look,
      factor,
      performer,
      decode: (v) => decodeLight(v, colour.transfer),
    });
  const exposure = card === null ? undefined : exposureOfCard(card, light);
  return exposure === undefined ? light : { ...light, exposureStops: exposure };
}

/** Scene-linear RGB of a look's frame. */
function linearOf(look: Look, { info }: VideoReader): Picture {
  const { widthPx, heightPx, colour } = info;
  return codedToLinear(
    { ...look.coded, channels: 3, data: look.coded.data.subarray(0, widthPx * heightPx * 3) },
    colour.transfer,
    createPicture(widthPx, heightPx, 3),
  );
}
