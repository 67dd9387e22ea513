/**
 * Does the join show? Streams plate, join and matte side by side (three frames held), reads each matter where it can be
 * read, and says for each its value, its limit, its worst frame and the step to change. A matter that can't be read
 * says why.
 *
 * Limits are the program's own choice, held against true pictures (bench/inspect.ts) and against joins spoiled on
 * purpose.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Picture } from '../image/picture.js';
import type { VideoFrame, VideoInfo } from '../media/types.js';
import { VideoReader } from '../media/video-reader.js';
import type { JoinOptions } from '../join/render/render.js';
import { mendsPlate } from '../join/render/mends-plate.js';
import type { Recipe, StepName } from '../join/types.js';
import type { WidenStep } from '../join/plate-steps.js';
import { checkBelong } from './reader/belong-together.js';
import { liftVeil, matteBox, type SeenFrame } from './reader/frame.js';
import { FrameRooms, type PlaceOfFrame, type RoomsHeld } from './reader/frame-rooms.js';
import type { Carrier } from '../join/ride/carrier.js';
import { reframedCarrier, reframedRecipe, reframeOf } from '../join/widen/reframe.js';
import { LANE_ROOMS, PictureLane, laneFor } from './reader/picture-lane.js';
import { BareJoin, MendedPlate } from './reader/reference.js';
import { SeriesReader } from './reader/series-reader.js';
import { judge } from './verdict.js';
import type { Inspection, InspectionMatter, InspectionMatterName } from './types.js';
import { roughMatte } from './reader/rough-matte.js';

export interface InspectInput {
  readonly plate: string;
  readonly join: string;
  /**
   * Performer as seen (the render's side output). Without it the recipe's own is rendered; without either it is read
   * roughly from what differs from the plate.
   */
  readonly matte?: string;
  /**
   * What the join was, or should have been, rendered from; without it only what pictures tell by themselves is judged.
   */
  readonly recipe?: Recipe;
  /** Frame of the plate that the join begins with, where no recipe says so. */
  readonly plateFrom?: number;
  /** Plate without what was erased, where the recipe erases; else the plate is compared as it is. */
  readonly clean?: string;
  /**
   * What the join's renderer was given beside the recipe (the set's motion, the mended plate); made anew where it is
   * not told.
   */
  readonly tools?: () => Promise<JoinOptions>;
}

export interface InspectOptions {
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
  /**
   * Frames, about, on which colours, edges and grain are read closely; 12 unless told, of large pictures 8. Movement is
   * read on every one.
   */
  readonly samples?: number;
  /** Read the pictures in a thread of their own; unless told, where that pays. The findings are the same. */
  readonly lane?: boolean;
}

/** A recipe of no steps for a join that nobody has one of: the plate's span alone. */
function withoutRecipe(input: InspectInput, plate: VideoInfo): Recipe {
  const from = Math.max(0, input.plateFrom ?? 0),
    rate = `${plate.rate.num}/${plate.rate.den}`,
    file = { in: 0, out: plate.frameCount, rate, widthPx: plate.widthPx, heightPx: plate.heightPx };
  return {
    version: 1,
    plate: { ...file, file: input.plate, in: Math.min(from, plate.frameCount - 1) },
    take: { ...file, file: '' },
    steps: [],
  };
}

/** Matters that hang on where exactly the outline lies, which a rough matte does not know. */
const BY_OUTLINE: readonly InspectionMatterName[] = [
  'slip',
  'spill',
  'edgeLightness',
  'chatter',
  'edgeHardness',
  'size',
  'solid',
  'flicker',
  'takeBorder',
  'front',
];

/** What a rough matte can't tell is not judged. */
function withoutOutline(r: Inspection): Inspection {
  const matters = r.matters.map(
    ({ untold, ...m }): InspectionMatter =>
      BY_OUTLINE.includes(m.matter)
        ? {
            ...m,
            value: null,
            passes: null,
            worstFrame: null,
            advice: '',
            reason:
              'no matte of the performer was given and no recipe to render one from, ' +
              'so its outline is known to some pixels only',
          }
        : { ...m, ...(untold === undefined ? {} : { untold }) },
  );
  return {
    ...r,
    matters,
    passes: matters.every((m) => m.passes !== false),
    found: (r.found ?? []).filter((m) => !BY_OUTLINE.includes(m)),
  };
}

/** Held at once by one thread: the frame at hand, and the planes of the two before it, which movement asks for. */
const ROOMS: RoomsHeld = { planes: 3, pictures: 1 };

/**
 * Frames, about, that are read closely: means and medians of twelve stray little more than those of 24; and on which the
 * recipe is rendered again to tell grain from fur. Of large pictures, whose every frame has so many more places, fewer.
 */
const CLOSE_FRAMES = { usual: 12, large: 8 } as const,
  BARE_FRAMES = { usual: 6, large: 4 } as const;
/** Pixels of a frame from which on it is a large one. */
const LARGE = 1_500_000;

/** The files' frames side by side, from the join's first on; what a join does not have is null. */
interface SideBySide {
  readonly join: AsyncIterable<VideoFrame>;
  readonly plates: AsyncIterator<VideoFrame>;
  readonly mattes: AsyncIterator<VideoFrame> | null;
  /** The plate before it was mended, where that shows the same pixels. */
  readonly filmed: AsyncIterator<VideoFrame> | null;
  /** The plate as it was, beside a clean one. */
  readonly unmended: AsyncIterator<VideoFrame> | null;
}

/** What reads the frames: the series, beside it a lane of its own where that pays, and the recipe rendered again. */
interface Readers {
  readonly reader: SeriesReader;
  readonly lane: PictureLane | null;
  readonly rooms: FrameRooms;
  readonly bare: BareJoin | null;
  /** How many frames, about, are rendered again. */
  readonly bareFrames: number;
}

/**
 * Inspects a join. Throws the media door's errors and `PW-INSPECT-SIZE` or `PW-INSPECT-RATE` where the files do not
 * belong together.
 */
export async function inspectJoin(input: InspectInput, options: InspectOptions = {}): Promise<Inspection> {
  const plate = await VideoReader.open(input.clean ?? input.plate),
    join = await VideoReader.open(input.join),
    matte = input.matte === undefined ? null : await VideoReader.open(input.matte);
  let before: VideoReader | null = null,
    lane: PictureLane | null = null,
    rooms = new FrameRooms(ROOMS);
  try {
    const p = plate.info,
      j = join.info,
      m = matte?.info ?? j;
    checkBelong(p, j, m);
    const given = input.recipe ?? withoutRecipe(input, p);
    const { in: first, out: end } = given.plate;
    const total = Math.min(end - first, j.frameCount, m.frameCount, p.frameCount - first);
    // Where the plate is mended, the join is held against the mended plate, in its own pixels.
    const mended =
      input.clean === undefined && given.steps.some(mendsPlate)
        ? await MendedPlate.open(given, await input.tools?.())
        : null;
    const recipe = mended === null ? given : reframedRecipe(given);
    const tools = await input.tools?.();
    const reader = new SeriesReader(
      recipe,
      first,
      total,
      options.samples ?? CLOSE_FRAMES[sizeOf(j)],
      mended === null && input.clean === undefined && isOn(given, 'erase'),
      carrierOf(given, mended === null ? undefined : recipe, tools?.carrier),
    );
    if (options.lane ?? laneFor(total, j.widthPx, j.heightPx)) {
      lane = new PictureLane(reader.laneData);
      rooms = new FrameRooms(LANE_ROOMS);
    }
    const bare = input.recipe === undefined ? null : await BareJoin.open(given, tools);
    before = input.clean === undefined || input.clean === input.plate ? null : await VideoReader.open(input.plate);
    const files: SideBySide = {
      join: join.frames(0, total),
      plates: mended?.frames(first, first + total) ?? plate.frames(first, first + total),
      mattes: matte?.frames(0, total) ?? null,
      filmed: mended !== null && !isOn(given, 'widen') ? plate.frames(first, first + total) : null,
      unmended: sameShape(before?.info, p) ? before!.frames(first, first + total) : null,
    };
    await readFrames(files, { reader, lane, rooms, bare, bareFrames: BARE_FRAMES[sizeOf(j)] }, first, total, options);
    await bare?.close();
    await mended?.close();
    reader.finish(await lane?.result());
    const found = judge(reader.series, recipe);
    return matte !== null || bare !== null ? found : withoutOutline(found);
  } finally {
    await Promise.all([plate.close(), join.close(), matte?.close(), before?.close(), lane?.close()]);
    rooms.free();
  }
}

/** Reads all frames of a join. Throws `PW-INSPECT-STOPPED`. */
async function readFrames(
  files: SideBySide,
  { reader, lane, rooms, bare, bareFrames }: Readers,
  first: number,
  total: number,
  options: InspectOptions,
): Promise<void> {
  const bareEvery = Math.max(1, Math.floor(total / bareFrames));
  let n = 0;
  for await (const jf of files.join) {
    if (options.signal?.aborted)
      throw new PlatewrightError('PW-INSPECT-STOPPED', `the inspection was stopped at frame ${first + n}`, {
        kind: 'finding',
      });
    const pf = await files.plates.next(),
      mf = await files.mattes?.next();
    if (pf.done === true || mf?.done === true) return;
    const filmed = await files.filmed?.next(),
      unmended = await files.unmended?.next();
    await lane?.ready();
    const room = rooms.next(),
      join = room.pictures.coded('join', jf),
      plate = room.pictures.coded('plate', pf.value),
      matte = room.planes.plane('matte', join.width, join.height);
    if (mf !== undefined) coverageOf(mf.value, matte);
    else matte.set((await bare?.matteAt(first + n)) ?? roughMatte(join, plate) ?? new Float32Array(matte.length));
    const luma = (name: 'asFilmed' | 'beside', f: VideoFrame): Float32Array =>
      room.planes.luma(name, f, () => rooms.aside.coded('join', f));
    const f = {
      ...seen(first + n, { frame: jf, coded: join }, { frame: pf.value, coded: plate }, matte, room, reader.veiled),
      ...(filmed === undefined || filmed.done === true ? {} : { asFilmed: luma('asFilmed', filmed.value) }),
      ...(unmended === undefined || unmended.done === true ? {} : { beside: luma('beside', unmended.value) }),
    };
    // The lane begins while the recipe is rendered again here.
    lane?.add(f, reader.passingOn(f.frame));
    const again = bare !== null && n % bareEvery === bareEvery >> 1 ? await bare.at(f) : null;
    if (lane === null) reader.add(f, again);
    else reader.addBeside(f, again);
    n++;
    options.onProgress?.(n, total);
  }
}

function sizeOf({ widthPx, heightPx }: VideoInfo): 'usual' | 'large' {
  return widthPx * heightPx < LARGE ? 'usual' : 'large';
}

/** Whether a plate as filmed goes frame by frame with the clean one. */
function sameShape(a: VideoInfo | undefined, b: VideoInfo): boolean {
  return a !== undefined && a.widthPx === b.widthPx && a.heightPx === b.heightPx && a.frameCount === b.frameCount;
}

/** The set's motion in the pixels that are inspected: as filmed, or of the widened picture. */
function carrierOf(recipe: Recipe, mended: Recipe | undefined, carrier: Carrier | undefined): Carrier | undefined {
  const widen = recipe.steps.find((s): s is WidenStep => s.step === 'widen' && s.on);
  return carrier === undefined || mended === undefined || widen === undefined
    ? carrier
    : reframedCarrier(carrier, reframeOf(widen, recipe.plate.widthPx, recipe.plate.heightPx).matrix);
}

function isOn(recipe: Recipe, step: StepName): boolean {
  return recipe.steps.some((s) => s.step === step && s.on);
}

/** Coverage of a matte's frame, 0..1, into `alpha`: grey stored in full range, or in a film file's limited range. */
function coverageOf(matte: VideoFrame, alpha: Float32Array): void {
  const src = matte.planes[0]!;
  const max = 2 ** matte.bitDepth - 1,
    low = matte.colour.fullRange ? 0 : 16 * 2 ** (matte.bitDepth - 8),
    high = matte.colour.fullRange ? max : 235 * 2 ** (matte.bitDepth - 8);
  for (let i = 0; i < alpha.length; i++) alpha[i] = Math.min(1, Math.max(0, (src[i]! - low) / (high - low)));
}

/** A file's frame and its display-coded picture. */
interface Converted {
  readonly frame: VideoFrame;
  readonly coded: Picture;
}

/** What is seen on a frame; `matte` lies in the room as the pictures do. */
function seen(
  frame: number,
  { frame: joinFrame, coded: join }: Converted,
  { frame: plateFrame, coded: plate }: Converted,
  matte: Float32Array,
  { planes }: PlaceOfFrame,
  veiled: boolean,
): SeenFrame {
  if (veiled) liftVeil(matte);
  return {
    frame,
    join,
    plate,
    luma: planes.luma('luma', joinFrame, () => join),
    plateLuma: planes.luma('plateLuma', plateFrame, () => plate),
    matte,
    box: matteBox(matte, join.width, join.height),
  };
}
