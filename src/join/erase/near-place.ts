/**
 * Brings a near frame over the frame whose hidden part it shows: by the camera's move, an affine correction, and the
 * motion that a helper frame tells inside the hidden part (hidden-motion.ts), or a smooth local field where nothing
 * stands off the set's plane. Place is found on luma at half the size.
 */
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { double, halfSize, halve } from '../../image/pyramid.js';
import { fitLocally } from './erase-align.js';
import { codedLuma } from './coded-luma.js';
import { validity, type MosaicSource } from './mosaic-source.js';
import { hiddenMotion } from './hidden-motion.js';
import { type Shown } from './way-between.js';
import { layPart, partRead, type Shift } from './lay-over.js';
import { fieldAt, type LocalField } from './field-cells.js';
import { localField } from './local-field.js';
import type { NearPlace } from './near-choice.js';

/**
 * How far things off the set's plane are believed to lie from it, as a share of a frame's width: by a smooth field, and
 * where a helper tells.
 */
const PARALLAX = 0.03,
  PARALLAX_TOLD = 0.06;
/** Points by which a near frame's place is corrected: some thousands settle an affine map to hundredths of a pixel. */
const POINTS = 5000;

/**
 * The helper is believed unless it misses the frame beside the hidden part by more than this times what the smooth
 * field, which was fitted there, misses (squared).
 */
const WORSE = 2;
const MOST_MISS = 0.15;

export interface BroughtOver {
  readonly laid: Picture;
  /** At least 1 where it shows the set. */
  readonly shows: Float32Array;
  /** 1 where a point of known way was carried to; null where a smooth field was used. */
  readonly told: Float32Array | null;
}

/** A near frame over the box of w × h pixels. `frame`: luma and openness at half the size. */
export function bringOver(
  { source, matrix, helper }: NearPlace,
  frame: Shown,
  w: number,
  h: number,
): BroughtOver | null {
  const reach = PARALLAX * source.widthPx,
    far = PARALLAX_TOLD * source.widthPx,
    room = Math.ceil(far) + 8;
  const hw = halfSize(w),
    hh = halfSize(h);
  // What a shift may come to need is cut out at once.
  const cut = cutOut(source, multiply([1, 0, room, 0, 1, room, 0, 0, 1], matrix), w + 2 * room, h + 2 * room);
  if (cut === null) return null;
  let place = matrix;
  const layHalf = (): Float32Array =>
    layPart(cut.half, cut.x0 / 2, cut.y0 / 2, multiply(DOWN, multiply(place, UP)), hw, hh, 'bicubic').data;
  const openHalf = (): Float32Array => openOf(source, place, hw, hh).map((v, i) => (frame.open[i]! > 0.5 ? v : 0));
  let small = layHalf();
  const fit = fitLocally(frame.luma, small, openHalf(), hw, hh, { reachPx: 1, points: POINTS });
  const back = tryInvert(fit.matrix);
  if (back !== null && fit.after < 0.995 * fit.before) {
    place = multiply(UP, multiply(back, multiply(DOWN, place)));
    small = layHalf();
  }
  const open = openHalf(),
    smooth = localField(frame.luma, small, open, hw, hh, { reachPx: reach / 2, cellPx: 4, quick: true });
  let told =
    helper === null
      ? null
      : byHelper({ luma: small, open: openOf(source, place, hw, hh) }, helper, frame, w, h, far / 2);
  // Where little tells of place a helper may be far off; then it misses the frame beside the hidden part too.
  if (
    told !== null &&
    !(missOf(told.field, small, frame.luma, open, hw, hh) < WORSE * missOf(smooth, small, frame.luma, open, hw, hh))
  )
    told = null;
  const field = told?.field ?? smooth,
    shift: Shift | null = field === null ? null : { field, scale: 0.5, x0: 0, y0: 0 };
  return {
    laid: layPart(cut.picture, cut.x0, cut.y0, place, w, h, 'lanczos3', 'clamp', shift),
    shows: validity(source, place, w, h, shift),
    told: told === null ? null : double(told.told, hw, hh, w, h),
  };
}

/**
 * Mean squared difference from the frame where both show the set; what differs by more than an edge of another thing
 * counts as that.
 */
function missOf(
  field: LocalField | null,
  small: Float32Array,
  luma: Float32Array,
  open: Float32Array,
  w: number,
  h: number,
): number {
  const d = new Float64Array(2);
  let sum = 0,
    count = 0;
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (!(open[i]! > 0.5)) continue;
      if (field !== null) fieldAt(field, x + 0.5, y + 0.5, d);
      const e = sampleBilinear(small, w, h, x + 0.5 + d[0]!, y + 0.5 + d[1]!) - luma[i]!;
      sum += Math.min(MOST_MISS, Math.abs(e)) ** 2;
      count++;
    }
  return sum / Math.max(1, count);
}

const DOWN: Mat3 = [0.5, 0, 0, 0, 0.5, 0, 0, 0, 1],
  UP: Mat3 = [2, 0, 0, 0, 2, 0, 0, 0, 1];

interface CutOut {
  readonly picture: Picture;
  /** Its luma at half the size. */
  readonly half: Picture;
  readonly x0: number;
  readonly y0: number;
}

/** The part of a source that laying it over w × h pixels reads. */
function cutOut(source: MosaicSource, matrix: Mat3, w: number, h: number): CutOut | null {
  const read = partRead(source.widthPx, source.heightPx, matrix, w, h);
  if (read === null) return null;
  // Half the size means whole pairs of pixels from the corner on.
  const { picture, x0, y0 } = source.part([read[0] & ~1, read[1] & ~1, read[2], read[3]]);
  return {
    picture,
    x0,
    y0,
    half: {
      width: halfSize(picture.width),
      height: halfSize(picture.height),
      channels: 1,
      data: halve(codedLuma(picture), picture.width, picture.height),
    },
  };
}

/** 1 where the source shows the set, over the box at half the size. */
function openOf(source: MosaicSource, place: Mat3, hw: number, hh: number): Float32Array {
  return validity(source, multiply(DOWN, place), hw, hh, null).map((v) => (v > 0.99 ? 1 : 0));
}

function byHelper(
  source: Shown,
  helper: NonNullable<NearPlace['helper']>,
  frame: Shown,
  w: number,
  h: number,
  reach: number,
): ReturnType<typeof hiddenMotion> {
  const cut = cutOut(helper.source, helper.matrix, w, h);
  if (cut === null) return null;
  const hw = halfSize(w),
    hh = halfSize(h);
  const luma = layPart(
    cut.half,
    cut.x0 / 2,
    cut.y0 / 2,
    multiply(DOWN, multiply(helper.matrix, UP)),
    hw,
    hh,
    'bicubic',
  ).data;
  return hiddenMotion(source, { luma, open: openOf(helper.source, helper.matrix, hw, hh) }, frame, hw, hh, reach);
}
