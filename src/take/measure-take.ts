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
import { checkMarks } from '../plate/check-marks.js';
import type { MarksFile } from '../plate/marks.js';
import { readerLumaSource } from '../plate/reader-luma-source.js';
import { stirOfPlate } from '../plate/stir-of-plate.js';
import { facesOf, turnOfFace } from '../plate/turn-face.js';
import { posesOf, turnFromPoses } from '../plate/turn-poses.js';
import type { Light, Turn, View } from '../plate/types.js';
import { subjectView } from '../plate/view-derived.js';
import { MARK_NOISE } from '../plate/view-observations.js';
import { cardOf, exposureOfCard, lightOfCard, paperFrames, paperShare, viewOfCard } from './card-measures.js';
import { frameWithPerformer, isPage, pageBoxes, withoutCard } from './card-frames.js';
import { offScreenShare } from './find-performer.js';
import type { TakeFrame, TakeMeasures } from './measures.js';
import { findScreen, readScreen, readSpill, type ScreenModel } from './screen.js';
import { gardenCamera } from './garden-camera.js';
import { measureTakeCamera } from './take-camera.js';
import { clippedShare, lookAt, MASK_WIDTH, shrink, sigmaOf, type Look } from './take-look.js';
import { withoutScreen } from './no-screen.js';
import { REPEAT_WIDTH, RepeatWatch, repeatsInWords, smallPicture } from '../film/repeated-frames.js';
import { onPerformersFrame, performerAt, takeLight, takeView, toldInHeights } from './take-marks.js';

export interface TakeOptions {
  /** Frames looked at closely. Default 32. */
  readonly samples?: number;
  readonly onProgress?: (done: number, total: number) => void;
  /** A view of the take known from elsewhere (the card). Replaces the one from marks. */
  readonly view?: View;
  /**
   * The performer's height in metres as the plate's marks or the production tell it;
   * used where the take has no length of its own.
   */
  readonly performerHeightM?: number;
  /** A light known from elsewhere (the card's peg or ball). */
  readonly light?: Light;
  /**
   * Follow the take's own camera too (a second pass over all frames): what a join
   * needs, a verdict does not. Default false.
   */
  readonly camera?: boolean;
  /**
   * Measure how fur and cloth stir (a second pass over three seconds at most): where
   * the plate asks for it. Default false.
   */
  readonly stir?: boolean;
  /** Look for the floor card where no mark settles the view. Default true. */
  readonly card?: boolean;
}

const HELP_SCREEN = 'a take before a green or blue screen';

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
    const factor = Math.max(1, Math.ceil(widthPx / MASK_WIDTH));
    const samples = options.samples ?? 32;
    // A short take is not looked at more densely than every second frame.
    const stride = Math.max(frameCount >= 16 ? 2 : 1, Math.floor(frameCount / samples));
    const decode = (v: number): number => decodeTransfer(colour.transfer, v);
    const performerMark = marks.marks.find((m) => m.kind === 'performer' || m.kind === 'stand');
    const near: [number, number] | null =
      performerMark && (performerMark.kind === 'performer' || performerMark.kind === 'stand')
        ? [
            (performerMark.ground[0] + performerMark.top[0]) / 2 / factor,
            (performerMark.ground[1] + performerMark.top[1]) / 2 / factor,
          ]
        : null;

    const bare = hasAlpha ? null : await withoutScreen(reader, marks, factor);
    let model: ScreenModel | null = null;
    let coded: Picture | null = null;
    const seen: TakeFrame[] = [];
    const readings: {
      frame: number;
      evenness: number;
      noise: number;
      clipped: number;
      spill: number | null;
      performerClipped: number;
    }[] = [];
    const paper: { frame: number; share: number }[] = [];
    let atMarks: Look | null = null;
    let taken = 0,
      index = 0;
    const tinyWidth = Math.min(widthPx, REPEAT_WIDTH),
      tinyHeight = Math.max(1, Math.round((tinyWidth * heightPx) / widthPx)),
      tiny = new Float32Array(tinyWidth * tinyHeight),
      watch = new RepeatWatch(tiny.length);
    for await (const frame of reader.frames(0, frameCount)) {
      index = frame.index;
      watch.add(smallPicture(frame, tinyWidth, tinyHeight, tiny));
      const wanted = index % stride === 0;
      if (wanted || index === marks.frame) {
        coded = toCodedRgb(frame, coded && coded.channels === (hasAlpha ? 4 : 3) ? coded : undefined);
        const small = shrink(coded, factor);
        if (!hasAlpha && bare === null) model ??= findScreen(small);
        const look = lookAt(coded, small, model, factor, near, hasAlpha, bare?.mask(small, index));
        if (index === marks.frame)
          atMarks = {
            ...look,
            coded: { ...coded, data: coded.data.slice() },
            small: { ...small, data: small.data.slice() },
          };
        if (wanted) {
          if (!hasAlpha) paper.push({ frame: index, share: paperShare(small, look.mask) });
          const b = look.box;
          let sigma: number | null = null;
          if (b !== null && taken % 2 === 0) sigma = sigmaOf(coded, look, factor);
          seen.push({
            frame: index,
            box: b === null ? null : { x0: b.x0 * factor, y0: b.y0 * factor, x1: b.x1 * factor, y1: b.y1 * factor },
            touches: b === null ? [] : (['left', 'right', 'top', 'bottom'] as const).filter((e) => b.touches[e]),
            offScreen:
              b === null || look.mask === null || look.performer === null || hasAlpha || bare !== null
                ? 0
                : offScreenShare(
                    look.mask,
                    look.performer,
                    small.width,
                    small.height,
                    Math.max(3, Math.round(small.width / 80)),
                  ),
            sigmaPx: sigma,
          });
          if (model !== null && look.mask !== null && look.performer !== null && taken % 3 === 0) {
            const r = readScreen(small, model, look.mask, decode);
            if (r !== null)
              readings.push({
                frame: index,
                evenness: r.evennessStops,
                noise: r.noise,
                clipped: r.clippedShare,
                spill: readSpill(small, model, look.performer, Math.max(2, Math.round(small.width / 160))),
                performerClipped: clippedShare(coded, look, factor),
              });
          }
          taken++;
        }
      }
      options.onProgress?.(index + 1, frameCount);
    }
    const behind: TakeMeasures['behind'] = hasAlpha
      ? { kind: 'alpha' }
      : bare !== null
        ? { kind: bare.kind }
        : model !== null
          ? { kind: 'screen', colour: model.colour, share: model.share }
          : { kind: 'none' };
    if (behind.kind === 'none') notes.push(NO_SCREEN);
    const damaged = [...reader.damagedFrames].sort((a, b) => a - b);
    if (damaged.length > 0)
      notes.unshift(
        `${damaged.length} of ${frameCount} frames ${damaged.length === 1 ? 'is' : 'are'} damaged in the file ` +
          `(the first is frame ${damaged[0]}) and will show so: ` +
          'copy it again from the camera, or choose another take',
      );
    // A file of varying rate says itself which of its frames are held (VideoReader.heldFrames).
    const repeats = reader.info.variableRate ? null : watch.repeats(rate);
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
        : await cardOf(file, paperFrames(paper), marks.focalPx);
    if (card !== null)
      notes.push(
        `the floor card was read in frame ${card.frame}; ` +
          'its numbers hold while camera and light stay as they were then',
      );
    const pages = card === null ? [] : pageBoxes(card);
    const frames = withoutCard(seen, pages);
    const carded = new Set(seen.filter((f, i) => f.box !== null && frames[i]!.box === null).map((f) => f.frame));
    // The performer is looked at where the marks are made, else, where the card or the empty
    // set is there, in the midst of where it is seen.
    let lookFrame = marks.frame;
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
    if (performerMark === undefined && (atMarks?.box == null || atCard)) {
      const there = frameWithPerformer(frames);
      if (there === null) atMarks = atMarks === null ? null : { ...atMarks, box: null, performer: null };
      else {
        lookFrame = there;
        const c = toCodedRgb(await reader.frame(there)),
          s = shrink(c, factor);
        atMarks = lookAt(c, s, model, factor, near, hasAlpha, bare?.mask(s, there));
      }
    }
    const performer = performerAt(marks, atMarks, factor);
    // Down in the picture is where feet are.
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
    const linear =
      atMarks === null
        ? null
        : codedToLinear(
            { ...atMarks.coded, channels: 3, data: atMarks.coded.data.subarray(0, widthPx * heightPx * 3) },
            colour.transfer,
            createPicture(widthPx, heightPx, 3),
          );
    const keyed =
      options.light ??
      (shadowMarked ? null : cardLight) ??
      takeLight(linear, view, marks, atMarks, factor, performer, decode);
    const exposure = card === null ? undefined : exposureOfCard(card, keyed);
    const light: Light = exposure === undefined ? keyed : { ...keyed, exposureStops: exposure };
    const span: [number, number] = [frames[0]?.frame ?? 0, frames[frames.length - 1]?.frame ?? 0];
    const over = (
      values: readonly number[],
      unit: Measure['unit'],
      how: string,
      none: string,
      help: string,
      p = 0.5,
      floor = 0,
    ): Measure => {
      if (values.length === 0) return notMeasurable(unit, none, help);
      const s = [...values].sort((a, b) => a - b);
      const v = s[Math.round(p * (s.length - 1))]!;
      const spread =
        1.4826 * [...values].map((q) => Math.abs(q - s[s.length >> 1]!)).sort((a, b) => a - b)[s.length >> 1]!;
      return measured(v, unit, Math.max(floor, (1.25 * spread) / Math.sqrt(values.length)), how, span);
    };
    const noScreen =
      behind.kind === 'none'
        ? 'no screen was found'
        : behind.kind === 'alpha'
          ? 'the take has its own matte and needs no screen'
          : behind.kind !== 'screen'
            ? 'the take needs no screen'
            : 'too little plain screen is seen';
    const sig = frames.map((f) => f.sigmaPx).filter((v): v is number => v !== null);
    const sortedSig = [...sig].sort((a, b) => a - b);
    const sharpest = sortedSig.length > 0 ? sortedSig[Math.floor(0.1 * (sortedSig.length - 1))]! : 0;
    const poses = posesOf(marks);
    const face = facesOf(marks).length === 0 ? null : await turnOfFaceOrNote(reader, marks, notes);
    const eyeline = marks.marks.find((m) => m.kind === 'eyeline');
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
      evennessStops: over(
        readings.map((r) => r.evenness),
        'stop',
        "5 to 95 % of the screen's luminance over a grid",
        noScreen,
        HELP_SCREEN,
        0.5,
        0.03,
      ),
      screenNoise: over(
        readings.map((r) => r.noise),
        'ratio',
        'neighbouring screen pixels, share of the coded range',
        noScreen,
        HELP_SCREEN,
        0.5,
        0.0005,
      ),
      screenClipped: over(
        readings.map((r) => r.clipped),
        'ratio',
        'screen pixels at the top of the range',
        noScreen,
        HELP_SCREEN,
        0.9,
        0.001,
      ),
      spill: over(
        readings
          .filter((r) => !carded.has(r.frame))
          .map((r) => r.spill)
          .filter((v): v is number => v !== null),
        'ratio',
        'screen colour in excess on the performer, relative to brightness',
        noScreen,
        HELP_SCREEN,
        0.5,
        0.005,
      ),
      clipped: over(
        readings.filter((r) => !carded.has(r.frame)).map((r) => r.performerClipped),
        'ratio',
        'performer pixels at the top of the range',
        noScreen,
        HELP_SCREEN,
        0.9,
        0.001,
      ),
      sharpness: over(
        sig,
        'px',
        'sharpest edges of the performer, by re-blurring',
        'no performer with enough detail was found',
        "the performer's ground and top in one frame",
        0.5,
        0.05,
      ),
      motionBlur:
        sig.length < 5
          ? notMeasurable('px', 'too few frames to tell motion from focus', 'a longer take')
          : over(
              sig.map((s) => Math.sqrt(Math.max(0, 12 * (s * s - sharpest * sharpest)))),
              'px',
              'blur beyond the sharpest frames',
              '',
              '',
              0.9,
              0.2,
            ),
      eyelineDeg:
        eyeline?.kind === 'eyeline'
          ? measured(
              (Math.atan2(-(eyeline.to[1] - eyeline.from[1]), eyeline.to[0] - eyeline.from[0]) * 180) / Math.PI,
              'deg',
              3,
              'eyeline mark',
              [eyeline.frame ?? marks.frame, eyeline.frame ?? marks.frame],
            )
          : notMeasurable('deg', 'no eyeline is marked on the take', 'an eyeline: from the eyes to where they look'),
      notes,
    };
  } finally {
    await reader.close();
  }
}

/** Stir at the marked part of the performer, else over the whole of it as it was found; null where neither is there. */
async function stirOfTake(
  reader: VideoReader,
  marks: MarksFile,
  frames: readonly TakeFrame[],
  performer: TakeMeasures['performer'],
): Promise<TakeMeasures['stir'] | null> {
  const { frameCount, rate } = reader.info,
    span = { in: 0, out: frameCount };
  const upright =
    performer === null
      ? []
      : [
          {
            kind: 'upright' as const,
            frame: marks.frame,
            foot: [...performer.ground] as [number, number],
            top: [...performer.top] as [number, number],
          },
        ];
  const withHeight: MarksFile = { ...marks, marks: [...upright, ...marks.marks] };
  const marked = await stirOfPlate(readerLumaSource(reader), withHeight, rate, span);
  if (marked !== undefined) return { stir: marked, marked: true };
  const near = [...frames]
    .filter((f) => f.box !== null)
    .sort((a, b) => Math.abs(a.frame - marks.frame) - Math.abs(b.frame - marks.frame))[0];
  if (near === undefined) return null;
  const b = near.box!,
    cx = (b.x0 + b.x1) / 2,
    cy = (b.y0 + b.y1) / 2;
  const polygon = Array.from({ length: 16 }, (_, i): [number, number] => [
    cx + 0.5 * (b.x1 - b.x0) * Math.cos((i * Math.PI) / 8),
    cy + 0.5 * (b.y1 - b.y0) * Math.sin((i * Math.PI) / 8),
  ]);
  const found = await stirOfPlate(
    readerLumaSource(reader),
    { ...withHeight, marks: [...withHeight.marks, { kind: 'body', frame: near.frame, polygon }] },
    rate,
    span,
  );
  return found === undefined ? null : { stir: found, marked: false };
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
