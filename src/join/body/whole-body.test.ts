/** A body of known balls seen by a pinhole worked out here: each stands where it was put, hidden ones too. */
import { describe, expect, it } from 'vitest';
import { groundGeometry } from '../ground/ground-geometry.js';
import type { WholeBall } from '../ground/types.js';
import { ballsOfMatte, type Ball } from './body-volume.js';
import { facing, standUp } from './solid-body.js';

const W = 320,
  H = 200,
  F = 400,
  g = groundGeometry(
    { focalPx: F, azimuthDeg: 60, elevationDeg: 40 },
    { frame: 0, foot: [160, 150], pxPerMetre: 130, tiltDeg: -12, rollDeg: 0, azimuthDeg: 60 },
    W,
    H,
  ),
  ahead = facing(g);

/** A ball of a whole body as the camera shows it: pinhole, worked out here by itself. */
function disc([x, u, near, r]: WholeBall): Ball {
  const left = [
    g.up[1] * ahead[2] - g.up[2] * ahead[1],
    g.up[2] * ahead[0] - g.up[0] * ahead[2],
    g.up[0] * ahead[1] - g.up[1] * ahead[0],
  ];
  const [a, b, c] = [0, 1, 2].map((k) => g.foot[k]! - x * left[k]! + u * g.up[k]! - near * ahead[k]!) as [
    number,
    number,
    number,
  ];
  return { x: W / 2 + (F * a) / c, y: H / 2 + (F * b) / c, r: (F * r) / c };
}

function outlineOf(body: readonly WholeBall[]): Ball[] {
  const discs = body.map(disc),
    matte = Float32Array.from({ length: W * H }, (_, i) =>
      discs.some((d) => Math.hypot((i % W) + 0.5 - d.x, Math.floor(i / W) + 0.5 - d.y) < d.r) ? 1 : 0,
    );
  return ballsOfMatte(matte, W, H);
}

const stood = (outline: readonly Ball[], whole: readonly WholeBall[]) =>
  standUp(outline, g, 0, { lean: 0, head: 0, deep: 0, whole });

/** Metres of the scene: how far behind the foot along the ground. */
const behind = (p: readonly number[]): number =>
  ahead[0] * (p[0]! - g.foot[0]) + ahead[1] * (p[1]! - g.foot[1]) + ahead[2] * (p[2]! - g.foot[2]);

const TRUNK: WholeBall[] = [
  [0, 0.2, 0.1, 0.18],
  [0, 0.2, -0.2, 0.18],
  [0, 0.2, -0.5, 0.18],
];

describe('a whole body', () => {
  it('stands where it is, what its front hides too', () => {
    const solid = stood(outlineOf(TRUNK), TRUNK);
    for (const [x, u, near, r] of TRUNK) {
      const d = disc([x, u, near, r]);
      const here = solid.find(
        (s) =>
          Math.abs(s.radius - r) < 1e-9 &&
          Math.abs(behind(s.centre) + near) < 1e-9 &&
          Math.abs(W / 2 + (F * s.centre[0]) / s.centre[2] - d.x) < 1e-6,
      );
      expect(here, `the ball ${near} m before the foot`).toBeDefined();
    }
    // Hardly anything of the outline is left to be filled: no large ball beside its own.
    expect(solid.filter((s) => s.radius > 0.06)).toHaveLength(TRUNK.length);
  });

  it('leaves out what a frame does not show, and fills what only the frame shows at the depth of the nearest', () => {
    const tail: WholeBall = [0.9, 0.3, -0.5, 0.08],
      ear: WholeBall = [0, 0.55, 0.1, 0.07],
      solid = stood(outlineOf([...TRUNK, ear]), [...TRUNK, tail]);
    expect(solid.some((s) => Math.abs(s.radius - 0.08) < 1e-9)).toBe(false);
    const e = disc(ear);
    const filled = solid.filter(
      (s) =>
        Math.hypot(W / 2 + (F * s.centre[0]) / s.centre[2] - e.x, H / 2 + (F * s.centre[1]) / s.centre[2] - e.y) < e.r,
    );
    expect(filled.length).toBeGreaterThan(0);
    const depths = TRUNK.map((b) => -b[2]);
    for (const s of filled) expect(Math.min(...depths.map((d) => Math.abs(d - behind(s.centre))))).toBeLessThan(0.03);
  });

  it('says nothing of a frame that hardly shows it: the outline is filled as it is without', () => {
    const beside = outlineOf([[1.1, 0.3, 0, 0.1]]);
    expect(stood(beside, TRUNK)).toEqual(standUp(beside, g, 0, { lean: 0, head: 0, deep: 0 }));
  });
});
