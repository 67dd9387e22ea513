/** The plate's own shadow on the performer: how much of the light it takes, and where. */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { leftOnBody, shadeOnPerformer } from './plate-shade.js';

/** Mean of the key on the visible disc of a sphere by plain sampling, over what level ground gets. */
function sampled(azimuthDeg: number, elevationDeg: number): number {
  const a = (azimuthDeg * Math.PI) / 180,
    e = (elevationDeg * Math.PI) / 180,
    key = [Math.cos(e) * Math.sin(a), Math.sin(e), Math.cos(e) * Math.cos(a)] as const;
  let sum = 0,
    count = 0;
  for (let y = -0.995; y < 1; y += 0.01)
    for (let x = -0.995; x < 1; x += 0.01) {
      const z2 = 1 - x * x - y * y;
      if (z2 <= 0) continue;
      sum += Math.max(0, x * key[0] + y * key[1] + Math.sqrt(z2) * key[2]);
      count++;
    }
  return sum / count / Math.sin(e);
}

describe("the plate's own shadow on the performer", () => {
  it('leaves of the light on a rounded body what a sphere keeps, summed over its visible disc', () => {
    for (const [az, el] of [
      [0, 30],
      [50, 40],
      [120, 25],
      [-75, 60],
    ] as const) {
      const k = sampled(az, el),
        want = 0.3 / (0.3 + k * 0.7);
      expect(leftOnBody([0.3, 0.3, 1], az, el)[0]).toBeCloseTo(want, 2);
      expect(leftOnBody([0.3, 0.3, 1], az, el)[2]).toBe(1);
    }
  });

  it('darkens colour but not cover inside the outline, by its soft edge', () => {
    const picture = createPicture(60, 40, 4);
    picture.data.fill(0.5);
    shadeOnPerformer(
      { regions: [], softPx: 1, transmission: [0.2, 0.4, 0.6] },
      [
        [
          [110, 200],
          [130, 200],
          [130, 240],
          [110, 240],
        ],
      ],
      picture,
      [100, 200, 160, 240],
    );
    const at = (c: number, x: number): number => picture.data[c * 2400 + 20 * 60 + x]!;
    expect([at(0, 20), at(1, 20), at(2, 20), at(3, 20)].map((v) => Math.round(v * 1000) / 1000)).toEqual([
      0.1, 0.2, 0.3, 0.5,
    ]);
    expect(at(0, 50)).toBe(0.5);
    expect(at(0, 29) + at(0, 30)).toBeCloseTo(0.6, 2);
  });

  it('takes more from what faces the key than from what is turned away, by key over fill as the mean tells it', () => {
    const side = 60,
      n = side * side,
      picture = createPicture(side, side, 4),
      all: [number, number][] = [
        [0, 0],
        [side, 0],
        [side, side],
        [0, side],
      ];
    for (let y = 0; y < side; y++)
      for (let x = 0; x < side; x++) {
        const a = Math.hypot(x + 0.5 - 30, y + 0.5 - 30) < 24 ? 1 : 0;
        for (let c = 0; c < 4; c++) picture.data[c * n + y * side + x] = a;
      }
    shadeOnPerformer(
      { regions: [], softPx: 0, transmission: [0.3, 0.3, 1] },
      [all],
      picture,
      [0, 0, side, side],
      [0.8, 0, -0.6],
    );
    const at = (c: number, x: number): number => picture.data[c * n + 30 * side + x]!;
    expect(at(0, 48)).toBeLessThan(0.25);
    expect(at(0, 12)).toBeGreaterThan(0.45);
    // Facing it, the key over the fill: 7/3 on the mean of the visible disc, whose mean incidence at 53° is .418
    // (sampled).
    const mean = sampled(53.13, 0.001) * Math.sin((0.001 * Math.PI) / 180);
    let faced = 1;
    for (let x = 6; x < 54; x++) faced = Math.min(faced, at(0, x));
    expect(1 / faced - 1).toBeGreaterThan(0.85 * (7 / 3 / mean));
    expect(1 / faced - 1).toBeLessThan(1.01 * (7 / 3 / mean));
    expect(at(2, 48)).toBeCloseTo(1, 6);
    expect(at(3, 48)).toBe(1);
  });

  it('takes two outlines that overlap once only', () => {
    const picture = createPicture(20, 20, 4),
      square: [number, number][] = [
        [0, 0],
        [20, 0],
        [20, 20],
        [0, 20],
      ];
    picture.data.fill(1);
    shadeOnPerformer(
      { regions: [], softPx: 0, transmission: [0.5, 0.5, 0.5] },
      [square, square],
      picture,
      [0, 0, 20, 20],
    );
    expect(picture.data[210]).toBeCloseTo(0.5, 5);
  });
});
