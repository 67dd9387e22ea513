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
import { solveView } from './view.js';
import { groundDistance, uprightHeight, viewCamera } from './view-derived.js';
import { uprightEdges, type Avoided } from './view-lines.js';
import { MARK_NOISE } from './view-observations.js';
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

/** View at the marks' frame from an open reader. Throws `PW-VIEW-…`. */
export async function viewOf(
  reader: Reader,
  marks: MarksFile,
  options: MeasureOptions,
  camera: CameraMove | undefined,
): Promise<View> {
  const { widthPx, heightPx, lens } = reader.info;
  const fileLens = lens ?? options.fileLens;
  const alone = (): View => solveView(marks, { widthPx, heightPx, camera, fileLens });
  if (options.lines === false) return alone();
  const luma = lumaPlane(await reader.frame(marks.frame));
  const edges = uprightEdges(
    luma,
    widthPx,
    heightPx,
    notTheSet(marks, barsOf([luma], widthPx, heightPx), widthPx, heightPx),
  );
  if (edges.observations.length === 0) return alone();
  const view = solveView(marks, { widthPx, heightPx, camera, fileLens, extra: edges.observations });
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
): Promise<View | null> {
  try {
    return await viewOf(reader, marks, options, camera);
  } catch (error) {
    if (error instanceof PlatewrightError && error.code.startsWith('PW-VIEW-')) return null;
    throw error;
  }
}
