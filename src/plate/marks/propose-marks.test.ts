/** Boards and posts drawn through a known camera: proposed marks must give its tilt; nothing is proposed in noise. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, horizonLine } from '../../geometry/camera.js';
import { proposeMarks } from './propose-marks.js';
import { solveView } from '../view/view.js';

describe('proposed marks', () => {
  const W = 800;
  const H = 450;
  const cam = groundCamera({ focalPx: 850, tiltDeg: -14, rollDeg: 0, cameraHeight: 1.5, widthPx: W, heightPx: H });
  /**
   * A floor of boards 0.28 m wide that run away under 12°, each of its own grey, seen
   * with 4 × 4 supersampling and noise.
   */
  const floor = (): Float32Array => {
    const random = new RandomStream(2);
    const tone = Array.from({ length: 400 }, () => 0.25 + 0.4 * random.uniform());
    const luma = new Float32Array(W * H);
    const c = Math.cos(0.21);
    const s = Math.sin(0.21);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        let v = 0;
        for (let j = 0; j < 4; j++)
          for (let i = 0; i < 4; i++) {
            const g = groundPoint(cam, x + (i + 0.5) / 4, y + (j + 0.5) / 4);
            v +=
              g === null || g[2] > 9
                ? 0.8
                : tone[200 + Math.max(-199, Math.min(199, Math.floor((g[0] * c - g[2] * s) / 0.28)))]!;
          }
        luma[y * W + x] = v / 16 + 0.008 * random.normal();
      }
    return luma;
  };

  it('finds the boards of a floor as ground lines that give the true tilt when accepted', () => {
    const proposed = proposeMarks(floor(), W, H, 7);
    const lines = proposed.find((p) => p.mark.kind === 'groundLines')!;
    expect(lines.mark.frame).toBe(7);
    const v = solveView({ frame: 7, focalPx: 850, marks: [lines.mark] }, { widthPx: W, heightPx: H });
    expect(Math.abs(v.tiltDeg.value! + 14)).toBeLessThan(1.2);
    expect(Math.abs(v.tiltDeg.value! + 14)).toBeLessThan(2.5 * v.tiltDeg.sd!);
    const horizon = proposed.find((p) => p.mark.kind === 'horizon')!.mark;
    const [, b, k] = horizonLine(cam);
    if (horizon.kind !== 'horizon') throw new Error('no horizon was proposed');
    expect(Math.abs(horizon.line[0][1] - -k / b)).toBeLessThan(18);
  });

  it('takes no horizon from lines whose meetings lean against the uprights', () => {
    // Two fans of lines whose points lie 60 px apart in height, which would lean by 4.3°; four posts stand upright.
    const drawn = (posts: boolean): Float32Array => {
      const luma = new Float32Array(W * H).fill(0.4);
      const random = new RandomStream(5);
      const ink = (x0: number, y0: number, x1: number, y1: number, tone: number): void => {
        const dx = x1 - x0;
        const dy = y1 - y0;
        const l = Math.hypot(dx, dy);
        for (let y = Math.max(0, Math.floor(Math.min(y0, y1) - 3)); y < Math.min(H, Math.max(y0, y1) + 3); y++)
          for (let x = Math.max(0, Math.floor(Math.min(x0, x1) - 3)); x < Math.min(W, Math.max(x0, x1) + 3); x++) {
            const u = ((x + 0.5 - x0) * dx + (y + 0.5 - y0) * dy) / l;
            const v = ((x + 0.5 - x0) * dy - (y + 0.5 - y0) * dx) / l;
            if (u > 0 && u < l)
              luma[y * W + x] = Math.max(luma[y * W + x]!, 0.4 + tone * Math.max(0, Math.min(1, 2.5 - Math.abs(v))));
          }
      };
      for (const [vx, vy, xs] of [
        [0, 60, [300, 380, 470, 570, 680, 790]],
        [800, 120, [20, 110, 220, 320, 420, 520]],
      ] as const)
        for (const x of xs) ink(x, 440, vx + 0.55 * (x - vx), vy + 0.55 * (440 - vy), 0.3);
      if (posts) for (const x of [60, 290, 510, 740]) ink(x, 200, x, 20, 0.45);
      for (let i = 0; i < luma.length; i++) luma[i]! += 0.006 * random.normal();
      return luma;
    };
    const kinds = (posts: boolean): string[] => proposeMarks(drawn(posts), W, H, 0).map((p) => p.mark.kind);
    expect(kinds(false)).toContain('horizon');
    expect(kinds(true)).toContain('upright');
    expect(kinds(true)).not.toContain('horizon');
  });

  it('proposes nothing in noise', () => {
    const random = new RandomStream(3);
    const luma = new Float32Array(W * H);
    for (let i = 0; i < luma.length; i++) luma[i] = 0.4 + 0.03 * random.normal();
    expect(proposeMarks(luma, W, H, 0)).toEqual([]);
  });
});
