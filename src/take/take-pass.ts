/**
 * One pass over a take: all frames for those that repeat, some thirty looked at closely (where the performer stands,
 * how sharp it is, how even and clean the screen behind it).
 */
import { decodeLight } from '../media/light-curves.js';
import { REPEAT_WIDTH, RepeatWatch, smallPicture } from '../film/repeated-frames.js';
import type { Picture } from '../image/picture.js';
import { toCodedRgb } from '../media/convert.js';
import type { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { paperShare } from './card/card-measures.js';
import { offScreenShare } from './find-performer.js';
import type { TakeFrame } from './measures.js';
import { withoutScreen } from './screen/no-screen.js';
import { findScreen, readScreen, readSpill, type ScreenModel } from './screen/screen.js';
import { clippedShare, lookAt, MASK_WIDTH, shrink, sigmaOf, type Look } from './take-look.js';
import type { TakeOptions } from './take-options.js';

/** What one frame tells of the screen and of the performer before it. */
export interface ScreenReading {
  readonly frame: number;
  readonly evenness: number;
  readonly noise: number;
  readonly clipped: number;
  readonly spill: number | null;
}

export interface TakePass {
  /** Take pixels to one of the small pictures that frames are looked at in. */
  readonly factor: number;
  /** The empty set or outlines that stand for a screen; null where there is a screen or a matte. */
  readonly bare: Awaited<ReturnType<typeof withoutScreen>>;
  readonly model: ScreenModel | null;
  readonly seen: readonly TakeFrame[];
  readonly readings: readonly ScreenReading[];
  /** Share of the performer at the top of the range by frame; of a take with a matte of its own none. */
  readonly clipped: readonly { readonly frame: number; readonly share: number }[];
  /** Share of white paper by frame: where the floor card may lie. */
  readonly paper: readonly { readonly frame: number; readonly share: number }[];
  /** The frame of the marks. */
  readonly atMarks: Look | null;
  /** Middle of the performer as marked, small picture's px. */
  readonly near: [number, number] | null;
  readonly watch: RepeatWatch;
}

/** Streams the take once. Throws the media errors. */
export async function passOver(reader: VideoReader, marks: MarksFile, options: TakeOptions): Promise<TakePass> {
  const { widthPx, heightPx, frameCount, colour, hasAlpha } = reader.info;
  const factor = Math.max(1, Math.ceil(widthPx / MASK_WIDTH));
  const samples = options.samples ?? 32;
  // A short take is not looked at more densely than every second frame.
  const stride = Math.max(frameCount >= 16 ? 2 : 1, Math.floor(frameCount / samples));
  const decode = (v: number): number => decodeLight(v, colour.transfer);
  const near = middleOfPerformer(marks, factor);
  const bare = hasAlpha ? null : await withoutScreen(reader, marks, factor);
  let model: ScreenModel | null = null;
  let coded: Picture | null = null;
  const seen: TakeFrame[] = [];
  const readings: ScreenReading[] = [];
  const clipped: { frame: number; share: number }[] = [];
  const paper: { frame: number; share: number }[] = [];
  let atMarks: Look | null = null;
  let taken = 0;
  let index = 0;
  const tinyWidth = Math.min(widthPx, REPEAT_WIDTH);
  const tinyHeight = Math.max(1, Math.round((tinyWidth * heightPx) / widthPx));
  const tiny = new Float32Array(tinyWidth * tinyHeight);
  const watch = new RepeatWatch(tiny.length);
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
        const away = hasAlpha || bare !== null ? 0 : offScreen(look, small);
        seen.push(frameOf(index, look, factor, sigma, away));
        if (!hasAlpha && look.performer !== null && taken % 3 === 0)
          clipped.push({ frame: index, share: clippedShare(coded, look, factor) });
        if (model !== null && taken % 3 === 0) {
          const r = readingOf({ index, small, look, model, decode });
          if (r !== null) readings.push(r);
        }
        taken++;
      }
    }
    options.onProgress?.(index + 1, frameCount);
  }
  return { factor, bare, model, seen, readings, clipped, paper, atMarks, near, watch };
}

function middleOfPerformer(marks: MarksFile, factor: number): [number, number] | null {
  const mark = marks.marks.find((m) => m.kind === 'performer' || m.kind === 'stand');
  return mark && (mark.kind === 'performer' || mark.kind === 'stand')
    ? [(mark.ground[0] + mark.top[0]) / 2 / factor, (mark.ground[1] + mark.top[1]) / 2 / factor]
    : null;
}

/** Where the performer stands on a frame, in the take's own pixels. */
function frameOf(frame: number, look: Look, factor: number, sigmaPx: number | null, offScreen: number): TakeFrame {
  const b = look.box;
  return {
    frame,
    box: b === null ? null : { x0: b.x0 * factor, y0: b.y0 * factor, x1: b.x1 * factor, y1: b.y1 * factor },
    touches: b === null ? [] : (['left', 'right', 'top', 'bottom'] as const).filter((e) => b.touches[e]),
    offScreen,
    sigmaPx,
  };
}

/** Share of the performer that stands before no screen. */
function offScreen(look: Look, small: Picture): number {
  return look.box === null || look.mask === null || look.performer === null
    ? 0
    : offScreenShare(look.mask, look.performer, small.width, small.height, Math.max(3, Math.round(small.width / 80)));
}

interface Seen {
  readonly index: number;
  readonly small: Picture;
  readonly look: Look;
  readonly model: ScreenModel;
  readonly decode: (v: number) => number;
}

/** Null where no performer or too little of the screen is seen. */
function readingOf({ index, small, look, model, decode }: Seen): ScreenReading | null {
  if (look.mask === null || look.performer === null) return null;
  const r = readScreen(small, model, look.mask, decode);
  if (r === null) return null;
  return {
    frame: index,
    evenness: r.evennessStops,
    noise: r.noise,
    clipped: r.clippedShare,
    spill: readSpill(small, model, look.performer, Math.max(2, Math.round(small.width / 160))),
  };
}
