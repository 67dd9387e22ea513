/**
 * The mended plate for the renderer: erase, a patch from another moment of the shot, and widen, run on the plate's own
 * frames. What is laid in gets the plate's grain; pixels that nothing was done to keep their code values. The set is
 * gathered when the first frame is asked for.
 */
import type { Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import type { CameraMove } from '../../plate/types.js';
import { framesPerSecond } from '../../core/rational.js';
import { PlateCleaner } from '../erase/erase.js';
import { growGrain, layBox } from '../erase/erase-file.js';
import { patchFrame } from './frame-box.js';
import { grower, type Grower } from '../air/grain.js';
import { pictureOf } from './held-plate.js';
import { reframeOf } from '../widen/reframe.js';
import type { PlateMender } from './render.js';
import { mendsPlate } from './mends-plate.js';
import { takePatcher, type TakePatcher } from '../patch/patch-take.js';
import type { AirStep, Recipe } from '../types.js';
import type { PatchStep } from '../performer-steps.js';
import type { EraseStep, WidenStep } from '../plate-steps.js';
import { WideCanvas } from '../widen/widen.js';

interface Tools {
  readonly cleaner: PlateCleaner | null;
  readonly canvas: WideCanvas | null;
  readonly patcher: TakePatcher | null;
}

/**
 * Null where the recipe changes nothing of the plate. `camera`: the plate's measured move; measured here where it is
 * not given.
 */
export function plateMender(recipe: Recipe, camera?: CameraMove): PlateMender | null {
  const erase = recipe.steps.find((s): s is EraseStep => s.step === 'erase');
  const widen = recipe.steps.find((s): s is WidenStep => s.step === 'widen');
  const patch = recipe.steps.find((s): s is PatchStep => s.step === 'patch' && s.onto === 'plate');
  if (!recipe.steps.some(mendsPlate)) return null;
  const air = recipe.steps.find((s): s is AirStep => s.step === 'air');
  const grain = air?.plateGrain == null ? null : grower(air.plateGrain, air.seed + 101);
  let tools: Promise<Tools> | null = null;
  return {
    async mend(frame, plate, steps) {
      tools ??= gather(
        recipe,
        erase?.on === true ? erase : null,
        widen?.on === true ? widen : null,
        patch?.on === true ? patch : null,
        camera,
      );
      const { cleaner, canvas, patcher } = await tools,
        shown = pictureOf(recipe.plate, frame);
      const patched =
        patcher !== null && steps.has('patch')
          ? { ...(await patcher.patch({ ...plate, index: shown })), index: plate.index }
          : plate;
      return mendFrame(shown, patched, steps.has('erase') ? cleaner : null, steps.has('widen') ? canvas : null, grain);
    },
    async close() {
      await (await tools?.catch(() => null))?.patcher?.close();
    },
  };
}

async function gather(
  recipe: Recipe,
  erase: EraseStep | null,
  widen: WidenStep | null,
  patch: PatchStep | null,
  known: CameraMove | undefined,
): Promise<Tools> {
  const patcher = patch === null ? null : await takePatcher({ ...patch, source: recipe.plate.file }, recipe.plate.file);
  if (erase === null && widen === null) return { cleaner: null, canvas: null, patcher };
  const reader = await VideoReader.open(recipe.plate.file);
  try {
    const span = { in: recipe.plate.in, out: Math.min(recipe.plate.out, reader.info.frameCount) };
    const camera =
      known ??
      (await measureCameraMove(readerLumaSource(reader), { framesPerSecond: framesPerSecond(reader.info.rate), span }));
    const regions = erase === null ? [] : [erase.region, ...(erase.also ?? [])];
    const cleaner =
      erase === null
        ? null
        : await PlateCleaner.build(reader, {
            regions,
            growPx: erase.growPx,
            ...(erase.shadows === undefined ? {} : { shadows: erase.shadows }),
            ...(erase.cast === undefined ? {} : { cast: erase.cast }),
            ...(erase.apart === undefined ? {} : { apart: erase.apart }),
            shadowToo: erase.shadowToo,
            span,
            camera,
          });
    const canvas =
      widen === null
        ? null
        : await WideCanvas.build(reader, {
            reframe: reframeOf(widen, recipe.plate.widthPx, recipe.plate.heightPx),
            span,
            camera,
            erased: regions,
          });
    return { cleaner, canvas, patcher };
  } finally {
    await reader.close();
  }
}

function mendFrame(
  n: number,
  plate: VideoFrame,
  cleaner: PlateCleaner | null,
  canvas: WideCanvas | null,
  grain: Grower | null,
): VideoFrame {
  const coded = toCodedRgb(plate);
  const { width: w, height: h } = coded;
  const out = copyFrame(plate);
  const cleaned = cleaner?.clean(n, coded, plate.chromaShift) ?? null;
  if (cleaned !== null && grain !== null) growGrain(grain, n, cleaned);
  if (canvas === null) {
    if (cleaned === null) return plate;
    put(out, cleaned.box, cleaned.coded, cleaned.cover);
    return out;
  }
  if (cleaned !== null) layBox(coded, cleaned);
  const wide = canvas.widen(n, coded);
  if (grain !== null)
    growGrain(grain, n, {
      box: [0, 0, wide.coded.width, wide.coded.height],
      coded: wide.coded,
      cover: wide.cover,
      madeUp: wide.cover,
    });
  put(out, [0, 0, w, h], canvas.fit(wide.coded, w, h), null);
  return out;
}

/** Writes display-coded pixels into a frame's planes where `cover` is over zero (everywhere for null). */
function put(
  frame: VideoFrame,
  box: readonly [number, number, number, number],
  coded: Picture,
  cover: Float32Array | null,
): void {
  const n = coded.width * coded.height;
  const changed = new Uint8Array(n).fill(1);
  if (cover !== null) for (let i = 0; i < n; i++) changed[i] = cover[i]! > 0 ? 1 : 0;
  if (frame.bitDepth !== 32) {
    patchFrame(frame, [box[0], box[1], box[2], box[3]], coded.data, changed);
    return;
  }
  // Float files hold their values as they are.
  for (let c = 0; c < (frame.layout === 'grey' ? 1 : 3); c++) {
    const to = frame.planes[c]!;
    for (let i = 0; i < n; i++)
      if (changed[i] !== 0)
        to[(box[1] + Math.floor(i / coded.width)) * frame.widthPx + box[0] + (i % coded.width)] =
          coded.data[c * n + i]!;
  }
}
