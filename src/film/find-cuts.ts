/**
 * The scan: streams a film's frames once and says where its shots are. Memory does not grow with the film but for the
 * list of shots. It can be cancelled, and gone on with from a saved state.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import type { VideoFrame } from '../media/types.js';
import { CutDetector, type CutDetectorState } from './cut-detector.js';
import { LetterboxFinder } from './letterbox.js';
import { shotsOf } from './shot-events.js';
import { SMALL_H, SMALL_W, smallFrame, SMALL_LENGTH } from './small-frame.js';
import type { CutList } from './types.js';

/** Frames between two looks for bars. */
const LETTERBOX_EVERY = 25;

/** What the scan reads: `VideoReader` has this shape. */
export interface FrameSource {
  readonly info: { readonly rate: Rate; readonly frameCount: number };
  frames(from?: number, to?: number): AsyncGenerator<VideoFrame>;
  /** Frames met so far that were damaged or lost, where the source tells. */
  readonly damagedFrames?: ReadonlySet<number>;
  /** The same frames made small on the way, where the source can; `whole` gives the full one. */
  reducedFrames?(
    size: { readonly widthPx: number; readonly heightPx: number },
    from?: number,
    to?: number,
  ): AsyncGenerator<VideoFrame & { whole(): VideoFrame | null }>;
}

/** Frames as small as the scan needs them; from a source that can't reduce, in full. */
export async function* scanFrames(
  source: FrameSource,
  from: number,
  to = Infinity,
): AsyncGenerator<VideoFrame & { whole(): VideoFrame | null }> {
  if (source.reducedFrames !== undefined)
    yield* source.reducedFrames({ widthPx: SMALL_W, heightPx: SMALL_H }, from, to);
  else for await (const frame of source.frames(from, to)) yield { ...frame, whole: () => frame };
}

/** A saved scan of another version can't be gone on with. */
export const SCAN_STATE_VERSION = 3;

/** Plain JSON; hand it back as `resume` to go on where the scan stopped. */
export interface ScanState {
  readonly version: typeof SCAN_STATE_VERSION;
  /** Frames scanned. */
  readonly done: number;
  readonly detector: CutDetectorState;
  readonly letterbox: { readonly rows: readonly number[]; readonly columns: readonly number[] } | null;
  /** Damaged frames among those done. */
  readonly damaged?: readonly number[];
}

/** How a film is scanned; `resume`: the state that a scan broken off was in. */
export interface ScanOptions {
  readonly onProgress?: (done: number, total: number) => void;
  readonly signal?: AbortSignal;
  readonly resume?: ScanState | null;
  /** Called every `saveEvery` frames (default 2000) with a state to keep. */
  readonly onState?: (state: ScanState) => void | Promise<void>;
  readonly saveEvery?: number;
}

/**
 * Finds the shots of a film. Throws `PW-FILM-CANCELLED` (detail.state holds the state to resume from) on abort, and
 * `PW-FILM-STATE` where the state given is of another version.
 */
export async function findCuts(source: FrameSource, options: ScanOptions = {}): Promise<CutList> {
  const resume = options.resume ?? null;
  if (resume !== null && resume.version !== SCAN_STATE_VERSION) {
    throw new PlatewrightError(
      'PW-FILM-STATE',
      `the saved scan is of version ${String(resume.version)} and this program reads ` +
        `version ${SCAN_STATE_VERSION}; scan the film anew`,
      { kind: 'input' },
    );
  }
  const detector = resume === null ? new CutDetector() : CutDetector.restore(resume.detector);
  const bars = LetterboxFinder.restore(resume?.letterbox ?? null);
  const saveEvery = options.saveEvery ?? 2000;
  const small = new Uint16Array(SMALL_LENGTH);
  const damagedSoFar = (): readonly number[] =>
    [...new Set([...(resume?.damaged ?? []), ...(source.damagedFrames ?? [])])].sort((a, b) => a - b);
  const state = (): ScanState => {
    const damaged = damagedSoFar();
    return {
      version: SCAN_STATE_VERSION,
      done: detector.frames,
      detector: detector.save(),
      letterbox: bars.save(),
      ...(damaged.length === 0 ? {} : { damaged }),
    };
  };
  const stop = (): void => {
    if (options.signal?.aborted)
      throw new PlatewrightError(
        'PW-FILM-CANCELLED',
        `the scan was stopped after ${detector.frames} frames; it can go on from there`,
        { kind: 'finding', detail: { state: state() } },
      );
  };
  stop();
  for await (const frame of scanFrames(source, detector.frames)) {
    const whole = detector.frames % LETTERBOX_EVERY === 0 ? frame.whole() : null;
    if (whole !== null) bars.add(whole);
    detector.push(smallFrame(frame, small));
    const done = detector.frames;
    if (done % 24 === 0) options.onProgress?.(done, Math.max(done, source.info.frameCount));
    if (options.onState !== undefined && done % saveEvery === 0) await options.onState(state());
    stop();
  }
  const events = detector.finish();
  const frames = detector.frames;
  options.onProgress?.(frames, frames);
  const letterbox = bars.result(),
    damaged = damagedSoFar();
  return {
    rate: `${source.info.rate.num}/${source.info.rate.den}`,
    frames,
    shots: shotsOf(events, frames),
    ...(damaged.length === 0 ? {} : { damaged }),
    ...(letterbox === undefined ? {} : { letterbox }),
  };
}

/** What a person is told of damaged frames in a stretch of a film; null where there are none. */
export function damageInWords(
  damaged: readonly number[] | undefined,
  span: { readonly in: number; readonly out: number },
): string | null {
  const here = (damaged ?? []).filter((n) => n >= span.in && n < span.out);
  if (here.length === 0) return null;
  return (
    `${here.length} of ${span.out - span.in} frames ${here.length === 1 ? 'is' : 'are'} damaged in the film's file ` +
    `(the first is frame ${here[0]} of the film): copy it again from its source, or pick around them`
  );
}
