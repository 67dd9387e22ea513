/** Pictures handed over between threads: shared, used again once freed, never while taken. */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { freePlace, HandOver } from './hand-over.js';
import type { PerformerPicture } from '../peel/performer.js';

function performer(w: number, h: number, value: number): PerformerPicture {
  const picture = createPicture(w, h, 4);
  picture.data.fill(value);
  return { picture, box: [0, 0, w, h] };
}

describe('a place for a picture', () => {
  it('holds a copy in shared memory, and is used again only when it was freed', () => {
    const over = new HandOver(),
      own = performer(20, 10, 0.5);
    const a = over.lay(own),
      b = over.lay(performer(20, 10, 0.25));
    expect(a.picture.data.buffer).toBeInstanceOf(SharedArrayBuffer);
    expect(a.picture.data.buffer).not.toBe(b.picture.data.buffer);
    expect(Array.from(a.picture.data)).toEqual(Array.from(own.picture.data));
    expect(a.box).toEqual(own.box);
    const where = a.picture.data.buffer;
    freePlace(a);
    // A smaller picture fits into the place that was freed; the other is still taken.
    const c = over.lay(performer(18, 10, 0.75));
    expect(c.picture.data.buffer).toBe(where);
    expect(c.picture.data.length).toBe(18 * 10 * 4);
    expect(Array.from(b.picture.data).every((v) => v === 0.25)).toBe(true);
    freePlace(c);
    expect(over.lay(performer(200, 100, 1)).picture.data.buffer).not.toBe(where);
  });

  it('leaves alone what was not handed over, and forgets what is taken when it is cleared', () => {
    const own = performer(4, 4, 1),
      over = new HandOver();
    freePlace(own);
    expect(own.picture.data[0]).toBe(1);
    const a = over.lay(own);
    over.clear();
    expect(over.lay(own).picture.data.buffer).not.toBe(a.picture.data.buffer);
  });
});
