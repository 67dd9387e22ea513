/** A floor with posts whose shadows are traced here from a known lamp or sun: where the lamp is told to stand. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { MarksFile } from '../marks/marks.js';
import { solveView } from '../view/view.js';
import { lampBesideMark } from './lamp-beside-mark.js';
import { measureLight } from './light.js';

const W = 640;
const H = 360;
const cam = groundCamera({ focalPx: 620, tiltDeg: -14, rollDeg: 0, cameraHeight: 1.5, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(cam, [x, y, z])!;
  return [p.x, p.y];
};
const POSTS = [
  [-1.2, 4.6, 0.7],
  [1.1, 5, 0.8],
] as const;
/** Half a post's thickness, metres. */
const HALF = 0.035;

/** Where a post's top throws its shadow. */
function tipOf([x, z, h]: readonly [number, number, number], lamp: Vec3): [number, number] {
  const t = lamp[1] / (lamp[1] - h);
  return px(lamp[0] + t * (x - lamp[0]), 0, lamp[2] + t * (z - lamp[2]));
}

const marksFor = (lamp: Vec3): MarksFile => ({
  frame: 0,
  focalPx: 620,
  cameraHeight: 1.5,
  marks: [
    ...POSTS.map(([x, z, h]) => ({ kind: 'upright' as const, foot: px(x, 0, z), top: px(x, h, z), height: h })),
    { kind: 'shadow', foot: px(POSTS[1][0], 0, POSTS[1][1]), tip: tipOf(POSTS[1], lamp), height: POSTS[1][2] },
  ],
});

/** A blotched floor with boards, the posts, and the shadows of so many of them; linear. */
function scene(seed: number, lamp: Vec3, throwing: readonly (readonly [number, number, number])[]): Picture {
  const random = new RandomStream(seed);
  const p = createPicture(W, H, 3);
  const n = W * H;
  const blotch = Float32Array.from({ length: n }, () => random.normal());
  const wide = gaussianPlane(blotch, W, H, 2.5);
  for (let y = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1) {
      const g = groundPoint(cam, x + 0.5, y + 0.5);
      const i = y * W + x;
      let v = 0.3 * Math.exp(0.6 * wide[i]! + 0.04 * random.normal());
      if (g !== null && g[2] < 30) {
        if (Math.abs(g[0] / 0.4 - Math.round(g[0] / 0.4)) < 0.02) v *= 0.6;
        if (throwing.some((post) => inShadow(g, post, lamp))) v *= 0.45;
      }
      for (const [px0, z, h] of POSTS) {
        const [fx, fy] = px(px0, 0, z);
        if (Math.abs(x + 0.5 - fx) < 4.5 && y < fy && y > px(px0, h, z)[1]) v = 0.12;
      }
      for (let c = 0; c < 3; c += 1) p.data[c * n + i] = v;
    }
  return p;
}

/** Whether the way from a point of the floor to the lamp passes through a post. */
function inShadow(g: Vec3, [x, z, h]: readonly [number, number, number], lamp: Vec3): boolean {
  const dx = lamp[0] - g[0];
  const dz = lamp[2] - g[2];
  const t = ((x - g[0]) * dx + (z - g[2]) * dz) / (dx * dx + dz * dz);
  return t > 0 && t < 1 && t * lamp[1] < h && Math.hypot(g[0] + t * dx - x, g[2] + t * dz - z) < HALF;
}

describe('a lamp told by one marked shadow and what lies dark at another upright', () => {
  const solve = (m: MarksFile): ReturnType<typeof solveView> =>
    solveView(m, { widthPx: W, heightPx: H, pointSdPx: 0.3 });

  it('stands where it is, wherever that is', () => {
    for (const [k, lamp] of (
      [
        [0.4, 2.3, 6.6],
        [-0.3, 1.9, 3.6],
        [2.4, 2.1, 3.9],
        [-2.6, 2.5, 5.6],
      ] as Vec3[]
    ).entries()) {
      const m = marksFor(lamp);
      const found = lampBesideMark(scene(k + 1, lamp, POSTS), solve(m), m);
      expect(found, `lamp at ${lamp.join(', ')}`).not.toBeNull();
      const off = Math.hypot(...found!.at.map((v, i) => v - lamp[i]!));
      expect(off, `lamp at ${lamp.join(', ')}, told ${found!.at.map((v) => v.toFixed(2)).join(', ')}`).toBeLessThan(
        0.4,
      );
      expect(found!.beside).toHaveLength(1);
    }
  });

  it('is not told where the other upright throws nothing that is seen, nor of a sun', () => {
    const lamp: Vec3 = [0.4, 2.3, 6.6];
    const sun: Vec3 = [800, 600, -300];
    for (const seed of [1, 2, 3]) {
      expect(lampBesideMark(scene(seed, lamp, POSTS.slice(1)), solve(marksFor(lamp)), marksFor(lamp))).toBeNull();
      expect(lampBesideMark(scene(seed, sun, POSTS), solve(marksFor(sun)), marksFor(sun))).toBeNull();
    }
  });

  it('is said in place of the wish for a second mark', () => {
    const lamp: Vec3 = [0.4, 2.3, 6.6];
    const m = marksFor(lamp);
    const linear = scene(1, lamp, POSTS);
    const found = lampBesideMark(linear, solve(m), m)!;
    expect(measureLight(linear, solve(m), m).notes.join(' ')).toContain('mark a second one a metre or more away');
    const notes = measureLight(linear, solve(m), m, { lamp: found }).notes.join(' ');
    expect(notes).toContain('a lamp stands 2.');
    expect(notes).not.toContain('mark a second one');
  });
});
