/**
 * The light told by known surfaces, against the neutral patches of the 24-patch reference chart (X-Rite, New color
 * specifications, 2016: their L*, turned into luminance by CIE 15) shown in lights that the test chooses, and against
 * Lambert's cosine.
 */
import { describe, expect, it } from 'vitest';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Look } from '../../plate/types.js';
import {
  facingOverFlat,
  standingStops,
  toneLine,
  unreadTone,
  uprightOverFlat,
  whiteAbout,
  type ToneSeen,
} from './known-tone.js';
import { matchLight } from './light.js';
import { levelBeside } from './take-level.js';
import { whiteBalance } from './white-balance.js';

/** L* of the patches white 9.5 to black 2, and the CIE's way from L* to luminance. */
const NEUTRAL = [95.19, 81.29, 66.89, 50.76, 35.63, 20.64];
const luminanceOfL = (l: number): number => (l > 8 ? ((l + 16) / 116) ** 3 : l / 903.3);
const SIDE = 8;

/** The chart's neutral row in a light. */
function chart(light: readonly [number, number, number]): Picture {
  const p = createPicture(SIDE * NEUTRAL.length, SIDE, 3),
    n = p.width * p.height;
  for (let i = 0; i < n; i++)
    light.forEach((v, c) => (p.data[c * n + i] = v * luminanceOfL(NEUTRAL[Math.floor((i % p.width) / SIDE)]!)));
  return p;
}

const patch = (k: number, linear: Picture, more: Partial<ToneSeen['mark']> = {}): ToneSeen => ({
  mark: {
    kind: 'tone',
    polygon: [
      [k * SIDE + 1, 1],
      [(k + 1) * SIDE - 1, 1],
      [(k + 1) * SIDE - 1, SIDE - 1],
      [k * SIDE + 1, SIDE - 1],
    ],
    reflects: luminanceOfL(NEUTRAL[k]!),
    grey: true,
    ...more,
  },
  linear,
});

const WARM = [0.8, 0.6, 0.4] as const,
  WARM_Y = 0.2126 * 0.8 + 0.7152 * 0.6 + 0.0722 * 0.4;

describe('the light by known surfaces', () => {
  it('is the same by each neutral patch of the chart, in level and colour', () => {
    NEUTRAL.forEach((_, k) => {
      const w = toneLine([patch(k, chart(WARM))], null)!;
      // About the patch's own share: off it the contrast, which one patch does not tell, stands in doubt.
      expect(whiteAbout(w, Math.log2(luminanceOfL(NEUTRAL[k]!))).stops).toBeCloseTo(Math.log2(WARM_Y), 5);
      expect(w.contrast).toBeCloseTo(1, 9);
      WARM.forEach((v, c) => expect(w.colour![c]).toBeCloseTo(v / WARM_Y, 5));
    });
  });

  it('is surest about the share that was told, and surer by several than by one', () => {
    const c = chart(WARM),
      one = toneLine([patch(3, c)], null)!,
      about = Math.log2(luminanceOfL(NEUTRAL[3]!)),
      all = toneLine(
        NEUTRAL.map((_, k) => patch(k, c)),
        null,
      )!;
    expect(whiteAbout(one, about).variance).toBeCloseTo(0.3 ** 2 + 0.15 ** 2, 9);
    for (const off of [-2, 2])
      expect(whiteAbout(one, about + off).variance).toBeGreaterThan(whiteAbout(one, about).variance);
    expect(whiteAbout(all, about).variance).toBeLessThan(whiteAbout(one, about).variance / 3);
  });

  it('follows the surer of two that disagree', () => {
    const c = chart(WARM),
      sure = patch(1, c, { sdStops: 0.05 }),
      wrong = patch(2, c, { sdStops: 1, reflects: luminanceOfL(NEUTRAL[2]!) / 2 });
    expect(Math.abs(toneLine([sure, wrong], null)!.white - Math.log2(WARM_Y))).toBeLessThan(0.06);
  });

  it('says that two disagree by more than their doubt, as one in the shade does', () => {
    const c = chart(WARM),
      lit = (k: number) => patch(k, c, { sdStops: 0.15 }),
      shaded = patch(2, chart([0.2, 0.15, 0.1]), { sdStops: 0.15 });
    expect(toneLine([lit(1), lit(2), lit(3)], null)!.apartStops).toBe(0);
    expect(toneLine([lit(1), shaded], null)!.apartStops).toBeGreaterThan(0.5);
  });

  it('has the contrast that the picture has, by shares that lie apart and are told surely', () => {
    const hard = chart([1, 1, 1]);
    hard.data.forEach((v, i) => (hard.data[i] = 0.18 * (v / 0.18) ** 1.25));
    const told = toneLine(
      [1, 3, 5].map((k) => patch(k, hard, { sdStops: 0.02 })),
      null,
    )!;
    expect(told.contrast).toBeGreaterThan(1.22);
    expect(told.contrast).toBeLessThan(1.25);
  });

  it('is not told by what is burnt out, black or hardly seen, nor its colour by what has one', () => {
    expect(toneLine([patch(0, chart([1.2, 1.2, 1.2]))], null)).toBeNull();
    expect(toneLine([patch(5, chart([0.02, 0.02, 0.02]))], null)).toBeNull();
    const small = patch(1, chart(WARM), {
      polygon: [
        [1, 1],
        [3, 1],
        [3, 3],
      ],
    });
    expect(toneLine([small], null)).toBeNull();
    expect(unreadTone(patch(0, chart([1.2, 1.2, 1.2])))).toBe('is burnt out');
    expect(unreadTone(patch(5, chart([0.02, 0.02, 0.02])))).toBe('is nearly black');
    expect(unreadTone(small)).toBe('is too small');
    expect(unreadTone(patch(1, chart(WARM)))).toBeNull();
    expect(toneLine([patch(1, chart(WARM), { grey: false })], null)!.colour).toBeNull();
  });

  it('meets what stands by the key’s cosine (Lambert)', () => {
    const of = (azimuthDeg: number, elevationDeg: number, fill: number): number =>
      uprightOverFlat({ azimuthDeg, elevationDeg, fill });
    // Without fill: cos 45° over sin 45°, cos 60° cos 60° over sin 60°, with a fifth of the ground's light by half.
    expect(of(0, 45, 0)).toBeCloseTo(1.1, 9);
    expect(of(60, 60, 0)).toBeCloseTo(0.25 / Math.sin(Math.PI / 3) + 0.1, 9);
    // A key from behind leaves the fill alone.
    expect(of(180, 30, 0.2)).toBeCloseTo(0.1 / (0.8 * 0.5 + 0.2) + 0.1, 9);
    // A key at 30° over the ground lies a stop under what faces it.
    expect(facingOverFlat({ azimuthDeg: 0, elevationDeg: 30, fill: 0 })).toBeCloseTo(1, 9);
    // A key in doubt tells it the less: one at 30° from the front or from behind differs by more than a stop.
    const low = { azimuthDeg: 0, elevationDeg: 30, fill: 0.2 },
      sure = standingStops(low),
      doubtful = (azimuth: number, elevation: number) => standingStops({ ...low, sdDeg: { azimuth, elevation } });
    expect(sure.stops).toBeCloseTo(Math.log2(uprightOverFlat(low)), 9);
    expect(doubtful(0, 0).stops).toBeCloseTo(sure.stops, 9);
    expect(Math.abs(doubtful(5, 2).stops - sure.stops)).toBeLessThan(0.05);
    expect(doubtful(90, 10).sd).toBeGreaterThan(1.4 * sure.sd);
    // The other picture's key serves, as surely as none.
    expect(standingStops({ ...low, supposed: true })).toEqual({ stops: sure.stops, sd: standingStops(null).sd });
    const about = Math.log2(luminanceOfL(NEUTRAL[1]!)),
      upright = toneLine([patch(1, chart(WARM), { upright: true })], { azimuthDeg: 0, elevationDeg: 30, fill: 0 })!,
      lying = toneLine([patch(1, chart(WARM))], null)!;
    expect(whiteAbout(upright, about).stops).toBeCloseTo(Math.log2(WARM_Y / (Math.sqrt(3) + 0.1)), 5);
    expect(whiteAbout(upright, about).variance).toBeGreaterThan(whiteAbout(lying, about).variance);
  });
});

describe('what known surfaces ask of the take', () => {
  const look = { meanLinear: [0.18, 0.18, 0.18], percentiles: [0, 0, 0, 0, 0, 0, 0.8] } as unknown as Look,
    grey = (level: number) => toneLine([patch(1, chart([level, level, level]))], null);

  it('is the level that lies between both lights, less what is in doubt', () => {
    const asked = levelBeside(look, {
      screen: null,
      cardStops: null,
      azimuthDeg: null,
      plateTone: grey(0.2),
      tone: grey(0.8),
    })!;
    expect(asked.stops).toBeGreaterThan(-2);
    expect(asked.stops).toBeLessThan(-1.5);
    expect(asked.why).toContain('known tone');
  });

  it('is said also where it is nothing, and what is missing to hold the plate’s against', () => {
    const plate = { look: { ...look, blackCoded: [0, 0, 0], whiteCoded: [0.8, 0.8, 0.8] } } as never,
      subject = { mean: [0.1, 0.1, 0.1], percentiles: [0.02, 0.03, 0.09, 0.2, 0.3] } as const,
      why = (words: Parameters<typeof matchLight>[3]) => matchLight(plate, {} as never, subject, words).why;
    expect(why({ plateTone: grey(0.4), takeTone: grey(0.4) })).toContain('exposure left as it is');
    expect(why({ plateTone: grey(0.1), takeTone: grey(0.8) })).toContain('exposure lowered');
    expect(why({ plateTone: grey(0.4) })).toContain('mark one there too');
    expect(why({ tonesAmiss: ['it is burnt out'] })).toContain('it is burnt out');
  });

  it('is the plate’s white over the take’s, and luminance stays', () => {
    const none = {} as never,
      plate = toneLine([patch(1, chart(WARM))], null)!.colour,
      take = toneLine([patch(1, chart([0.4, 0.5, 0.7]))], null)!.colour;
    const both = whiteBalance(none, none, null, { plate, take }).slope,
      alone = whiteBalance(none, none, null, { plate, take: null }).slope;
    expect(both[0] / both[2]).toBeCloseTo(0.8 / 0.4 / (0.4 / 0.7), 4);
    expect(alone[0] / alone[2]).toBeCloseTo(0.8 / 0.4, 4);
    for (const s of [both, alone]) expect(0.2126 * s[0] + 0.7152 * s[1] + 0.0722 * s[2]).toBeCloseTo(1, 9);
  });

  it('brings any surface of the take to where the plate shows it, contrast included', () => {
    const hard = chart([0.9, 0.9, 0.9]),
      plain = chart([0.45, 0.45, 0.45]);
    hard.data.forEach((v, i) => (hard.data[i] = 0.18 * (v / 0.18) ** 1.2));
    const all = (c: Picture) =>
      toneLine(
        [1, 2, 3, 4, 5].map((k) => patch(k, c, { sdStops: 0.02 })),
        null,
      );
    const match = matchLight(
      { look: { ...look, blackCoded: [0, 0, 0], whiteCoded: [0.8, 0.8, 0.8] } } as never,
      {} as never,
      { mean: [0.1, 0.1, 0.1], percentiles: [0.02, 0.03, 0.09, 0.2, 0.3] },
      { plateTone: all(hard), takeTone: all(plain) },
    );
    for (const k of [1, 2, 3, 4]) {
      const shown = (match.slope[1] * plain.data[(k + 0.5) * SIDE]!) ** match.power[1];
      // A tenth of a stop: what the doubt of the marks leaves.
      expect(Math.abs(Math.log2(shown / hard.data[(k + 0.5) * SIDE]!))).toBeLessThan(0.1);
    }
  });
});
