/**
 * All measures of one plate in one place: opens the file, asks each measure for its part, hands back one document.
 * Parts that can't be had are absent, with the reason among the notes; nothing is invented.
 */
import type { VideoFrame } from '../media/types.js';
import type { VideoReader as Reader } from '../media/video-reader.js';
import { PlatewrightError } from '../core/errors.js';
import { formatRate, framesPerSecond } from '../core/rational.js';
import { filmRepeatsInWords } from '../film/repeated-frames.js';
import { heldMeasures } from './held-pictures.js';
import { lightOfPicture } from './light/light-of-picture.js';
import { lightOverShotInWords, litAsUsual } from './light/light-over-shot.js';
import { measureLook } from './look/look.js';
import type { MarksFile } from './marks/marks.js';
import { readerLumaSource } from './ride/reader-luma-source.js';
import { PlatePass } from './plate-pass.js';
import { outOfSight, outOfSightInWords } from './marks/stand-way.js';
import { swappedEnds } from './marks/swapped-ends.js';
import { measureRoom } from './view/room.js';
import { stirOfPlate } from './stir/stir-of-plate.js';
import { shutterBetween } from './look/shutter-between.js';
import { followFooting } from './ride/footing.js';
import type { CameraMove, Light, Look, PlateMeasures } from './types.js';
import type { MeasureOptions, PlateOptions } from './measure-options.js';
import { piecesOf } from './travel/travel-pieces.js';
import { linearFrame, withReader } from './with-reader.js';
import { cameraFor, viewOrNull } from './view/measure-view.js';
import { throughGlass } from './camera/glass-detail.js';
import { cameraOf, hasPane, rideOf, travelOf, travels, turnOf } from './camera/measure-camera.js';

/** The light of one file at its marks' frame. */
export async function measureLightOf(file: string, marks: MarksFile, options: MeasureOptions = {}): Promise<Light> {
  return withReader(file, marks, async (reader) => {
    const view = await viewOrNull(reader, marks, options, await cameraFor(reader, marks, options));
    return lightOfPicture(await linearFrame(reader, marks.frame), view, marks).light;
  });
}

/** Everything that marks and picture give of one plate. Throws the media and marks errors. */
export async function measurePlate(file: string, marks: MarksFile, options: PlateOptions = {}): Promise<PlateMeasures> {
  return withReader(file, marks, async (reader) => {
    const { widthPx, heightPx, rate, frameCount } = reader.info;
    const span = options.span ?? { in: 0, out: frameCount };
    const plate: Plate = { reader, marks, options, span, notes: [] };
    const { notes } = plate;
    for (const odd of swappedEnds(marks)) notes.push(`marks: ${odd}`);
    const { camera, repeats, changes } = await cameraAndPictures(plate);
    const pieces = piecesOf(reader, marks, options, camera);
    const view = await viewOrNull(reader, marks, options, camera, pieces);
    if (view === null)
      notes.push(
        'view: no mark tells how the camera looks; mark an upright of known height, ground lines or the horizon',
      );
    const travel =
      options.travel === false ? undefined : await attempt(plate, 'travel', () => travelOf(view, camera, pieces));
    options.signal?.throwIfAborted();
    const { light, found, lamp } = lightOfPicture(await linearFrame(reader, marks.frame), view, marks);
    const { ride, footing } = await followed(plate, camera);
    options.signal?.throwIfAborted();
    const turn = await attempt(plate, 'turn', () => turnOf(reader, marks, span, options.signal));
    options.signal?.throwIfAborted();
    const stir = await attempt(plate, 'stir', () =>
      stirOfPlate(readerLumaSource(reader), marks, rate, span, options.signal),
    );
    const look = await lookOf(plate, camera, changes);
    const room = measureRoom({ marks, widthPx, heightPx, span, view: view ?? undefined, camera, turn });
    const gone = outOfSight(marks, camera, widthPx, heightPx);
    if (gone !== null) notes.push(`place: ${outOfSightInWords(gone)}`);
    options.onProgress?.(1000, 1000);
    const byFrame = heldMeasures({ travel, ride, footing, turn }, repeats?.held ?? []);
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
      ...(lamp === null ? {} : { foundLamp: lamp }),
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

/** The plate that is measured; reasons why parts can't be had go to `notes`. */
interface Plate {
  readonly reader: Reader;
  readonly marks: MarksFile;
  readonly options: PlateOptions;
  readonly span: { readonly in: number; readonly out: number };
  readonly notes: string[];
}

/** Tells progress within a part of the whole, thousandths; stops where it is asked to. */
function progressOf({ options }: Plate, from: number, share: number): (done: number, total: number) => void {
  return (done, total) => {
    options.signal?.throwIfAborted();
    options.onProgress?.(Math.round(1000 * (from + (share * done) / Math.max(1, total))), 1000);
  };
}

/** The camera's move, repeated pictures and the light over the shot: all of one pass over the frames. */
async function cameraAndPictures(plate: Plate): Promise<{
  camera: CameraMove | undefined;
  repeats: Awaited<ReturnType<PlatePass['repeats']>>;
  changes: ReturnType<PlatePass['light']>;
}> {
  const { reader, options, span, notes } = plate;
  const pass = new PlatePass(reader, span);
  const note = (frame: VideoFrame): void => pass.note(frame);
  const measured = await attempt(plate, 'camera', () =>
    cameraOf(reader, options, span, progressOf(plate, 0, 0.5), note, hasPane(plate.marks)),
  );
  await pass.finish(options.signal);
  const repeats = await pass.repeats();
  if (repeats !== null)
    notes.push(`pictures: ${filmRepeatsInWords(repeats, span.out - span.in, framesPerSecond(reader.info.rate))}`);
  const { camera } = heldMeasures({ camera: measured }, repeats?.held ?? []);
  options.signal?.throwIfAborted();
  const changes = pass.light(camera);
  if (changes !== null) notes.push(`brightness: ${lightOverShotInWords(changes)}`);
  return { camera, repeats, changes };
}

/** The region that carries the performer; where a camera moves and there is none, the ground about its feet. */
async function followed(
  plate: Plate,
  camera: CameraMove | undefined,
): Promise<Pick<PlateMeasures, 'ride' | 'footing'>> {
  const { reader, marks, options, span } = plate;
  if (options.ride === false) return {};
  const ride = await attempt(plate, 'ride', () => rideOf(reader, marks, span, progressOf(plate, 0.5, 0.4)));
  options.signal?.throwIfAborted();
  if (ride !== undefined || !travels(camera)) return { ride };
  return {
    footing: await attempt(plate, 'footing', async () => {
      const source = readerLumaSource(reader);
      return followFooting(hasPane(marks) ? await throughGlass(source, span) : source, marks, span, options.signal);
    }),
  };
}

/** The look, of frames lit as the shot mostly is. */
async function lookOf(
  plate: Plate,
  camera: CameraMove | undefined,
  changes: ReturnType<PlatePass['light']>,
): Promise<Look | undefined> {
  const { reader, options, span } = plate;
  const look = await attempt(plate, 'look', () =>
    measureLook(reader, {
      from: span.in,
      to: span.out,
      ...(changes === null ? {} : { usual: (n: number) => litAsUsual(changes, n, span) }),
      ...(options.signal === undefined ? {} : { signal: options.signal }),
    }),
  );
  return look === undefined
    ? undefined
    : attempt(plate, 'look', () => withShutter(look, reader, camera, options.signal));
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

/** A part that fails for a reason of its own leaves the others standing: its reason becomes a note. */
async function attempt<T>({ notes }: Plate, name: string, fn: () => Promise<T | undefined>): Promise<T | undefined> {
  try {
    return await fn();
  } catch (error) {
    if (!(error instanceof PlatewrightError)) throw error;
    notes.push(`${name}: ${error.message}`);
    return undefined;
  }
}
