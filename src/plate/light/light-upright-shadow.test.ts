/**
 * Ground with posts whose shadows are drawn from a known key: the key found, its stated error, and none on ground
 * without shadows.
 */
import { describe, expect, it } from 'vitest';
import { differenceDeg } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { measureLight } from './light.js';
import { towardsLight } from './light-shadow.js';
import { findUprightShadows, withFoundShadows } from './light-upright-shadow.js';
import type { MarksFile } from '../marks/marks.js';
import { solveView } from '../view/view.js';

const W = 640;
const H = 360;
const cam = groundCamera({ focalPx: 760, tiltDeg: -9, rollDeg: 0, cameraHeight: 1.6, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(cam, [x, y, z])!;
  return [p.x, p.y];
};
const POSTS = [
  [-1.1, 6, 1.3],
  [1.2, 8, 1.6],
] as const;
const marks: MarksFile = {
  frame: 0,
  focalPx: 760,
  cameraHeight: 1.6,
  marks: POSTS.map(([x, z, h]) => ({ kind: 'upright' as const, foot: px(x, 0, z), top: px(x, h, z), height: h })),
};
const view = solveView(marks, { widthPx: W, heightPx: H, pointSdPx: 0.3 });

/** Ground of blotches and joints with the posts on it, 8 cm thick, and their shadows where a key is given; linear. */
function scene(seed: number, key: readonly [number, number] | null): Picture {
  const random = new RandomStream(seed);
  const p = createPicture(W, H, 3);
  const n = W * H;
  const blotch = new Float32Array(n);
  for (let i = 0; i < n; i += 1) blotch[i] = random.normal();
  const wide = gaussianPlane(blotch, W, H, 2.5);
  const t = key === null ? null : towardsLight(key[0], key[1]);
  for (let y = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1) {
      const g = groundPoint(cam, x + 0.5, y + 0.5);
      const i = y * W + x;
      let v = 0.3 * Math.exp(0.9 * wide[i]! + 0.05 * random.normal());
      if (g !== null && g[2] < 40) {
        // Joints of flags each 1.5 m, both ways.
        if (Math.min(...[g[0], g[2]].map((q) => Math.abs(q / 1.5 - Math.round(q / 1.5)))) < 0.012) v *= 0.5;
        if (t !== null)
          for (const [px0, pz, h] of POSTS) {
            const dx = g[0] - px0;
            const dz = g[2] - pz;
            const along = (-dx * t[0] - dz * t[2]) / Math.hypot(t[0], t[2]);
            const across = Math.abs(dx * t[2] - dz * t[0]) / Math.hypot(t[0], t[2]);
            if (along > 0 && along < (h * Math.hypot(t[0], t[2])) / t[1] && across < 0.04) v *= 0.35;
          }
      }
      for (const m of marks.marks)
        if (m.kind === 'upright' && Math.abs(x + 0.5 - m.foot[0]) < 4.5 && y > m.top[1] && y < m.foot[1]) v = 0.12;
      for (let c = 0; c < 3; c += 1) p.data[c * n + i] = v;
    }
  return p;
}

describe('shadows of marked uprights that nobody marked', () => {
  it('finds the key of made scenes and says how sure it is', () => {
    const off: number[] = [];
    for (const [k, [azimuth, elevation]] of (
      [
        [60, 35],
        [-70, 50],
        [120, 40],
        [-35, 28],
        [150, 45],
      ] as const
    ).entries()) {
      const f = findUprightShadows(scene(k + 1, [azimuth, elevation]), view, marks);
      expect(f, `${azimuth}/${elevation}`).not.toBeNull();
      const da = Math.abs(differenceDeg(f!.azimuthDeg, azimuth));
      const de = Math.abs(f!.elevationDeg - elevation);
      expect(da).toBeLessThan(8);
      expect(de).toBeLessThan(8);
      off.push(da / f!.azimuthSd, de / f!.elevationSd);
      for (const s of f!.shadows)
        expect(marks.marks.some((m) => m.kind === 'upright' && m.foot[0] === s.foot[0] && m.height === s.height)).toBe(
          true,
        );
    }
    expect(Math.sqrt(off.reduce((a, b) => a + b * b, 0) / off.length)).toBeLessThan(1.6);
  });

  it('says nothing of ground without shadows', () => {
    const told = Array.from({ length: 6 }, (_, k) => findUprightShadows(scene(k + 40, null), view, marks)).filter(
      (f) => f !== null,
    );
    expect(told.length).toBe(0);
  });

  it('gives the light where no shadow is marked, and gives way to a mark', () => {
    const linear = scene(2, [-70, 50]);
    const found = findUprightShadows(linear, view, marks)!;
    const light = measureLight(linear, view, marks, { found });
    expect(light.azimuthDeg.value).toBe(found.azimuthDeg);
    expect(light.azimuthDeg.sd).toBe(found.azimuthSd);
    expect(light.notes.join(' ')).toContain('no shadow is marked');
    expect(light.keyFillStops.value!).toBeGreaterThan(1);
    expect(measureLight(linear, view, marks).azimuthDeg.value).toBeNull();
    const marked = withFoundShadows(marks, [{ ...found.shadows[0]!, tip: px(-1.1 + 1, 0, 6) }]);
    expect(marked.marks).toHaveLength(3);
    expect(measureLight(linear, view, marked, { found }).azimuthDeg.value).not.toBe(found.azimuthDeg);
  });
});
