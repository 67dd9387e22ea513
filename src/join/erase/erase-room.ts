/** Where the still picture of the set lies, how fine it is, and which of its pixels some frame hides. */
import { boundsOf } from '../../geometry/bounds.js';
import { apply, tryInvert, multiply, type Point2 } from '../../geometry/mat3.js';
import { dilate } from '../../image/morphology.js';
import { rasterizeMoved } from '../../image/polygon.js';
import { mosaicMatrix, type MosaicFrame } from './mosaic-frame.js';
import type { SetMotion } from './set-motion.js';

/** Mosaic pixels a frame pixel where the camera moves. */
const OVERSAMPLING = 1.4;

/** Room of the mosaic: all outlines in reference pixels and some set about them, no further than any frame reaches. */
export function frameOfMosaic(
  frames: readonly number[],
  outlines: (n: number) => [number, number][][],
  motion: SetMotion,
  w: number,
  h: number,
): MosaicFrame {
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity,
    rx0 = Infinity,
    ry0 = Infinity,
    rx1 = -Infinity,
    ry1 = -Infinity,
    scale = 1;
  const corners: Point2[] = [
    [0, 0],
    [w, 0],
    [w, h],
    [0, h],
  ];
  for (const n of frames) {
    const back = tryInvert(motion.fromReference(n));
    if (back === null) continue;
    const o = boundsOf(
      outlines(n)
        .flat()
        .map(([x, y]) => [Math.min(w, Math.max(0, x)), Math.min(h, Math.max(0, y))] as const),
      back,
    );
    const r = boundsOf(corners, back);
    if (![...o, ...r].every((v) => Number.isFinite(v) && Math.abs(v) < 8 * (w + h))) continue;
    x0 = Math.min(x0, o[0]);
    y0 = Math.min(y0, o[1]);
    x1 = Math.max(x1, o[2]);
    y1 = Math.max(y1, o[3]);
    rx0 = Math.min(rx0, r[0]);
    ry0 = Math.min(ry0, r[1]);
    rx1 = Math.max(rx1, r[2]);
    ry1 = Math.max(ry1, r[3]);
    const mid: Point2 = [(o[0] + o[2]) / 2, (o[1] + o[3]) / 2];
    const p = apply(motion.fromReference(n), mid[0], mid[1]),
      q = apply(motion.fromReference(n), mid[0] + 1, mid[1]);
    scale = Math.max(scale, Math.hypot(q[0] - p[0], q[1] - p[1]));
  }
  const margin = Math.max(64, 0.15 * w);
  x0 = Math.max(rx0, x0 - margin);
  y0 = Math.max(ry0, y0 - margin);
  x1 = Math.min(rx1, x1 + margin);
  y1 = Math.min(ry1, y1 + margin);
  x0 = Math.floor(x0);
  y0 = Math.floor(y0);
  // Finer than the frames, so that resampling twice costs no sharpness; where nothing moves, nothing is resampled.
  scale = motion.still ? 1 : Math.min(2, OVERSAMPLING * scale);
  const width = Math.max(16, Math.ceil((x1 - x0) * scale)),
    height = Math.max(16, Math.ceil((y1 - y0) * scale));
  const most = 12e6;
  const cut = Math.min(1, Math.sqrt(most / (width * height)));
  return {
    x0,
    y0,
    width: Math.max(16, Math.ceil(width * cut)),
    height: Math.max(16, Math.ceil(height * cut)),
    scale: scale * cut,
  };
}

/** 1 where some frame needs the mosaic. */
export function hiddenInMosaic(
  frame: MosaicFrame,
  frames: readonly number[],
  outlines: (n: number) => [number, number][][],
  motion: SetMotion,
  w: number,
  h: number,
  growPx: number,
): Uint8Array {
  const m = mosaicMatrix(frame);
  const out = new Uint8Array(frame.width * frame.height);
  const quad: Point2[] = [
    [0, 0],
    [w, 0],
    [w, h],
    [0, h],
  ];
  const one = new Float32Array(out.length),
    inside = new Float32Array(out.length);
  for (const n of frames) {
    const back = tryInvert(motion.fromReference(n));
    if (back === null) continue;
    const to = multiply(m, back);
    rasterizeMoved(quad, to, frame.width, frame.height, inside);
    for (const o of outlines(n)) {
      rasterizeMoved(o, to, frame.width, frame.height, one);
      for (let i = 0; i < out.length; i++) if (one[i]! > 0 && inside[i]! > 0) out[i] = 1;
    }
  }
  const grown = dilate(Float32Array.from(out), frame.width, frame.height, Math.ceil((growPx + 4) * frame.scale));
  for (let i = 0; i < out.length; i++) out[i] = grown[i]! > 0 ? 1 : 0;
  return out;
}

/** Points of the hidden area on a coarse grid, in reference pixels. */
export function gridPoints(hidden: Uint8Array, f: MosaicFrame): Point2[] {
  const step = Math.max(2, Math.round(f.width / 96));
  const out: Point2[] = [];
  for (let y = step >> 1; y < f.height; y += step)
    for (let x = step >> 1; x < f.width; x += step) {
      if (hidden[y * f.width + x] !== 0) out.push([(x + 0.5) / f.scale + f.x0, (y + 0.5) / f.scale + f.y0]);
    }
  return out;
}
