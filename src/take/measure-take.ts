/**
 * Measures one take within about the time it lasts: streams all frames, looks closely at some thirty, and never holds
 * more than one. Without marks the performer is found on the screen itself; what then can't be known (the camera's
 * height, the key's direction) is said with the mark that would give it.
 */
import { PlatewrightError } from '../core/errors.js';
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import { formatRate, framesPerSecond } from '../core/rational.js';
import { decodeTransfer } from '../colour/transfer.js';
import { toCodedRgb, codedToLinear } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { createPicture, type Picture } from '../image/picture.js';
import { checkMarks } from '../plate/marks/check-marks.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { readerLumaSource } from '../plate/ride/reader-luma-source.js';
import { facesOf, turnOfFace } from '../plate/turn/turn-face.js';
import { posesOf, turnFromPoses } from '../plate/turn/turn-poses.js';
import type { Light, Turn } from '../plate/types.js';
import { subjectView } from '../plate/view/view-derived.js';
import { MARK_NOISE } from '../plate/view/view-observations.js';
import { cardOf, exposureOfCard, lightOfCard, paperFrames, viewOfCard } from './card-measures.js';
import { frameWithPerformer, isPage, pageBoxes, withoutCard } from './card-frames.js';
import type { TakeFrame, TakeMeasures } from './measures.js';
import { gardenCamera } from './garden-camera.js';
import { measureTakeCamera } from './take-camera.js';
import { takeFigures } from './take-figures.js';
import { lookAt, shrink, type Look } from './take-look.js';
import { repeatsInWords } from '../film/repeated-frames.js';
import { onPerformersFrame, performerAt, takeLight, takeView, toldInHeights } from './take-marks.js';
import type { TakeOptions } from './take-options.js';
import { passOver, type TakePass } from './take-pass.js';
import { stirOfTake } from './take-stir.js';

/** Said of a take on which no screen was seen. */
export const NO_SCREEN =
  'no green or blue screen was found behind the performer; ' +
  'to peel it off, a frame of the empty set has to be named, or outlines drawn round it';

/**
 * Measures a take. `marks` may be empty; `marks.frame` is the frame at which view and
 * light are read. Throws the media and marks errors.
 */
export async function measureTake(file: string, given: MarksFile, options: TakeOptions = {}): Promise<TakeMeasures> {
  const marks = onPerformersFrame(given);
  const reader = await VideoReader.open(file);
  try {
    const { widthPx, heightPx, frameCount, rate, colour, hasAlpha } = reader.info;
    checkMarks(given, widthPx, heightPx, frameCount, "the take's marks file");
    const notes: string[] = [];
    const decode = (v: number): number => decodeTransfer(colour.transfer, v);
    const pass = await passOver(reader, marks, options);
    const { factor, bare, seen } = pass;
    const behind = behindOf(pass, hasAlpha);
    if (behind.kind === 'none') notes.push(NO_SCREEN);
    const damaged = [...reader.damagedFrames].sort((a, b) => a - b);
    if (damaged.length > 0)
      notes.unshift(
        `${damaged.length} of ${frameCount} frames ${damaged.length === 1 ? 'is' : 'are'} damaged in the file ` +
          `(the first is frame ${damaged[0]}) and will show so: ` +
          'copy it again from the camera, or choose another take',
      );
    // A file of varying rate says itself which of its frames are held (VideoReader.heldFrames).
    const repeats = reader.info.variableRate ? null : pass.watch.repeats(rate);
    if (repeats !== null) notes.push(repeatsInWords(repeats, frameCount, framesPerSecond(rate)));

    // Where no mark settles the view, the floor card may: it is looked for where most white paper is seen.
    const settled =
      marks.cameraHeight !== undefined ||
      marks.marks.some(
        (m) => m.kind === 'upright' || m.kind === 'groundLines' || m.kind === 'rectangle' || m.kind === 'horizon',
      );
    // Its ball or peg also tells the light, better than a furred head does, unless a shadow is marked.
    const shadowMarked = marks.marks.some((m) => m.kind === 'shadow');
    const lit = options.light !== undefined || shadowMarked;
    const card =
      options.card === false || ((options.view !== undefined || settled) && lit)
        ? null
        : await cardOf(file, paperFrames(pass.paper), marks.focalPx);
    if (card !== null)
      notes.push(
        `the floor card was read in frame ${card.frame}; ` +
          'its numbers hold while camera and light stay as they were then',
      );
    const pages = card === null ? [] : pageBoxes(card);
    const frames = withoutCard(seen, pages);
    const carded = new Set(seen.filter((f, i) => f.box !== null && frames[i]!.box === null).map((f) => f.frame));
    const { look: atMarks, frame: lookFrame } = await performersLook(reader, marks, pass, frames, pages);
    const performer = performerAt(marks, atMarks, factor);
    noteUpsideDown(performer, notes);
    const cardLight = card === null ? null : lightOfCard(card);
    if (performer !== null && !performer.marked)
      notes.push(
        'the performer was found by itself; its ground point is a guess from its lowest pixels, ' +
          'so mark ground and top for a surer view',
      );
    const sdPx = MARK_NOISE.pointPx(widthPx) * (performer?.marked ? 1 : 4);
    const view =
      options.view ??
      (card === null || settled ? undefined : viewOfCard(card, widthPx, heightPx)) ??
      takeView(marks, performer, widthPx, heightPx, notes, options.performerHeightM ?? null);
    const inHeights =
      options.view === undefined &&
      (card === null || settled) &&
      toldInHeights(marks, performer, options.performerHeightM ?? null);
    const subject =
      view !== null && performer !== null ? subjectView(view, performer.ground, performer.top, sdPx) : null;
    const linear = atMarks === null ? null : linearOf(atMarks, reader);
    const keyed =
      options.light ??
      (shadowMarked ? null : cardLight) ??
      takeLight(linear, view, marks, atMarks, factor, performer, decode);
    const exposure = card === null ? undefined : exposureOfCard(card, keyed);
    const light: Light = exposure === undefined ? keyed : { ...keyed, exposureStops: exposure };
    const poses = posesOf(marks);
    const face = facesOf(marks).length === 0 ? null : await turnOfFaceOrNote(reader, marks, notes);
    const bareFoot = bare === null || performer === null ? null : performer;
    const own =
      options.camera !== true || hasAlpha
        ? null
        : bareFoot === null
          ? await measureTakeCamera(reader, frames)
          : await gardenCamera(
              reader,
              frames,
              lookFrame,
              bareFoot.ground,
              Math.hypot(bareFoot.top[0] - bareFoot.ground[0], bareFoot.top[1] - bareFoot.ground[1]),
            );
    if (own !== null && own.note !== null) notes.push(own.note);
    const stir = options.stir === true ? await stirOfTake(reader, marks, frames, performer) : null;
    return {
      file,
      rate: formatRate(rate),
      frameCount,
      widthPx,
      heightPx,
      behind,
      frames,
      performer,
      performerHeightPx:
        performer === null
          ? notMeasurable('px', 'no performer was found or marked', "the performer's ground and top in one frame")
          : measured(
              Math.hypot(performer.top[0] - performer.ground[0], performer.top[1] - performer.ground[1]),
              'px',
              1.4 * sdPx,
              performer.marked ? "the performer's marks" : 'the performer as it was found',
              [lookFrame, lookFrame],
            ),
      view,
      subject,
      ...(inHeights ? { inHeights } : {}),
      light,
      ...(own === null || own.camera === null ? {} : { camera: own.camera }),
      turn: face ?? (poses.length >= 2 ? turnFromPoses(poses, frameCount, rate) : null),
      ...(face === null ? { poses } : {}),
      ...(stir === null ? {} : { stir }),
      ...(damaged.length === 0 ? {} : { damaged }),
      ...(repeats === null ? {} : { repeats }),
      ...takeFigures(pass.readings, frames, carded, behind),
      eyelineDeg: eyelineOf(marks),
      notes,
    };
  } finally {
    await reader.close();
  }
}

function behindOf({ bare, model }: TakePass, hasAlpha: boolean): TakeMeasures['behind'] {
  return hasAlpha
    ? { kind: 'alpha' }
    : bare !== null
      ? { kind: bare.kind }
      : model !== null
        ? { kind: 'screen', colour: model.colour, share: model.share }
        : { kind: 'none' };
}

/**
 * The look at the performer, and its frame: where the marks are made, else, where the card or the empty
 * set is there, in the midst of where it is seen.
 */
async function performersLook(
  reader: VideoReader,
  marks: MarksFile,
  { factor, atMarks, near, model, bare }: TakePass,
  frames: readonly TakeFrame[],
  pages: ReturnType<typeof pageBoxes>,
): Promise<{ look: Look | null; frame: number }> {
  const atCard =
    atMarks?.box != null &&
    isPage(
      {
        x0: atMarks.box.x0 * factor,
        y0: atMarks.box.y0 * factor,
        x1: atMarks.box.x1 * factor,
        y1: atMarks.box.y1 * factor,
      },
      pages,
    );
  const marked = marks.marks.some((m) => m.kind === 'performer' || m.kind === 'stand');
  if (marked || (atMarks?.box != null && !atCard)) return { look: atMarks, frame: marks.frame };
  const there = frameWithPerformer(frames);
  if (there === null)
    return { look: atMarks === null ? null : { ...atMarks, box: null, performer: null }, frame: marks.frame };
  const c = toCodedRgb(await reader.frame(there));
  const s = shrink(c, factor);
  return { look: lookAt(c, s, model, factor, near, reader.info.hasAlpha, bare?.mask(s, there)), frame: there };
}

/** Says so where the performer's top is marked below its feet: down in the picture is where feet are. */
function noteUpsideDown(performer: TakeMeasures['performer'], notes: string[]): void {
  if (
    performer !== null &&
    performer.marked &&
    performer.top[1] > performer.ground[1] &&
    Math.abs(performer.top[0] - performer.ground[0]) < performer.top[1] - performer.ground[1]
  )
    notes.push(
      "the performer's top is marked below its feet: if the take was filmed upside down, " +
        'turn it ("platewright take turn TAKE 180", or “filmed” beside the take) before marking it; ' +
        'if the two points were put the wrong way round, put them again',
    );
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

function eyelineOf(marks: MarksFile): Measure {
  const eyeline = marks.marks.find((m) => m.kind === 'eyeline');
  return eyeline?.kind === 'eyeline'
    ? measured(
        (Math.atan2(-(eyeline.to[1] - eyeline.from[1]), eyeline.to[0] - eyeline.from[0]) * 180) / Math.PI,
        'deg',
        3,
        'eyeline mark',
        [eyeline.frame ?? marks.frame, eyeline.frame ?? marks.frame],
      )
    : notMeasurable('deg', 'no eyeline is marked on the take', 'an eyeline: from the eyes to where they look');
}

/** The performer's own turn from its marked face; a face that can't be followed is a note, not an end. */
async function turnOfFaceOrNote(reader: VideoReader, marks: MarksFile, notes: string[]): Promise<Turn | null> {
  try {
    return await turnOfFace(readerLumaSource(reader), { marks, rate: reader.info.rate });
  } catch (error) {
    if (!(error instanceof PlatewrightError)) throw error;
    notes.push(`turn: ${error.message}`);
    return null;
  }
}
