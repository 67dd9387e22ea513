/** What the erase step says of what no frame shows. */
import { describe, expect, it } from 'vitest';
import { IDENTITY3 } from '../../geometry/mat3.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import type { CameraMove, PlateMeasures } from '../../plate/types.js';
import { measureRoom } from '../../plate/view/room.js';
import { proposeErase } from './propose-erase.js';

const FRAMES = 32,
  W = 640,
  H = 360,
  WIDE = 128;
const camera = {
  move: 'static',
  frames: Array.from({ length: FRAMES }, (_, frame) => ({ frame, homographyToFirst: IDENTITY3 })),
} as unknown as CameraMove;

/** A box that goes so many pixels to the right over a shot whose camera stands still. */
function proposed(px: number): ReturnType<typeof proposeErase> {
  const box = (frame: number, x: number): MarksFile['marks'][number] => ({
    kind: 'erase',
    frame,
    polygon: [
      [x, 0],
      [x + WIDE, 0],
      [x + WIDE, H],
      [x, H],
    ],
  });
  const marks: MarksFile = { frame: 0, marks: [box(0, 20), box(FRAMES - 1, 20 + px)] },
    room = measureRoom({ marks, widthPx: W, heightPx: H, span: { in: 0, out: FRAMES }, camera });
  return proposeErase(marks, { widthPx: W, heightPx: H, room } as unknown as PlateMeasures);
}

describe('an erase step', () => {
  it('says how much no frame shows: all of what stays, none of what leaves its place', () => {
    expect(proposed(0)!.madeUp).toBe(1);
    expect(proposed(0)!.why).toContain('no frame shows some 100 % of what goes');
    expect(proposed(400)!.madeUp).toBeUndefined();
    expect(proposed(400)!.why).not.toContain('made up');
  });
  it('of what goes by half its width says the half that is always covered, no less, and its border of a cell more', () => {
    // Room is measured on cells of a 96th of the picture, on every second frame of this shot.
    const said = proposed(WIDE / 2)!.madeUp!,
      most = 0.5 + (2 * (W / 96) + 2) / WIDE;
    expect(said).toBeGreaterThanOrEqual(0.5);
    expect(said).toBeLessThanOrEqual(most + 0.005);
  });
});
