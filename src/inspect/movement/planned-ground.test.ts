/** The plan's ground against a pinhole camera that the test moves over it; the place of a walker by hand. */
import { describe, expect, it } from 'vitest';
import { worldToCamera } from '../../geometry/camera.js';
import { apply, applyVector, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import type { GroundFrame } from '../../join/ground/types.js';
import type { GroundStep, Recipe, RideStep } from '../../join/types.js';
import { groundWarp, plannedGround, standingFrames } from './planned-ground.js';

const FOCAL = 700,
  SIZE = [640, 360] as const;

/** A camera over level ground, and the pixel of a point of it. */
interface Shown {
  readonly at: Vec3;
  readonly headingDeg: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
}
function pixel({ at, headingDeg, tiltDeg, rollDeg }: Shown, x: number, z: number): [number, number, number] {
  const m: Mat3 = worldToCamera(headingDeg, tiltDeg, rollDeg),
    p = applyVector(m, [x - at[0], -at[1], z - at[2]]);
  return [SIZE[0] / 2 + (FOCAL * p[0]) / p[2], SIZE[1] / 2 + (FOCAL * p[1]) / p[2], p[2]];
}

/** The ground step's frame of a camera, for a foot at (x, z) and a key whose azimuth in the set is 40°. */
function frameOf(camera: Shown, frame: number, x: number, z: number): GroundFrame {
  const [u, v, depth] = pixel(camera, x, z);
  return {
    frame,
    foot: [u, v],
    pxPerMetre: FOCAL / depth,
    tiltDeg: camera.tiltDeg,
    rollDeg: camera.rollDeg,
    azimuthDeg: 40 + camera.headingDeg,
  };
}
const step = { focalPx: FOCAL, azimuthDeg: 40, elevationDeg: 35 } as GroundStep;

describe('the ground about the foot, as planned', () => {
  const before: Shown = { at: [0, 1.4, -4], headingDeg: 0, tiltDeg: -8, rollDeg: 0 },
    after: Shown = { at: [0.3, 1.3, -3.4], headingDeg: 5, tiltDeg: -9.5, rollDeg: 1 };
  it('goes as a pinhole camera shows that plane, however it turns and travels', () => {
    const [a, b] = [before, after].map((c, n) => plannedGround(step, frameOf(c, n, 0.2, 0.5), SIZE)!),
      warp = groundWarp(a!, b!);
    for (const [x, z] of [
      [0.2, 0.5],
      [-0.5, 0.1],
      [0.9, 1.2],
      [0.4, -0.4],
    ] as const) {
      const from = pixel(before, x, z),
        to = pixel(after, x, z),
        moved = apply(warp, from[0], from[1]);
      expect(moved[0]).toBeCloseTo(to[0], 6);
      expect(moved[1]).toBeCloseTo(to[1], 6);
    }
  });
  it('reaches from about two thirds of the depth of the foot to a third beyond', () => {
    const ground = plannedGround(step, frameOf(before, 0, 0, 0), SIZE)!,
      at = (z: number): boolean => ground.near(...(pixel(before, 0.3, z).slice(0, 2) as [number, number]));
    expect([-1.5, -0.8, 0, 1, 2].map(at)).toEqual([false, true, true, true, false]);
    // Over the horizon there is none.
    expect(ground.near(320, 20)).toBe(false);
  });
});

describe('the place of a performer that walks', () => {
  /** A recipe whose ride carries the take's ground by `carried` px a frame, and whose foot walks on by `walks`. */
  function recipeOf(carried: number, walks: number): { recipe: Recipe; ground: GroundStep } {
    const frames = [0, 1, 2],
      ride = {
        step: 'ride',
        upright: { ground: [100, 200], top: [100, 50] },
        placement: frames.map((n) => ({
          frame: n,
          matrix: [0.5, 0, carried * n, 0, 0.5, 0, 0, 0, 1],
        })),
      } as unknown as RideStep,
      ground = {
        step: 'ground',
        frames: frames.map((n) => ({ frame: n, foot: [50 + (carried + walks) * n, 100], pxPerMetre: 300 + walks * n })),
      } as unknown as GroundStep;
    return { recipe: { steps: [ride, ground] } as unknown as Recipe, ground };
  }
  it('is where the ride carries it, and its own foot where it stays', () => {
    const of = (carried: number, walks: number): GroundFrame => {
      const { recipe, ground } = recipeOf(carried, walks);
      return standingFrames(recipe, ground).get(2)!;
    };
    expect(of(3, -5).foot).toEqual([56, 100]);
    expect(of(3, -5).pxPerMetre).toBeCloseTo(300, 9);
    expect(of(3, 0).foot).toEqual([56, 100]);
    expect(of(0, 4).foot).toEqual([50, 100]);
  });
});
