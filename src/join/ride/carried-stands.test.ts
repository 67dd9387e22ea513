/**
 * A carrier outlined on one frame, the performer's place on it pointed at on several: none of these places is ground.
 * Taken for ground they bent the view of a man of 1.84 m seen by f = 1594 px to f = 9152 px at -35 degrees.
 */
import { expect, it } from 'vitest';
import { standingOf } from './standing.js';
import type { ProposalInput } from '../proposal-input.js';
import { observationsFromMarks } from '../../plate/view/view-observations.js';
import { parseMarks } from '../../plate/marks/marks.js';

const stand = (frame: number, x: number): object => ({
  kind: 'stand',
  frame,
  ground: [x, 330],
  top: [x, 150],
  height: 0.47,
});
const upright = { kind: 'upright', foot: [427, 700], top: [427, 15], height: 1.84 };
const carry = {
  kind: 'carry',
  region: [
    [360, 180],
    [500, 180],
    [500, 340],
  ],
};
const file = (...marks: object[]) => parseMarks(JSON.stringify({ frame: 0, marks }), 'm.json');
const uprightsOf = (marks: ReturnType<typeof file>): number =>
  observationsFromMarks(marks, { widthPx: 854, toViewFrame: () => [1, 0, 0, 0, 1, 0, 0, 0, 1] }).observations.length;

it('does not tell the view by where a carried performer sits', () => {
  expect(uprightsOf(file(upright, stand(0, 300), stand(18, 310)))).toBe(3);
  expect(uprightsOf(file(upright, carry, stand(0, 300), stand(18, 310)))).toBe(1);
  expect(uprightsOf(file(upright, { ...carry, frame: 5 }, stand(0, 300)))).toBe(1);
});

it('goes by every frame on which its place on the carrier is marked', () => {
  const marks = file(carry, stand(35, 310), stand(0, 547), stand(18, 425));
  const { stands, carried } = standingOf({
    plate: { marks, measures: { ride: undefined, camera: undefined } },
    take: { marks: file() },
  } as unknown as ProposalInput);
  expect(carried).toBe(true);
  expect(stands.map((s) => [s.frame, s.ground[0]])).toEqual([
    [0, 547],
    [18, 425],
    [35, 310],
  ]);
});
