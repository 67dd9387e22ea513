/**
 * The widen step: how far the canvas grows, from a mark or from the room that the performer needs, and on which of two
 * opposite edges.
 */
import type { Picture } from '../../image/picture.js';
import { marksOf, type Side } from '../proposal-input.js';
import { reframeOf } from './reframe.js';
import type { WidenStep } from '../plate-steps.js';

/** More than this share of the picture on one side is no widening any more. */
const MOST_WIDEN = 0.45;

/**
 * Grows the sides until the canvas has the picture's shape: on the calmer of two opposite edges, because what is busy
 * is hard to go on with. In place.
 */
function evenSides(
  side: { left: number; right: number; top: number; bottom: number },
  w: number,
  h: number,
  p: Picture,
): void {
  const scale = Math.min(1, w / (w + side.left + side.right), h / (h + side.top + side.bottom));
  const x = Math.max(0, Math.floor(w / scale - (w + side.left + side.right))),
    y = Math.max(0, Math.floor(h / scale - (h + side.top + side.bottom)));
  const busy = (at: (k: number, d: number) => number, n: number): number => {
    let sum = 0;
    for (let k = 4; k < n; k++)
      for (const d of [2, 6, 10])
        sum += Math.abs(
          Math.sqrt(Math.max(0, p.data[w * h + at(k, d)]!)) - Math.sqrt(Math.max(0, p.data[w * h + at(k - 4, d)]!)),
        );
    return sum / n;
  };
  const split = (more: number, a: number, b: number): number =>
    a < 0.6 * b ? more : b < 0.6 * a ? 0 : Math.round(more / 2);
  if (x > 1) {
    const l = split(
      x,
      busy((k, d) => k * w + d, h),
      busy((k, d) => k * w + w - 1 - d, h),
    );
    side.left += l;
    side.right += x - l;
  }
  if (y > 1) {
    const t = split(
      y,
      busy((k, d) => d * w + k, w),
      busy((k, d) => (h - 1 - d) * w + k, w),
    );
    side.top += t;
    side.bottom += y - t;
  }
}

/** Null where the picture has room enough. */
export async function proposeWiden(plate: Side): Promise<WidenStep | null> {
  const { widthPx: w, heightPx: h, room } = plate.measures;
  const marked = marksOf(plate.marks, 'widen');
  const side = { left: 0, right: 0, top: 0, bottom: 0 };
  for (const { mark } of marked)
    for (const k of ['left', 'right', 'top', 'bottom'] as const) side[k] = Math.max(side[k], Math.round(mark[k] ?? 0));
  if (marked.length === 0 && room !== undefined) {
    const need = room.widenPx;
    side.left = need.left;
    side.right = need.right;
    side.top = need.top;
  }
  side.left = Math.min(side.left, Math.floor(MOST_WIDEN * w));
  side.right = Math.min(side.right, Math.floor(MOST_WIDEN * w));
  side.top = Math.min(side.top, Math.floor(MOST_WIDEN * h));
  side.bottom = Math.min(side.bottom, Math.floor(MOST_WIDEN * h));
  if (side.left + side.right + side.top + side.bottom === 0) return null;
  const asked = (['left', 'right', 'top', 'bottom'] as const)
    .filter((k) => side[k] > 0)
    .map((k) => `${side[k]} px on the ${k}`)
    .join(', ');
  evenSides(side, w, h, await plate.linear((plate.measures.span.in + plate.measures.span.out) >> 1));
  const r = reframeOf(side, w, h);
  return {
    step: 'widen',
    on: true,
    ...side,
    why:
      `${marked.length > 0 ? 'marked' : 'the performer does not fit into the picture'}: ${asked}; ` +
      `the widened canvas (${w + r.left + r.right} × ${h + r.top + r.bottom}, ` +
      `grown to the film's shape where the picture's edge is calmest) is scaled back to ${w} × ${h}, ` +
      `so the plate is seen at ${(100 * r.scale).toFixed(0)} %`,
  };
}
