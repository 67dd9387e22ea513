/**
 * A stage drawn through a known camera with a shadow from a known light: the light told by the shadow that is found.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { groundCamera, groundPoint, project } from '../geometry/camera.js';
import { createPicture, type Picture } from '../image/picture.js';
import { sunOfShadow, towardsLight } from '../plate/light/light-shadow.js';
import { solveView } from '../plate/view/view.js';
import { findPerformer } from './find-performer.js';
import { findShadow } from './find-shadow.js';
import { findScreen, notScreen } from './screen/screen.js';

const W = 480;
const H = 270;
const cam = groundCamera({ focalPx: 620, tiltDeg: -14, rollDeg: 0, cameraHeight: 0.9, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(cam, [x, y, z])!;
  return [p.x, p.y];
};

/** A post-like performer 0.4 m high and 0.16 m thick at (0, 3), its shadow on a green floor and a lit wall. */
function stage(azimuthDeg: number, elevationDeg: number, o: { noShadow?: boolean; darkSide?: boolean } = {}): Picture {
  const random = new RandomStream(6);
  const t = towardsLight(azimuthDeg, elevationDeg);
  const len = 0.4 / Math.tan((elevationDeg * Math.PI) / 180);
  const dx = -t[0] / Math.hypot(t[0], t[2]);
  const dz = -t[2] / Math.hypot(t[0], t[2]);
  const [fx, fy] = px(0, 0, 3);
  const [, ty] = px(0, 0.4, 3);
  const half = (0.08 * 620) / 3.1;
  const p = createPicture(W, H, 3);
  const n = W * H;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const body = Math.abs(x + 0.5 - fx) < half && y + 0.5 < fy && y + 0.5 > ty;
      const g = groundPoint(cam, x + 0.5, y + 0.5);
      let k = 1;
      if (g !== null && g[2] < 6) {
        const along = g[0] * dx + (g[2] - 3) * dz;
        const aside = Math.abs(-g[0] * dz + (g[2] - 3) * dx);
        if (!o.noShadow && along > 0 && along < len && aside < 0.08) k = 0.7;
        if (o.darkSide && g[0] < 0.05) k = 0.7;
      }
      const c = body ? [0.6, 0.5, 0.4] : [0.18 * k, 0.6 * k, 0.24 * k];
      for (let q = 0; q < 3; q++) p.data[q * n + y * W + x] = c[q]! + 0.004 * random.normal();
    }
  return p;
}

function find(p: Picture): { azimuthDeg: number; elevationDeg: number } | null {
  const model = findScreen(p)!;
  const mask = notScreen(p, model);
  const performer = new Uint8Array(W * H);
  const box = findPerformer(mask, W, H, null, performer)!;
  const foot = px(0, 0, 3);
  const view = solveView(
    {
      frame: 0,
      focalPx: 620,
      cameraHeight: 0.9,
      marks: [{ kind: 'performer', ground: foot, top: px(0, 0.4, 3), height: 0.4 }],
    },
    { widthPx: W, heightPx: H },
  );
  const s = findShadow({
    small: p,
    model,
    mask,
    performer,
    box,
    foot,
    view,
    factor: 1,
    decode: (v) => Math.max(0, v) ** 2.2,
  });
  if (s === null) return null;
  const sun = sunOfShadow(view, { kind: 'shadow', foot, tip: [s.tip[0], s.tip[1]], height: 0.4 }, 0, 1)!;
  return { azimuthDeg: sun.azimuthDeg, elevationDeg: sun.elevationDeg! };
}

describe('the shadow on the floor, found without a mark', () => {
  it('gives the side and height of the light within ten degrees', () => {
    for (const [az, el] of [
      [60, 35],
      [-70, 40],
      [110, 45],
    ] as const) {
      const s = find(stage(az, el))!;
      expect(s).not.toBeNull();
      expect(Math.abs(s.azimuthDeg - az)).toBeLessThan(10);
      expect(Math.abs(s.elevationDeg - el)).toBeLessThan(10);
    }
  });

  it('says nothing where there is no shadow, or where half the floor is dark', () => {
    expect(find(stage(60, 35, { noShadow: true }))).toBeNull();
    expect(find(stage(60, 35, { darkSide: true }))).toBeNull();
  });
});
