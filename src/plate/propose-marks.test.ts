import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { groundCamera, groundPoint, horizonLine } from '../geometry/camera.js';
import { proposeMarks } from './propose-marks.js';
import { solveView } from './view.js';

describe('proposed marks', () => {
  const W = 800, H = 450;
  const cam = groundCamera({ focalPx: 850, tiltDeg: -14, rollDeg: 0, cameraHeight: 1.5, widthPx: W, heightPx: H });
  /** A floor of boards 0.28 m wide that run away under 12°, each of its own grey, seen with 4 × 4 supersampling and noise. */
  const floor = (): Float32Array => {
    const random = new RandomStream(2);
    const tone = Array.from({ length: 400 }, () => 0.25 + 0.4 * random.uniform());
    const luma = new Float32Array(W * H);
    const c = Math.cos(0.21), s = Math.sin(0.21);
    for (let y = 0; y < H; y++) for (let x = 0; x < W; x++) {
      let v = 0;
      for (let j = 0; j < 4; j++) for (let i = 0; i < 4; i++) {
        const g = groundPoint(cam, x + (i + 0.5) / 4, y + (j + 0.5) / 4);
        v += g === null || g[2] > 9 ? 0.8 : tone[200 + Math.max(-199, Math.min(199, Math.floor((g[0] * c - g[2] * s) / 0.28)))]!;
      }
      luma[y * W + x] = v / 16 + 0.008 * random.normal();
    }
    return luma;
  };

  it('finds the boards of a floor as ground lines that give the true tilt when accepted', () => {
    const proposed = proposeMarks(floor(), W, H, 7);
    const lines = proposed.find((p) => p.mark.kind === 'groundLines')!;
    expect(lines).toBeDefined();
    expect(lines.mark.frame).toBe(7);
    const v = solveView({ frame: 7, focalPx: 850, marks: [lines.mark] }, { widthPx: W, heightPx: H });
    expect(Math.abs(v.tiltDeg.value! + 14)).toBeLessThan(1.2);
    expect(Math.abs(v.tiltDeg.value! + 14)).toBeLessThan(2.5 * v.tiltDeg.sd!);
    const horizon = proposed.find((p) => p.mark.kind === 'horizon')!.mark;
    const [, b, k] = horizonLine(cam);
    if (horizon.kind === 'horizon') expect(Math.abs(horizon.line[0][1] - -k / b)).toBeLessThan(18);
  }, 15000);

  it('proposes nothing in noise', () => {
    const random = new RandomStream(3);
    const luma = new Float32Array(W * H);
    for (let i = 0; i < luma.length; i++) luma[i] = 0.4 + 0.03 * random.normal();
    expect(proposeMarks(luma, W, H, 0)).toEqual([]);
  });
});
