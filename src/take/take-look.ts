/**
 * One frame of a take looked at closely: averaged down, what is not screen, the performer on it, how sharp it is and
 * how much of it is clipped. Display-coded RGB throughout.
 */
import { createPicture, type Picture } from '../image/picture.js';
import { findPerformer, type PerformerBox } from './find-performer.js';
import { notScreen, type ScreenModel } from './screen/screen.js';
import { edgeSigma } from './sharpness.js';

/** Widest picture that masks are made on; larger takes are averaged down by a whole factor. */
export const MASK_WIDTH = 480;
/** Largest side of the window in which sharpness is read, px. */
const SHARP_SIDE = 420;

/** Display-coded RGB averaged down by a whole factor. */
export function shrink(src: Picture, factor: number): Picture {
  if (factor === 1) return src;
  const w = Math.floor(src.width / factor);
  const h = Math.floor(src.height / factor);
  const out = createPicture(w, h, 3);
  const n = src.width * src.height;
  const m = w * h;
  const k = 1 / (factor * factor);
  const from = src.data;
  const to = out.data;
  for (let c = 0; c < 3; c++)
    for (let y = 0; y < h; y++) {
      const o = c * m + y * w;
      for (let j = 0; j < factor; j++) {
        let at = c * n + (y * factor + j) * src.width;
        for (let x = 0; x < w; x++) {
          let s = 0;
          for (let i = 0; i < factor; i++) s += from[at++]!;
          to[o + x] = to[o + x]! + s * k;
        }
      }
    }
  return out;
}

/** What one frame shows; `small`, `mask` and `performer` are averaged down by the factor. */
export interface Look {
  coded: Picture;
  small: Picture;
  mask: Uint8Array | null;
  performer: Uint8Array | null;
  box: PerformerBox | null;
  model: ScreenModel | null;
}

/**
 * Mask, performer and its box; `told` is a mask known otherwise; `near` (px of the small
 * picture) chooses among several things on the screen.
 */
export function lookAt(
  coded: Picture,
  small: Picture,
  model: ScreenModel | null,
  factor: number,
  near: [number, number] | null,
  hasAlpha: boolean,
  told?: Uint8Array,
): Look {
  let mask: Uint8Array | null = told ?? null;
  if (told !== undefined) {
    // What a person drew or what differs from the empty set is the performer.
  } else if (hasAlpha) {
    mask = new Uint8Array(small.width * small.height);
    const n = coded.width * coded.height;
    for (let y = 0; y < small.height; y++)
      for (let x = 0; x < small.width; x++)
        mask[y * small.width + x] = coded.data[3 * n + y * factor * coded.width + x * factor]! > 0.5 ? 1 : 0;
  } else if (model !== null) mask = notScreen(small, model);
  if (mask === null) return { coded, small, mask, performer: null, box: null, model };
  const performer = new Uint8Array(mask.length);
  const box = findPerformer(mask, small.width, small.height, near, performer);
  return { coded, small, mask, performer: box === null ? null : performer, box, model };
}

/** Edge sigma (px) of the performer, of a large one its upper middle; null where there is too little detail. */
export function sigmaOf(coded: Picture, look: Look, factor: number): number | null {
  const b = look.box!;
  const n = coded.width * coded.height;
  // Luma of the box alone.
  const boxW = (b.x1 - b.x0) * factor;
  const boxH = (b.y1 - b.y0) * factor;
  // Of a large box the upper middle is enough: there the face is.
  const w = Math.min(boxW, SHARP_SIDE);
  const h = Math.min(boxH, SHARP_SIDE);
  const x0 = b.x0 * factor + Math.floor((boxW - w) / 2);
  const y0 = b.y0 * factor + Math.floor((boxH - h) / 3);
  const luma = new Float32Array(w * h);
  const inside = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * coded.width + x0 + x;
      luma[y * w + x] = 0.2126 * coded.data[i]! + 0.7152 * coded.data[i + n]! + 0.0722 * coded.data[i + 2 * n]!;
      inside[y * w + x] =
        look.performer![Math.floor((y0 + y) / factor) * look.small.width + Math.floor((x0 + x) / factor)] ?? 0;
    }
  return edgeSigma(luma, w, h, { x0: 0, y0: 0, x1: w, y1: h }, inside)?.sigmaPx ?? null;
}

/** Share of the performer's pixels at the top of the range in any channel. */
export function clippedShare(coded: Picture, look: Look, factor: number): number {
  const n = coded.width * coded.height;
  let over = 0;
  let seen = 0;
  const { small, performer } = look;
  for (let y = 0; y < small.height; y++)
    for (let x = 0; x < small.width; x++) {
      if (performer![y * small.width + x] === 0) continue;
      const i = y * factor * coded.width + x * factor;
      seen++;
      if (coded.data[i]! > 0.985 || coded.data[i + n]! > 0.985 || coded.data[i + 2 * n]! > 0.985) over++;
    }
  return seen === 0 ? 0 : over / seen;
}
