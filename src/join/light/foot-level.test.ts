/**
 * Level of the ground about the feet, and what it says beside a take: no published figures; the wanted values follow
 * from the reflectances that the pictures are made of.
 */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Look } from '../../plate/types.js';
import { footLevel, type FootGround } from './foot-level.js';
import { levelBeside } from './take-level.js';

/** Ground of a level under a sky of another, with a dark strip (a shadow) beside the foot. */
function outdoors(ground: number, sky: number): Picture {
  const p = createPicture(160, 120, 3),
    n = 160 * 120;
  for (let i = 0; i < n; i++) {
    const x = i % 160,
      y = Math.floor(i / 160),
      v = y < 60 ? sky : x > 86 && x < 100 ? 0.2 * ground : ground;
    for (let c = 0; c < 3; c++) p.data[c * n + i] = v;
  }
  return p;
}
const STAND = { ground: [80, 95], top: [80, 55] } as const;
/** Bare ground of that level, to the last digit, which a picture does not hold. */
const bare = (level: number): FootGround => ({ ...footLevel(outdoors(level, 0.3), STAND)!, level });
const look = (mean: number, white: number): Look =>
  ({ meanLinear: [mean, mean, mean], percentiles: [0, 0, 0, 0, 0, 0, bt709Encode(white)] }) as unknown as Look;
/**
 * A screen that lies 1.3 stops under a white, and the picture of a plate exposed alike: mean 2.5, whites .85, bare
 * ground 2.4 under it.
 */
const CLOTH = 2 ** -1.3,
  FEET = 2 ** -2.4,
  alike = look(2 ** -2.5, 2 ** -0.85);

describe('ground about the feet', () => {
  it('is read whatever the sky shows, and whatever shadow lies beside the feet', () => {
    for (const sky of [0.05, 0.9]) expect(footLevel(outdoors(0.2, sky), STAND)!.level).toBeCloseTo(0.2, 6);
  });

  it('is not read where the feet lie outside the picture or the ground is black', () => {
    expect(footLevel(outdoors(0.2, 0.5), { ground: [80, 190], top: [80, 150] })).toBeNull();
    expect(footLevel(outdoors(1e-4, 0.5), STAND)).toBeNull();
  });
});

describe('living green about the feet', () => {
  /** The same ground painted. */
  const painted = (r: number, g: number, b: number): FootGround => {
    const p = outdoors(0.2, 0.3),
      n = 160 * 120;
    [r, g, b].forEach((v, c) => p.data.fill(v, c * n, (c + 1) * n));
    return footLevel(p, STAND)!;
  };

  it('is told by turf and leaves (spectra of both: .04, .11, .04), and not by stone, boards, brick, a blue floor or mustard', () => {
    expect(painted(0.04, 0.11, 0.04).under).toBeGreaterThan(3);
    for (const [r, g, b] of [
      [0.3, 0.29, 0.27],
      [0.3, 0.2, 0.1],
      [0.36, 0.16, 0.1],
      [0.05, 0.1, 0.3],
      [0.33, 0.31, 0.06],
    ] as const)
      expect(painted(r, g, b).under).toBe(bare(0.2).under);
  });

  it('is half told by yellow ground, less surely than either', () => {
    const yellow = painted(0.3, 0.315, 0.06),
      turf = painted(0.04, 0.11, 0.04),
      stone = bare(0.2);
    expect(yellow.under).toBeCloseTo((turf.under + stone.under) / 2, 2);
    // Mean of the two variances, and a quarter of the square of what lies between.
    expect(yellow.sd ** 2).toBeCloseTo((turf.sd ** 2 + stone.sd ** 2) / 2 + (turf.under - stone.under) ** 2 / 4, 2);
  });

  it('lets a white at the feet lie higher over it, and is taken more surely', () => {
    expect(painted(0.04, 0.11, 0.04).sd).toBeLessThan(bare(0.2).sd);
    const grass = painted(0.04, 0.11, 0.04),
      said = (feet: FootGround): number =>
        levelBeside(look(0.1, 0.5), { screen: CLOTH / 8, cardStops: null, azimuthDeg: 30, feet })!.stops;
    expect(said(grass)).toBeGreaterThan(said(bare(grass.level)));
  });
});

describe('take beside plate, by the ground at the feet', () => {
  const beside = (l: Look, screen: number | null, feet: number) =>
    levelBeside(l, { screen, cardStops: null, azimuthDeg: 30, feet: bare(feet) });

  it('leaves alike what is exposed alike', () => {
    expect(beside(alike, CLOTH, FEET)).toBeNull();
  });

  // Ground and picture are known alike, .76, so each has half a say; with the cloth's .35 the sd of all is √(.76² / 2 +
  // .35²) = .64, and what lies within .6 of it is left.
  const left = 0.6 * Math.sqrt(0.76 ** 2 / 2 + 0.35 ** 2),
    followed = (read: number): number => read - left ** 2 / read;

  it('leaves a ground that is pale or dark by itself, and follows one far darker by half, almost wholly', () => {
    expect(beside(alike, CLOTH, FEET * 2 ** -0.7)).toBeNull();
    const found = beside(alike, CLOTH, FEET * 2 ** -2.5)!;
    expect(found.stops).toBeCloseTo(followed(-1.25), 9);
    expect(found.why).toContain('ground at the feet speaks for −2.5');
  });

  it('holds mean and whites back that a bright sky raises, where the ground speaks against them', () => {
    const bright = look(4 * 2 ** -2.9, 4 * 2 ** -1.1);
    expect(levelBeside(bright, { screen: 2 ** -1.75, cardStops: null, azimuthDeg: 30 })!.stops).toBeGreaterThan(1);
    expect(beside(look(2 ** -0.5, 1), CLOTH, FEET * 2 ** -1.5)).toBeNull();
  });

  it('follows all three by one rule, up as down, where they agree', () => {
    const up = beside(alike, CLOTH / 4, FEET)!,
      down = beside(alike, CLOTH * 4, FEET)!;
    expect(up.stops).toBeCloseTo(followed(2), 9);
    expect(down.stops).toBeCloseTo(-up.stops, 9);
  });

  it('goes by the card where one was read, and is silent where the take tells nothing', () => {
    expect(levelBeside(alike, { screen: CLOTH, cardStops: 2, azimuthDeg: 30, feet: bare(FEET) })!.stops).toBeLessThan(
      -1.5,
    );
    expect(beside(alike, null, FEET)).toBeNull();
  });

  it("goes by the take's own ground, mean and whites where it shows neither, less surely than by cloth", () => {
    const own = (stops: number) => ({
      screen: null,
      cardStops: null,
      azimuthDeg: 30,
      feet: bare(FEET),
      own: { feet: bare(FEET * 2 ** stops), look: look(2 ** (stops - 2.5), 2 ** (stops - 0.85)) },
    });
    expect(levelBeside(alike, own(0))).toBeNull();
    // Both pictures are known to .76 / √2.
    const found = levelBeside(alike, own(-2))!;
    expect(found.stops).toBeCloseTo(2 - (0.6 * 0.76) ** 2 / 2, 9);
    expect(found.sdStops).toBeGreaterThan(beside(alike, CLOTH / 4, FEET)!.sdStops);
    expect(levelBeside(alike, { ...own(-2), screen: CLOTH })).toBeNull();
  });
});
