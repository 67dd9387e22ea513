/** Two lines carried to one frame from either side, joined. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { joinOutlines } from './carry-outline.js';
import type { SmallFrame } from './small-frame.js';

const W = 120,
  H = 80;
/** Two dark legs, 14 pixels wide, with ground of 22 between them. */
const leg = (x: number, y: number): boolean => y >= 10 && y < 70 && ((x >= 35 && x < 49) || (x >= 71 && x < 85)),
  gap = (x: number, y: number): boolean => y >= 10 && y < 70 && x >= 49 && x < 71,
  maskOf = (of: (x: number, y: number) => boolean): Uint8Array =>
    Uint8Array.from({ length: W * H }, (_, i) => (of(i % W, Math.floor(i / W)) ? 1 : 0)),
  legs = maskOf(leg),
  filled = maskOf((x, y) => leg(x, y) || gap(x, y));

/** @param between what shows between the legs: the ground, or a body of the legs' own colour */
function frameOf(between: 'ground' | 'body'): SmallFrame {
  const noise = new RandomStream(7),
    data = new Float32Array(3 * W * H);
  for (let i = 0; i < W * H; i++) {
    const x = i % W,
      y = Math.floor(i / W),
      dark = leg(x, y) || (between === 'body' && gap(x, y));
    for (let p = 0; p < 3; p++) data[p * W * H + i] = (dark ? 0.3 : 0.6) + 0.02 * noise.normal();
  }
  return { width: W, height: H, block: 1, data };
}

function shareOfGap(found: Uint8Array): number {
  let held = 0,
    all = 0;
  for (let i = 0; i < found.length; i++)
    if (gap(i % W, Math.floor(i / W))) {
      all++;
      held += found[i]!;
    }
  return held / all;
}

describe('two lines of one frame', () => {
  it('leave the ground between two legs out, whichever side took it in and however near its frame is', () => {
    for (const t of [0.2, 0.5, 0.8]) {
      expect(shareOfGap(joinOutlines(frameOf('ground'), filled, legs, t))).toBeLessThan(0.05);
      expect(shareOfGap(joinOutlines(frameOf('ground'), legs, filled, t))).toBeLessThan(0.05);
    }
  });

  it('keep a body between them that one side has lost', () => {
    for (const t of [0.2, 0.5, 0.8])
      expect(shareOfGap(joinOutlines(frameOf('body'), filled, legs, t))).toBeGreaterThan(0.95);
  });

  it('are the line itself where both agree', () => {
    const joined = joinOutlines(frameOf('ground'), legs, legs, 0.5);
    expect(joined.reduce((s, v, i) => s + Math.abs(v - legs[i]!), 0)).toBeLessThan(10);
  });
});
