/** A green toy in a made picture, at a known place of take and join. */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import type { PeelStep } from '../../join/performer-steps.js';
import type { Recipe } from '../../join/types.js';
import { madeFrame } from '../reader/made-frame.js';
import type { SeenFrame } from '../reader/frame.js';
import { readEdges } from './edges.js';
import { keptColour } from './kept-colour.js';

const W = 200,
  H = 160,
  N = W * H;

/** A brown ellipse over grey; a green disc of `radius` px at (110, 70), and all of it `cast` greener. */
function frame(radius: number, cast: number): SeenFrame {
  const join = createPicture(W, H, 3),
    plate = createPicture(W, H, 3),
    deep = (i: number): number => 50 * (1 - Math.hypot(((i % W) - 99.5) / 50, (Math.floor(i / W) - 79.5) / 60)),
    matte = Float32Array.from({ length: N }, (_, i) => Math.min(1, Math.max(0, deep(i) / 3)));
  for (let i = 0; i < N; i++) {
    const toy = Math.hypot((i % W) - 109.5, Math.floor(i / W) - 69.5) < radius,
      body = toy ? [0.15, 0.5, 0.2] : [0.5, 0.4 + cast, 0.3];
    for (let c = 0; c < 3; c++) {
      plate.data[c * N + i] = 0.4;
      join.data[c * N + i] = matte[i]! * body[c]! + (1 - matte[i]!) * 0.4;
    }
  }
  return madeFrame(join, plate, matte);
}

/** A take laid at half its size, 30 px to the right; the toy kept at (160, 140) of it, 20 px and some round. */
function recipe(step: 'keep' | 'none'): Recipe {
  const round = Array.from({ length: 12 }, (_, k): [number, number] => [
      160 + 22 * Math.cos((k * Math.PI) / 6),
      140 + 22 * Math.sin((k * Math.PI) / 6),
    ]),
    side = { file: 'a.mp4', in: 0, out: 2, rate: '24/1', widthPx: 400, heightPx: 320 };
  return {
    version: 1,
    plate: side,
    take: side,
    steps: [
      { step: 'peel', on: true, ...(step === 'keep' ? { keep: { frames: [{ frame: 0, polygon: round }] } } : {}) },
      { step: 'pace', on: true, curve: [0, 1], method: 'nearest' },
      {
        step: 'ride',
        on: true,
        placement: [0, 1].map((f) => ({ frame: f, matrix: [0.5, 0, 30, 0, 0.5, 0, 0, 0, 1] })),
      },
    ] as unknown as Recipe['steps'],
  };
}

describe('what has the colour of the screen by right', () => {
  it('is where the recipe lays what was kept', () => {
    const kept = keptColour(recipe('keep'), 1)!;
    expect(kept(110, 70)).toBe(true);
    expect(kept(119, 70)).toBe(true);
    expect(kept(125, 70)).toBe(false);
    expect(kept(160, 140)).toBe(false);
    expect(keptColour(recipe('none'), 1)).toBeNull();
    const two = recipe('keep'),
      [peel, ...others] = two.steps as [PeelStep, ...Recipe['steps']],
      also = [
        {
          frames: [
            {
              frame: 0,
              polygon: [
                [260, 140],
                [300, 140],
                [280, 180],
              ] as [number, number][],
            },
          ],
        },
      ],
      both = keptColour({ ...two, steps: [{ ...peel, alsoKeep: also }, ...others] }, 1)!;
    expect([both(110, 70), both(170, 77), both(140, 70)]).toEqual([true, true, false]);
  });

  it('is no spill, and spill beside it still is', () => {
    const toy = frame(10, 0),
      kept = keptColour(recipe('keep'), 1);
    expect(readEdges(toy, 'green')!.spill).toBeGreaterThan(0.01);
    expect(readEdges(toy, 'green', kept)!.spill).toBe(0);
    // Green .05 over red, of a luma of .52, all over.
    const spilt = readEdges(frame(10, 0.15), 'green', kept)!.spill;
    expect(spilt).toBeGreaterThan(0.08);
    expect(spilt).toBeLessThan(0.14);
  });
});
