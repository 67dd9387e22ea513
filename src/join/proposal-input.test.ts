import { describe, expect, it } from 'vitest';
import { multiply, transpose } from '../geometry/mat3.js';
import { worldToCamera } from '../geometry/camera.js';
import type { PlateMeasures } from '../plate/types.js';
import { viewAngles } from './proposal-input.js';

describe('how the camera sees the set on other frames', () => {
  it('follows a camera that travels by its rotation along the way', () => {
    // The camera turns 7° to the left and looks down a degree more while it goes.
    const rotation = multiply(worldToCamera(-7, -3.5, 0.2), transpose(worldToCamera(0, -2.5, 0)));
    const still = { panDeg: null, tiltDeg: null, rollDeg: null, support: 1, homographyToFirst: [1, 0, 0, 0, 1, 0, 0, 0, 1] };
    const m = {
      view: { frame: 0, focalPx: { value: 1200 }, tiltDeg: { value: -2.5 }, rollDeg: { value: 0 } },
      camera: { move: 'push', frames: [{ frame: 0, ...still }, { frame: 30, ...still }] },
      travel: { atFrame: 0, frames: [{ frame: 0, rotation: [1, 0, 0, 0, 1, 0, 0, 0, 1] }, { frame: 30, rotation }] },
    } as unknown as PlateMeasures;
    const at = viewAngles(m, 30)!;
    expect([at.panDeg, at.tiltDeg, at.rollDeg].map((v) => Math.round(1000 * v) / 1000)).toEqual([-7, -3.5, 0.2]);
    expect(viewAngles(m, 0)!.panDeg).toBeCloseTo(0, 9);
    expect(viewAngles(m, 0)!.tiltDeg).toBeCloseTo(-2.5, 9);
  });
});
