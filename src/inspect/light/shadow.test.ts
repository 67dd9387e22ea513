/**
 * The shadow's reading on made pictures: a disc of a body on level grey ground under a low key, its shadow faint and
 * far thinner than the body is wide.
 */
import { describe, expect, it } from 'vitest';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { createPicture } from '../../image/picture.js';
import { shadeGround } from '../../join/ground/ground.js';
import type { GroundStep } from '../../join/types.js';
import type { SeenFrame } from '../reader/frame.js';
import { madeFrame } from '../reader/made-frame.js';
import { readShadow } from './shadow.js';

const W = 480,
  H = 270,
  FOOT: [number, number] = [200, 140];
const at = { frame: 0, foot: FOOT, pxPerMetre: 220, tiltDeg: -3, rollDeg: 0, azimuthDeg: -47 };
const step: GroundStep = {
  step: 'ground',
  on: true,
  why: '',
  shadow: true,
  contact: false,
  azimuthDeg: -47,
  elevationDeg: 20,
  transmission: [0.72, 0.72, 0.78],
  softnessDeg: 0.5,
  contactStrength: 0,
  focalPx: 600,
  receiver: 'ground',
  frames: [at],
};

/** A join whose shadow was thrown by the key at `azimuthDeg`; none where it is null. */
function seen(azimuthDeg: number | null): SeenFrame {
  const n = W * H,
    matte = new Float32Array(n),
    plate = createPicture(W, H, 3),
    join = createPicture(W, H, 3);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      matte[y * W + x] = Math.min(1, Math.max(0, 50.5 - Math.hypot(x + 0.5 - FOOT[0], y + 0.5 - (FOOT[1] - 50))));
  // A few stray pixels far aside, as a screen's marks leave them.
  for (let y = FOOT[1] - 30; y < FOOT[1]; y++) {
    matte[y * W + 30] = 0.4;
    matte[y * W + 460] = 0.4;
  }
  const shade =
    azimuthDeg === null
      ? null
      : shadeGround(
          { ...step, azimuthDeg },
          { ...at, azimuthDeg },
          { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0.5 },
        )!;
  for (let i = 0; i < n; i++) {
    const x = i % W,
      y = Math.floor(i / W),
      light = 0.2 + 0.02 * Math.sin(x / 9) * Math.sin(y / 7);
    const inside = shade !== null && x >= shade.box[0] && x < shade.box[2] && y >= shade.box[1] && y < shade.box[3];
    const cover = inside ? shade.cover[(y - shade.box[1]) * (shade.box[2] - shade.box[0]) + x - shade.box[0]]! : 0;
    for (let c = 0; c < 3; c++) {
      plate.data[c * n + i] = bt709Encode(light);
      join.data[c * n + i] = bt709Encode(
        matte[i]! * 0.4 + (1 - matte[i]!) * light * (1 - cover * (1 - step.transmission[c]!)),
      );
    }
  }
  expect(bt709Decode(plate.data[0]!)).toBeCloseTo(0.2, 1);
  return madeFrame(join, plate, matte);
}

describe('a thin and faint shadow', () => {
  it('is found where the key throws it, as dark as it was asked', () => {
    const r = readShadow(seen(-47), step)!;
    expect(r.offDeg).toBeLessThan(12);
    expect(Math.abs(r.stops!)).toBeLessThan(0.25);
  });

  it('is missed where there is none', () => {
    const r = readShadow(seen(null), step)!;
    expect([r.offDeg, r.turnDeg, r.stops]).toEqual([180, 180, 0]);
    // Where it should lie: the key stands left of the camera's back, so it falls to the right of the foot and away.
    expect(r.at[2]).toBeGreaterThan(FOOT[0] + 30);
    expect(r.at[1]).toBeLessThan(FOOT[1]);
  });

  it('is said to lie aside where another key threw it', () => {
    expect(readShadow(seen(47), step)!.offDeg).toBeGreaterThan(60);
  });

  it('is not read off a file that came out darker as a whole', () => {
    const f = seen(-47),
      darker = { ...f, luma: f.luma.map((v) => 0.92 * v) },
      r = readShadow(darker, step)!;
    expect(r.offDeg).toBeLessThan(12);
    expect(Math.abs(r.stops!)).toBeLessThan(0.25);
    expect(readShadow({ ...seen(null), luma: seen(null).luma.map((v) => 0.92 * v) }, step)!.offDeg).toBe(180);
  });
});
