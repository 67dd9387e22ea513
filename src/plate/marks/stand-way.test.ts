import { describe, expect, it } from 'vitest';
import { measured } from '../../core/measure.js';
import type { Mat3 } from '../../geometry/mat3.js';
import type { CameraMove } from '../types.js';
import type { Mark } from './marks.js';
import { outOfSight, outOfSightInWords } from './stand-way.js';

/** A camera that pans to the right: the set goes to the left by so many pixels a frame. */
const pan = (stepPx: number, count = 60): CameraMove => ({
  move: 'pan',
  focalPx: measured(1700, 'px', 10, 'test'),
  frames: Array.from({ length: count }, (_, frame) => ({
    frame,
    homographyToFirst: [1, 0, stepPx * frame, 0, 1, 0, 0, 0, 1] as Mat3,
    panDeg: null,
    tiltDeg: null,
    rollDeg: null,
    support: 1,
  })),
});
const stand = (x: number, frame = 0): Mark => ({ kind: 'stand', frame, ground: [x, 430], top: [x, 330] });
const see = (marks: readonly Mark[], camera: CameraMove | undefined) =>
  outOfSight({ frame: 0, marks: [...marks] }, camera, 854, 480);

describe('a marked place while the camera moves', () => {
  it('leaves the picture when its whole width has, and that is said with the frames', () => {
    // 100 px high, so 30 px to each side: gone once 150 - 5 n + 30 < 0, from frame 37 on.
    const gone = see([stand(150)], pan(5))!;
    expect(gone).toEqual({ frames: 23, of: 60, first: 37, last: 59 });
    expect(outOfSightInWords(gone)).toMatch(/on 23 of 60 frames \(37 to 59\)/);
    // Marked on the last frame it was not there before.
    expect(see([stand(700, 59)], pan(5))).toEqual({ frames: 23, of: 60, first: 0, last: 22 });
  });

  it('is kept by a camera that stands, by marks on later frames, and where it goes at the very end', () => {
    expect(see([stand(150)], pan(0))).toBeNull();
    expect(see([stand(150), stand(200, 30), stand(250, 50)], pan(5))).toBeNull();
    // Gone on 5 of 60 frames.
    expect(see([stand(245)], pan(5))).toBeNull();
  });

  it('says nothing of a carried performer, or where no move is known', () => {
    const carry: Mark = {
      kind: 'carry',
      region: [
        [0, 0],
        [10, 0],
        [10, 10],
      ],
    } as Mark;
    expect(see([stand(150), carry], pan(5))).toBeNull();
    expect(see([stand(150)], undefined)).toBeNull();
    expect(see([], pan(5))).toBeNull();
  });
});
