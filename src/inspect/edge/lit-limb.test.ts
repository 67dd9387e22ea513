/**
 * A smooth body lit from the side: its coat grows brighter within a few pixels of the outline. A true picture is
 * neither a bright edge nor a slip; a darkened outline and a moved one are.
 */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { readEdges } from './edges.js';
import { type SeenFrame } from '../reader/frame.js';
import { madeFrame } from '../reader/made-frame.js';
import { matteShift } from '../movement/motion.js';

const W = 200,
  H = 160,
  N = W * H;

/**
 * The picture of an ellipse whose light rises from .1 towards its right-hand limb, over grey of `back`; `dx` px aside
 * of its matte, its half-covered pixels `gain` times as bright.
 */
function frame(dx: number, gain: number, back: number): SeenFrame {
  const deep = (x: number, y: number): number => (1 - Math.hypot((x - 100) / 50, (y - 80) / 60)) * 50;
  const soft = (at: (x: number, y: number) => number): Float32Array =>
    gaussianPlane(
      Float32Array.from({ length: N }, (_, i) => at(i % W, Math.floor(i / W))),
      W,
      H,
      1.1,
    );
  const matte = soft((x, y) => (deep(x, y) > 0 ? 1 : 0)),
    cover = soft((x, y) => (deep(x - dx, y) > 0 ? 1 : 0));
  const body = soft((x, y) => {
    const d = deep(x - dx, y);
    return d > 0 ? 0.1 + 0.6 * Math.max(0, (x - dx - 100) / 50) * Math.exp(-d / 3) : 0;
  });
  const grey = (v: (i: number) => number): Picture => {
    const p = createPicture(W, H, 3);
    for (let c = 0; c < 3; c++) for (let i = 0; i < N; i++) p.data[c * N + i] = v(i);
    return p;
  };
  const code = back < 0 ? back : bt709Encode(back),
    join = grey((i) =>
      cover[i]! < 0.004
        ? code
        : bt709Encode((cover[i]! < 0.98 ? gain : 1) * body[i]! + (1 - cover[i]!) * Math.max(0, back)),
    ),
    plate = grey(() => code);
  return madeFrame(join, plate, matte);
}

describe('a coat that grows brighter towards its outline', () => {
  it('is no bright edge, and a darkened outline still shows', () => {
    const whole = readEdges(frame(0, 1, 0.2), 'green')!.lightness;
    expect(Math.abs(whole)).toBeLessThan(2);
    expect(readEdges(frame(0, 0.4, 0.2), 'green')!.lightness).toBeLessThan(whole - 3);
  });
  it('stands on its matte, and beside it by what it was moved', () => {
    const [x, y] = matteShift(frame(0, 1, 0.2))!;
    expect(Math.hypot(x, y)).toBeLessThan(0.5);
    expect(matteShift(frame(1.5, 1, 0.2))![0] - x).toBeGreaterThan(0.9);
  });
  it('is read before a plate that is coded below black', () => {
    expect(matteShift(frame(0, 1, -0.01))!.every(Number.isFinite)).toBe(true);
    expect(Number.isFinite(readEdges(frame(0, 1, -0.01), 'green')!.lightness)).toBe(true);
  });
});
