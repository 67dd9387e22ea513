/**
 * Points of the performer's coat followed over some frames: from the middle frame outwards by dense motion from frame
 * to frame (image/flow.ts), each step kept where the way there and back meets and the point stays inside the body.
 */
import { distanceToSet } from '../image/distance.js';
import { FlowPicture, motionAt, type MotionField } from '../image/flow.js';
import { median } from '../image/statistics.js';
import type { BodyFrame, Window } from './turn-slope.js';

/** Where a point is seen on the frames of a chain, px; NaN where it is not. */
export interface CoatTrack {
  readonly x: Float64Array;
  readonly y: Float64Array;
}

/** So many points about are followed, this far from each other, px. */
const POINTS = 300,
  LEAST_SPACING = 8;
/** Distance from the body's outline, whose motion is not the coat's, px. */
const EDGE = 6;
/** The way there and back meets within this share of it, or within so many pixels. */
const MEETS = 0.15,
  MEETS_PX = 0.6;
/** A body whose points go less far over two frames of the chain, px, on both sides of its middle holds still. */
const STILL_PX = 1;
/** Room round the body that the motion's estimate sees, px. */
const ROOM = 12;

/**
 * Every point is seen on the chain's middle frame. Empty where the body is too small, or holds still.
 *
 * @param frames the body on a chain of frames, all of one size
 * @param body what it covers on all of them together
 */
export function coatTracks(frames: readonly BodyFrame[], body: Window): CoatTrack[] {
  const middle = frames.length >> 1,
    box = {
      x0: Math.max(0, body.x0 - ROOM),
      y0: Math.max(0, body.y0 - ROOM),
      x1: Math.min(frames[0]!.width, body.x1 + ROOM),
      y1: Math.min(frames[0]!.height, body.y1 + ROOM),
    },
    w = box.x1 - box.x0,
    h = box.y1 - box.y0;
  if (w < 16 || h < 16) return [];
  const inner = frames.map((f) => distanceFromOutline(f, box)),
    inside = (k: number, x: number, y: number): boolean => inner[k]![Math.floor(y) * w + Math.floor(x)]! > EDGE,
    pictures = frames.map((f) => new FlowPicture(bodyOnGrey(f, box), w, h)),
    tracks: CoatTrack[] = [];
  const area = inner[middle]!.reduce((n, d) => n + (d > EDGE ? 1 : 0), 0),
    spacing = Math.max(LEAST_SPACING, Math.round(Math.sqrt(area / POINTS)));
  try {
    const moves = [middle + 2, middle - 2].some(
      (k) =>
        k >= 0 &&
        k < frames.length &&
        middleWay(motionAt(pictures[middle]!, pictures[k]!, 0), inner[middle]!) >= STILL_PX,
    );
    if (!moves) return [];
    for (let y = spacing / 2; y < h; y += spacing)
      for (let x = spacing / 2; x < w; x += spacing)
        if (inside(middle, x, y)) tracks.push(seenOnce(frames.length, middle, x, y));
    for (const way of [1, -1])
      for (let k = middle; k + way >= 0 && k + way < frames.length; k += way) {
        const there = motionAt(pictures[k]!, pictures[k + way]!, 0),
          back = motionAt(pictures[k + way]!, pictures[k]!, 0);
        for (const t of tracks) {
          const to = whereto(there, back, t.x[k]!, t.y[k]!);
          if (to !== null && inside(k + way, ...to)) [t.x[k + way], t.y[k + way]] = to;
        }
      }
  } finally {
    for (const p of pictures) p.close();
  }
  for (const t of tracks)
    for (let k = 0; k < frames.length; k++) {
      t.x[k]! += box.x0;
      t.y[k]! += box.y0;
    }
  return tracks;
}

/** Median length of the motion inside the body, px. */
function middleWay({ u, v }: MotionField, inner: Float32Array): number {
  const ways: number[] = [];
  for (let i = 0; i < inner.length; i += 5) if (inner[i]! > EDGE) ways.push(Math.hypot(u[i]!, v[i]!));
  return ways.length === 0 ? 0 : median(ways);
}

function seenOnce(frames: number, at: number, x: number, y: number): CoatTrack {
  const t = { x: new Float64Array(frames).fill(NaN), y: new Float64Array(frames).fill(NaN) };
  t.x[at] = x;
  t.y[at] = y;
  return t;
}

/** Where a point goes; null where it is not known or does not come home. */
function whereto(there: MotionField, back: MotionField, x: number, y: number): [number, number] | null {
  const go = motionOf(there, x, y);
  if (go === null) return null;
  const to: [number, number] = [x + go[0], y + go[1]],
    home = motionOf(back, ...to);
  return home === null || Math.hypot(home[0] + go[0], home[1] + go[1]) > Math.max(MEETS_PX, MEETS * Math.hypot(...go))
    ? null
    : to;
}

/** The motion at a place, between its pixels' middles; null outside. */
function motionOf({ u, v, width, height }: MotionField, x: number, y: number): [number, number] | null {
  const px = x - 0.5,
    py = y - 0.5,
    ix = Math.floor(px),
    iy = Math.floor(py);
  if (!(ix >= 0 && iy >= 0 && ix + 1 < width && iy + 1 < height)) return null;
  const fx = px - ix,
    fy = py - iy,
    i = iy * width + ix,
    mix = (f: Float32Array): number =>
      (f[i]! * (1 - fx) + f[i + 1]! * fx) * (1 - fy) + (f[i + width]! * (1 - fx) + f[i + width + 1]! * fx) * fy;
  return [mix(u), mix(v)];
}

/** Luma of the body in a window, what is not it made one grey. */
function bodyOnGrey(f: BodyFrame, { x0, y0, x1, y1 }: Window): Float32Array {
  const w = x1 - x0,
    out = new Float32Array(w * (y1 - y0)).fill(0.5);
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const i = y * f.width + x;
      if (f.covered[i] === 1) out[(y - y0) * w + x - x0] = f.luma[i]!;
    }
  return out;
}

/** How deep inside the body each pixel of a window lies, px. */
function distanceFromOutline(f: BodyFrame, { x0, y0, x1, y1 }: Window): Float32Array {
  const w = x1 - x0,
    off = new Uint8Array(w * (y1 - y0));
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) off[(y - y0) * w + x - x0] = 1 - f.covered[y * f.width + x]!;
  return distanceToSet(off, w, y1 - y0);
}
