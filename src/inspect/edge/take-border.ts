/**
 * A performer that ends in a straight line where the take's own picture ended: a tail, a torso or an arm that ran out
 * of the camera's frame and is now seen whole inside the plate. Along each side of the take, as the recipe lays it, the
 * matte's edge is sought square to the side; a stretch over which it keeps to one straight line is a cut. A view that
 * was shifted bends the side, so there the line may lie farther from it. The rules and limits are our own.
 */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { Box } from '../../join/ground/ground.js';

export interface BorderCut {
  /** Length of the longest cut in sight, px. */
  readonly lengthPx: number;
  readonly side: 'left' | 'right' | 'top' | 'bottom';
  readonly at: Box;
}

/** Coverage beside the cut and beyond it. */
const BODY = 0.75,
  NOTHING = 0.2;
/** How far from the side the edge may lie, px: as laid, and where the view was shifted. */
const REACH = 2.5,
  REACH_SHIFTED = 14;
/** How far on either side of the edge body and nothing are looked for, px. */
const BESIDE = 3;
/** The edge wanders less than this from one px to the next, and over the whole stretch (rms), along a cut. */
const STEP = 0.4,
  STRAIGHT = 0.35;
/** Points this near the picture's own border are cut by it, not by the take. */
const MARGIN = 4;

/**
 * @param matte performer as seen, w × h @param toPlate take pixels to the plate's @param take its width and height
 * @param window the plate's picture without its bars @param shifted the recipe shifts the view
 */
export function readTakeBorder(
  matte: Float32Array,
  w: number,
  h: number,
  toPlate: Mat3,
  take: readonly [number, number],
  window: Box,
  shifted: boolean,
): BorderCut | null {
  const [tw, th] = take,
    reach = shifted ? REACH_SHIFTED : REACH;
  const corners = (
    [
      [0, 0],
      [tw, 0],
      [tw, th],
      [0, th],
    ] as const
  ).map(([x, y]) => apply(toPlate, x, y));
  let best: BorderCut | null = null;
  (['top', 'right', 'bottom', 'left'] as const).forEach((side, i) => {
    const a = corners[i]!,
      b = corners[(i + 1) % 4]!,
      length = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (!(length > 8) || !(length < 1e5)) return;
    const dx = (b[0] - a[0]) / length,
      dy = (b[1] - a[1]) / length;
    // Into the take: its corners run clockwise, unless it is mirrored.
    const mid = apply(toPlate, tw / 2, th / 2),
      turn = (mid[0] - a[0]) * -dy + (mid[1] - a[1]) * dx > 0 ? 1 : -1,
      nx = -dy * turn,
      ny = dx * turn;
    let run: { t: number; c: number }[] = [];
    const close = (): void => {
      const cut = straightPart(run);
      if (cut !== null && cut.length > (best?.lengthPx ?? 0)) {
        const [p, q] = [cut.from, cut.to].map((t) => [a[0] + t * dx, a[1] + t * dy] as const);
        best = {
          lengthPx: cut.length,
          side,
          at: [
            Math.floor(Math.min(p![0], q![0])) - 4,
            Math.floor(Math.min(p![1], q![1])) - 4,
            Math.ceil(Math.max(p![0], q![0])) + 4,
            Math.ceil(Math.max(p![1], q![1])) + 4,
          ],
        };
      }
      run = [];
    };
    for (let t = 0.5; t < length; t++) {
      const x = a[0] + t * dx,
        y = a[1] + t * dy;
      const c =
        x < window[0] + MARGIN || y < window[1] + MARGIN || x > window[2] - MARGIN || y > window[3] - MARGIN
          ? null
          : edgeAcross(matte, w, h, x, y, nx, ny, reach);
      if (c === null || (run.length > 0 && Math.abs(c - run[run.length - 1]!.c) > STEP)) close();
      if (c !== null) run.push({ t, c });
    }
    close();
  });
  return best;
}

/** Where along the normal nothing turns into body, px from the side; null where it does not within reach. */
function edgeAcross(
  matte: Float32Array,
  w: number,
  h: number,
  x: number,
  y: number,
  nx: number,
  ny: number,
  reach: number,
): number | null {
  const at = (d: number): number => {
    const u = x + d * nx - 0.5,
      v = y + d * ny - 0.5,
      i = Math.floor(u),
      j = Math.floor(v);
    if (i < 0 || j < 0 || i + 1 >= w || j + 1 >= h) return NaN;
    const fx = u - i,
      fy = v - j,
      o = j * w + i;
    return (
      (matte[o]! * (1 - fx) + matte[o + 1]! * fx) * (1 - fy) + (matte[o + w]! * (1 - fx) + matte[o + w + 1]! * fx) * fy
    );
  };
  let before = at(-reach - 1);
  for (let d = -reach; d <= reach + 1; d++) {
    const now = at(d);
    if (before < 0.5 && now >= 0.5) {
      const c = d - 1 + (0.5 - before) / (now - before);
      return at(c + BESIDE) > BODY && at(c - BESIDE) < NOTHING ? c : null;
    }
    before = now;
  }
  return null;
}

/** The run as one straight cut; null where it bends or is too short to tell. */
function straightPart(
  run: readonly { readonly t: number; readonly c: number }[],
): { from: number; to: number; length: number } | null {
  const n = run.length;
  if (n < 6) return null;
  const mt = run.reduce((s, p) => s + p.t, 0) / n,
    mc = run.reduce((s, p) => s + p.c, 0) / n;
  let tt = 0,
    tc = 0;
  for (const p of run) {
    tt += (p.t - mt) ** 2;
    tc += (p.t - mt) * (p.c - mc);
  }
  const slope = tc / tt,
    rms = Math.sqrt(run.reduce((s, p) => s + (p.c - mc - slope * (p.t - mt)) ** 2, 0) / n);
  return rms > STRAIGHT ? null : { from: run[0]!.t, to: run[n - 1]!.t, length: n };
}
