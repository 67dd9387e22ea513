/**
 * A screen's floor with known light left in shadow; shares of fill, and how readings and what is usual are weighed, by
 * hand.
 */
import { expect, test } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { moreFill } from './propose-light.js';
import { leftOnFloor, shareFacing, weighed } from './take-fill.js';

const W = 320,
  H = 200,
  STAND = { ground: [160, 120], top: [160, 40] } as const;

/** A green floor; `lightAt` says how much of the light a place has. */
function floor(lightAt: (x: number, y: number) => number): Picture {
  const random = new RandomStream(3, 1),
    p = createPicture(W, H, 3),
    n = W * H;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const l = lightAt(x, y) * (1 + 0.06 * random.normal());
      [0.08, 0.4, 0.12].forEach((paint, c) => {
        p.data[c * n + y * W + x] = Math.max(0, paint * l);
      });
    }
  return p;
}

test("reads what a shadow on the screen's floor leaves of the light", () => {
  for (const left of [0.15, 0.35, 0.55]) {
    const seen = leftOnFloor(
      floor((x, y) => (x > 90 && x < 150 && y > 118 ? left : 1)),
      STAND,
      1,
    )!;
    expect(Math.abs(Math.log2(seen / left))).toBeLessThan(0.08);
    // A wall's shadow over half of the floor tells the same.
    expect(
      Math.abs(
        Math.log2(
          leftOnFloor(
            floor((x) => (x < 170 ? left : 1)),
            STAND,
            1,
          )! / left,
        ),
      ),
    ).toBeLessThan(0.08);
  }
});

test('says nothing of an even floor, of light that falls off, of faint folds, or of what is no screen', () => {
  expect(
    leftOnFloor(
      floor(() => 1),
      STAND,
      1,
    ),
  ).toBeNull();
  expect(
    leftOnFloor(
      floor((x) => 0.3 + (0.7 * x) / W),
      STAND,
      1,
    ),
  ).toBeNull();
  expect(
    leftOnFloor(
      floor((x) => (x % 40 < 12 ? 0.75 : 1)),
      STAND,
      1,
    ),
  ).toBeNull();
  expect(
    leftOnFloor(
      floor((x) => (x < 170 ? 0.3 : 1)),
      STAND,
      2,
    ),
  ).toBeNull();
});

test('fill on a surface that faces the key, from level ground: by the sine of its elevation', () => {
  // Key 3, fill 1: under 30° the ground has 1.5 + 1, of which fill is .4; facing it is 1 in 4.
  expect(shareFacing(0.4, 30)).toBeCloseTo(0.25, 9);
});

test('a well read head stands alone; else what was read joins what is usual, each by its doubt', () => {
  const usual = moreFill(0.25, null, null);
  expect(usual).toBeCloseTo(1.6, 9);
  expect(moreFill(0.25, { share: 0.3, sdStops: 0.2 }, { share: 0.1, sdStops: 0.5 })).toBeCloseTo(1.2, 9);
  // As doubtful as what is usual: half way, in stops.
  expect(moreFill(0.25, null, { share: 0.25, sdStops: 0.5 })).toBeCloseTo(Math.sqrt(1.6), 9);
  // A peg's thin shadow hardly moves it.
  expect(Math.abs(Math.log2(moreFill(0.25, { share: 0.6, sdStops: 1.5 }, null) / 1.6))).toBeLessThan(0.07);
});

test("a shadow that may be another counts as far as it is the performer's own, and the floor for the rest", () => {
  const share = (left: number): number => shareFacing(left, 40),
    floorAlone = weighed(null, 0.45, 40)!,
    sure = weighed({ left: 0.67, sure: 1 }, 0.45, 40)!,
    doubtful = weighed({ left: 0.67, sure: 0.1 }, 0.45, 40)!;
  expect(floorAlone.share).toBeCloseTo(share(0.45), 9);
  expect(sure.share).toBeCloseTo(share(0.67), 9);
  // One part of ten in stops.
  expect(Math.log2(doubtful.share)).toBeCloseTo(0.1 * Math.log2(share(0.67)) + 0.9 * Math.log2(share(0.45)), 9);
  expect(doubtful.sdStops).toBeCloseTo(floorAlone.sdStops, 9);
});

test('without two levels on the floor a doubtful shadow is told less surely, and one that is none tells nothing', () => {
  const sure = weighed({ left: 0.5, sure: 1 }, null, 40)!,
    half = weighed({ left: 0.5, sure: 0.25 }, null, 40)!;
  expect(half.share).toBeCloseTo(sure.share, 9);
  expect(half.sdStops).toBeCloseTo(2 * sure.sdStops, 9);
  // What is usual draws it the more.
  expect(Math.abs(moreFill(0.2, null, half) - 1.6)).toBeLessThan(Math.abs(moreFill(0.2, null, sure) - 1.6));
  expect(weighed({ left: 0.5, sure: 0 }, null, 40)).toBeNull();
  expect(weighed(null, null, 40)).toBeNull();
});
