/**
 * What moves through a set by itself, marked or not: points are followed through the shot in the pixels of one still
 * canvas, and a thing is a mover on every frame if on any stretch it went further than noise and sway do (long-term
 * point trajectories: T. Brox, J. Malik, "Object segmentation by long term analysis of point trajectories", ECCV 2010).
 * So a foot that stands for half a step is known by its swing. Tracks are carried by dense motion (image/flow.ts)
 * between neighbouring frames, end where forward and backward motion disagree or the light does not match (hidden,
 * uncovered), and forget slowly.
 */
import { invert, multiply, tryInvert } from '../../geometry/mat3.js';
import { connectedComponents } from '../../image/components.js';
import { dilate } from '../../image/morphology.js';
import { createPicture } from '../../image/picture.js';
import { warpHomography } from '../../image/warp.js';
import type { LumaSource } from '../../plate/ride/ride-source.js';
import type { Mosaic } from './erase-mosaic.js';
import type { SetMotion } from './set-motion.js';
import { type Canvas, between, packed } from './canvas-motion.js';

/** Width at which frames are followed, px, and how many of them. */
const WORK_PX = 420;
const STEPS = 90;
/** How far a thing must have gone, as a share of a frame's width: leaves sway and flow errs by less. */
const WENT = 0.012;
/** What a track still knows a step later. */
const KEPT = 0.96;
/**
 * Coded difference at which a track has ended, and how far forward and backward motion may disagree, px and as a share
 * of the motion.
 */
const CHANGED = 0.1;
const DISAGREE = 0.7,
  DISAGREE_SHARE = 0.1;
/**
 * Least size of a mover, as a share of a frame's area; at most this share of a frame is taken for movers, else it is
 * the set that was misplaced.
 */
const LEAST_AREA = 0.0008;
const MOST_SHARE = 0.5;
/** Border added about a mover, as a share of a frame's width. */
const GROW = 0.012;

export interface SetMovers {
  /**
   * 1 where a frame shows a mover; the frame's own size. Of frames between those followed: the nearest one's, by the
   * set's motion.
   */
  maskOf(frame: number): Uint8Array;
}

/** The frames that are followed, on the canvas: `frames` long, steps between them one fewer. */
interface Followed {
  readonly canvas: Canvas;
  readonly frames: readonly number[];
  /** 1 where the canvas lies within the frame. */
  readonly inside: readonly Uint8Array[];
  /** Motion of each step, from its earlier frame on and from its later one back (see `packed`). */
  readonly forward: readonly Int8Array[];
  readonly backward: readonly Int8Array[];
  /** 1 where a step's later frame shows another thing than where it is said to have been. */
  readonly change: readonly Uint8Array[];
}

/**
 * Follows what moves over the frames of a span; null where nothing does. Memory: some bytes a canvas pixel and frame,
 * ninety frames at most.
 * @param room the still canvas that all frames are laid on
 * @param share of the working width that a thing must have gone
 */
export async function findMovers(
  source: LumaSource,
  motion: SetMotion,
  span: { readonly in: number; readonly out: number },
  room: Pick<Mosaic, 'width' | 'height' | 'fromReference'>,
  share = WENT,
): Promise<SetMovers | null> {
  const step = Math.max(1, Math.ceil((span.out - span.in) / STEPS));
  const frames: number[] = [];
  for (let n = span.in; n < span.out; n += step) frames.push(n);
  if (frames.length < 4) return null;
  const canvas = canvasOf(room, motion, source.widthPx);
  if (canvas.w < 32 || canvas.h < 32 || canvas.w * canvas.h > 1.5e6) return null;
  const followed = await followFrames(source, span, frames, canvas);
  const went = followed.inside.map(() => new Float32Array(canvas.w * canvas.h));
  carryTracks(followed, went, 1);
  carryTracks(followed, went, -1);
  return moversOf(followed, went, share * WORK_PX, motion, source);
}

function canvasOf(
  room: Pick<Mosaic, 'width' | 'height' | 'fromReference'>,
  motion: SetMotion,
  widthPx: number,
): Canvas {
  const k = Math.min(1, WORK_PX / widthPx) / Math.hypot(room.fromReference[0], room.fromReference[3]);
  return {
    w: Math.ceil(room.width * k),
    h: Math.ceil(room.height * k),
    of: (n) => multiply(multiply([k, 0, 0, 0, k, 0, 0, 0, 1], room.fromReference), invert(motion.fromReference(n))),
  };
}

/** The frames wanted, laid on the canvas one after the other, and the motion from each to the next. */
async function followFrames(
  source: LumaSource,
  span: { readonly in: number; readonly out: number },
  frames: readonly number[],
  canvas: Canvas,
): Promise<Followed> {
  const wanted = new Set(frames);
  const forward: Int8Array[] = [],
    backward: Int8Array[] = [],
    change: Uint8Array[] = [],
    inside: Uint8Array[] = [];
  let last: OnCanvas | null = null;
  for await (const f of source.frames(span.in, span.out)) {
    if (!wanted.has(f.index)) continue;
    const now = onCanvas(f.luma, source, canvas, f.index);
    inside.push(now.seen);
    if (last !== null) {
      const [a, b] = between(last.luma, last.seen, now.luma, now.seen, canvas);
      forward.push(packed(a.u, a.v));
      backward.push(packed(b.u, b.v));
      const changed = new Uint8Array(canvas.w * canvas.h);
      for (let i = 0; i < changed.length; i++)
        changed[i] = differs(now.luma, last.luma, canvas, i, b.u[i]!, b.v[i]!) ? 1 : 0;
      change.push(changed);
    }
    last = now;
  }
  return { canvas, frames, inside, forward, backward, change };
}

interface OnCanvas {
  readonly luma: Float32Array;
  /** 1 where the canvas lies within the frame. */
  readonly seen: Uint8Array;
}

function onCanvas(
  luma: Float32Array,
  { widthPx: W, heightPx: H }: LumaSource,
  canvas: Canvas,
  frame: number,
): OnCanvas {
  const one = createPicture(W, H, 1),
    all = createPicture(W, H, 1);
  one.data.set(luma);
  for (let y = 2; y < H - 2; y++) all.data.fill(1, y * W + 2, (y + 1) * W - 2);
  const m = canvas.of(frame);
  return {
    luma: warpHomography(one, m, canvas.w, canvas.h, { filter: 'bilinear', boundary: 'clamp' }).data,
    seen: Uint8Array.from(
      warpHomography(all, m, canvas.w, canvas.h, { filter: 'bilinear', boundary: 'zero' }).data,
      (v) => (v > 0.99 ? 1 : 0),
    ),
  };
}

/**
 * One pass over the steps, forwards (1) or backwards (-1): every pixel carries how far what it shows has gone from
 * where its track began, and the furthest ever is kept in `went` (canvas pixels, a plane a frame).
 */
function carryTracks(
  { canvas, inside, forward, backward, change }: Followed,
  went: readonly Float32Array[],
  direction: 1 | -1,
): void {
  const N = canvas.w * canvas.h,
    count = inside.length,
    back = direction < 0;
  let x = new Float32Array(N),
    y = new Float32Array(N),
    far = new Float32Array(N);
  for (let s = 1; s < count; s++) {
    const at = back ? count - 1 - s : s,
      pair = back ? at : at - 1;
    // Where a pixel of this frame was on the one before it in this pass.
    const toOld = back ? forward[pair]! : backward[pair]!,
      toNew = back ? backward[pair]! : forward[pair]!;
    const nx = new Float32Array(N),
      ny = new Float32Array(N),
      nf = new Float32Array(N),
      out = went[at]!;
    for (let i = 0; i < N; i++) {
      if (inside[at]![i] === 0) continue;
      const u = toOld[2 * i]! / 8,
        v = toOld[2 * i + 1]! / 8;
      const px = i % canvas.w,
        py = (i - px) / canvas.w;
      const qx = Math.round(px + u),
        qy = Math.round(py + v);
      if (qx < 0 || qy < 0 || qx >= canvas.w || qy >= canvas.h) continue;
      const j = qy * canvas.w + qx;
      if (inside[at - direction]![j] === 0) continue;
      const e = Math.hypot(u + toNew[2 * j]! / 8, v + toNew[2 * j + 1]! / 8);
      if (e > DISAGREE + DISAGREE_SHARE * Math.hypot(u, v)) continue;
      if ((back ? change[pair]![j] : change[pair]![i]) !== 0) continue;
      nx[i] = x[j]! - u;
      ny[i] = y[j]! - v;
      nf[i] = Math.max(KEPT * far[j]!, Math.hypot(nx[i]!, ny[i]!));
      if (nf[i]! > out[i]!) out[i] = nf[i]!;
    }
    x = nx;
    y = ny;
    far = nf;
  }
}

/** Masks of what went further than `least` canvas pixels; null where nothing of some size did. */
function moversOf(
  { canvas, frames, inside }: Followed,
  went: readonly Float32Array[],
  least: number,
  motion: SetMotion,
  { widthPx: W, heightPx: H }: LumaSource,
): SetMovers | null {
  const masks = new Map<number, Float32Array>();
  went.forEach((m, s) => {
    const mark = Uint8Array.from(m, (v) => (v > least ? 1 : 0));
    const area = inside[s]!.reduce((sum, v) => sum + v, 0);
    const { labels, components } = connectedComponents(mark, canvas.w, canvas.h, 8);
    const big = new Set([...components].filter((c) => c.area >= LEAST_AREA * area).map((c) => c.label));
    const kept = new Float32Array(mark.length);
    let sum = 0;
    for (let i = 0; i < kept.length; i++)
      if (mark[i] !== 0 && big.has(labels[i]!)) {
        kept[i] = 1;
        sum++;
      }
    if (sum === 0 || sum > MOST_SHARE * area) return;
    masks.set(frames[s]!, dilate(kept, canvas.w, canvas.h, Math.max(2, Math.round(GROW * WORK_PX))));
  });
  if (masks.size === 0) return null;
  return {
    maskOf(n) {
      const near = frames.reduce((best, f) => (Math.abs(f - n) < Math.abs(best - n) ? f : best), frames[0]!);
      const mask = masks.get(near);
      const back =
        mask === undefined
          ? null
          : tryInvert(multiply(canvas.of(near), multiply(motion.fromReference(near), invert(motion.fromReference(n)))));
      if (mask === undefined || back === null) return new Uint8Array(W * H);
      const laid = warpHomography({ width: canvas.w, height: canvas.h, channels: 1, data: mask }, back, W, H, {
        filter: 'bilinear',
        boundary: 'zero',
      });
      return Uint8Array.from(laid.data, (v) => (v > 0.3 ? 1 : 0));
    },
  };
}

/**
 * Is what a pixel shows another thing than where it is said to have been? Nearest pixel and its neighbours, so that no
 * edge counts for change.
 */
function differs(now: Float32Array, before: Float32Array, { w, h }: Canvas, i: number, u: number, v: number): boolean {
  const x = Math.round((i % w) + u),
    y = Math.round(Math.floor(i / w) + v);
  for (let b = Math.max(0, y - 1); b <= Math.min(h - 1, y + 1); b++)
    for (let a = Math.max(0, x - 1); a <= Math.min(w - 1, x + 1); a++)
      if (Math.abs(now[i]! - before[b * w + a]!) < CHANGED) return false;
  return true;
}
