/**
 * The two sides of a join from loose files: opens plate and take, measures what a recipe needs, and hands out pictures.
 * What can't be measured is absent and named in `notes`; the recipe then says what it leaves off.
 */
import { PlatewrightError } from '../core/errors.js';
import { formatRate, framesPerSecond } from '../core/rational.js';
import { clonePicture } from '../image/picture.js';
import { toLinear } from '../media/convert.js';
import type { VideoReader } from '../media/video-reader.js';
import { checkMarks } from '../plate/marks/check-marks.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { measureCameraMove } from '../plate/camera/camera-move.js';
import { heldMeasures } from '../plate/held-pictures.js';
import { measureLook } from '../plate/look/look.js';
import { measurePlate } from '../plate/measure.js';
import { trackRegion } from '../plate/ride/ride.js';
import { readerLumaSource } from '../plate/ride/reader-luma-source.js';
import type { PlateMeasures, RideTrack } from '../plate/types.js';
import { performerSpan } from '../take/card/card-frames.js';
import { measureTake, NO_SCREEN } from '../take/measure-take.js';
import type { TakeMeasures } from '../take/measures.js';
import { isLayered } from './ride/propose-layers.js';
import type { Side } from './proposal-input.js';

export interface PlateSide {
  readonly side: Side;
  readonly notes: readonly string[];
}
export interface TakeSide {
  readonly side: Side;
  readonly take: TakeMeasures;
  readonly notes: readonly string[];
}

/** Measures a plate as far as its marks allow. `span` defaults to the whole file. */
export async function measurePlateSide(
  file: string,
  reader: VideoReader,
  marks: MarksFile,
  span?: { readonly in: number; readonly out: number },
  onProgress?: (done: number, total: number) => void,
): Promise<PlateSide> {
  const { widthPx, heightPx, frameCount, rate } = reader.info;
  checkMarks(marks, widthPx, heightPx, frameCount, "the plate's marks file");
  const notes: string[] = [];
  const whole = span ?? { in: 0, out: frameCount };
  const measured = await measurePlate(file, marks, {
    span: whole,
    ...(onProgress === undefined ? {} : { onProgress }),
  });
  if (measured.view === undefined) notes.push("the plate's view could not be had from its marks");
  const camera =
    measured.camera ??
    (await attempt(notes, 'camera', () =>
      measureCameraMove(readerLumaSource(reader), {
        framesPerSecond: framesPerSecond(rate),
        span: whole,
        ...(measured.view?.focalPx.value == null ? {} : { focalPx: measured.view.focalPx.value }),
      }),
    ));
  const ride = measured.ride ?? (await attempt(notes, 'ride', () => followPlace(reader, marks, whole)));
  const look =
    measured.look ?? (await attempt(notes, 'look', () => measureLook(reader, { from: whole.in, to: whole.out })));
  const measures: PlateMeasures = heldMeasures(
    {
      ...measured,
      ...(camera === null ? {} : { camera }),
      ...(ride === null ? {} : { ride }),
      ...(look === null ? {} : { look }),
    },
    measured.repeats?.held ?? [],
  );
  return { side: { measures, marks, linear: async (n) => clonePicture(toLinear(await reader.frame(n))) }, notes };
}

/**
 * What the performer rides on, followed through the shot. Null where there is no carry mark, or where less than two
 * thirds of the frames could be followed. Ground about a stand mark is mostly too plain to follow; the camera's own
 * move tells more.
 */
async function followPlace(
  reader: VideoReader,
  marks: MarksFile,
  span: { readonly in: number; readonly out: number },
): Promise<RideTrack | null> {
  if (span.out - span.in < 2) return null;
  const places = marks.marks.flatMap((m): { frame: number; polygon: [number, number][] }[] => {
    const frame = ('frame' in m ? m.frame : undefined) ?? marks.frame;
    if (frame < span.in || frame >= span.out) return [];
    if (m.kind === 'carry') return [{ frame, polygon: m.region }];
    return [];
  });
  // Several carry marks mean that the thing ridden on turns or bends: the marks tell more than one of its faces would.
  if (places.length === 0 || marks.marks.filter((m) => m.kind === 'carry').length > 1) return null;
  const middle = places.reduce((a, b) =>
    Math.abs(b.frame - (span.in + span.out) / 2) < Math.abs(a.frame - (span.in + span.out) / 2) ? b : a,
  );
  const track = await trackRegion(readerLumaSource(reader), { at: middle.frame, polygon: middle.polygon, span });
  const seen = track.frames.filter((f) => f.visible).length;
  return seen * 3 >= track.frames.length * 2 ? track : null;
}

/** Measures a take; of a drawing in layers there is nothing to be measured. */
export async function measureTakeSide(
  file: string,
  reader: VideoReader,
  given: MarksFile,
  onProgress?: (done: number, total: number) => void,
): Promise<Omit<TakeSide, 'take'> & { readonly take: TakeMeasures | null }> {
  // Where somebody stands in a take is where its performer stands.
  const marks: MarksFile = {
    ...given,
    marks: given.marks.map((m) => (m.kind === 'stand' ? { ...m, kind: 'performer' } : m)),
  };
  if (isLayered(marks)) {
    const { widthPx, heightPx, frameCount, rate } = reader.info;
    checkMarks(marks, widthPx, heightPx, frameCount, "the drawing's marks");
    return {
      side: {
        measures: { file, span: { in: 0, out: frameCount }, rate: formatRate(rate), widthPx, heightPx },
        marks,
        linear: async (n) => clonePicture(toLinear(await reader.frame(n))),
      },
      take: null,
      notes: [],
    };
  }
  const take = await measureTake(file, marks, { camera: true, ...(onProgress === undefined ? {} : { onProgress }) });
  const { widthPx, heightPx, frameCount, rate } = reader.info;
  // The peel step looks for the screen itself, by its hue, and says what it found.
  const notes: string[] = take.notes.filter((n) => n !== NO_SCREEN);
  const look = await attempt(notes, 'look', () => measureLook(reader));
  const measures: PlateMeasures = {
    file,
    span: performerSpan(take.frames, frameCount),
    rate: formatRate(rate),
    widthPx,
    heightPx,
    ...(take.view === null ? {} : { view: take.view }),
    light: take.light,
    ...(take.camera === undefined ? {} : { camera: take.camera }),
    ...(take.turn === null ? {} : { turn: take.turn }),
    ...(look === null ? {} : { look }),
  };
  const held = take.repeats?.held ?? (await reader.heldFrames()),
    stride = take.repeats?.cycle?.stride;
  const p = take.performer;
  const withPerformer: MarksFile =
    p !== null && !p.marked && !marks.marks.some((m) => m.kind === 'performer')
      ? {
          ...marks,
          marks: [
            ...marks.marks,
            {
              kind: 'performer',
              frame: take.performerHeightPx.frames?.[0] ?? marks.frame,
              ground: [...p.ground],
              top: [...p.top],
            },
          ],
        }
      : marks;
  return {
    side: {
      measures,
      marks: withPerformer,
      ...(withPerformer === marks ? {} : { performerFound: true }),
      ...(held.length === 0 ? {} : { held }),
      ...(stride === undefined ? {} : { heldStride: stride }),
      ...(take.damaged === undefined ? {} : { damaged: take.damaged }),
      linear: async (n) => clonePicture(toLinear(await reader.frame(n))),
    },
    take,
    notes,
  };
}

async function attempt<T>(notes: string[], what: string, fn: () => Promise<T>): Promise<T | null> {
  try {
    return await fn();
  } catch (error) {
    if (!(error instanceof PlatewrightError) || error.kind === 'internal') throw error;
    notes.push(`${what}: ${error.message}`);
    return null;
  }
}
