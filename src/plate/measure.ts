/**
 * All measures of one plate in one place: opens the file, asks each measure for its part, hands back one document.
 * Parts that can't be had are absent, with the reason among the notes; nothing is invented.
 */
import type { VideoReader as Reader } from '../media/video-reader.js';
import { VideoReader } from '../media/video-reader.js';
import { lumaPlane } from '../media/luma.js';
import { toLinear } from '../media/convert.js';
import { PlatewrightError } from '../core/errors.js';
import { formatRate, framesPerSecond } from '../core/rational.js';
import { clonePicture, type Picture } from '../image/picture.js';
import { horizonLine } from '../geometry/camera.js';
import { filmRepeatsInWords, findRepeats, type Repeats } from '../film/repeated-frames.js';
import { barsOf, type Bars } from './bars.js';
import { measureCameraMove } from './camera-move.js';
import { heldMeasures } from './held-pictures.js';
import { measureLight } from './light.js';
import { findUprightShadows, type UprightShadows } from './light-upright-shadow.js';
import { lightOverShot, lightOverShotInWords, litAsUsual } from './light-over-shot.js';
import { measureLook } from './look.js';
import { checkMarks } from './check-marks.js';
import type { MarksFile, Point } from './marks.js';
import { enlargeMove, moveFactor, readerLumaSource } from './reader-luma-source.js';
import { measureRoom } from './room.js';
import { stirOfPlate } from './stir-of-plate.js';
import { measureTurn } from './turn.js';
import { facesOf, turnOfFace } from './turn-face.js';
import { carryOnSurface } from './ride-surface.js';
import { trackRegion, type RideCorrection } from './ride.js';
import { posesOf, turnFromPoses } from './turn-poses.js';
import { shutterBetween } from './shutter-between.js';
import { followFooting } from './footing.js';
import { measureTravel } from './travel.js';
import type { CameraMove, Light, Look, PlateMeasures, Quad, RideTrack, Travel, Turn, View } from './types.js';
import { solveView } from './view.js';
import { groundDistance, uprightHeight, viewCamera } from './view-derived.js';
import { uprightEdges } from './view-lines.js';
import { MARK_NOISE } from './view-observations.js';

export interface MeasureOptions {
  /** Use upright edges found in the picture beside the marks. Default true. */
  readonly lines?: boolean;
  /** Look for the camera's own move (a pan gives the focal length). Default true. */
  readonly camera?: boolean;
}

export interface ViewAnswer {
  readonly view: View;
  /** Two points of the horizon at the picture's left and right side. */
  readonly horizon: readonly [readonly [number, number], readonly [number, number]] | null;
  /** Where the marked things stand: distance along the ground and height. */
  readonly places: readonly {
    readonly kind: string;
    readonly ground: readonly [number, number];
    readonly distance: number | null;
    readonly distanceSd: number | null;
    readonly height: number | null;
    readonly heightSd: number | null;
  }[];
}

async function withReader<T>(file: string, marks: MarksFile, fn: (reader: Reader) => Promise<T>): Promise<T> {
  const reader = await VideoReader.open(file);
  try {
    checkMarks(marks, reader.info.widthPx, reader.info.heightPx, reader.info.frameCount, 'the marks file');
    return await fn(reader);
  } finally {
    await reader.close();
  }
}

/** One frame as scene-linear RGB. */
export async function linearFrame(reader: Reader, frame: number): Promise<Picture> {
  return clonePicture(toLinear(await reader.frame(frame)));
}

/** The view of one file at its marks' frame, and what follows from it. */
export async function measureView(file: string, marks: MarksFile, options: MeasureOptions = {}): Promise<ViewAnswer> {
  return withReader(file, marks, async (reader) => {
    const view = await viewOf(reader, marks, options, await cameraFor(reader, marks, options));
    const places: ViewAnswer['places'][number][] = [];
    const sdPx = MARK_NOISE.pointPx(view.widthPx);
    for (const m of marks.marks) {
      if ((m.frame ?? marks.frame) !== marks.frame) continue;
      const pair =
        m.kind === 'upright'
          ? ([m.foot, m.top] as const)
          : m.kind === 'stand' || m.kind === 'performer'
            ? ([m.ground, m.top] as const)
            : null;
      if (pair === null) continue;
      const d = groundDistance(view, pair[0], sdPx),
        h = uprightHeight(view, pair[0], pair[1], sdPx);
      places.push({
        kind: m.kind,
        ground: pair[0],
        distance: d?.value ?? null,
        distanceSd: d?.sd ?? null,
        height: h?.value ?? null,
        heightSd: h?.sd ?? null,
      });
    }
    const [a, b, c] = horizonLine(viewCamera(view));
    const horizon =
      Math.abs(b) < 1e-9
        ? null
        : ([
            [0, -c / b],
            [view.widthPx, -(c + a * view.widthPx) / b],
          ] as const);
    return { view, horizon, places };
  });
}

/** The light of one file at its marks' frame. */
export async function measureLightOf(file: string, marks: MarksFile, options: MeasureOptions = {}): Promise<Light> {
  return withReader(file, marks, async (reader) => {
    const view = await viewOrNull(reader, marks, options, await cameraFor(reader, marks, options));
    const linear = await linearFrame(reader, marks.frame);
    return measureLight(linear, view, marks, { found: foundShadows(linear, view, marks) });
  });
}

/** Shadows of marked uprights, looked for where no shadow is marked on the marks' frame. */
function foundShadows(linear: Picture, view: View | null, marks: MarksFile): UprightShadows | null {
  return view === null || marks.marks.some((m) => m.kind === 'shadow' && (m.frame ?? marks.frame) === marks.frame)
    ? null
    : findUprightShadows(linear, view, marks);
}

/** Seconds of a loose file over which a pan is looked for. */
const LOOSE_SECONDS = 20;

/** The camera's move round the marks of a loose file: all frames up to `LOOSE_SECONDS`, and those that carry marks. */
async function cameraFor(reader: Reader, marks: MarksFile, options: MeasureOptions): Promise<CameraMove | undefined> {
  if (marks.focalPx !== undefined && marks.marks.every((m) => (m.frame ?? marks.frame) === marks.frame))
    return undefined;
  const frames = marks.marks.map((m) => m.frame ?? marks.frame);
  const first = Math.min(marks.frame, ...frames),
    last = Math.max(marks.frame, ...frames);
  const most = Math.round(LOOSE_SECONDS * framesPerSecond(reader.info.rate));
  const from = reader.info.frameCount <= most ? 0 : Math.max(0, first - Math.floor(most / 4));
  return cameraOf(reader, options, {
    in: from,
    out: Math.min(reader.info.frameCount, Math.max(last + 1, from + most)),
  });
}

/** View at the marks' frame from an open reader. Throws `PW-VIEW-…`. */
export async function viewOf(
  reader: Reader,
  marks: MarksFile,
  options: MeasureOptions,
  camera: CameraMove | undefined,
): Promise<View> {
  const { widthPx, heightPx } = reader.info;
  const alone = (): View => solveView(marks, { widthPx, heightPx, camera });
  if (options.lines === false) return alone();
  const luma = lumaPlane(await reader.frame(marks.frame));
  const edges = uprightEdges(
    luma,
    widthPx,
    heightPx,
    notTheSet(marks, barsOf([luma], widthPx, heightPx), widthPx, heightPx),
  );
  if (edges.observations.length === 0) return alone();
  const view = solveView(marks, { widthPx, heightPx, camera, extra: edges.observations });
  const plain = marks.marks.length === 0 ? null : tryView(alone);
  // Edges that pull the view away from what the marks say by more than both allow are no uprights.
  if (plain !== null && !agree(plain, view))
    return {
      ...plain,
      notes: [...plain.notes, 'upright edges in the picture disagree with the marks and were left out'],
    };
  return {
    ...view,
    notes: [...view.notes, `${edges.segments.length} upright edges of the picture were used beside the marks`],
  };
}

function tryView(fn: () => View): View | null {
  try {
    return fn();
  } catch {
    return null;
  }
}

function agree(a: View, b: View): boolean {
  const near = (
    p: { value: number | null; sd: number | null },
    q: { value: number | null; sd: number | null },
  ): boolean => p.value === null || q.value === null || Math.abs(p.value - q.value) <= 2.5 * p.sd!;
  return near(a.tiltDeg, b.tiltDeg) && near(a.rollDeg, b.rollDeg) && near(a.focalPx, b.focalPx);
}

/** Outlines of people, of what is to be erased and of black bars at the sides: their edges say nothing of the set. */
function notTheSet(marks: MarksFile, bars: Bars | null, widthPx: number, heightPx: number): Point[][] {
  const out: Point[][] = [];
  // Edges lie on the border of a bar: three pixels of the picture go with it.
  if (bars !== null && bars.left > 0)
    for (const [a, b] of [
      [-1, bars.left + 3],
      [widthPx - bars.right - 3, widthPx + 1],
    ] as const)
      out.push([
        [a, -1],
        [b, -1],
        [b, heightPx + 1],
        [a, heightPx + 1],
      ]);
  for (const m of marks.marks) {
    if ((m.frame ?? marks.frame) !== marks.frame) continue;
    if (m.kind === 'erase') out.push([...m.polygon]);
    const u =
      m.kind === 'upright' ? ([m.foot, m.top] as const) : m.kind === 'performer' ? ([m.ground, m.top] as const) : null;
    if (u === null) continue;
    const h = Math.abs(u[0][1] - u[1][1]);
    out.push([
      [u[1][0] - 0.35 * h, u[1][1] - 0.05 * h],
      [u[1][0] + 0.35 * h, u[1][1] - 0.05 * h],
      [u[0][0] + 0.35 * h, u[0][1] + 0.05 * h],
      [u[0][0] - 0.35 * h, u[0][1] + 0.05 * h],
    ]);
  }
  return out;
}

/** As `viewOf`, but null where no mark tells of the view. */
export async function viewOrNull(
  reader: Reader,
  marks: MarksFile,
  options: MeasureOptions,
  camera: CameraMove | undefined,
): Promise<View | null> {
  try {
    return await viewOf(reader, marks, options, camera);
  } catch (error) {
    if (error instanceof PlatewrightError && error.code.startsWith('PW-VIEW-')) return null;
    throw error;
  }
}

export interface PlateOptions extends MeasureOptions {
  /** Frames of the plate; default the whole file. */
  readonly span?: { readonly in: number; readonly out: number };
  readonly onProgress?: (done: number, total: number) => void;
  readonly signal?: AbortSignal;
  /** Follow the carried region; a verdict does not need it. Default true. */
  readonly ride?: boolean;
  /** Solve the way of a camera that travels; a verdict does not need it. Default true. */
  readonly travel?: boolean;
}

/** Everything that marks and picture give of one plate. Throws the media and marks errors. */
export async function measurePlate(file: string, marks: MarksFile, options: PlateOptions = {}): Promise<PlateMeasures> {
  return withReader(file, marks, async (reader) => {
    const { widthPx, heightPx, rate, frameCount } = reader.info;
    const span = options.span ?? { in: 0, out: frameCount };
    const notes: string[] = [];
    const part =
      (share: number, of: number) =>
      (done: number, total: number): void => {
        options.signal?.throwIfAborted();
        options.onProgress?.(Math.round(1000 * (share + (of * done) / Math.max(1, total))), 1000);
      };
    const repeats = await repeatsOf(reader, span, options.signal),
      held = repeats?.held ?? [];
    if (repeats !== null)
      notes.push(`pictures: ${filmRepeatsInWords(repeats, span.out - span.in, framesPerSecond(rate))}`);
    const { camera } = heldMeasures(
      { camera: await attempt(notes, 'camera', () => cameraOf(reader, options, span, part(0, 0.5))) },
      held,
    );
    options.signal?.throwIfAborted();
    const changes = await lightOverShot(reader, camera, span, options.signal);
    if (changes !== null) notes.push(`brightness: ${lightOverShotInWords(changes)}`);
    const view = await viewOrNull(reader, marks, options, camera);
    if (view === null)
      notes.push(
        'view: no mark tells how the camera looks; mark an upright of known height, ground lines or the horizon',
      );
    const travel =
      options.travel === false
        ? undefined
        : await attempt(notes, 'travel', () => travelOf(reader, view, camera, span, options.signal));
    options.signal?.throwIfAborted();
    const linear = await linearFrame(reader, marks.frame),
      found = foundShadows(linear, view, marks);
    const light = measureLight(linear, view, marks, { found });
    const ride =
      options.ride === false
        ? undefined
        : await attempt(notes, 'ride', () => rideOf(reader, marks, span, part(0.5, 0.4)));
    options.signal?.throwIfAborted();
    const footing =
      options.ride === false || ride !== undefined || !travels(camera)
        ? undefined
        : await attempt(notes, 'footing', () => followFooting(readerLumaSource(reader), marks, span, options.signal));
    options.signal?.throwIfAborted();
    const turn = await attempt(notes, 'turn', () => turnOf(reader, marks, span, options.signal));
    options.signal?.throwIfAborted();
    const stir = await attempt(notes, 'stir', () =>
      stirOfPlate(readerLumaSource(reader), marks, rate, span, options.signal),
    );
    const seen = await attempt(notes, 'look', () =>
      measureLook(reader, {
        from: span.in,
        to: span.out,
        ...(changes === null ? {} : { usual: (n: number) => litAsUsual(changes, n, span) }),
        ...(options.signal === undefined ? {} : { signal: options.signal }),
      }),
    );
    const look =
      seen === undefined
        ? undefined
        : await attempt(notes, 'look', () => withShutter(seen, reader, camera, options.signal));
    const room = measureRoom({ marks, widthPx, heightPx, span, view: view ?? undefined, camera, ride, turn });
    options.onProgress?.(1000, 1000);
    const byFrame = heldMeasures({ travel, ride, footing, turn }, held);
    return {
      file,
      span,
      rate: formatRate(rate),
      widthPx,
      heightPx,
      ...(camera === undefined ? {} : { camera }),
      ...(view === null ? {} : { view }),
      ...(byFrame.travel === undefined ? {} : { travel: byFrame.travel }),
      ...(byFrame.ride === undefined ? {} : { ride: byFrame.ride }),
      ...(byFrame.footing === undefined ? {} : { footing: byFrame.footing }),
      light,
      ...(found === null ? {} : { foundShadows: found.shadows }),
      ...(byFrame.turn === undefined ? {} : { turn: byFrame.turn }),
      ...(stir === undefined ? {} : { stir }),
      ...(look === undefined ? {} : { look }),
      room,
      ...(changes === null ? {} : { lightOverShot: changes }),
      ...(repeats === null ? {} : { repeats }),
      ...(notes.length === 0 ? {} : { notes }),
    };
  });
}

/** Whether the camera moves as no turn about a fixed point explains. */
function travels(camera: CameraMove | undefined): camera is CameraMove {
  return camera !== undefined && camera.move !== 'static' && camera.frames.every((f) => f.panDeg === null);
}

/** Where no straight edge told the shutter, texture that the camera swept may. */
async function withShutter(
  look: Look,
  reader: Reader,
  camera: CameraMove | undefined,
  signal: AbortSignal | undefined,
): Promise<Look> {
  if (look.motionBlur.shutterDeg.value !== null || camera === undefined || camera.move === 'static') return look;
  const shutterDeg = await shutterBetween(readerLumaSource(reader), camera, signal);
  return shutterDeg === null ? look : { ...look, motionBlur: { ...look.motionBlur, shutterDeg } };
}

/** A file of varying rate says itself which frames it repeats; of one of constant rate they are seen. */
async function repeatsOf(
  reader: Reader,
  span: { readonly in: number; readonly out: number },
  signal: AbortSignal | undefined,
): Promise<Repeats | null> {
  if (!reader.info.variableRate) return findRepeats(reader, span, signal);
  const held = (await reader.heldFrames()).filter((n) => n > span.in && n < span.out);
  return held.length === 0 ? null : { held };
}

/** A part that fails for a reason of its own leaves the others standing: its reason becomes a note. */
async function attempt<T>(notes: string[], name: string, fn: () => Promise<T | undefined>): Promise<T | undefined> {
  try {
    return await fn();
  } catch (error) {
    if (!(error instanceof PlatewrightError)) throw error;
    notes.push(`${name}: ${error.message}`);
    return undefined;
  }
}

/**
 * The camera's way over the ground, where it is no turn about a fixed point. Absent
 * where the camera stands still or only turns.
 */
async function travelOf(
  reader: Reader,
  view: View | null,
  camera: CameraMove | undefined,
  span: { in: number; out: number },
  signal: AbortSignal | undefined,
): Promise<Travel | undefined> {
  if (!travels(camera)) return undefined;
  if (view === null) {
    if (camera.move === 'handheld') return undefined;
    throw new PlatewrightError(
      'PW-TRAVEL-VIEW',
      "how the camera looks at the ground is not known, so its way over it can't be had; " +
        'mark an upright of known height and a pair of ground lines',
    );
  }
  return measureTravel(readerLumaSource(reader, moveFactor(reader.info.widthPx)), {
    view,
    camera,
    span,
    ...(signal === undefined ? {} : { signal }),
  });
}

/**
 * Yaw from a marked face, else from poses and the slide of the surface. Absent where
 * neither a face nor two poses are marked.
 */
async function turnOf(
  reader: Reader,
  marks: MarksFile,
  span: { in: number; out: number },
  signal: AbortSignal | undefined,
): Promise<Turn | undefined> {
  if (facesOf(marks).length > 0)
    return turnOfFace(readerLumaSource(reader), {
      marks,
      rate: reader.info.rate,
      span,
      ...(signal === undefined ? {} : { signal }),
    });
  if (new Set(posesOf(marks).map((p) => p.frame)).size < 2) return undefined;
  // Poses of a performer who only stands in the plate are wishes: there is nothing of it in the picture to be followed.
  if (!marks.marks.some((m) => m.kind === 'body' || m.kind === 'carry'))
    return turnFromPoses(posesOf(marks), reader.info.frameCount, reader.info.rate) ?? undefined;
  return measureTurn(readerLumaSource(reader), {
    marks,
    rate: reader.info.rate,
    ...(signal === undefined ? {} : { signal }),
  });
}

/**
 * The first carry mark's region followed; carry marks of other frames with four corners correct it there. Where it is
 * lost for good, it goes on with the body's surface.
 */
async function rideOf(
  reader: Reader,
  marks: MarksFile,
  span: { in: number; out: number },
  onProgress: (done: number, total: number) => void,
): Promise<RideTrack | undefined> {
  const carries = marks.marks.filter((m) => m.kind === 'carry');
  const first = carries.find((m) => inSpan(m.frame ?? marks.frame, span));
  if (first === undefined || first.kind !== 'carry') return undefined;
  const at = first.frame ?? marks.frame;
  const corrections: RideCorrection[] = [];
  for (const m of carries) {
    if (m.kind !== 'carry' || m === first || m.region.length !== 4 || first.region.length !== 4) continue;
    const frame = m.frame ?? marks.frame;
    if (frame !== at && inSpan(frame, span))
      corrections.push({ frame, corners: m.region.map((p) => [p[0], p[1]] as const) as unknown as Quad });
  }
  const source = readerLumaSource(reader),
    track = await trackRegion(source, { at, polygon: first.region, corrections, span, onProgress });
  return carryOnSurface(source, track, { polygon: first.region, anchors: [at, ...corrections.map((c) => c.frame)] });
}

function inSpan(frame: number, span: { in: number; out: number }): boolean {
  return frame >= span.in && frame < span.out;
}

/** The camera's own move, unless it is not wanted. Absent for a still. */
export async function cameraOf(
  reader: Reader,
  options: MeasureOptions,
  span: { in: number; out: number },
  onProgress?: (done: number, total: number) => void,
): Promise<CameraMove | undefined> {
  if (options.camera === false || span.out - span.in < 2) return undefined;
  const factor = moveFactor(reader.info.widthPx);
  const move = await measureCameraMove(readerLumaSource(reader, factor), {
    framesPerSecond: framesPerSecond(reader.info.rate),
    span,
    ...(onProgress === undefined ? {} : { onProgress }),
  });
  return enlargeMove(move, factor);
}
