/**
 * Shadows thrown by a known lamp or sun through a pinhole: where the lamp is found; a ball's shadow against the ray
 * through it.
 */
import { describe, expect, it } from 'vitest';
import { groundCamera, project } from '../../geometry/camera.js';
import { towardsLight } from '../../plate/light/light-shadow.js';
import { solveView } from '../../plate/view/view.js';
import type { MarkOf } from '../proposal-input.js';
import type { PlateMeasures } from '../../plate/types.js';
import { asUnderParallel, keyAtStand, keyFrom, nearLampOf } from './near-lamp.js';

const W = 960,
  H = 540,
  camera = groundCamera({ focalPx: 1100, tiltDeg: -9, rollDeg: 0, cameraHeight: 1.4, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(camera, [x, y, z])!;
  return [p.x, p.y];
};
const view = solveView(
  {
    frame: 0,
    focalPx: 1100,
    cameraHeight: 1.4,
    marks: [
      { kind: 'upright', foot: px(-0.6, 0, 5), top: px(-0.6, 1, 5), height: 1 },
      { kind: 'upright', foot: px(1, 0, 7), top: px(1, 1.2, 7), height: 1.2 },
    ],
  },
  { widthPx: W, heightPx: H, pointSdPx: 0.5 },
);

/** Shadow of an upright by a lamp at a place; `off` moves its tip, px. */
function byLamp(
  x: number,
  z: number,
  height: number,
  lamp: readonly [number, number, number],
  off: readonly [number, number] = [0, 0],
): MarkOf<'shadow'> {
  const t = height / (lamp[1] - height),
    tip = px(x + t * (x - lamp[0]), 0, z + t * (z - lamp[2]));
  return { kind: 'shadow', foot: px(x, 0, z), tip: [tip[0] + off[0], tip[1] + off[1]], height };
}
function bySun(x: number, z: number, height: number, azimuth: number, elevation: number): MarkOf<'shadow'> {
  const t = towardsLight(azimuth, elevation),
    k = height / t[1];
  return { kind: 'shadow', foot: px(x, 0, z), tip: px(x - k * t[0], 0, z - k * t[2]), height };
}
const LAMP = [1.6, 2.3, 4] as const;

describe('a lamp that stands near', () => {
  it('is found where the rays of its shadows meet, a pixel of error in the tips', () => {
    const found = nearLampOf(
      [byLamp(-0.9, 5, 0.8, LAMP, [1, -0.7]), byLamp(0.8, 6.2, 0.9, LAMP, [-0.8, 0.6])],
      view,
      0.8,
    )!;
    expect(Math.hypot(found.at[0] - LAMP[0], found.at[1] - LAMP[1], found.at[2] - LAMP[2])).toBeLessThan(0.3);
    const key = keyFrom(found, [0, 0.25, 5.5]),
      truth = keyFrom({ at: LAMP }, [0, 0.25, 5.5]);
    expect(Math.abs(key.azimuthDeg - truth.azimuthDeg)).toBeLessThan(4);
    expect(Math.abs(key.elevationDeg - truth.elevationDeg)).toBeLessThan(4);
  });

  it('is none where one sun threw the shadows, or two lamps', () => {
    expect(nearLampOf([bySun(-0.9, 5, 0.8, 50, 40), bySun(0.8, 6.2, 0.9, 50, 40)], view, 0.8)).toBeNull();
    // Rays that pass each other: the second lamp stands lower than it would have to.
    expect(nearLampOf([byLamp(-0.9, 5, 0.8, LAMP), bySun(0.8, 6.2, 0.9, -60, 25)], view, 0.8)).toBeNull();
    expect(nearLampOf([byLamp(-0.9, 5, 0.8, LAMP)], view, 0.8)).toBeNull();
  });

  it('throws the shadow of a ball where the ray from the lamp through it meets the ground, as much larger', () => {
    const up = [0, -1, 0] as const,
      foot = [0, 1, 4] as const,
      far = 2,
      light = [0.6, -0.64, -0.48] as const,
      lamp = foot.map((v, k) => v + far * light[k]!),
      centre = [0.1, 0.6, 3.9] as const;
    const [b] = asUnderParallel([{ centre, radius: 0.1 }], { up, foot, light }, far);
    // Heights over the ground: the lamp's 1.28, the ball's .4.
    const t = 1.28 / 0.88,
      shadow = lamp.map((v, k) => v + t * (centre[k]! - v)),
      high = 1 - b!.centre[1],
      thrown = b!.centre.map((v, k) => v - (high / 0.64) * light[k]!);
    expect(high).toBeCloseTo(0.4, 9);
    shadow.forEach((v, k) => expect(thrown[k]).toBeCloseTo(v, 9));
    expect(b!.radius).toBeCloseTo(0.1 * t, 9);
    expect(asUnderParallel([{ centre: [0, -0.5, 4], radius: 0.1 }], { up, foot, light }, far)).toEqual([]);
  });
});

describe('the key where the performer stands', () => {
  const ground = px(0.3, 0, 5.5);
  const marks = { frame: 0, marks: [{ kind: 'stand' as const, ground, top: px(0.3, 0.8, 5.5), height: 0.8 }] };
  const measures = (rest: object): PlateMeasures => ({ widthPx: W, heightPx: H, view, ...rest }) as never;

  it('is that of a lamp which was found from one mark and a shadow nobody marked', () => {
    const at = [-1.2, 2.1, 4.6] as const,
      key = keyAtStand(measures({ foundLamp: { at, clear: 3, beside: [] } }), marks)!,
      truth = keyFrom({ at }, [0.3, 0, 5.5]);
    expect(Math.abs(key.azimuthDeg - truth.azimuthDeg)).toBeLessThan(0.5);
    expect(Math.abs(key.elevationDeg - truth.elevationDeg)).toBeLessThan(0.5);
  });

  it('is not told where no lamp stands near, nor where nobody stands on the view’s frame', () => {
    expect(keyAtStand(measures({}), marks)).toBeNull();
    const lamp = { foundLamp: { at: [-1.2, 2.1, 4.6], clear: 3, beside: [] } };
    expect(keyAtStand(measures(lamp), { frame: 0, marks: [] })).toBeNull();
    expect(keyAtStand(measures({ ...lamp, view: undefined }), marks)).toBeNull();
  });
});
