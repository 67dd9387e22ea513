/**
 * The take's own camera, from what stands still behind the performer: crosses and folds of the screen, floor marks, the
 * card, edges of the room. Corners (Shi & Tomasi, *Good Features to Track*, CVPR 1994) of the first frame outside the
 * performer are found again in every frame by translational inverse compositional alignment (Baker & Matthews, IJCV
 * 2004) with the light's gain and bias taken out; always against the first frame, so that nothing drifts. A similarity
 * is fitted to them robustly: a moving shadow or a stray paw falls out; lines count across themselves alone. A plain
 * screen has nothing to hold on to: said, with what would help. Lengths in pixels of the take; luma display-coded 0..1.
 */
import { mapTuple } from '../core/tuples.js';
import { notMeasurable } from '../core/measure.js';
import { framesPerSecond } from '../core/rational.js';
import { solveGeneral } from '../geometry/linear-solve.js';
import { invert, type Mat3 } from '../geometry/mat3.js';
import type { VideoReader } from '../media/video-reader.js';
import { describeMove } from '../plate/camera/camera-kind.js';
import { enlargeMove, moveFactor, readerLumaSource } from '../plate/ride/reader-luma-source.js';
import type { CameraMove, CameraMoveFrame } from '../plate/types.js';
import type { TakeFrame } from './measures.js';
import {
  applySimilarity,
  cornersOf,
  follow,
  LEAST_CORNERS,
  MOST_PLACES,
  STILL,
  type Box,
  type Corners,
  type Found,
  type Similarity,
} from './screen/still-places.js';

/** Least corners, and least share of frames that must hold them. */
const LEAST_INSIDE = 5;
const LEAST_FRAMES = 0.8;
/** Furthest that a place may lie from where the camera puts it and still agree, px (across its line). */
const INSIDE = 0.7;
/** A frame whose corners agree less well than this (robust sd, px) is not believed. */
const MOST_SCALE = 0.4;
/** Nor one that leaves the shift at the picture's middle less sure than this, px. */
const MOST_SD = 0.25;
/** Least scale of the residuals: what a codec makes of a sharp corner. */
const LEAST_SCALE = 0.08;

export interface TakeCamera {
  readonly camera: CameraMove | null;
  readonly note: string | null;
}

const PLAIN =
  "the take's camera could not be measured: nothing behind the performer can be followed; " +
  'stick a few small crosses on the screen or the floor';

/** Measures the camera of an open take. `frames` are the sampled frames with the performer's box, in take pixels. */
export async function measureTakeCamera(reader: VideoReader, frames: readonly TakeFrame[]): Promise<TakeCamera> {
  const { frameCount, rate } = reader.info;
  if (frameCount < 3) return { camera: null, note: null };
  const factor = moveFactor(reader.info.widthPx);
  const source = readerLumaSource(reader, factor);
  const { widthPx: w, heightPx: h } = source;
  const boxAt = boxes(frames, factor, Math.round(0.02 * w) + 6);
  const boxed = frames.some((f) => f.box !== null);
  let corners: Corners | null = null;
  let last: Similarity = STILL;
  const found: { frame: number; s: Similarity; support: number }[] = [];
  let lost = 0;
  const trust = new Float64Array(MOST_PLACES).fill(1);
  for await (const f of source.frames(0, frameCount)) {
    if (corners === null) {
      corners = cornersOf(f.luma, w, h, boxAt(0));
      if (corners.x.length < LEAST_CORNERS) return { camera: null, note: PLAIN };
      continue;
    }
    const at = follow(corners, f.luma, w, h, last, boxAt(f.index));
    const fit = at.found.length < LEAST_CORNERS ? null : fitSimilarity(corners, at.found, trust, last, w, h);
    // Without a box the performer itself may be what is followed: only what agrees over the whole picture is the room.
    const sure =
      fit !== null &&
      fit.scale <= MOST_SCALE &&
      fit.sdPx <= MOST_SD &&
      fit.inside.length >= Math.max(LEAST_INSIDE, (boxed ? 0.4 : 0.6) * at.visible);
    if (sure) {
      const agreed = new Set(fit.inside.map((p) => p.i));
      for (const p of at.found) trust[p.i] = 0.7 * trust[p.i]! + (agreed.has(p.i) ? 0.3 : 0.003);
    } else if (++lost > (1 - LEAST_FRAMES) * (frameCount - 1)) return { camera: null, note: PLAIN };
    // What is not believed still tells where to look next.
    last = fit?.s ?? last;
    found.push({ frame: f.index, s: last, support: sure ? fit.inside.length / at.found.length : 0 });
  }
  bridge(found);
  const matrix = (s: Similarity): Mat3 => [s[0], -s[1], s[2], s[1], s[0], s[3], 0, 0, 1];
  const kind = describeMove(
    found.map((f) => matrix(f.s)),
    w,
    h,
    framesPerSecond(rate),
    false,
  );
  const flat = { panDeg: null, tiltDeg: null, rollDeg: null };
  const out: CameraMoveFrame[] = [
    { frame: 0, homographyToFirst: [1, 0, 0, 0, 1, 0, 0, 0, 1], ...flat, support: 1 },
    ...found.map((f) => ({ frame: f.frame, homographyToFirst: invert(matrix(f.s)), ...flat, support: f.support })),
  ];
  const reason = 'a similarity of what stands behind the performer tells no lens';
  return {
    camera: enlargeMove(
      {
        move: kind.move,
        focalPx: notMeasurable('px', reason, 'the floor card'),
        frames: out,
        shake: kind.shake,
        reason,
      },
      factor,
    ),
    note: null,
  };
}

/** Frames that were not believed are laid between their neighbours that were. */
function bridge(found: { s: Similarity; support: number }[]): void {
  let before = -1;
  for (let i = 0; i <= found.length; i++) {
    if (i < found.length && found[i]!.support === 0) continue;
    const a = before < 0 ? STILL : found[before]!.s;
    const b = i < found.length ? found[i]!.s : a;
    for (let k = before + 1; k < i; k++) {
      const t = (k - before) / (i - before);
      found[k]!.s = mapTuple([0, 1, 2, 3] as const, (j) => a[j]! * (1 - t) + b[j]! * t);
    }
    before = i;
  }
}

/**
 * The performer's box at any frame: what the sampled frames on both sides cover
 * together, widened; null where none was found.
 */
function boxes(frames: readonly TakeFrame[], factor: number, widen: number): (frame: number) => Box | null {
  const known = frames.filter((f) => f.box !== null);
  return (frame) => {
    if (known.length === 0) return null;
    const after = known.findIndex((f) => f.frame >= frame);
    const pair =
      after < 0 ? [known[known.length - 1]!] : after === 0 ? [known[0]!] : [known[after - 1]!, known[after]!];
    const b = pair.map((f) => f.box!);
    return {
      x0: Math.min(...b.map((q) => q.x0)) / factor - widen,
      y0: Math.min(...b.map((q) => q.y0)) / factor - widen,
      x1: Math.max(...b.map((q) => q.x1)) / factor + widen,
      y1: Math.max(...b.map((q) => q.y1)) / factor + widen,
    };
  };
}

/**
 * Similarity from the first frame to this one, from the last frame's: each place counts by its structure tensor, so
 * that a line speaks only of what happens across it, and the scale of what is believed shrinks from pixels to a
 * fraction (graduated reweighting). `trust` counts how often a place has agreed before: shadows lose their say.
 */
function fitSimilarity(
  c: Corners,
  at: readonly Found[],
  trust: Float64Array,
  last: Similarity,
  w: number,
  h: number,
): { s: Similarity; inside: readonly Found[]; scale: number; sdPx: number } | null {
  // About the picture's middle, in widths: well conditioned.
  const cx = w / 2;
  const cy = h / 2;
  const error = (s: Similarity, p: Found): number => {
    const [x, y] = applySimilarity(s, c.x[p.i]!, c.y[p.i]!);
    const ex = p.x - x;
    const ey = p.y - y;
    return Math.sqrt(Math.max(0, c.txx[p.i]! * ex * ex + 2 * c.txy[p.i]! * ex * ey + c.tyy[p.i]! * ey * ey));
  };
  let s = last;
  let scale = 0;
  let weights: number[] = [];
  const matrix = new Float64Array(16);
  const right = new Float64Array(4);
  for (const limit of [8, 4, 2, 1, INSIDE, INSIDE, INSIDE]) {
    const r = at.map((p) => error(s, p));
    weights = r.map((e, n) => {
      const u = e / limit;
      return u >= 1 ? 0 : trust[at[n]!.i]! * (1 - u * u) ** 2;
    });
    matrix.fill(0);
    right.fill(0);
    at.forEach((p, n) => {
      const q = weights[n]!;
      if (q === 0) return;
      const x = (c.x[p.i]! - cx) / w;
      const y = (c.y[p.i]! - cy) / w;
      const xx = q * c.txx[p.i]!;
      const xy = q * c.txy[p.i]!;
      const yy = q * c.tyy[p.i]!;
      const jx = [x, -y, 1, 0];
      const jy = [y, x, 0, 1];
      for (let i = 0; i < 4; i++) {
        const ax = xx * jx[i]! + xy * jy[i]!;
        const ay = xy * jx[i]! + yy * jy[i]!;
        right[i]! += ax * (p.x - cx) + ay * (p.y - cy);
        for (let j = 0; j < 4; j++) matrix[4 * i + j]! += ax * jx[j]! + ay * jy[j]!;
      }
    });
    const m = solveGeneral(matrix, right, 4);
    if (m === null) return null;
    const a = m[0]! / w;
    const b = m[1]! / w;
    s = [a, b, m[2]! + cx - a * cx + b * cy, m[3]! + cy - b * cx - a * cy];
  }
  const near = at.map((p) => error(s, p)).filter((e) => e < INSIDE);
  if (near.length < LEAST_INSIDE) return null;
  scale = Math.max(LEAST_SCALE, Math.sqrt(near.reduce((t, e) => t + e * e, 0) / near.length));
  // Variance of the shift at the picture's middle: the last two of the inverse's diagonal.
  const vx = solveGeneral(matrix, Float64Array.of(0, 0, 1, 0), 4);
  const vy = solveGeneral(matrix, Float64Array.of(0, 0, 0, 1), 4);
  if (vx === null || vy === null) return null;
  return { s, inside: at.filter((_, n) => weights[n]! > 0), scale, sdPx: scale * Math.sqrt(Math.max(vx[2]!, vy[3]!)) };
}
