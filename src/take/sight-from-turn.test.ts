import { describe, expect, it } from 'vitest';
import { subjectView } from '../plate/view/view-derived.js';
import { takeView } from './take-marks.js';
import { DISTANCE, FOCAL, H, seenFrom, W } from '../../test/turning-body.js';
import { sightFromTurn } from './sight-from-turn.js';

/** Turned by 40° over ten frames, slower at both ends, as poses at the ends alone do not tell. */
const eased = (frame: number): number => 40 * (3 * (frame / 10) ** 2 - 2 * (frame / 10) ** 3);
const ends = [
  { frame: 0, yawDeg: 0 },
  { frame: 10, yawDeg: 40 },
];
const half = (FOCAL * 0.35) / DISTANCE,
  place = { ground: [W / 2, H / 2 + half], top: [W / 2, H / 2 - half], focalPx: FOCAL, heightPx: H } as const;

describe('how steeply a turning performer is looked down at', () => {
  it.each([8, 15, 24])('is told at %d° by how its coat moves, and not by the lens', async (down) => {
    for (const focalPx of [FOCAL, 1.4 * FOCAL]) {
      const found = await sightFromTurn(ends, { ...place, focalPx }, async (f) => seenFrom(down, () => eased(f)));
      expect(Math.abs(found!.elevationDeg - down)).toBeLessThan(2);
      expect(Math.abs(found!.elevationDeg - down)).toBeLessThan(2 * found!.sd);
      expect(found!.turnDeg).toBeCloseTo(40, 6);
    }
  });
  it('is the same by a turn the other way, and by one there and back', async () => {
    const other = await sightFromTurn(
        ends.map((p) => ({ ...p, yawDeg: -p.yawDeg })),
        place,
        async (f) => seenFrom(15, () => -eased(f)),
      ),
      back = await sightFromTurn([...ends, { frame: 20, yawDeg: 0 }], place, async (f) =>
        seenFrom(15, () => eased(f <= 10 ? f : 20 - f)),
      );
    expect(Math.abs(other!.elevationDeg - 15)).toBeLessThan(2);
    expect(Math.abs(back!.elevationDeg - 15)).toBeLessThan(2);
    expect(back!.turnDeg).toBeCloseTo(80, 6);
  });
  it('is not told by a head that turns on a body that stands, nor by too small a turn', async () => {
    expect(
      await sightFromTurn(ends, place, async (f) => seenFrom(15, (high) => (high > 0.4 ? eased(f) : 0))),
    ).toBeNull();
    expect(await sightFromTurn(ends, place, async () => seenFrom(15, () => 0))).toBeNull();
    const little = [ends[0]!, { frame: 10, yawDeg: 12 }];
    expect(await sightFromTurn(little, place, async (f) => seenFrom(15, () => 0.3 * eased(f)))).toBeNull();
    expect(await sightFromTurn(ends, place, async () => null)).toBeNull();
  });
  it('settles the view that the performer alone leaves to usual cameras', () => {
    const performer = { ground: [427, 380], top: [427, 45], heightM: 0.75, marked: true } as const;
    const of = (sight: { elevationDeg: number; sd: number } | null) =>
      takeView(
        {
          marks: {
            frame: 0,
            marks: [{ kind: 'performer', ground: [427, 380], top: [427, 45], height: 0.75 }],
          },
          performer,
          widthPx: 854,
          heightPx: 480,
          heightM: null,
          sight: sight === null ? null : { by: 'poses', ...sight, turnDeg: 60, frames: [0, 20] },
        },
        [],
      )!;
    const down = (view: ReturnType<typeof of>): number =>
      subjectView(view, [427, 380], [427, 45], 1)!.elevationDeg.value;
    expect(of(null).tiltDeg.sd!).toBeGreaterThan(8);
    for (const elevationDeg of [4, 25]) {
      const view = of({ elevationDeg, sd: 1.5 });
      // Usual cameras still pull a little; and half the height is not quite the middle of its picture.
      expect(Math.abs(down(view) - elevationDeg)).toBeLessThan(0.8);
      expect(view.tiltDeg.sd!).toBeLessThan(3);
    }
  });
});
