/**
 * Holes cut by the test into a made coat that has the mean colour of what lies behind it; their share is worked out.
 */
import { expect, test } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { HOLES_ALONE } from '../limits.js';
import { madeFrame } from '../reader/made-frame.js';
import { readHolesAlone } from './solid.js';

const W = 240,
  H = 180,
  N = W * H;
const matte = Float32Array.from({ length: N }, (_, i) =>
  Math.hypot((i % W) - 120, Math.floor(i / W) - 90) < 34 ? 1 : 0,
);

/** A coat of the plate's own mean grey, as rough as told (sd, coded), before a smooth plate; both with their grain. */
function share(rough: number, hole: (x: number, y: number) => boolean): number {
  const r = new RandomStream(7),
    join = createPicture(W, H, 3),
    plate = createPicture(W, H, 3);
  for (let i = 0; i < N; i++) {
    const x = i % W,
      y = Math.floor(i / W),
      wall = 0.42 + 0.04 * Math.sin(x / 9),
      coat = 0.42 + rough * r.normal(),
      seen = matte[i]! > 0 && !hole(x, y) ? coat : wall;
    for (let c = 0; c < 3; c++) {
      plate.data[c * N + i] = wall + 0.004 * r.normal();
      join.data[c * N + i] = seen + 0.004 * r.normal();
    }
  }
  return readHolesAlone(madeFrame(join, plate, matte))!.share;
}
const none = (): boolean => false,
  three = (x: number, y: number): boolean =>
    [
      [105, 80],
      [130, 95],
      [115, 108],
    ].some(([u, v]) => Math.hypot(x - u!, y - v!) < 5);

test('holes in a rough coat of the mean colour of what is behind it are told', () => {
  // Patches of 3 px lie whole in a hole of radius 5 up to 3.6 px from its middle: 3 · 41 of some 3300, .037. Half of it.
  expect(share(0.15, three)).toBeGreaterThan(0.0185);
  expect(share(0.15, none)).toBeLessThan(HOLES_ALONE);
});

test('a coat as smooth as the plate and of its colour has none to be told', () => {
  expect(share(0.01, none)).toBe(0);
});
