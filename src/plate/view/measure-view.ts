/**
 * The view of a clip from its marks: solved with what the camera's own move tells of
 * the lens, where that agrees with the marks.
 */
import type { VideoReader as Reader } from '../../media/video-reader.js';
import { lumaPlane } from '../../media/luma.js';
import { PlatewrightError } from '../../core/errors.js';
import { framesPerSecond } from '../../core/rational.js';
import { horizonLine } from '../../geometry/camera.js';
import { barsOf, type Bars } from '../bars.js';
import type { MarksFile } from '../marks/marks.js';
import { standsOnGround } from '../marks/seat.js';
import type { CameraMove, View } from '../types.js';
import type { GroundLooks } from './ground-looks.js';
import { looksOverGround } from '../travel/travel-looks.js';
import { piecesOf, type Pieces } from '../travel/travel-pieces.js';
import { solveView, type ViewOptions } from './view.js';
import { groundDistance, uprightHeight, viewCamera } from './view-derived.js';
import { uprightEdges, type Avoided } from './view-lines.js';
import { MARK_NOISE, TELLING, type ViewObservation } from './view-observations.js';
import type { MeasureOptions } from '../measure-options.js';
import { withReader } from '../with-reader.js';
import { cameraOf, hasPane } from '../camera/measure-camera.js';

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
          : standsOnGround(m, marks) || m.kind === 'performer'
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

/** Seconds of a loose file over which a pan is looked for. */
const LOOSE_SECONDS = 20;

/** The camera's move round the marks of a loose file: all frames up to `LOOSE_SECONDS`, and those that carry marks. */
export async function cameraFor(
  reader: Reader,
  marks: MarksFile,
  options: MeasureOptions,
): Promise<CameraMove | undefined> {
  if (marks.focalPx !== undefined && marks.marks.every((m) => (m.frame ?? marks.frame) === marks.frame))
    return undefined;
  const frames = marks.marks.map((m) => m.frame ?? marks.frame);
  const first = Math.min(marks.frame, ...frames),
    last = Math.max(marks.frame, ...frames);
  const most = Math.round(LOOSE_SECONDS * framesPerSecond(reader.info.rate));
  const from = reader.info.frameCount <= most ? 0 : Math.max(0, first - Math.floor(most / 4));
  const span = { in: from, out: Math.min(reader.info.frameCount, Math.max(last + 1, from + most)) };
  return cameraOf(reader, options, span, undefined, undefined, hasPane(marks));
}

/**
 * View at the marks' frame from an open reader. Throws `PW-VIEW-…`.
 * @param pieces of a camera that travels, null to leave its way out
 */
export async function viewOf(
  reader: Reader,
  marks: MarksFile,
  options: MeasureOptions,
  camera: CameraMove | undefined,
  pieces: Pieces | null = piecesOf(reader, marks, options, camera),
): Promise<View> {
  const { widthPx, heightPx, lens } = reader.info;
  const given = { widthPx, heightPx, camera, fileLens: lens ?? options.fileLens };
  const own = await viewOfFrame(reader, marks, options, given);
  return pieces === null ? own.view : overTheWay(own, marks, given, pieces);
}

type Given = Pick<ViewOptions, 'widthPx' | 'heightPx' | 'camera' | 'fileLens'>;
interface OwnView {
  readonly view: View;
  /** Upright edges that were believed. */
  readonly extra: readonly ViewObservation[];
  /** What is said of them. */
  readonly said: readonly string[];
}

/** Rounds of pieces and marks: each begins where the one before came to. */
const ROUNDS = 2;

/** The view solved anew with what the camera's way over the ground tells, and with the marks of other frames. */
async function overTheWay(
  { view, extra, said }: OwnView,
  marks: MarksFile,
  given: Given,
  pieces: Pieces,
): Promise<View> {
  const { span } = pieces.request;
  if (marks.frame < span.in || marks.frame >= span.out) return view;
  const telling = marks.marks.filter((m) => TELLING.has(m.kind));
  const frames = [...new Set(telling.map((m) => m.frame ?? marks.frame))].filter((f) => f !== marks.frame);
  let best = view;
  let told: GroundLooks | null = null;
  try {
    const tracked = await pieces.tracked();
    for (let round = 0; round < ROUNDS; round++) {
      const looks = looksOverGround(pieces.size, { view: best, ...pieces.request }, tracked, frames, round > 0);
      if (looks === null) break;
      const before = best;
      told = looks;
      best = solveView(marks, { ...given, extra, looks, from: before });
      if (settled(before, best)) break;
    }
  } catch (error) {
    if (!(error instanceof PlatewrightError)) throw error;
    return { ...view, notes: [...view.notes, `the camera's way tells nothing of the view: ${error.message}`] };
  }
  return told === null ? view : { ...best, notes: [...best.notes, ...said, inWords(told)] };
}

/** Whether a round moved the view by so little that the pieces would be read alike again (own choice). */
const settled = (a: View, b: View): boolean =>
  Math.abs(Math.log(a.focalPx.value! / b.focalPx.value!)) < 0.01 && Math.abs(a.tiltDeg.value! - b.tiltDeg.value!) < 0.5;

function inWords({ looks, lensTold, groundPieces, pieces }: GroundLooks): string {
  const what = [
    ...(lensTold ? ['the focal length'] : []),
    ...(groundPieces > 0 ? ['how the ground lies'] : []),
    ...(looks.length > 0 ? [`how frame ${looks.map((l) => l.frame).join(', ')} looks at it`] : []),
  ];
  return `the camera's way tells ${what.join(', ')} (${pieces} pieces of the set, ${groundPieces} on the ground)`;
}

/** The view of the marks' own frame. */
async function viewOfFrame(reader: Reader, marks: MarksFile, options: MeasureOptions, given: Given): Promise<OwnView> {
  const { widthPx, heightPx } = given;
  const alone = (): View => solveView(marks, given);
  if (options.lines === false) return { view: alone(), extra: [], said: [] };
  const luma = lumaPlane(await reader.frame(marks.frame));
  const edges = uprightEdges(
    luma,
    widthPx,
    heightPx,
    notTheSet(marks, barsOf([luma], widthPx, heightPx), widthPx, heightPx),
  );
  if (edges.observations.length === 0) return { view: alone(), extra: [], said: [] };
  const view = solveView(marks, { ...given, extra: edges.observations });
  const plain = marks.marks.length === 0 ? null : tryView(alone);
  // Edges that pull the view away from what the marks say by more than both allow are no uprights.
  if (plain !== null && !agree(plain, view))
    return {
      view: {
        ...plain,
        notes: [...plain.notes, 'upright edges in the picture disagree with the marks and were left out'],
      },
      extra: [],
      said: [],
    };
  const said = [`${edges.segments.length} upright edges of the picture were used beside the marks`];
  return { view: { ...view, notes: [...view.notes, ...said] }, extra: edges.observations, said };
}

function tryView(fn: () => View): View | null {
  try {
    return fn();
  } catch {
    return null;
  }
}

/**
 * Of three numbers one is off by more than 2.5 sds on 4 % of honest plates, by 3 on .8 % (normal distribution): marks
 * that are badly off by chance are what the picture's edges mend.
 */
const DISAGREE_SD = 3;

function agree(a: View, b: View): boolean {
  const near = (
    p: { value: number | null; sd: number | null },
    q: { value: number | null; sd: number | null },
  ): boolean => p.value === null || q.value === null || Math.abs(p.value - q.value) <= DISAGREE_SD * p.sd!;
  return near(a.tiltDeg, b.tiltDeg) && near(a.rollDeg, b.rollDeg) && near(a.focalPx, b.focalPx);
}

/** An edge within a marked upright is its own side where it runs along this share of its height. */
const POST_SIDE = 0.6;

/** Outlines of people, of what is to be erased and of black bars at the sides: their edges say nothing of the set. */
function notTheSet(marks: MarksFile, bars: Bars | null, widthPx: number, heightPx: number): Avoided[] {
  const out: Avoided[] = [];
  // Edges lie on the border of a bar: three pixels of the picture go with it.
  if (bars !== null && bars.left > 0)
    for (const [a, b] of [
      [-1, bars.left + 3],
      [widthPx - bars.right - 3, widthPx + 1],
    ] as const)
      out.push({
        polygon: [
          [a, -1],
          [b, -1],
          [b, heightPx + 1],
          [a, heightPx + 1],
        ],
      });
  for (const m of marks.marks) {
    if ((m.frame ?? marks.frame) !== marks.frame) continue;
    if (m.kind === 'erase') out.push({ polygon: m.polygon });
    const u =
      m.kind === 'upright' ? ([m.foot, m.top] as const) : m.kind === 'performer' ? ([m.ground, m.top] as const) : null;
    if (u === null) continue;
    const h = Math.abs(u[0][1] - u[1][1]);
    out.push({
      polygon: [
        [u[1][0] - 0.35 * h, u[1][1] - 0.05 * h],
        [u[1][0] + 0.35 * h, u[1][1] - 0.05 * h],
        [u[0][0] + 0.35 * h, u[0][1] + 0.05 * h],
        [u[0][0] - 0.35 * h, u[0][1] + 0.05 * h],
      ],
      // What runs along most of an upright is a post's own side; a person shows no such edge.
      ...(m.kind === 'upright' && m.heightSd === undefined ? { unlessPx: POST_SIDE * h } : {}),
    });
  }
  return out;
}

/** As `viewOf`, but null where no mark tells of the view. */
export async function viewOrNull(
  reader: Reader,
  marks: MarksFile,
  options: MeasureOptions,
  camera: CameraMove | undefined,
  pieces: Pieces | null = piecesOf(reader, marks, options, camera),
): Promise<View | null> {
  try {
    return await viewOf(reader, marks, options, camera, pieces);
  } catch (error) {
    if (error instanceof PlatewrightError && error.code.startsWith('PW-VIEW-')) return null;
    throw error;
  }
}
