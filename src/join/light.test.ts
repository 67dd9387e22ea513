/** White of a plate from weak words. Daylight of D65's temperature is Rec.709's own white (ITU-R BT.709), so its blue and red are equal. */
import { describe, expect, it } from 'vitest';
import type { PlateMeasures } from '../plate/types.js';
import { matchLight, temperatureOfBlueToRed, weakWhite } from './light.js';

const plate = (kelvin: number | null, white: readonly [number, number, number]): PlateMeasures => ({
  light: { temperatureK: { value: kelvin, sd: kelvin === null ? null : 0.15 * kelvin, priorLed: true } },
  look: { whiteCoded: white, blackCoded: [0, 0, 0], percentiles: [0, 0, 0, 0, 0, 0, 0.9] },
}) as unknown as PlateMeasures;
const take = { light: { temperatureK: { value: null } } } as unknown as PlateMeasures;

describe('white of the plate', () => {
  it('reads 6504 K from equal blue and red, and falls with the share of blue', () => {
    expect(Math.abs(temperatureOfBlueToRed(1) - 6504)).toBeLessThan(60);
    expect(temperatureOfBlueToRed(0.5)).toBeLessThan(temperatureOfBlueToRed(0.8));
  });

  it('warms the performer where ground and whites both speak for a warm film, less than either asks', () => {
    const warm = plate(3700, [0.86, 0.77, 0.58]);
    const white = weakWhite(warm)!;
    expect(white.kelvin).toBeGreaterThan(3700);
    expect(white.kelvin).toBeLessThan(6000);
    const { slope, why } = matchLight(warm, take, null);
    expect(slope[0]).toBeGreaterThan(slope[1]);
    expect(slope[2]).toBeLessThan(slope[1]);
    expect(0.2126 * slope[0] + 0.7152 * slope[1] + 0.0722 * slope[2]).toBeCloseTo(1, 9);
    expect(why).toContain('roughly');
  });

  it('leaves white alone where they point opposite ways, where one is missing, or the picture has no whites', () => {
    for (const p of [plate(3700, [0.7, 0.75, 0.86]), plate(null, [0.86, 0.77, 0.58]), plate(3700, [0.4, 0.3, 0.2])]) {
      expect(weakWhite(p)).toBeNull();
      expect(matchLight(p, take, null).slope).toEqual([1, 1, 1]);
    }
  });
});
