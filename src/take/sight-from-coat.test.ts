/**
 * A spotted body rendered (test/turning-body.ts) from known heights and turned by a known curve: the elevation and
 * turn told against them.
 */
import { describe, expect, it } from 'vitest';
import { DISTANCE, FOCAL, H, seenFrom, W } from '../../test/turning-body.js';
import { chainRound, sightFromCoat } from './sight-from-coat.js';

const half = (FOCAL * 0.35) / DISTANCE,
  place = {
    ground: [W / 2, H / 2 + half],
    top: [W / 2, H / 2 - half],
    focalPx: FOCAL,
    widthPx: W,
    heightPx: H,
  } as const,
  chain = chainRound(0, 25, 24),
  eased = (frame: number): number => 40 * (3 * (frame / 24) ** 2 - 2 * (frame / 24) ** 3);

describe('how steeply a performer is looked down at whose turn nobody marked', () => {
  it.each([8, 15, 24])('is told at %d° by the ways of its spots, whichever way it turns', async (down) => {
    for (const way of [1, -1]) {
      const found = await sightFromCoat(chain, place, 0.4, async (f) => seenFrom(down, () => way * eased(f)));
      expect(Math.abs(found!.elevationDeg - down)).toBeLessThan(Math.max(1.5, 0.15 * down));
      expect(Math.abs(found!.elevationDeg - down)).toBeLessThan(found!.sd);
      expect(Math.abs(found!.turnDeg - 40)).toBeLessThan(6);
    }
  });
  it('holds where the lens is thought a third longer', async () => {
    const found = await sightFromCoat(chain, { ...place, focalPx: 1.35 * FOCAL }, 0.4, async (f) =>
      seenFrom(15, () => eased(f)),
    );
    expect(Math.abs(found!.elevationDeg - 15)).toBeLessThan(found!.sd);
  });
  it('is not told of a body that stands, turns a little, or turns its head alone, nor of too short a take', async () => {
    const none = async (yaw: (frame: number, high: number) => number) =>
      expect(await sightFromCoat(chain, place, 0.4, async (f) => seenFrom(15, (high) => yaw(f, high)))).toBeNull();
    await none(() => 0);
    await none((f) => 0.3 * eased(f));
    await none((f, high) => (high > 0.4 ? eased(f) : 0));
    expect(await sightFromCoat(chain, place, 0.4, async () => null)).toBeNull();
    expect(await sightFromCoat(chainRound(0, 5, 24), place, 0.4, async () => seenFrom(15, () => 0))).toBeNull();
  });
});

describe('the frames that are looked at', () => {
  it('are nine over two seconds round the mark, within the take', () => {
    expect(chainRound(0, 25, 24)).toEqual([0, 3, 6, 9, 12, 15, 18, 21, 24]);
    expect(chainRound(100, 500, 24)).toEqual([76, 82, 88, 94, 100, 106, 112, 118, 124]);
    expect(chainRound(499, 500, 24).at(-1)).toBe(499);
  });
});
