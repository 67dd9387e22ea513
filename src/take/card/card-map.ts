/**
 * The card as a camera sees it: the share of paper, fiducial ink, surroundings and unpredicted print in every pixel,
 * from the layout and a homography (card millimetres → pixels, pixel centres at +0.5). Pixels are averaged over their
 * area by a grid of sub-samples; blur is left to the caller.
 */
import { CARD_CLASS, CLASS_HALF_HEIGHT_MM, CLASS_HALF_WIDTH_MM } from '../../brief/card-layout.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { resizePlane } from '../../image/resize.js';
import { apply, tryInvert, type Mat3 } from '../../geometry/mat3.js';

export interface CardCover {
  /** Top left pixel and size of the window; it may reach beyond the picture. */
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  /** Shares 0..1, height × width; the rest is paper. */
  readonly ink: Float32Array;
  readonly outside: Float32Array;
  readonly unknown: Float32Array;
  /** Pixels → card millimetres. */
  readonly toCard: Mat3;
}

const MAP_WIDTH = 2 * CLASS_HALF_WIDTH_MM;
const MAP_HEIGHT = 2 * CLASS_HALF_HEIGHT_MM;

/**
 * Smallest pixel window round the card's outline plus `marginPx`; null where a part
 * lies behind the camera or the homography is none.
 */
export function cardWindow(
  toPixel: Mat3,
  marginPx: number,
): { x0: number; y0: number; width: number; height: number } | null {
  let x0 = Infinity;
  let y0 = Infinity;
  let x1 = -Infinity;
  let y1 = -Infinity;
  let side = 0;
  for (const [u, v] of [
    [-91, -126],
    [91, -126],
    [91, 126],
    [-91, 126],
  ] as const) {
    const w = toPixel[6] * u + toPixel[7] * v + toPixel[8];
    if (side === 0) side = Math.sign(w);
    if (!(w * side > 1e-9)) return null;
    const p = apply(toPixel, u, v);
    if (p[0] < x0) x0 = p[0];
    if (p[0] > x1) x1 = p[0];
    if (p[1] < y0) y0 = p[1];
    if (p[1] > y1) y1 = p[1];
  }
  if (!Number.isFinite(x0 + y0 + x1 + y1)) return null;
  const fx = Math.floor(x0 - marginPx);
  const fy = Math.floor(y0 - marginPx);
  return { x0: fx, y0: fy, width: Math.ceil(x1 + marginPx) - fx, height: Math.ceil(y1 + marginPx) - fy };
}

/**
 * Covers of every pixel of a window, `samples` × `samples` points each.
 * @param map as from `cardClassMap`
 */
export function coverCard(
  map: Uint8Array,
  toPixel: Mat3,
  window: { x0: number; y0: number; width: number; height: number },
  samples: number,
): CardCover | null {
  const inverse = tryInvert(toPixel);
  if (inverse === null) return null;
  const { x0, y0, width, height } = window;
  const n = width * height;
  const unit = 1 / (samples * samples);
  const ink = new Float32Array(n);
  const outside = new Float32Array(n);
  const unknown = new Float32Array(n);
  const [a, b, c, d, e, f, g, h, k] = inverse;
  for (let j = 0; j < height * samples; j++) {
    const y = y0 + (j + 0.5) / samples;
    const row = Math.floor(j / samples) * width;
    const bx = b * y + c;
    const by = e * y + f;
    const bw = h * y + k;
    for (let i = 0; i < width * samples; i++) {
      const x = x0 + (i + 0.5) / samples;
      const w = 1 / (g * x + bw);
      const u = (a * x + bx) * w + CLASS_HALF_WIDTH_MM;
      const v = (d * x + by) * w + CLASS_HALF_HEIGHT_MM;
      const cls =
        u >= 0 && v >= 0 && u < MAP_WIDTH && v < MAP_HEIGHT ? map[(v | 0) * MAP_WIDTH + (u | 0)]! : CARD_CLASS.outside;
      if (cls === CARD_CLASS.paper) continue;
      const at = row + ((i / samples) | 0);
      if (cls === CARD_CLASS.ink) ink[at] = ink[at]! + unit;
      else if (cls === CARD_CLASS.outside) outside[at] = outside[at]! + unit;
      else unknown[at] = unknown[at]! + unit;
    }
  }
  return { x0, y0, width, height, ink, outside, unknown, toCard: inverse };
}

export interface CutOut {
  /** Linear, height × width. */
  readonly luma: Float32Array;
  readonly width: number;
  readonly height: number;
  /** Its top left corner and reduction in the picture. */
  readonly x0: number;
  readonly y0: number;
  readonly factor: number;
  /** Pixels of the picture → pixels here. */
  readonly fromFull: Mat3;
}

/** The card's surroundings, reduced by whole numbers until its longer side has `side` pixels or less, and softened. */
export function cutOut(
  luma: Float32Array,
  widthPx: number,
  heightPx: number,
  toPixel: Mat3,
  side: number,
  softPx: number,
): CutOut | null {
  const tight = cardWindow(toPixel, 0);
  if (tight === null || Math.max(tight.width, tight.height) > 6 * Math.max(widthPx, heightPx)) return null;
  const factor = Math.max(1, Math.round(Math.max(tight.width, tight.height) / side));
  const margin = Math.ceil(0.15 * Math.max(tight.width, tight.height)) + 12 * factor;
  const x0 = Math.max(0, tight.x0 - margin);
  const y0 = Math.max(0, tight.y0 - margin);
  const width = Math.floor((Math.min(widthPx, tight.x0 + tight.width + margin) - x0) / factor);
  const height = Math.floor((Math.min(heightPx, tight.y0 + tight.height + margin) - y0) / factor);
  if (width < 12 || height < 8) return null;
  const w = width * factor;
  const h = height * factor;
  const part = new Float32Array(w * h);
  for (let y = 0; y < h; y++) part.set(luma.subarray((y0 + y) * widthPx + x0, (y0 + y) * widthPx + x0 + w), y * w);
  const small = factor === 1 ? part : resizePlane(part, w, h, width, height, 'area');
  return {
    luma: softPx > 0 ? gaussianPlane(small, width, height, softPx, softPx) : small,
    width,
    height,
    x0,
    y0,
    factor,
    fromFull: [1 / factor, 0, -x0 / factor, 0, 1 / factor, -y0 / factor, 0, 0, 1],
  };
}
