/** Mattes made of boxes: where parts touch the border, and which of them go along. */
import { describe, expect, it } from 'vitest';
import { judgeEdgeRoom } from './edge-room.js';
import { edgePartsOf } from './edge-parts.js';

const W = 160,
  H = 90;

/** Parts of a matte that is 1 in boxes. */
function parts(
  ...boxes: readonly (readonly [number, number, number, number])[]
): NonNullable<ReturnType<typeof edgePartsOf>> {
  const alpha = new Float32Array(W * H);
  for (const [x0, y0, x1, y1] of boxes) for (let y = y0; y < y1; y++) alpha.fill(1, y * W + x0, y * W + x1);
  return edgePartsOf(alpha, W, H, 2)!;
}

describe('room at the edge of a screen', () => {
  it('tells where parts touch the picture', () => {
    const p = parts([60, 20, 100, 70], [140, 60, 160, 90]);
    expect(p.main.bottom).toBeNull();
    expect(p.apart).toHaveLength(1);
    expect(p.apart[0]!.right![0]).toBeCloseTo(60 / 90, 2);
    expect(p.apart[0]!.bottom![0]).toBeCloseTo(140 / 160, 2);
    expect(p.apart[0]!.area).toBeCloseTo((20 * 30) / (W * H), 3);
  });

  it('leaves out a chair that stays beside a bust, and keeps an arm', () => {
    const bust = [50, 20, 110, 90] as const,
      chair = [140, 60, 160, 90] as const;
    expect(judgeEdgeRoom([parts(bust), parts(bust)], false)).toEqual({ drop: false, why: null });
    expect(judgeEdgeRoom([parts(bust, chair), parts(bust, chair)], false).drop).toBe(true);
    // An arm from the left that takes hold of an animal on one frame is kept on all.
    const animal = [60, 40, 110, 80] as const;
    expect(judgeEdgeRoom([parts(animal, [0, 50, 30, 60]), parts(animal, [0, 52, 62, 62])], false).drop).toBe(false);
    // One that never does comes and goes; before a camera that moves that says nothing.
    const hand = [parts(animal, [0, 50, 10, 60]), parts(animal, [0, 50, 40, 60])];
    expect(judgeEdgeRoom(hand, false).drop).toBe(false);
    expect(judgeEdgeRoom(hand, true).drop).toBe(true);
  });
});
