/**
 * A room whose lamp, post and shadow are drawn by the pinhole and the lamp's own geometry: the darkness that is found
 * against the light left.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Foot } from '../../plate/light/upright-darkness.js';
import { darkestForetold } from './foretold-shadows.js';

const W = 480;
const H = 270;
const cam = groundCamera({ focalPx: 460, tiltDeg: -14, rollDeg: 0, cameraHeight: 1.4, widthPx: W, heightPx: H });
const LAMP: Vec3 = [-2.5, 2, 4];
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(cam, [x, y, z])!;
  return [p.x, p.y];
};
const post = (x: number, z: number, height: number): Foot => ({
  foot: px(x, 0, z),
  top: px(x, height, z),
  ground: [x, 0, z],
  height,
});

/**
 * A grainy floor of boards that falls off under the lamp, with a dark post `wide` metres broad, and its shadow as the
 * lamp throws it (a strip of ground behind the post), which leaves `left` of the light.
 */
function room(u: Foot, wide: number, left: number): Picture {
  const random = new RandomStream(5);
  const p = createPicture(W, H, 3);
  const [ux, , uz] = u.ground;
  const long = Math.hypot(ux - LAMP[0], uz - LAMP[2]);
  const away = [(ux - LAMP[0]) / long, (uz - LAMP[2]) / long] as const;
  for (let y = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1) {
      const g = groundPoint(cam, x + 0.5, y + 0.5);
      let v = 0.3;
      if (g !== null) {
        const far2 = LAMP[1] ** 2 + (g[0] - LAMP[0]) ** 2 + (g[2] - LAMP[2]) ** 2;
        const board = Math.floor(g[0] / 0.12) % 2 === 0 ? 1 : 0.92;
        const along = (g[0] - ux) * away[0] + (g[2] - uz) * away[1];
        const across = Math.abs((g[2] - uz) * away[0] - (g[0] - ux) * away[1]);
        const dark = along > 0 && along < 1.2 && across < wide / 2 ? left : 1;
        v = 0.3 * board * dark * (0.4 + (8 / far2) ** 1.5);
      }
      const half = (0.5 * wide * 460) / project(cam, u.ground)!.depth;
      if (Math.abs(x + 0.5 - u.foot[0]) < half && y < u.foot[1] && y > u.top[1]) v = 0.02;
      for (let c = 0; c < 3; c += 1) p.data[c * W * H + y * W + x] = v * (1 + 0.03 * random.normal());
    }
  return p;
}

describe('what lies dark where a lamp would throw the shadows of marked uprights', () => {
  const u = post(-0.3, 4.2, 0.8);

  it('is the shadow, found though the lamp is told twelve degrees off', () => {
    const off: Vec3 = [LAMP[0], LAMP[1], LAMP[2] + 0.47];
    // Half of the light is ln 2; grain, boards and the middle over the way leave most of it.
    for (const lamp of [LAMP, off]) {
      const darkest = darkestForetold(room(u, 0.12, 0.5), cam, [u], lamp, 12)!;
      expect(darkest).toBeGreaterThan(0.45);
      expect(darkest).toBeLessThan(0.8);
    }
  });

  it('is nothing where none is thrown, boards and all', () => {
    expect(darkestForetold(room(u, 0.12, 1), cam, [u], LAMP, 12)!).toBeLessThan(0.1);
  });

  it('grows with the shadow’s depth', () => {
    const of = (left: number): number => darkestForetold(room(u, 0.12, left), cam, [u], LAMP, 12)!;
    expect(of(0.3)).toBeGreaterThan(of(0.5));
    expect(of(0.5)).toBeGreaterThan(of(0.8));
  });

  it('tells nothing by a wire, by what stands at the border of the picture, or by no upright', () => {
    expect(darkestForetold(room(u, 0.012, 1), cam, [u], LAMP, 12)).toBeNull();
    const edge = post(1.73, 3.2, 0.8);
    expect(edge.foot[0]).toBeGreaterThan(W - 12);
    expect(darkestForetold(room(edge, 0.12, 1), cam, [edge], LAMP, 12)).toBeNull();
    expect(darkestForetold(room(u, 0.12, 1), cam, [], LAMP, 12)).toBeNull();
  });
});
