/**
 * A made plate: level grey ground, an upright post of a wall that throws a shadow, and cards set into and beside it.
 */
import { describe, expect, it } from 'vitest';
import { three } from '../../core/tuples.js';
import { createPicture } from '../../image/picture.js';
import { dot, type Vec3 } from '../../geometry/mat3.js';
import { groundGeometry } from './ground-geometry.js';
import { ownShadowOf } from './own-shadow.js';
import { shadeOnCard } from './shade-on-card.js';

const W = 480,
  H = 300,
  LIT = [0.4, 0.36, 0.3] as const,
  LEFT = [0.2, 0.25, 0.4] as const;
const step = { focalPx: 520, azimuthDeg: 100, elevationDeg: 40 };
const at = (x: number, y: number, pxPerMetre: number) => ({
  frame: 0,
  foot: [x, y] as const,
  pxPerMetre,
  tiltDeg: -10,
  rollDeg: 0,
  azimuthDeg: 100,
});
/** The post stands a metre and more to the right of the middle, 1.5 m high and .8 m wide. */
const origin = groundGeometry(step, at(240, 210, 104), W, H);
const along = (g: Vec3, x: number, z: number): Vec3 => [g[0] + x, g[1] + z * 0.1736, g[2] + z * 0.9848];
const POST = { at: along(origin.foot, 1.1, 0), wide: 0.4, high: 1.5 };

/** Whether the ray from p to the key meets the post: a card square to the key's ground direction. */
function shaded(p: Vec3): boolean {
  const { light, up } = origin,
    lift = dot(light, up),
    flat: Vec3 = [light[0] - lift * up[0], light[1] - lift * up[1], light[2] - lift * up[2]];
  const d: Vec3 = [POST.at[0] - p[0], POST.at[1] - p[1], POST.at[2] - p[2]],
    k = dot(d, flat) / dot(flat, flat);
  if (k <= 0) return false;
  const q: Vec3 = [
      p[0] + k * light[0] - POST.at[0],
      p[1] + k * light[1] - POST.at[1],
      p[2] + k * light[2] - POST.at[2],
    ],
    high = dot(q, up);
  return (
    high >= 0 &&
    high <= POST.high &&
    Math.hypot(q[0] - high * up[0], q[1] - high * up[1], q[2] - high * up[2]) < POST.wide
  );
}

const plate = createPicture(W, H, 3);
for (let y = 0; y < H; y++)
  for (let x = 0; x < W; x++) {
    const d: Vec3 = [(x + 0.5 - W / 2) / step.focalPx, (y + 0.5 - H / 2) / step.focalPx, 1],
      down = -dot(d, origin.up);
    const k = down > 1e-3 ? origin.cameraHeight / down : 0,
      dark = k > 0 && shaded([d[0] * k, d[1] * k, d[2] * k]);
    for (let c = 0; c < 3; c++)
      plate.data[c * W * H + y * W + x] =
        LIT[c]! * (dark ? LEFT[c]! : 1) * (1 + 0.1 * Math.sin(x / 5) * Math.sin(y / 4));
  }
const own = ownShadowOf({ linear: LIT, spread: 0.1 }, LEFT)!;

describe("the plate's own shadow on a standing performer", () => {
  it('is found for the share of a card that the post shades', () => {
    let all = 0,
      dark = 0;
    for (let r = 0; r < 16; r++)
      for (let c = -3; c <= 3; c++) {
        const up = ((r + 0.5) / 16) * 0.8;
        all++;
        if (shaded(three((i) => origin.foot[i]! + up * origin.up[i]! + (i === 0 ? 0.06 * c : 0)))) dark++;
      }
    expect(dark / all).toBeGreaterThan(0.4);
    expect(Math.abs(shadeOnCard(plate, own, 2, origin, 0.8)! - dark / all)).toBeLessThan(0.12);
  });

  it('is not found beside the shadow, nor where the ground is out of the picture', () => {
    expect(shadeOnCard(plate, own, 2, groundGeometry(step, at(240, 280, 160), W, H), 0.5)!).toBeLessThan(0.05);
    expect(shadeOnCard(plate, own, 2, groundGeometry(step, at(5, 250, 130), W, H), 0.8)).toBeNull();
  });
});
