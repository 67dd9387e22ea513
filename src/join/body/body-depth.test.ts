/**
 * Two spheres whose outline and shadow are worked out here by projection and rays: the depth that is told from them
 * against where they stood.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { depthFromShadow } from './body-depth.js';

const W = 320,
  H = 200,
  F = 420,
  TILT = -12,
  HEIGHT = 1,
  Z = 3,
  CELL = 1;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: HEIGHT, widthPx: W, heightPx: H });
const azimuth = 55,
  elevation = 38;
const light = [
  Math.cos(elevation * RAD_PER_DEG) * Math.sin(azimuth * RAD_PER_DEG),
  Math.sin(elevation * RAD_PER_DEG),
  -Math.cos(elevation * RAD_PER_DEG) * Math.cos(azimuth * RAD_PER_DEG),
] as const;
type Sphere = readonly [x: number, y: number, z: number, r: number];

/** Body and head, the head so far in front of the body; outline by projection, shadow by rays towards the light. */
function seen(front: number): { alpha: Float32Array; density: Float32Array } {
  const spheres: Sphere[] = [
    [0, 0.22, Z, 0.22],
    [0.02, 0.52, Z - front, 0.14],
  ];
  const alpha = new Float32Array(W * H),
    density = new Float32Array(W * H);
  const discs = spheres.map(([x, y, z, r]) => {
    const c = project(camera, [x, y, z])!;
    return [c.x, c.y, (F * r) / Math.sqrt(c.depth * c.depth - r * r)] as const;
  });
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      for (const [cx, cy, r] of discs)
        alpha[i] = Math.max(alpha[i]!, Math.min(1, Math.max(0, r - Math.hypot(x + 0.5 - cx, y + 0.5 - cy) + 0.5)));
      const g = groundPoint(camera, x + 0.5, y + 0.5);
      if (g === null || alpha[i]! > 0.5) continue;
      for (const [sx, sy, sz, r] of spheres) {
        const d = [sx - g[0], sy - g[1], sz - g[2]] as const,
          along = d[0] * light[0] + d[1] * light[1] + d[2] * light[2];
        if (along > 0 && Math.hypot(d[0] - along * light[0], d[1] - along * light[1], d[2] - along * light[2]) < r)
          density[i] = 0.6;
      }
    }
  return { alpha, density };
}

function told(front: number, density?: Float32Array): ReturnType<typeof depthFromShadow> {
  const s = seen(front),
    foot = project(camera, [0, 0, Z])!;
  return depthFromShadow(
    { alpha: s.alpha, box: [0, 0, W, H], shadow: { width: W, height: H, cell: CELL, density: density ?? s.density } },
    {
      focalPx: F,
      azimuthDeg: azimuth,
      elevationDeg: elevation,
      softnessDeg: 0.5,
      widthPx: W,
      heightPx: H,
      at: {
        frame: 0,
        foot: [foot.x, foot.y],
        pxPerMetre: F / foot.depth,
        tiltDeg: TILT,
        rollDeg: 0,
        azimuthDeg: azimuth,
      },
    },
  );
}

const TALL = 0.66;

/** How far the head's middle, at .79 of the body's height, stands nearer than the foot, in heights. */
function headNear(found: ReturnType<typeof depthFromShadow>): number {
  if (found === null) return 0;
  const u = 0.52 / TALL,
    { lean, head, parts } = found.depth,
    heads = (parts ?? []).filter((p) => p.r > 0.12 && Math.abs(p.u - u) < 0.1).flatMap((p) => p.at);
  return heads.length > 0 ? heads.reduce((a, v) => a + v, 0) / heads.length : lean * u + head * (2 * u - 1);
}

describe("a body's depth from its shadow in the take", () => {
  it('finds how far the head stands in front of the foot', () => {
    const found = told(0.2)!;
    expect(Math.abs(headNear(found) * TALL - 0.2)).toBeLessThan(0.07);
    expect(found.after).toBeGreaterThan(found.before + 0.05);
  });

  it('leaves the head over the body where it stands there, and leans nothing away', () => {
    const upright = told(0),
      away = told(-0.25);
    expect(Math.abs(headNear(upright) * TALL)).toBeLessThan(0.07);
    // What climbs a wall looks like this.
    expect(headNear(away)).toBeGreaterThan(-0.13);
  });

  it("leaves it alone where there is no shadow, or another's lies over everything", () => {
    expect(told(0.2, new Float32Array(W * H))).toBeNull();
    expect(told(0.2, new Float32Array(W * H).fill(0.5))).toBeNull();
  });
});
