/**
 * Measures one take within about the time it lasts: streams all frames, looks closely at some thirty, and never holds
 * more than one. Without marks the performer is found on the screen itself; what then can't be known (the camera's
 * height, the key's direction) is said with the mark that would give it.
 */
import { PlatewrightError } from '../core/errors.js';
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import { formatRate, framesPerSecond } from '../core/rational.js';
import { toCodedRgb } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { checkMarks } from '../plate/marks/check-marks.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { readerLumaSource } from '../plate/ride/reader-luma-source.js';
import { facesOf, turnOfFace } from '../plate/turn/turn-face.js';
import { posesOf, turnFromPoses } from '../plate/turn/turn-poses.js';
import type { Turn } from '../plate/types.js';
import { swappedEnds } from '../plate/marks/swapped-ends.js';
import { subjectView } from '../plate/view/view-derived.js';
import { MARK_NOISE } from '../plate/view/view-observations.js';
import { frameWithPerformer, isPage, pageBoxes, withoutCard } from './card/card-frames.js';
import type { TakeFrame, TakeMeasures } from './measures.js';
import { gardenCamera } from './garden-camera.js';
import { measureTakeCamera } from './take-camera.js';
import { takeFigures } from './take-figures.js';
import { lookAt, shrink, type Look } from './take-look.js';
import { repeatsInWords } from '../film/repeated-frames.js';
import { heightPxOf, onPerformersFrame, performerAt } from './take-marks.js';
import type { TakeOptions } from './take-options.js';
import { passOver, type TakePass } from './take-pass.js';
import { stirOfTake } from './take-stir.js';
import { type Known, cardWhereAsked, lightOf, sightWhereAsked, viewOf } from './view-and-light.js';

/** Said of a take on which no screen was seen. */
export const NO_SCREEN =
  'no green or blue screen was found behind the performer; ' +
  'to peel it off, a frame of the empty set has to be named, or outlines drawn round it';

/**
 * Measures a take. `given` may hold no marks; `given.frame` is the frame at which view and
 * light are read. Throws the media and marks errors.
 */
export async function measureTake(file: string, given: MarksFile, options: TakeOptions = {}): Promise<TakeMeasures> {
  const marks = onPerformersFrame(given);
  const reader = await VideoReader.open(file);
  try {
    const { widthPx, heightPx, frameCount, rate, hasAlpha } = reader.info;
    checkMarks(given, widthPx, heightPx, frameCount, "the take's marks file");
    const notes: string[] = swappedEnds(marks);
    const pass = await passOver(reader, marks, options);
    const behind = behindOf(pass, hasAlpha);
    if (behind.kind === 'none') notes.push(NO_SCREEN);
    const flaws = flawsOf(reader, pass, notes);
    const card = await cardWhereAsked(file, marks, pass, options);
    if (card !== null)
      notes.push(
        `the floor card was read in frame ${card.frame}; ` +
          'its numbers hold while camera and light stay as they were then',
      );
    const pages = card === null ? [] : pageBoxes(card);
    const frames = withoutCard(pass.seen, pages);
    const carded = new Set(pass.seen.filter((f, i) => f.box !== null && frames[i]!.box === null).map((f) => f.frame));
    const { look, frame: lookFrame } = await performersLook(reader, marks, pass, frames, pages);
    const performer = performerAt(marks, look, pass.factor);
    noteUpsideDown(performer, notes);
    if (performer !== null && !performer.marked)
      notes.push(
        'the performer was found by itself; its ground point is a guess from its lowest pixels, ' +
          'so mark ground and top for a surer view',
      );
    const known: Known = { reader, marks, options, factor: pass.factor, card, look, performer };
    const sdPx = MARK_NOISE.pointPx(widthPx) * (performer?.marked ? 1 : 4);
    const poses = posesOf(marks);
    const sight = await sightWhereAsked(known, pass, poses, lookFrame);
    const { view, inHeights } = viewOf(known, sight, notes);
    const light = lightOf(known, view);
    const face = facesOf(marks).length === 0 ? null : await turnOfFaceOrNote(reader, marks, notes);
    const camera = options.camera !== true || hasAlpha ? null : await ownCamera(known, pass, frames, lookFrame, notes);
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
      performerHeightPx: heightOf(performer, sdPx, lookFrame),
      view,
      subject: view !== null && performer !== null ? subjectView(view, performer.ground, performer.top, sdPx) : null,
      ...(inHeights ? { inHeights } : {}),
      light,
      ...(camera === null ? {} : { camera }),
      turn: face ?? (poses.length >= 2 ? turnFromPoses(poses, frameCount, rate) : null),
      ...(face === null ? { poses } : {}),
      ...(stir === null ? {} : { stir }),
      ...flaws,
      ...takeFigures(pass, frames, carded, behind),
      eyelineDeg: eyelineOf(marks),
      notes,
    };
  } finally {
    await reader.close();
  }
}

/** Frames that are damaged in the file or repeat their neighbours, with a note for each kind; told first. */
function flawsOf(reader: VideoReader, pass: TakePass, notes: string[]): Pick<TakeMeasures, 'damaged' | 'repeats'> {
  const { frameCount, rate, variableRate } = reader.info;
  const damaged = [...reader.damagedFrames].sort((a, b) => a - b);
  if (damaged.length > 0)
    notes.unshift(
      `${damaged.length} of ${frameCount} frames ${damaged.length === 1 ? 'is' : 'are'} damaged in the file ` +
        `(the first is frame ${damaged[0]}) and will show so: ` +
        'copy it again from the camera, or choose another take',
    );
  // A file of varying rate says itself which of its frames are held (VideoReader.heldFrames).
  const repeats = variableRate ? null : pass.watch.repeats(rate);
  if (repeats !== null) notes.push(repeatsInWords(repeats, frameCount, framesPerSecond(rate)));
  return { ...(damaged.length === 0 ? {} : { damaged }), ...(repeats === null ? {} : { repeats }) };
}

/** The take's own camera; before no screen it is followed on the ground behind the performer. */
async function ownCamera(
  { reader, performer }: Known,
  pass: TakePass,
  frames: readonly TakeFrame[],
  lookFrame: number,
  notes: string[],
): Promise<TakeMeasures['camera'] | null> {
  const own =
    pass.bare === null || performer === null
      ? await measureTakeCamera(reader, frames)
      : await gardenCamera(reader, frames, lookFrame, performer.ground, heightPxOf(performer));
  if (own.note !== null) notes.push(own.note);
  return own.camera;
}

function heightOf(performer: TakeMeasures['performer'], sdPx: number, frame: number): Measure {
  return performer === null
    ? notMeasurable('px', 'no performer was found or marked', "the performer's ground and top in one frame")
    : measured(
        heightPxOf(performer),
        'px',
        1.4 * sdPx,
        performer.marked ? "the performer's marks" : 'the performer as it was found',
        [frame, frame],
      );
}

/** What the performer stands before. */
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
