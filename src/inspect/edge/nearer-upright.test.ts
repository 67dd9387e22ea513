/**
 * A wall on a floor, a body on the floor, and a post set nearer or farther than the body: what the pinhole camera shows
 * of each by its own projection. Only what stands nearer and is laid over is told.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { GroundStep } from '../../join/types.js';
import { madeFrame } from '../reader/made-frame.js';
import { judge } from '../verdict.js';
import { at, blank, recipe } from '../judge/made-readings.js';
import { readNearerUpright } from './nearer-upright.js';

const W = 480,
  H = 320,
  N = W * H,
  FOCAL = 500,
  TILT = -6,
  /** Of the camera over the ground, metres; of the body and the wall from the camera along the ground. */
  EYE = 1.1,
  BODY = 4,
  WALL = 9;
const cos = Math.cos((TILT * Math.PI) / 180),
  sin = Math.sin((TILT * Math.PI) / 180);

/** Row and scale (px a metre) of what stands `far` metres away, `high` over the ground. */
function shown(far: number, high: number): readonly [number, number] {
  const down = EYE - high,
    depth = far * cos - down * sin;
  return [H / 2 + (FOCAL * (down * cos + far * sin)) / depth, FOCAL / depth];
}

/** Coded luma of the set: a mottled wall, a floor with joints, and a post of .1 m at `far`, `aside` m from the axis. */
function set(post: { readonly far: number; readonly aside: number; readonly flat?: true } | null): Picture {
  const p = createPicture(W, H, 3),
    r = new RandomStream(5),
    wallFoot = shown(WALL, 0)[0];
  const grain = Float32Array.from({ length: N }, () => 0.01 * r.normal());
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x,
        mottle = 0.06 * Math.sin(x / 17 + Math.sin(y / 9)) * Math.sin(y / 13);
      let v = y < wallFoot ? 0.62 + mottle : 0.42 + mottle;
      if (post !== null) {
        const [foot, scale] = shown(post.far, 0),
          [top] = shown(post.far, 2.2),
          // Uprights lean by the camera's tilt only as far as they lie off the axis; the post is drawn through its
          // projected foot and top.
          [, scaleTop] = shown(post.far, 2.2),
          t = (y - top) / (foot - top),
          k = scaleTop + (scale - scaleTop) * t,
          mid = W / 2 + post.aside * k;
        const within = post.flat === true ? y > wallFoot : y > top && y < foot;
        if (within && Math.abs(x + 0.5 - mid) < 0.05 * k) v = 0.2;
      }
      for (let c = 0; c < 3; c++) p.data[c * N + i] = v + grain[i]!;
    }
  return p;
}

const [FOOT, SCALE] = shown(BODY, 0);
const step: GroundStep = {
  step: 'ground',
  on: true,
  why: '',
  shadow: true,
  contact: false,
  azimuthDeg: 30,
  elevationDeg: 40,
  transmission: [0.3, 0.3, 0.3],
  softnessDeg: 0.5,
  contactStrength: 0,
  focalPx: FOCAL,
  receiver: 'ground',
  frames: [{ frame: 0, foot: [W / 2, FOOT], pxPerMetre: SCALE, tiltDeg: TILT, rollDeg: 0, azimuthDeg: 30 }],
};

/** A body of .5 m; `cut`: not where the post is. */
function matte(cut: (x: number) => boolean = () => false): Float32Array {
  const half = 0.25 * SCALE;
  return Float32Array.from({ length: N }, (_, i) => {
    const x = (i % W) + 0.5,
      y = Math.floor(i / W) + 0.5;
    return !cut(x) && Math.hypot((x - W / 2) / (0.8 * half), (y - (FOOT - half)) / half) < 1 ? 1 : 0;
  });
}

const read = (plate: Picture, m = matte()): number | null =>
  readNearerUpright(madeFrame(plate, plate, m), step)?.overPx ?? null;

describe('something upright that stands nearer than the performer', () => {
  it('is told where the performer lies over it', () => {
    expect(read(set({ far: 3, aside: 0.02 }))).toBeGreaterThan(10);
    expect(read(set({ far: 3, aside: -0.08 }))).toBeGreaterThan(5);
  });
  it('is not where it stands farther off, beside the performer, or cuts it as it should', () => {
    expect(read(set(null))).toBeNull();
    expect(read(set({ far: 6, aside: 0.02 }))).toBeNull();
    expect(read(set({ far: 3, aside: 0.6 }))).toBeNull();
    const [, k] = shown(3, 0);
    expect(
      read(
        set({ far: 3, aside: 0.02 }),
        matte((x) => Math.abs(x - W / 2 - 0.02 * k) < 0.06 * k),
      ),
    ).toBeNull();
  });
  it('is not a stripe on the floor, nor anything over ground that bears no foot', () => {
    expect(read(set({ far: 3, aside: 0, flat: true }))).toBeNull();
    const plate = set({ far: 3, aside: 0.02 });
    expect(readNearerUpright(madeFrame(plate, plate, matte()), { ...step, receiver: 'carrier' })).toBeNull();
  });
  it('fails the front on three frames, and is said not to be known by fewer', () => {
    const front = (...over: number[]) =>
      judge({ ...blank(), readings: { nearer: at(...over) } }, recipe).matters.find((m) => m.matter === 'front')!;
    expect(front(0, 20, 24, 22)).toMatchObject({ passes: false, value: 22, step: 'front', worstFrame: 2 });
    expect(front(0, 20, 24, 0).value).toBeNull();
    expect(front(0, 0, 0).reason).toContain('no upright of the plate proves to stand nearer');
    expect(front().reason).toContain('whether something stands nearer is not told');
  });
});
