/**
 * Drawn legs and strays, and feet set on the ground by a pinhole worked out here: peaks and slope against where they
 * stood.
 */
import { describe, expect, it } from 'vitest';
import { lowerPeaks, slopeOfFeet } from './foot-line.js';
import { groundGeometry } from '../ground/ground-geometry.js';

const W = 640,
  H = 480,
  F = 800,
  TILT = -12;
const at = { frame: 0, foot: [320, 360] as const, pxPerMetre: 200, tiltDeg: TILT, rollDeg: 0, azimuthDeg: 0 };
const g = groundGeometry({ focalPx: F, azimuthDeg: 0, elevationDeg: 40 }, at, W, H);

describe('the line of the feet', () => {
  it('finds two legs as two peaks and leaves thin strays out', () => {
    const leg = (x: number, to: number): { x: number; y: number; r: number }[] =>
      Array.from({ length: 30 }, (_, k) => ({ x, y: to - 8 - 2 * k, r: 8 }));
    const peaks = lowerPeaks(
      [
        ...leg(280, 380),
        ...leg(360, 360),
        { x: 320, y: 240, r: 40 },
        ...Array.from({ length: 90 }, (_, k) => ({ x: 400 + k, y: 395, r: 0.8 })),
      ],
      200,
      300,
      200,
    );
    expect(peaks.map((p) => [Math.round(p.x), Math.round(p.y)])).toEqual([
      [280, 380],
      [360, 360],
    ]);
    // A belly that hangs too high to be a foot counts for nothing.
    expect(slopeOfFeet([...peaks, { x: 320, y: 280 }], g, [0, 0, 1], [1, 0, 0], 200)).toBe(
      slopeOfFeet(peaks, g, [0, 0, 1], [1, 0, 0], 200),
    );
  });

  it('turns the plane as the feet stand on the ground, and not for one foot or a person who stands square', () => {
    // Feet half a metre apart aside and .4 m apart in depth, drawn by the pinhole: world x right, z ahead of the
    // camera.
    const c = Math.cos((-TILT * Math.PI) / 180),
      s = Math.sin((-TILT * Math.PI) / 180);
    // The ground's direction ahead, in the camera's frame, and how far ahead the foot stands.
    const ahead: [number, number, number] = [0, -s, c];
    const footZ = g.foot[1] * ahead[1] + g.foot[2] * ahead[2];
    const draw = (x: number, far: number): { x: number; y: number } => {
      const z = footZ + far,
        down = g.cameraHeight;
      return { x: W / 2 + (F * x) / (z * c + down * s), y: H / 2 + (F * (down * c - z * s)) / (z * c + down * s) };
    };
    const aside: [number, number, number] = [1, 0, 0];
    const near = draw(-0.25, -0.2),
      farther = draw(0.25, 0.2);
    const slope = slopeOfFeet([near, farther], g, ahead, aside, 200);
    expect(slope).toBeGreaterThan(0.6);
    expect(slope).toBeLessThan(0.85);
    expect(slopeOfFeet([near], g, ahead, aside, 200)).toBe(0);
    expect(Math.abs(slopeOfFeet([draw(-0.25, 0), draw(0.25, 0)], g, ahead, aside, 200))).toBeLessThan(0.02);
  });
});
