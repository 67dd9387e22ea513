/** A person outlines the carrier and points at the performer's foot and top: one mark then says both. */
import { describe, expect, it } from 'vitest';
import { withMark } from '../one-a-frame.js';
import { parseMarks, type Mark, type MarksFile } from './marks.js';
import { withSeats } from './seat.js';

const carry: Mark = {
  kind: 'carry',
  frame: 4,
  region: [
    [10, 10],
    [30, 10],
    [30, 40],
  ],
};
const stand = (frame: number | undefined, top: number): Mark => ({
  kind: 'stand',
  ...(frame === undefined ? {} : { frame }),
  ground: [20, 12],
  top: [20, top],
  height: 0.4,
});
const seat = (top: number): Mark => ({ ...carry, ground: [20, 12], top: [20, top], height: 0.4 }) as Mark;
const file = (marks: Mark[], frame = 4): MarksFile => ({ frame, marks });

describe('where a carried performer sits', () => {
  it('goes into the mark of what carries it, whichever was put first', () => {
    expect(withMark(file([carry]), stand(4, 2)).marks).toEqual([seat(2)]);
    expect(withMark(file([stand(undefined, 2)]), carry).marks).toEqual([seat(2)]);
    expect(withMark(withMark(file([carry]), stand(4, 2)), stand(4, 1)).marks).toEqual([seat(1)]);
  });

  it('is taken as it stands where the carry mark says it, or the stand mark is of another frame', () => {
    const apart = file([carry, stand(9, 2)]);
    expect(withSeats(apart)).toBe(apart);
    const both = file([seat(2), stand(4, 1)]);
    expect(withSeats(both)).toBe(both);
  });

  it('is read so from a file too', () => {
    expect(parseMarks(JSON.stringify(file([stand(undefined, 2), carry])), 'm.json').marks).toEqual([seat(2)]);
  });
});
