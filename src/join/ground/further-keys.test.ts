/** Marks thrown by two known lamps; two keys' light missing together against the sum of what each misses alone. */
import { describe, expect, it } from 'vitest';
import { groundCamera, project } from '../../geometry/camera.js';
import { createPicture } from '../../image/picture.js';
import { towardsLight } from '../../plate/light/light-shadow.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { solveView } from '../../plate/view/view.js';
import { partShadows } from './further-keys.js';
import { shadeGround } from './ground.js';
import { applyShade } from './shade.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

const W = 640,
  H = 360,
  F = 800,
  TILT = -8;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: 1.4, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(camera, [x, y, z])!;
  return [p.x, p.y];
};

describe('further keys', () => {
  it('parts shadow marks by the lamps that throw them', () => {
    const known: MarksFile = {
      frame: 0,
      focalPx: F,
      cameraHeight: 1.4,
      marks: [
        { kind: 'upright', foot: px(-0.6, 0, 6), top: px(-0.6, 1.8, 6), height: 1.8 },
        { kind: 'upright', foot: px(1, 0, 9), top: px(1, 1.7, 9), height: 1.7 },
      ],
    };
    const view = solveView(known, { widthPx: W, heightPx: H, pointSdPx: 0.1 });
    const shadow = (
      x: number,
      z: number,
      azimuth: number,
      elevation: number,
    ): { mark: { kind: 'shadow'; foot: [number, number]; tip: [number, number]; height: number }; frame: number } => {
      const t = towardsLight(azimuth, elevation);
      return {
        mark: { kind: 'shadow', foot: px(x, 0, z), tip: px(x - t[0] / t[1], 0, z - t[2] / t[1]), height: 1 },
        frame: 0,
      };
    };
    const { own, others } = partShadows(
      [shadow(0, 6, 55, 40), shadow(0.5, 7, 58, 41), shadow(0, 6, -50, 38)],
      view,
      55,
      () => 0,
      0.5,
    );
    expect(own).toHaveLength(2);
    expect(others).toHaveLength(1);
    expect(Math.abs(others[0]!.azimuthDeg + 50)).toBeLessThan(1);
    expect(Math.abs(others[0]!.elevationDeg - 38)).toBeLessThan(1);
    // Without a view no mark is called another lamp's.
    expect(partShadows([shadow(0, 6, -50, 38)], null, 55, () => 0, 0.5)).toMatchObject({ own: [{}], others: [] });
  });

  it('lays a shadow of each lamp, and takes what both gave where they cross', () => {
    const foot = project(camera, [0, 0, 5])!,
      c = project(camera, [0, 0.35, 5])!,
      r = (F * 0.35) / Math.sqrt(c.depth ** 2 - 0.35 ** 2),
      matte = new Float32Array(W * H);
    for (let y = 0; y < H; y++)
      for (let q = 0; q < W; q++)
        matte[y * W + q] = Math.min(1, Math.max(0, r - Math.hypot(q + 0.5 - c.x, y + 0.5 - c.y) + 0.5));
    const at: GroundFrame = {
      frame: 0,
      foot: [foot.x, foot.y],
      pxPerMetre: F / foot.depth,
      tiltDeg: TILT,
      rollDeg: 0,
      azimuthDeg: 60,
    };
    const one: GroundStep = {
      step: 'ground',
      on: true,
      why: '',
      shadow: true,
      contact: false,
      azimuthDeg: 60,
      elevationDeg: 50,
      transmission: [0.6, 0.6, 0.6],
      softnessDeg: 0.5,
      contactStrength: 0,
      focalPx: F,
      frames: [],
      receiver: 'ground',
    };
    const two: GroundStep = {
      ...one,
      keys: [{ azimuthDeg: 110, elevationDeg: 50, softnessDeg: 0.5, transmission: [0.7, 0.7, 0.7] }],
    };
    const light = (step: GroundStep): Float32Array => {
      const out = createPicture(W, H, 3);
      out.data.fill(0.5);
      const shade = shadeGround(step, at, {
        alpha: matte,
        matteBox: [0, 0, W, H],
        widthPx: W,
        heightPx: H,
        softEdgePx: 0,
      })!;
      applyShade(step, shade, out, out, [0, 0, W, H], new Uint8Array(W * H), null, null);
      return out.data.slice(0, W * H);
    };
    const a = light(one),
      b = light({ ...one, azimuthDeg: 110, proposedAzimuthDeg: 60, transmission: [0.7, 0.7, 0.7] }),
      both = light(two);
    let crossed = 0;
    for (let i = 0; i < both.length; i++) {
      expect(Math.abs(0.5 - both[i]! - (0.5 - a[i]!) - (0.5 - b[i]!))).toBeLessThan(0.003);
      if (a[i]! < 0.31 && b[i]! < 0.36) crossed++;
    }
    expect(crossed).toBeGreaterThan(20);
  });
});
