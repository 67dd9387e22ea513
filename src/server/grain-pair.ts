/**
 * The plate's grain beside the same grain grown again from what was measured, so that an eye can judge the measure: a
 * calm patch of the plate left, its smooth light with new grain right, both magnified and spread in contrast alike.
 */
import sharp from 'sharp';
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { gaussianPlane } from '../image/gaussian.js';
import { plane } from '../image/picture.js';
import { grower } from '../join/air/grain.js';
import { grainModel } from '../join/air/propose-air.js';
import { toCodedRgb } from '../media/convert.js';
import type { FrameStore } from './frame-store.js';

/** Side of the patch at most, px of the plate, and at which it is shown. */
const SIDE = 64;
const SHOWN = 256;
/** sd that the grain's contrast is spread to, coded 0..1. */
const SHOWN_SD = 0.11;

export interface GrainPair {
  readonly png: Buffer;
  /** Upper left corner of the patch in the frame. */
  readonly at: readonly [number, number];
  /** sd of the luma about its smooth light, coded 0..1: in the plate, and grown. */
  readonly sd: readonly [number, number];
}

/** Throws `PW-GRAIN-UNMEASURED` where no grain was measured on the plate. */
export async function grainPair(book: Book, frames: FrameStore, pick: string, frame: number): Promise<GrainPair> {
  const model = grainModel(book.get('measures', pick)?.measures.look);
  if (model === null)
    throw new PlatewrightError(
      'PW-GRAIN-UNMEASURED',
      `no grain was measured on the plate of ${pick}; measure it first`,
      { kind: 'usage' },
    );
  const reader = await frames.reader(await frames.pathOf('plate', pick));
  const coded = toCodedRgb(await reader.frame(Math.min(frame, reader.info.frameCount - 1)));
  const { width: w, height: h } = coded;
  const { at, side } = patchOf(plane(coded, 1), w, h);
  const n = side * side;
  const rgb = new Float32Array(3 * n);
  const light = new Float32Array(3 * n);
  for (let c = 0; c < 3; c++) {
    for (let y = 0; y < side; y++)
      rgb.set(plane(coded, c).subarray((at[1] + y) * w + at[0], (at[1] + y) * w + at[0] + side), c * n + y * side);
    light.set(gaussianPlane(rgb.subarray(c * n, (c + 1) * n), side, side, 6), c * n);
  }
  const grown = light.slice();
  const g = grower(model, 7);
  g.add(frame, [at[0], at[1], at[0] + side, at[1] + side], grown, (c) =>
    Float32Array.from(
      light.subarray(c * n, (c + 1) * n),
      (v) => g.curves[c][Math.max(0, Math.min(63, Math.round(v * 63)))]!,
    ),
  );
  const sdOf = (p: Float32Array): number => {
    let s = 0;
    for (let i = 0; i < n; i++) {
      let y = 0;
      for (let c = 0; c < 3; c++) y += [0.2126, 0.7152, 0.0722][c]! * (p[c * n + i]! - light[c * n + i]!);
      s += y * y;
    }
    return Math.sqrt(s / n);
  };
  const sd: [number, number] = [sdOf(rgb), sdOf(grown)];
  const spread = Math.min(40, SHOWN_SD / Math.max(1e-4, sd[0]));
  const gap = 4;
  const W = 2 * side + gap;
  const out = Buffer.alloc(W * side * 3, 128);
  [rgb, grown].forEach((p, k) => {
    for (let y = 0; y < side; y++)
      for (let x = 0; x < side; x++)
        for (let c = 0; c < 3; c++) {
          const i = c * n + y * side + x;
          out[(y * W + x + k * (side + gap)) * 3 + c] = Math.max(
            0,
            Math.min(255, Math.round(255 * (0.5 + (p[i]! - light[i]!) * spread))),
          );
        }
  });
  const png = await sharp(out, { raw: { width: W, height: side, channels: 3 } })
    .resize(Math.round((W * SHOWN) / side), SHOWN, { kernel: 'nearest' })
    .png()
    .toBuffer();
  return { png, at, sd };
}

/**
 * The block, of those on a grid, that strays least from its own smooth light and lies
 * clear of black and white: the same sd that is told.
 */
function calmest(luma: Float32Array, w: number, h: number, side: number): { at: [number, number]; sd: number } {
  const soft = gaussianPlane(luma, w, h, 6);
  let at: [number, number] = [(w - side) >> 1, (h - side) >> 1];
  let least = Infinity;
  for (let y = 0; y + side <= h; y += side >> 1)
    for (let x = 0; x + side <= w; x += side >> 1) {
      let s = 0;
      let q = 0;
      for (let j = 0; j < side; j++)
        for (let i = 0; i < side; i++) {
          const o = (y + j) * w + x + i;
          s += luma[o]!;
          q += (luma[o]! - soft[o]!) ** 2;
        }
      const mean = s / (side * side);
      if (mean < 0.12 || mean > 0.88) continue;
      if (q < least) {
        least = q;
        at = [x, y];
      }
    }
  return { at, sd: Math.sqrt(least) / side };
}

/** A large patch, or a quarter of it where the picture has no large one that is as calm. */
function patchOf(luma: Float32Array, w: number, h: number): { at: [number, number]; side: number } {
  const side = Math.min(SIDE, w, h);
  const large = calmest(luma, w, h, side);
  const small = calmest(luma, w, h, side >> 1);
  return large.sd <= 1.5 * small.sd ? { at: large.at, side } : { at: small.at, side: side >> 1 };
}
