/** Focal lengths in millimetres and pixels, against the field of view of a pinhole worked out by hand. */
import { describe, expect, it } from 'vitest';
import { focalMm, focalPx } from './lens-mm.js';

describe('a lens in millimetres', () => {
  it("is f over the sensor's width, of the picture's longer side, and back", () => {
    // 35 mm before 36 mm of sensor sees 2 atan(18/35) = 54.4°, the field of a pinhole of 1866.7 px before 1920.
    expect(focalPx(35, { sensorWidthMm: 36 }, { widthPx: 1920, heightPx: 1080 })).toBeCloseTo(1866.67, 1);
    expect(
      (2 * Math.atan(960 / focalPx(35, { sensorWidthMm: 36 }, { widthPx: 1920, heightPx: 1080 })) * 180) / Math.PI,
    ).toBeCloseTo(54.4, 1);
    const upright = { widthPx: 1080, heightPx: 1920 };
    expect(focalPx(6.86, { sensorWidthMm: 9.8 }, upright)).toBeCloseTo(1344, 0);
    expect(focalMm(focalPx(6.86, { sensorWidthMm: 9.8 }, upright), { sensorWidthMm: 9.8 }, upright)).toBeCloseTo(
      6.86,
      9,
    );
  });
});
