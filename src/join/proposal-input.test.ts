/** Angles on other frames against rotations that the test composed. */
import { describe, expect, it } from 'vitest';
import { multiply, transpose } from '../geometry/mat3.js';
import { worldToCamera } from '../geometry/camera.js';
import { panTiltRollDeg } from '../geometry/rotation.js';
import type { PlateMeasures } from '../plate/types.js';
import { viewAngles } from './proposal-input.js';

describe('how the camera sees the set on other frames', () => {
  it('follows a camera that travels by its rotation along the way', () => {
    // The camera turns 7° to the left and looks down a degree more while it goes.
    const rotation = multiply(worldToCamera(-7, -3.5, 0.2), transpose(worldToCamera(0, -2.5, 0)));
    const still = {
      panDeg: null,
      tiltDeg: null,
      rollDeg: null,
      support: 1,
      homographyToFirst: [1, 0, 0, 0, 1, 0, 0, 0, 1],
    };
    const m = {
      view: { frame: 0, focalPx: { value: 1200 }, tiltDeg: { value: -2.5 }, rollDeg: { value: 0 } },
      camera: {
        move: 'push',
        frames: [
          { frame: 0, ...still },
          { frame: 30, ...still },
        ],
      },
      travel: {
        atFrame: 0,
        frames: [
          { frame: 0, rotation: [1, 0, 0, 0, 1, 0, 0, 0, 1] },
          { frame: 30, rotation },
        ],
      },
    } as unknown as PlateMeasures;
    const at = viewAngles(m, 30)!;
    expect([at.panDeg, at.tiltDeg, at.rollDeg].map((v) => Math.round(1000 * v) / 1000)).toEqual([-7, -3.5, 0.2]);
    expect(viewAngles(m, 0)!.panDeg).toBeCloseTo(0, 9);
    expect(viewAngles(m, 0)!.tiltDeg).toBeCloseTo(-2.5, 9);
  });

  it('keeps tilt and roll where a camera that looks down pans about the upright', () => {
    const tilt = -12,
      at0 = worldToCamera(0, tilt, 0),
      unturned = [1, 0, 0, 0, 1, 0, 0, 0, 1];
    const frames = [0, 10, 20].map((frame) => {
      // As the camera measures it: from its axes then to its axes on the first frame.
      const own = panTiltRollDeg(multiply(at0, transpose(worldToCamera(1.5 * frame, tilt, 0))));
      return { frame, ...own, support: 1, homographyToFirst: unturned };
    });
    expect(Math.abs(frames[2]!.rollDeg)).toBeGreaterThan(5);
    for (const reference of [0, 10]) {
      const m = {
        view: { frame: reference, focalPx: { value: 1000 }, tiltDeg: { value: tilt }, rollDeg: { value: 0 } },
        camera: { move: 'pan', frames },
      } as unknown as PlateMeasures;
      for (const f of frames) {
        const a = viewAngles(m, f.frame)!;
        expect(a.tiltDeg).toBeCloseTo(tilt, 6);
        expect(a.rollDeg).toBeCloseTo(0, 6);
        expect(a.panDeg).toBeCloseTo(1.5 * (f.frame - reference), 6);
      }
    }
  });
});
