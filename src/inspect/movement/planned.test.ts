import { describe, expect, it } from 'vitest';
import type { GroundStep, Recipe, RideStep } from '../../join/types.js';
import { plannedGroundMove } from './planned.js';

/**
 * A recipe whose ride carries the take's ground point (100, 200) by `carried` px a frame aside, growing by `grows` a
 * frame, and whose foot walks on by `walks`.
 */
function recipeOf(carried: number, grows: number, walks: number): { recipe: Recipe; ground: GroundStep } {
  const frames = [0, 1, 2],
    scale = (n: number): number => 0.5 * (1 + grows) ** n,
    at = (n: number): [number, number] => [50 + carried * n, 100];
  const ride = {
    step: 'ride',
    on: true,
    mirror: false,
    upright: { ground: [100, 200], top: [100, 50] },
    motionBlur: 0,
    why: '',
    placement: frames.map((n) => ({
      frame: n,
      matrix: [scale(n), 0, at(n)[0] - 100 * scale(n), 0, scale(n), at(n)[1] - 200 * scale(n), 0, 0, 1],
    })),
  } as unknown as RideStep;
  const ground = {
    step: 'ground',
    on: true,
    receiver: 'ground',
    frames: frames.map((n) => ({
      frame: n,
      foot: [at(n)[0] + walks * n, 100],
      pxPerMetre: 300 * (1 + grows) ** n * (1 + 0.1 * walks * n),
      tiltDeg: 0,
      rollDeg: 0,
      azimuthDeg: 0,
    })),
  } as unknown as GroundStep;
  return {
    recipe: {
      version: 1,
      plate: { in: 0, out: 3 },
      take: { widthPx: 200, heightPx: 220 },
      steps: [ride, ground],
    } as unknown as Recipe,
    ground,
  };
}

describe('how the ground under the performer is planned to move', () => {
  it('is as the foot moves and the ground grows, where the performer stays on its place', () => {
    const { recipe, ground } = recipeOf(2, 0.05, 0),
      [x, y] = plannedGroundMove(recipe, ground, 0, 1, [50, 120]);
    expect(x).toBeCloseTo(2, 9);
    expect(y).toBeCloseTo(0.05 * 20, 9);
  });

  it('stands still before a camera that does, wherever the performer walks', () => {
    const { recipe, ground } = recipeOf(0, 0, 4);
    expect(plannedGroundMove(recipe, ground, 1, 2, [54, 120])).toEqual([0, 0]);
  });

  it('goes with the ride, not with the feet, where the camera moves and the performer walks', () => {
    const { recipe, ground } = recipeOf(3, 0.02, -5),
      [x, y] = plannedGroundMove(recipe, ground, 0, 1, [60, 110]);
    expect(x).toBeCloseTo(3 + 0.02 * 10, 9);
    expect(y).toBeCloseTo(0.02 * 10, 9);
  });
});
