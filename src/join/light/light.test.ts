/**
 * White of a plate from weak words. Daylight of D65's temperature is Rec.709's own white (ITU-R BT.709), so its blue
 * and red are equal.
 */
import { describe, expect, it } from 'vitest';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import type { PlateMeasures } from '../../plate/types.js';
import { matchLight, type SubjectStatistics } from './light.js';
import { temperatureOfBlueToRed, weakWhite } from './white-balance.js';

const plate = (kelvin: number | null, white: readonly [number, number, number]): PlateMeasures =>
  ({
    light: { temperatureK: { value: kelvin, sd: kelvin === null ? null : 0.15 * kelvin, priorLed: true } },
    look: {
      whiteCoded: white,
      blackCoded: [0, 0, 0],
      meanLinear: [0.08, 0.08, 0.08],
      percentiles: [0, 0, 0, 0, 0, 0, 0.9],
    },
  }) as unknown as PlateMeasures;
const take = { light: { temperatureK: { value: null }, azimuthDeg: { value: null } } } as unknown as PlateMeasures;

describe('exposure of the take', () => {
  const coat = (bright: number): SubjectStatistics => ({
    mean: [0.5 * bright, 0.5 * bright, 0.5 * bright],
    percentiles: [0.1 * bright, 0.2 * bright, 0.5 * bright, bright, bright],
  });
  const daylit = plate(null, [0.86, 0.86, 0.86]);
  const carded = (stops: number): PlateMeasures =>
    ({
      light: { temperatureK: { value: null }, azimuthDeg: { value: null }, exposureStops: { value: stops, sd: 0.3 } },
    }) as unknown as PlateMeasures;

  it("raises a take whose card shows white under, not one exposed about rightly, nor beyond the plate's whites", () => {
    const { slope, why } = matchLight(daylit, carded(-1.5), coat(0.1));
    slope.forEach((v) => expect(v).toBeCloseTo(2 ** 1.5, 6));
    expect(why).toContain('raised by 1.5 stops');
    expect(matchLight(daylit, carded(-0.4), coat(0.1)).slope).toEqual([1, 1, 1]);
    // A night plate's whites (.3 coded, .1052 linear) bound it: of what lies beyond 2^.2 times them half is taken off,
    // in stops.
    const night = { ...daylit, look: { ...daylit.look!, percentiles: [0, 0, 0, 0, 0, 0, 0.3] } };
    expect(matchLight(night, carded(-1.5), coat(0.1)).slope[1] * 0.1).toBeCloseTo(
      Math.sqrt(2 ** 1.5 * 0.1 * 2 ** 0.2 * bt709Decode(0.3)),
      6,
    );
  });

  it('leaves a dark performer without a known white as it is, and says that nothing tells', () => {
    const { slope, why } = matchLight(daylit, take, coat(0.05));
    expect(slope).toEqual([1, 1, 1]);
    expect(why).toContain("stops under the plate's whites");
    expect(matchLight(daylit, take, coat(0.4)).why).not.toContain('under the plate');
  });
});

describe('lifted blacks', () => {
  const dark: SubjectStatistics = { mean: [0.05, 0.05, 0.05], percentiles: [0.001, 0.01, 0.05, 0.1, 0.2] };
  const lifted = (...black: [number, number, number]): readonly [number, number, number] => {
    const p = plate(null, [0.86, 0.86, 0.86]),
      blackCoded = black.map(bt709Encode) as [number, number, number];
    return matchLight({ ...p, look: { ...p.look!, blackCoded } }, take, dark).offset;
  };

  it('lift the performer to them where all channels say so', () => {
    lifted(0.02, 0.02, 0.02).forEach((v) => expect(v).toBeCloseTo(0.019, 6));
    expect(lifted(0.003, 0.003, 0.003)).toEqual([0, 0, 0]);
  });

  it('take no colour of a lawn, where nothing is dark in green, and some of stock with blue blacks', () => {
    expect(lifted(0.004, 0.012, 0.002)).toEqual([0, 0, 0]);
    const [r, g, b] = lifted(0.01, 0.01, 0.03);
    expect(r).toBeCloseTo(g, 6);
    expect((b + 0.001) / (r + 0.001)).toBeCloseTo(3 ** 0.25, 6);
  });
});

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

  it('asks the edges where no ground tells, and follows them only with the whites', () => {
    const warm = plate(null, [0.86, 0.77, 0.58]),
      edges = [1, 0.8, 0.5] as const;
    const white = weakWhite(warm, edges)!;
    expect(white.kelvin).toBeLessThan(6200);
    expect(white.how).toContain('edges');
    expect(matchLight(warm, take, null, { edges }).slope[2]).toBeLessThan(1);
    expect(weakWhite(warm, [0.8, 0.9, 1])).toBeNull();
    // Where the ground tells, the edges have no say.
    expect(weakWhite(plate(3700, [0.86, 0.77, 0.58]), [0.8, 0.9, 1])!.how).toContain('ground');
  });

  it('leaves white alone where they point opposite ways, where one is missing, or the picture has no whites', () => {
    for (const p of [plate(3700, [0.7, 0.75, 0.86]), plate(null, [0.86, 0.77, 0.58]), plate(3700, [0.4, 0.3, 0.2])]) {
      expect(weakWhite(p)).toBeNull();
      expect(matchLight(p, take, null).slope).toEqual([1, 1, 1]);
    }
  });
});
