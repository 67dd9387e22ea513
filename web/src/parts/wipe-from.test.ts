/** A wipe begins where the performer stands on the frame in view. */
import { expect, it } from 'vitest';
import { wipeFrom } from './wipe-from.js';

it('goes by the mark nearest in time, and stays off the edges', () => {
  const marks = {
    frame: 0,
    marks: [
      { kind: 'stand' as const, ground: [80, 90] as [number, number], top: [80, 40] as [number, number] },
      {
        kind: 'carry' as const,
        frame: 20,
        region: [
          [300, 10],
          [340, 10],
          [340, 50],
        ] as [number, number][],
      },
    ],
  };
  expect(wipeFrom(marks, 2, 320)).toBe(25);
  expect(wipeFrom(marks, 15, 400)).toBe(80);
  expect(wipeFrom(marks, 15, 320)).toBe(90);
  expect(wipeFrom({ frame: 0, marks: [] }, 2, 320)).toBe(50);
});
