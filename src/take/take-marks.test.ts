import { describe, expect, it } from 'vitest';
import { createPicture } from '../image/picture.js';
import { findPerformer } from './find-performer.js';
import { performerAt } from './take-marks.js';

const W = 100, H = 60;
/** Ground and top of a block found in a mask, in pixels of a take twice as large. */
function found(y0: number, y1: number) {
  const mask = new Uint8Array(W * H), performer = new Uint8Array(W * H), small = createPicture(W, H, 3);
  for (let y = y0; y < y1; y++) for (let x = 40; x < 60; x++) mask[y * W + x] = 1;
  return performerAt({ frame: 0, marks: [] }, { coded: small, small, mask, performer, box: findPerformer(mask, W, H, null, performer), model: null }, 2)!;
}

describe('the performer as found', () => {
  it('stands on the middle of its footprint, a tenth of its height above its lowest pixel', () => {
    expect(found(10, 50)).toMatchObject({ ground: [100, 92], top: [100, 20], marked: false });
  });
  it('that the lower border cuts has no feet: its ground is the border', () => {
    expect(found(20, 60)).toMatchObject({ ground: [100, 120], top: [100, 40] });
  });
});
