/**
 * Where the performer's own shadow and what it throws back change the ground, in the reduced picture of
 * remains-frame.ts: ground that tells nothing of an erase.
 */
import { maskBox, withRoom } from '../../image/mask-box.js';
import { dilate } from '../../image/morphology.js';
import { reducedLight, type RemainsFrame } from './remains-frame.js';

/**
 * ln of light by which the ground is changed; and how far about that nothing is read, in parts of the performer's
 * height, since another picture's shadow lies a little elsewhere.
 */
const CHANGED = 0.03,
  ROOM = 0.12;

export interface OwnGround {
  readonly frame: number;
  /** 1 where the frame shows shadow or thrown-back light of the performer's own, in the reduced picture. */
  readonly mask: Uint8Array;
  readonly foot: readonly [number, number] | null;
  /** By how much the mask is grown before it is used, px of the reduced picture. */
  readonly roomPx: number;
}

/** Lumas of the recipe rendered again and of the plate it was laid on, full size; `performerPx`: its height. */
export function ownGround(
  frame: number,
  expected: Float32Array,
  plate: Float32Array,
  W: number,
  H: number,
  scale: number,
  foot: readonly [number, number] | null,
  performerPx: number,
): OwnGround {
  const a = reducedLight(expected, W, H, scale),
    b = reducedLight(plate, W, H, scale);
  return {
    frame,
    mask: Uint8Array.from(a, (v, i) => (Math.abs(v - b[i]!) > CHANGED ? 1 : 0)),
    foot,
    roomPx: Math.max(2, Math.ceil((ROOM * performerPx) / scale)),
  };
}

/** The same on another frame: that of the nearest frame told, moved with the foot. Null where none is told. */
export function ownGroundAt(
  told: readonly OwnGround[],
  f: RemainsFrame,
  foot: readonly [number, number] | null,
): Uint8Array | null {
  if (told.length === 0) return null;
  const o = told.reduce((w, q) => (Math.abs(q.frame - f.frame) < Math.abs(w.frame - f.frame) ? q : w)),
    { width: w, height: h } = f;
  const dx = foot === null || o.foot === null ? 0 : Math.round((foot[0] - o.foot[0]) / f.scale),
    dy = foot === null || o.foot === null ? 0 : Math.round((foot[1] - o.foot[1]) / f.scale);
  const moved = new Float32Array(w * h);
  for (let y = Math.max(0, dy); y < Math.min(h, h + dy); y++)
    for (let x = Math.max(0, dx); x < Math.min(w, w + dx); x++)
      if (o.mask[(y - dy) * w + x - dx] === 1) moved[y * w + x] = 1;
  const own = Uint8Array.from(dilate(moved, w, h, o.roomPx), (v) => (v > 0 ? 1 : 0));
  markAbout(f, own);
  return own;
}

/**
 * Within its own height of the performer its shadow may lie on any ground: another picture's is not where the recipe
 * lays it.
 */
function markAbout(f: RemainsFrame, own: Uint8Array): void {
  const { width: w, height: h } = f;
  const box = maskBox(f.covered, w, h);
  if (box === null) return;
  const [x0, y0, x1, y1] = withRoom(box, box[3] - box[1], w, h);
  for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) own[y * w + x] = 1;
}
