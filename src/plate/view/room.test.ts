/** What an erase costs at the desk hangs on what other frames show of the place. */
import { expect, it } from 'vitest';
import { IDENTITY3 } from '../../geometry/mat3.js';
import type { MarksFile } from '../marks/marks.js';
import { measureRoom } from './room.js';
import type { CameraMove } from '../types.js';

const FRAMES = 32;
const W = 640;
const H = 360;
const still = {
  move: 'static',
  frames: Array.from({ length: FRAMES }, (_, frame) => ({ frame, homographyToFirst: IDENTITY3 })),
} as unknown as CameraMove;
/** A box that covers a share of the picture and goes `px` to the right over the shot. */
function going(share: number, px: number): MarksFile {
  const w = W * share;
  const box = (x: number): [number, number][] => [
    [x, 0],
    [x + w, 0],
    [x + w, H],
    [x, H],
  ];
  return {
    frame: 0,
    marks: [
      { kind: 'erase', frame: 0, polygon: box(20) },
      { kind: 'erase', frame: FRAMES - 1, polygon: box(20 + px) },
    ],
  };
}
const room = (share: number, px: number): ReturnType<typeof measureRoom> =>
  measureRoom({ marks: going(share, px), widthPx: W, heightPx: H, span: { in: 0, out: FRAMES }, camera: still });

it('costs little where other frames show all of it, and much where it stands still', () => {
  const passes = room(0.2, 400);
  const stays = room(0.2, 0);
  expect(passes.suppliedShare.value).toBeGreaterThan(0.95);
  expect(stays.suppliedShare.value).toBe(0);
  // 15 for any join; 10 + 6; and 40 + 40 where nothing is supplied.
  expect(passes.effort.minutes).toBeLessThan(36);
  expect(stays.effort.minutes).toBe(111);
});

it('grows with the area that has to be made up, hardly with one that is shown', () => {
  expect(room(0.3, 0).effort.minutes - room(0.1, 0).effort.minutes).toBeGreaterThan(40);
  expect(room(0.3, 400).effort.minutes - room(0.1, 400).effort.minutes).toBeLessThan(12);
});

it('asks for a larger picture only where the performer would be missed', () => {
  const standing = (x: number): ReturnType<typeof measureRoom> =>
    measureRoom({
      marks: { frame: 0, marks: [{ kind: 'stand', ground: [x, 300], top: [x, 200] }] },
      widthPx: W,
      heightPx: H,
      span: { in: 0, out: FRAMES },
      camera: still,
    });
  // 100 px high and 60 px to each side: at 600 it lacks 20 of 640, at 620 it lacks 40.
  expect(standing(600).widenPx).toEqual({ left: 0, right: 0, top: 0, bottom: 0 });
  expect(standing(600).effort.reasons.join()).not.toMatch(/must grow/);
  expect(standing(620).widenPx).toEqual({ left: 0, right: 40, top: 0, bottom: 0 });
  expect(standing(620).effort.reasons.join()).toMatch(/must grow by 40 px/);
});
