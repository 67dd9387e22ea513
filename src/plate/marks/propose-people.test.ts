/**
 * People-like regions on a made set: a figure of known foot and top walks through, the
 * camera still or turning; other movers are no people.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Mat3 } from '../../geometry/mat3.js';
import { peopleIn, type Moment } from './people-in.js';
import { solveView } from '../view/view.js';

const W = 400;
const H = 225;
const WIDE = 700;
const random = new RandomStream(3);
/** A set wider than the picture, so that the camera can pan over it. */
const wall = [0, 1, 2].map(() =>
  gaussianPlane(
    new Float32Array(WIDE * H).map(() => random.normal()),
    WIDE,
    H,
    2,
  ),
);

type Figure = (x: number, y: number, t: number) => boolean;
/**
 * Head, trunk and two legs about a foot at 150 + 8 t (in the set), 120 px tall; the
 * shadow lies to the left on the ground.
 */
const footAt = (t: number): number => 150 + 8 * t;
const walker: Figure = (x, y, t) => {
  const u = x - footAt(t);
  const v = 200 - y;
  return (
    Math.hypot(u, v - 108) < 12 ||
    (Math.abs(u) < 17 && v > 48 && v < 98) ||
    (Math.abs(Math.abs(u) - 7) < 5 && v >= 0 && v <= 50)
  );
};
const shadow: Figure = (x, y, t) => {
  const u = footAt(t) - x;
  return u > 0 && u < 70 && Math.abs(y - 198 + 0.15 * u) < 3;
};

function shot(figure: Figure, t: number, pan: number, dark: Figure | null = null): Picture {
  const p = createPicture(W, H, 3);
  const grain = new RandomStream(1000 + t);
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const sx = x + pan * t;
      const on = figure(sx, y, t);
      const lit = dark?.(sx, y, t) === true ? 0.6 : 1;
      for (let c = 0; c < 3; c++)
        p.data[c * W * H + i] =
          (on
            ? [0.15, 0.2, 0.35][c]!
            : (0.55 + 0.5 * wall[c]![y * WIDE + Math.min(WIDE - 1, Math.max(0, Math.round(sx)))]!) * lit) +
          0.008 * grain.normal();
    }
  return p;
}
function look(figure: Figure, at: number, pan: number, dark: Figure | null = null): ReturnType<typeof peopleIn> {
  const moments: Moment[] = Array.from({ length: 21 }, (_, t) => ({
    picture: shot(figure, t, pan, dark),
    toFrame: [1, 0, pan * (t - at), 0, 1, 0, 0, 0, 1] as Mat3,
  }));
  return peopleIn(shot(figure, at, pan, dark), moments);
}

describe('people proposed', () => {
  it(
    'finds who walks, foot and top within three pixels, under a still and a panning camera, ' +
      'with and without a shadow',
    () => {
      for (const pan of [0, 6])
        for (const dark of [null, shadow])
          for (const at of [6, 12]) {
            const found = look(walker, at, pan, dark);
            expect(found, `pan ${pan}, frame ${at}`).toHaveLength(1);
            const [p] = found;
            const x = footAt(at) - pan * at;
            expect(Math.abs(p!.top[0] - x)).toBeLessThan(3);
            expect(Math.abs(p!.top[1] - 80)).toBeLessThan(3);
            expect(Math.abs(p!.foot[1] - 200)).toBeLessThan(3);
            // A shadow that joins the soles draws the foot a little its way.
            expect(Math.abs(p!.foot[0] - x)).toBeLessThan(dark === null ? 3 : 9);
          }
    },
  );

  it('takes neither who holds still, nor a car, nor a bare set for people', () => {
    expect(look((x, y) => walker(x, y, 12), 12, 0)).toEqual([]);
    expect(look((x, y, t) => Math.abs(x - footAt(t)) < 60 && y > 140 && y < 190, 12, 0)).toEqual([]);
    expect(look(() => false, 12, 6)).toEqual([]);
  });

  it("an assumed height is a weak prior: the view's height of the camera is no surer than it allows", () => {
    const marks = (sd?: number) => ({
      frame: 0,
      marks: [
        {
          kind: 'upright' as const,
          foot: [300, 700] as [number, number],
          top: [300, 250] as [number, number],
          height: 1.7,
          ...(sd === undefined ? {} : { heightSd: sd }),
        },
        {
          kind: 'upright' as const,
          foot: [900, 600] as [number, number],
          top: [900, 300] as [number, number],
          height: 1.7,
          ...(sd === undefined ? {} : { heightSd: sd }),
        },
      ],
    });
    const known = solveView(marks(), { widthPx: 1280, heightPx: 720 }).cameraHeight;
    const guessed = solveView(marks(0.1), { widthPx: 1280, heightPx: 720 }).cameraHeight;
    expect(guessed.sd! / guessed.value!).toBeGreaterThan(1.3 * (known.sd! / known.value!));
    expect(guessed.sd! / guessed.value!).toBeGreaterThan(0.03);
  });
});
