/** A drawn post of known width and place: its outline, carried by a known pan, and the shade held off it. */
import { describe, expect, it } from 'vitest';
import { createPicture, type Picture } from '../../image/picture.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { Side } from '../proposal-input.js';
import type { Carrier } from '../ride/carrier.js';
import { heldOut } from './behind-posts.js';
import { standingPosts } from './standing-posts.js';

const W = 160,
  H = 120;

/** A dark post of so many px from row 20 to row 90 about column 60, before pale ground. */
function yard(thick: number): Picture {
  const p = createPicture(W, H, 3);
  for (let c = 0; c < 3; c++)
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++)
        p.data[c * W * H + y * W + x] = y >= 20 && y < 90 && Math.abs(x + 0.5 - 60) < thick / 2 ? 0.05 : 0.4;
  return p;
}
const aside = (dx: number): Carrier => ({ at: (n) => [1, 0, dx * n, 0, 1, 0, 0, 0, 1] });
const side = (thick: number, more: MarksFile['marks'] = []): Side => ({
  measures: { widthPx: W, heightPx: H } as PlateMeasures,
  marks: { frame: 0, marks: [{ kind: 'upright', foot: [61, 90], top: [61, 20], height: 1 }, ...more] } as MarksFile,
  linear: () => Promise.resolve(yard(thick)),
});

describe('what stands on the ground', () => {
  it('is outlined by its own edges', async () => {
    const [post] = await standingPosts(side(8), aside(0), [0]);
    const xs = post!.frames[0]!.polygon.map((p) => p[0]);
    expect(Math.abs(Math.min(...xs) - 55.5)).toBeLessThan(0.8);
    expect(Math.abs(Math.max(...xs) - 64.5)).toBeLessThan(0.8);
    // Carried by a camera that pans; not by one that travels.
    const [moved] = await standingPosts(side(8), aside(3), [0, 5]);
    expect(moved!.frames[1]!.polygon[0]![0] - moved!.frames[0]!.polygon[0]![0]).toBeCloseTo(15, 6);
    expect(await standingPosts(side(8), { ...aside(3), progress: () => 0 }, [0, 5])).toEqual([]);
  });

  it('is nothing where it is as broad as a person, or goes by erasing', async () => {
    expect(await standingPosts(side(20), aside(0), [0])).toEqual([]);
    const square = { kind: 'erase', frame: 0, polygon: [40, 80, 80, 40].map((x, i) => [x, i < 2 ? 10 : 100]) };
    expect(await standingPosts(side(8, [square] as MarksFile['marks']), aside(0), [0])).toEqual([]);
  });

  it('takes no shade of the ground behind it, and all else does', () => {
    const box = [20, 0, 120, 100] as const,
      outline = [
        [56, 90],
        [56, 20],
        [64, 20],
        [64, 90],
      ] as const,
      held = heldOut(null, [outline], box, box, 0)!,
      at = (x: number, y: number): number => held[(y - box[1]) * (box[2] - box[0]) + x - box[0]]!;
    expect(at(60, 50)).toBe(1);
    expect(at(50, 50)).toBe(0);
    expect(at(60, 95)).toBe(0);
    // A shade that lies elsewhere asks for nothing; what passes in front stays.
    expect(heldOut(null, [outline], [90, 0, 120, 100], box, 0)).toBeNull();
    const front = new Float32Array(held.length).fill(0.5);
    expect(heldOut(front, [outline], [90, 0, 120, 100], box, 0)).toBe(front);
    expect(heldOut(front, [outline], box, box, 0)![50 * 100 + 30]).toBe(0.5);
  });
});
