/** Balls in the world, round and end-on, whose shadow is traced here: the carved body's length against theirs. */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { ballsOfMatte } from './body-volume.js';
import { floorScreen } from './carve-screens.js';
import { groundGeometry } from '../ground/ground-geometry.js';
import { carveDepth } from './shadow-carve.js';

const W = 320,
  H = 200,
  F = 420,
  TILT = -12,
  Z = 3,
  AZIMUTH = 80,
  ELEVATION = 42;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: 1, widthPx: W, heightPx: H });
const e = ELEVATION * RAD_PER_DEG,
  a = AZIMUTH * RAD_PER_DEG,
  light: Vec3 = [Math.cos(e) * Math.sin(a), Math.sin(e), -Math.cos(e) * Math.cos(a)];

/** Balls in the world (x, y, z, r): outline by projection, shadow on the floor by rays towards the key. */
function shown(balls: readonly (readonly [number, number, number, number])[]): {
  matte: Float32Array;
  share: Float32Array;
  use: Uint8Array;
} {
  const matte = new Float32Array(W * H),
    share = new Float32Array(W * H),
    use = new Uint8Array(W * H);
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      for (const [bx, by, bz, r] of balls) {
        const c = project(camera, [bx, by, bz])!;
        if (Math.hypot(x + 0.5 - c.x, y + 0.5 - c.y) < (F * r) / c.depth) matte[i] = 1;
      }
      const g = groundPoint(camera, x + 0.5, y + 0.5);
      if (g === null || matte[i] === 1) continue;
      use[i] = 1;
      for (const [bx, by, bz, r] of balls) {
        const d = [bx - g[0], by - g[1], bz - g[2]] as const,
          along = d[0] * light[0] + d[1] * light[1] + d[2] * light[2];
        if (along > 0 && Math.hypot(d[0] - along * light[0], d[1] - along * light[1], d[2] - along * light[2]) < r)
          share[i] = 1;
      }
    }
  return { matte, share, use };
}

function carved(
  balls: readonly (readonly [number, number, number, number])[],
  none = false,
): ReturnType<typeof carveDepth> {
  const s = shown(balls),
    foot = project(camera, [0, 0, Z])!,
    list = ballsOfMatte(s.matte, W, H);
  const tall = Math.max(...list.map((b) => b.y + b.r)) - Math.min(...list.map((b) => b.y - b.r));
  const at = {
    frame: 0,
    foot: [foot.x, foot.y] as [number, number],
    pxPerMetre: F / foot.depth,
    tiltDeg: TILT,
    rollDeg: 0,
    azimuthDeg: AZIMUTH,
  };
  const g = groundGeometry(
    { focalPx: F, azimuthDeg: AZIMUTH, elevationDeg: ELEVATION, principal: [W / 2, H / 2] },
    at,
    W,
    H,
  );
  return carveDepth({
    balls: list,
    geometry: g,
    screens: [
      floorScreen(
        g,
        { ...s, share: none ? new Float32Array(W * H) : s.share, width: W, height: H },
        (tall / g.focalPx) * g.foot[2],
      ),
    ],
    own: { matte: s.matte, width: W, height: H },
    slope: 0,
    tall,
    start: { lean: 0, head: 0, deep: 0 },
  });
}

// Seen end-on: the outline is the same body and head, behind which the body goes on.
const HEAD = [0, 0.58, Z, 0.12] as const,
  ROUND = [[0, 0.22, Z, 0.2], HEAD] as const,
  LONG = [...[0, 0.12, 0.24, 0.36, 0.48].map((z) => [0, 0.22, Z + z, 0.2] as const), HEAD];

describe('depth of a body carved from its shadow', () => {
  it('makes a body that is seen end-on as long as its shadow says, and a round one no longer', () => {
    const reach = (c: ReturnType<typeof carveDepth>): number =>
      -Math.min(...c.parts.flatMap((p) => p.at), ...c.small.flatMap((p) => p.at));
    const long = reach(carved(LONG)),
      round = reach(carved(ROUND));
    // In heights of about .7 m: the last ball's middle stands .48 m behind the first.
    expect(Math.abs(long - 0.48 / 0.7)).toBeLessThan(0.25);
    expect(round).toBeLessThan(0.25);
  });

  it('sets nothing up twice where no shadow is seen', () => {
    const c = carved(ROUND, true);
    expect(c.small).toEqual([]);
    for (const p of c.parts) expect(p.at).toHaveLength(1);
  });
});
