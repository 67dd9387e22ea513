/** Ground drawn through a pinhole with a shadow of known depth along the key: where it is found and how dark. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { shadowStrips } from './shadow-strips.js';

const W = 640,
  H = 360,
  LEFT = [0.12, 0.18, 0.3] as const;
const camera = groundCamera({ focalPx: 700, tiltDeg: -12, rollDeg: 0, cameraHeight: 1.1, widthPx: W, heightPx: H });

/**
 * Grainy ground with a shadow .2 m broad thrown along `azimuthDeg` from a place on it, and a step to darker ground that
 * runs the same way far aside.
 */
function yard(azimuthDeg: number, shadow: boolean): Picture {
  const r = new RandomStream(3),
    p = createPicture(W, H, 3),
    n = W * H,
    a = (azimuthDeg * Math.PI) / 180;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x,
        g = groundPoint(camera, x + 0.5, y + 0.5),
        grain = 1 + 0.06 * r.normal();
      if (g === null) continue;
      const gx = g[0] + 0.2,
        gz = g[2] - 4,
        along = -gx * Math.sin(a) + gz * Math.cos(a),
        across = gx * Math.cos(a) + gz * Math.sin(a);
      const shaded = shadow && along > 0 && along < 0.9 && Math.abs(across) < 0.1,
        ground = across > 1.2 ? 0.1 : 0.4;
      for (let c = 0; c < 3; c++) p.data[c * n + i] = ground * [1, 0.9, 0.8][c]! * grain * (shaded ? LEFT[c]! : 1);
    }
  return p;
}
const foot = ((): [number, number] => {
  const q = project(camera, [0.4, 0, 3.6])!;
  return [q.x, q.y];
})();

describe('shadows on the ground whoever throws them', () => {
  it('are found along the key and told by their ratio', () => {
    for (const azimuth of [70, 130]) {
      const [best] = shadowStrips(yard(azimuth, true), camera, azimuth, foot);
      for (let c = 0; c < 3; c++) expect(Math.abs(best!.depth[c]! + Math.log(LEFT[c]!))).toBeLessThan(0.12);
      const g = groundPoint(camera, ...best!.at)!,
        a = (azimuth * Math.PI) / 180,
        across = (g[0] + 0.2) * Math.cos(a) + (g[2] - 4) * Math.sin(a);
      expect(Math.abs(across)).toBeLessThan(0.1);
      expect(best!.litLinear[1]).toBeGreaterThan(0.33);
    }
  });

  it('are none where ground only meets darker ground', () => {
    expect(shadowStrips(yard(70, false), camera, 70, foot)).toEqual([]);
  });
});
