/** One pick's span moved to and fro: each mark's new frame worked out by hand from the film's own frame numbers. */
import { expect, it } from 'vitest';
import { respanPick } from './respan.js';
import type { PickDocument } from './documents.js';

it('keeps marks on the pictures they were made on when the span changes', () => {
  const pick: PickDocument = {
    id: 'a',
    film: 'f',
    title: 'A',
    in: 100,
    out: 150,
    order: 1,
    note: '',
    action: '',
    marks: {
      frame: 10,
      marks: [
        { kind: 'pose', frame: 4, yawDeg: 1 },
        { kind: 'upright', foot: [1, 2], top: [1, 1] },
        { kind: 'pose', frame: 45, yawDeg: 2 },
      ],
    },
  };
  const { fields, lost } = respanPick(pick, 106, 140);
  expect(lost).toBe(2);
  // Film frame 110 was frame 10 of the pick and is frame 4 now; the mark without a frame of its own stood there.
  expect(fields.marks.frame).toBe(4);
  expect(fields.marks.marks).toEqual([{ kind: 'upright', foot: [1, 2], top: [1, 1], frame: 4 }]);
  const wider = respanPick({ ...pick, ...fields }, 90, 150);
  expect(wider.lost).toBe(0);
  expect(wider.fields.marks.marks[0]).toMatchObject({ frame: 20 });
});
