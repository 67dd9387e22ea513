/**
 * The take's level beside the plate's: no published figures; the wanted values follow from the reflectances that the
 * two pictures are made of.
 */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Look } from '../../plate/types.js';
import { levelBeside, litScreen } from './take-level.js';

/** A plate of this mean and these whites, linear. */
const look = (mean: number, white: number): Look =>
  ({ meanLinear: [mean, mean, mean], percentiles: [0, 0, 0, 0, 0, 0, bt709Encode(white)] }) as unknown as Look;
const take = (screen: number | null, azimuthDeg: number | null = 30): Parameters<typeof levelBeside>[1] => ({
  screen,
  cardStops: null,
  azimuthDeg,
});

function cloth(lit: number, shade: number, share: number): Picture {
  const p = createPicture(80, 60, 3),
    n = 80 * 60;
  for (let i = 0; i < n; i++) {
    const level = i % 80 < share * 80 ? shade : lit;
    p.data[i] = 0.2 * level;
    p.data[n + i] = level;
    p.data[2 * n + i] = 0.3 * level;
    // A grey performer in the middle.
    if (i % 80 > 30 && i % 80 < 40) for (let c = 0; c < 3; c++) p.data[c * n + i] = 0.9;
  }
  return p;
}

describe("level of the take's lit screen", () => {
  it('is read off the lit part, whatever lies in shadow, and not off the performer', () => {
    expect(litScreen(cloth(0.4, 0.05, 0.7), 1)).toBeCloseTo(0.4, 6);
    expect(litScreen(cloth(0.4, 0.05, 0), 1)).toBeCloseTo(0.4, 6);
  });

  it("is not told where nothing has the screen's colour", () => {
    expect(litScreen(cloth(0.4, 0.05, 0.5), 2)).toBeNull();
  });
});

describe('take beside plate', () => {
  it('is left where both are exposed alike', () => {
    expect(levelBeside(look(0.18 / 1.5, 0.42), take(0.27))).toBeNull();
  });

  it("is lowered, by less than the two witnesses ask, where the plate's mean and whites both lie under what the screen lets expect", () => {
    const found = levelBeside(look(0.12 / 2, 0.42 / 2.5), take(0.27))!;
    expect(found.stops).toBeLessThan(-0.9);
    expect(found.stops).toBeGreaterThan(-1.2);
    expect(found.why).toMatch(/mean speaks for −1\.0 stops and its whites for −1\.3/);
  });

  it('is left where the smaller of the two hardly says anything: nothing in the plate need be white', () => {
    expect(levelBeside(look(0.108, 0.42 / 2), take(0.27))).toBeNull();
  });

  it('is left where they speak against each other: a plate full of pale ground, a dark street with lamps', () => {
    expect(levelBeside(look(0.3, 0.25), take(0.27))).toBeNull();
    expect(levelBeside(look(0.05, 0.9), take(0.27))).toBeNull();
  });

  it('raises a take only where it lies far under', () => {
    expect(levelBeside(look(0.12, 0.42), take(0.27 / 1.3))).toBeNull();
    const found = levelBeside(look(0.12, 0.42), take(0.27 / 4))!;
    expect(found.stops).toBeGreaterThan(1);
    expect(found.stops).toBeLessThan(2);
  });

  it('takes the card for the screen, and is silent where the key stands behind the screen or nothing is known', () => {
    const dim = look(0.12 / 4, 0.42 / 4);
    expect(levelBeside(dim, { screen: null, cardStops: 0, azimuthDeg: 120 })!.stops).toBeLessThan(-1);
    expect(levelBeside(dim, take(0.27, 120))).toBeNull();
    expect(levelBeside(dim, take(null))).toBeNull();
  });
});
