import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { shadeGround } from './ground.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

// A level camera at the origin, so that the scene is written down by hand: x right, y down, z away.
const W = 480,
  H = 360,
  F = 600,
  Z = 4,
  R = 0.15,
  DROP = 0.2;

/** Matte of a ball of radius R that stands on its foot at (x, DROP, Z). */
function ball(x: number): { matte: Float32Array; at: GroundFrame; centre: readonly [number, number, number] } {
  const centre = [x, DROP - R, Z] as const,
    px = (F * R) / Math.sqrt(Z * Z - R * R),
    m = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let q = 0; q < W; q++)
      m[y * W + q] = Math.min(
        1,
        Math.max(0, px - Math.hypot(q + 0.5 - W / 2 - (F * x) / Z, y + 0.5 - H / 2 - (F * centre[1]) / Z) + 0.5),
      );
  return {
    matte: m,
    centre,
    at: {
      frame: 0,
      foot: [W / 2 + (F * x) / Z, H / 2 + (F * DROP) / Z],
      pxPerMetre: F / Z,
      tiltDeg: 0,
      rollDeg: 0,
      azimuthDeg: 0,
    },
  };
}

const step = (azimuthDeg: number, elevationDeg: number): GroundStep => ({
  step: 'ground',
  on: true,
  why: '',
  shadow: true,
  contact: false,
  azimuthDeg,
  elevationDeg,
  transmission: [0.4, 0.4, 0.4],
  softnessDeg: 0.5,
  contactStrength: 0.6,
  focalPx: F,
  frames: [],
  receiver: 'carrier',
});

/**
 * The first point of a ray from the camera on upright round columns of radius r at these (x, z); null where it passes
 * by.
 */
function onColumns(
  dx: number,
  dy: number,
  columns: readonly (readonly [number, number])[],
  r: number,
): readonly [number, number, number] | null {
  let best = Infinity;
  for (const [cx, cz] of columns) {
    const a = dx * dx + 1,
      b = dx * cx + cz,
      root = b * b - a * (cx * cx + cz * cz - r * r);
    if (root >= 0) best = Math.min(best, (b - Math.sqrt(root)) / a);
  }
  return best === Infinity ? null : [dx * best, dy * best, best];
}

describe('the shadow on somebody who carries the performer and turns', () => {
  it.each([
    { x: 0, away: 0.35, left: 0, azimuth: 45 },
    { x: 0.2, away: 0.22, left: 0.27, azimuth: 55 },
  ])(
    'falls as on round columns by ray tracing (axis $away m behind, $left m to the left)',
    ({ x, away, left, azimuth }) => {
      const elevation = 30,
        { matte, at, centre } = ball(x),
        shade = shadeGround(
          step(azimuth, elevation),
          { ...at, azimuthDeg: azimuth, carrierAxis: [away, left, 0.5] },
          { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
        )!;
      // Chest radius and breadth as the module says them: to the performer's back, half as broad again.
      const reach = Math.hypot(away, left),
        r = reach - 0.55 * R,
        axis = [x - left, Z + away] as const,
        side = [(0.5 * r * away) / reach, (0.5 * r * left) / reach] as const;
      const columns = [-1, 0, 1].map((k) => [axis[0] + k * side[0], axis[1] + k * side[1]] as const);
      const light = [
        Math.cos(elevation * RAD_PER_DEG) * Math.sin(azimuth * RAD_PER_DEG),
        -Math.sin(elevation * RAD_PER_DEG),
        -Math.cos(elevation * RAD_PER_DEG) * Math.cos(azimuth * RAD_PER_DEG),
      ] as const;
      const [x0, y0, x1, y1] = shade.box;
      let both = 0,
        either = 0,
        beside = 0;
      for (let y = 0; y < H; y++)
        for (let q = 0; q < W; q++) {
          const p = onColumns((q + 0.5 - W / 2) / F, (y + 0.5 - H / 2) / F, columns, r),
            cover = q >= x0 && q < x1 && y >= y0 && y < y1 ? shade.cover[(y - y0) * (x1 - x0) + q - x0]! : 0;
          if (p === null) {
            beside = Math.max(beside, cover);
            continue;
          }
          const d = [centre[0] - p[0], centre[1] - p[1], centre[2] - p[2]] as const,
            along = d[0] * light[0] + d[1] * light[1] + d[2] * light[2];
          const nearest = columns
              .map((c) => Math.hypot(p[0] - c[0], p[2] - c[1]))
              .reduce((a, b, i, all) => (b < all[a]! ? i : a), 0),
            n = [(p[0] - columns[nearest]![0]) / r, (p[2] - columns[nearest]![1]) / r] as const;
          // Where the body is turned from the key, or seen at a slant, nothing or less is laid: not asked here.
          if (n[0] * light[0] + n[1] * light[2] < 0.1 || -(p[0] * n[0] + p[2] * n[1]) / Math.hypot(...p) < 0.45)
            continue;
          const truth =
              along > 0 && Math.hypot(d[0] - along * light[0], d[1] - along * light[1], d[2] - along * light[2]) < R,
            seen = cover > 0.5;
          if (truth && seen) both++;
          if (truth || seen) either++;
        }
      expect(either).toBeGreaterThan(300);
      expect(both / either).toBeGreaterThan(0.85);
      // Beside the body nothing is laid, on a wall least of all.
      expect(beside).toBeLessThan(0.02);
    },
  );

  it('is lit as a smooth body by a high key from the side, in no bands and stripes', () => {
    const [azimuth, elevation, away] = [60, 53, 0.35],
      { matte, at } = ball(0),
      shade = shadeGround(
        step(azimuth, elevation),
        { ...at, azimuthDeg: azimuth, carrierAxis: [away, 0, 0.5] },
        { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
      )!;
    const [x0, y0, x1, y1] = shade.box,
      { key, share } = shade.marked!,
      r = away - 0.55 * R,
      half = 0.5 * r,
      // Level ground takes the key at its elevation's sine, an upright surface that faces it at the cosine.
      most = 1 / Math.tan(elevation * RAD_PER_DEG),
      [sin, cos] = [Math.sin(azimuth * RAD_PER_DEG), Math.cos(azimuth * RAD_PER_DEG)];
    let flat = 0,
      round = 0;
    for (let y = y0; y < y1; y++)
      for (let q = x0; q < x1; q++) {
        const o = (y - y0) * (x1 - x0) + q - x0,
          p = onColumns(
            (q + 0.5 - W / 2) / F,
            (y + 0.5 - H / 2) / F,
            [-half, 0, half].map((c) => [c, Z + away]),
            r,
          );
        if (p === null || share[o]! < 0.9) continue;
        // Straight before the camera between the two sides; about its own column beyond.
        const nx = Math.max(0, Math.abs(p[0]) - half) * Math.sign(p[0]),
          nz = p[2] - Z - away,
          slant = Math.max(0, (nx * sin - nz * cos) / Math.hypot(nx, nz));
        if (nx === 0) flat++;
        else round++;
        expect(Math.abs(key[o]! - most * slant)).toBeLessThan(0.05);
        if (slant === 0) expect(shade.cover[o]).toBe(0);
      }
    expect(flat).toBeGreaterThan(500);
    expect(round).toBeGreaterThan(100);
  });

  it('falls on a plane behind where the axis is not known', () => {
    const { matte, at } = ball(0),
      plane = shadeGround(
        step(45, 30),
        { ...at, azimuthDeg: 45 },
        { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
      )!;
    expect(plane.marked).toBeUndefined();
    expect(Math.max(...plane.cover)).toBeGreaterThan(0.9);
  });
});
