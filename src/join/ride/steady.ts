/**
 * Takes out the take's own motion at the anchor: hand-held camera, or a carrier that sways. The anchor is where the
 * performer touches the ground; it is carried by the take's own measured camera motion (the set behind the performer),
 * so that paws which step and a body that leans stay what they are. Where nothing of the set can be followed, the
 * lowest part of the outline gives it, smoothed over half a second so that single paws do not pull.
 */
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { IDENTITY } from './carrier.js';
import type { SteadyStep } from '../performer-steps.js';

export interface AnchorFrame {
  readonly frame: number;
  readonly x: number;
  readonly y: number;
  readonly angleDeg: number;
  /** Size, against the other frames'. */
  readonly scale: number;
}

/**
 * Similarity that brings the take's pixels at `takeFrame` (may be fractional) to where they are at the first anchor.
 */
export function steadyMatrix(step: SteadyStep | null, takeFrame: number): Mat3 {
  const list = step?.anchor ?? [];
  const first = list[0];
  if (first === undefined) return IDENTITY;
  const a = anchorAt(list, takeFrame);
  const r = (-(a.angleDeg - first.angleDeg) * Math.PI) / 180;
  const k = first.scale / a.scale;
  const c = Math.cos(r) * k,
    s = Math.sin(r) * k;
  return multiply([c, -s, first.x, s, c, first.y, 0, 0, 1], [1, 0, -a.x, 0, 1, -a.y, 0, 0, 1]);
}

function anchorAt(list: readonly AnchorFrame[], frame: number): AnchorFrame {
  let lo = list[0]!,
    hi = list[list.length - 1]!;
  if (frame <= lo.frame) return lo;
  if (frame >= hi.frame) return hi;
  for (const a of list) {
    if (a.frame <= frame && a.frame >= lo.frame) lo = a;
    if (a.frame >= frame && a.frame < hi.frame) hi = a;
  }
  if (hi.frame === lo.frame) return lo;
  const t = (frame - lo.frame) / (hi.frame - lo.frame);
  return {
    frame,
    x: lo.x + (hi.x - lo.x) * t,
    y: lo.y + (hi.y - lo.y) * t,
    angleDeg: lo.angleDeg + (hi.angleDeg - lo.angleDeg) * t,
    scale: lo.scale * (hi.scale / lo.scale) ** t,
  };
}

/**
 * Where an outline touches the ground: weighted middle of its lowest rows (3 % of its height), null for an empty matte.
 */
export function outlineContact(alpha: Float32Array, width: number, height: number): { x: number; y: number } | null {
  let top = height,
    bottom = -1;
  const rowSum = new Float64Array(height);
  for (let y = 0; y < height; y++) {
    let sum = 0;
    for (let x = 0; x < width; x++) sum += alpha[y * width + x]!;
    rowSum[y] = sum;
    if (sum > 1) {
      if (y < top) top = y;
      bottom = y;
    }
  }
  if (bottom < 0) return null;
  const band = Math.max(3, Math.round(0.03 * (bottom - top + 1)));
  let sx = 0,
    weight = 0;
  for (let y = Math.max(0, bottom - band + 1); y <= bottom; y++) {
    for (let x = 0; x < width; x++) {
      const a = alpha[y * width + x]!;
      sx += a * (x + 0.5);
      weight += a;
    }
  }
  // Sub-pixel bottom: where the rows' sum falls to half of the band's mean.
  const mean = weight / band;
  let y = bottom;
  while (y > top && rowSum[y]! < 0.5 * mean) y--;
  const below = y + 1 < height ? rowSum[y + 1]! : 0;
  const share = rowSum[y]! > below ? (rowSum[y]! - 0.5 * mean) / (rowSum[y]! - below) : 0.5;
  return { x: sx / weight, y: y + 0.5 + Math.min(1, Math.max(0, share)) };
}
