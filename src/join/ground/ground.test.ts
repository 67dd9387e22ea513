/**
 * A sphere's shadow against one traced here through src/geometry's camera; shares, sides, softness and light left
 * against what the step asks for.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { createPicture } from '../../image/picture.js';
import { shadeGround } from './ground.js';
import { lightInCamera } from './ground-geometry.js';
import { applyShade } from './shade.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

const W = 640,
  H = 360,
  F = 800,
  TILT = -8,
  HEIGHT = 1.4;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: HEIGHT, widthPx: W, heightPx: H });

/** A scene solved by the camera model of src/geometry, which ground.ts does not use for this: an upright at (x, z). */
function scene(x: number, z: number): { foot: [number, number]; pxPerMetre: number } {
  const foot = project(camera, [x, 0, z])!;
  return { foot: [foot.x, foot.y], pxPerMetre: F / foot.depth };
}

function step(azimuthDeg: number, elevationDeg: number, over: Partial<GroundStep> = {}): GroundStep {
  return {
    step: 'ground',
    on: true,
    why: '',
    shadow: true,
    contact: false,
    azimuthDeg,
    elevationDeg,
    transmission: [0.3, 0.35, 0.45],
    softnessDeg: 0.5,
    contactStrength: 0.6,
    focalPx: F,
    frames: [],
    receiver: 'ground',
    ...over,
  };
}

/** Matte of a sphere of radius r metres whose centre stands at (x, r, z): its outline is nearly a circle. */
function sphereMatte(x: number, z: number, r: number): Float32Array {
  const c = project(camera, [x, r, z])!;
  const px = (F * r) / Math.sqrt(c.depth * c.depth - r * r);
  const m = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let q = 0; q < W; q++)
      m[y * W + q] = Math.min(1, Math.max(0, px - Math.hypot(q + 0.5 - c.x, y + 0.5 - c.y) + 0.5));
  return m;
}

describe('shadow on the ground', () => {
  it('agrees with the shadow of a sphere worked out by ray tracing', () => {
    const x = 0.3,
      z = 5,
      r = 0.35,
      azimuth = 50,
      elevation = 35;
    const { foot, pxPerMetre } = scene(x, z);
    const at: GroundFrame = { frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg: azimuth };
    const shade = shadeGround(step(azimuth, elevation), at, {
      alpha: sphereMatte(x, z, r),
      matteBox: [0, 0, W, H],
      widthPx: W,
      heightPx: H,
      softEdgePx: 0,
    })!;
    const light = [
      Math.cos(elevation * RAD_PER_DEG) * Math.sin(azimuth * RAD_PER_DEG),
      Math.sin(elevation * RAD_PER_DEG),
      -Math.cos(elevation * RAD_PER_DEG) * Math.cos(azimuth * RAD_PER_DEG),
    ];
    let both = 0,
      either = 0;
    for (let y = 0; y < H; y++) {
      for (let q = 0; q < W; q++) {
        const g = groundPoint(camera, q + 0.5, y + 0.5);
        let truth = false;
        if (g !== null && g[2] > 0) {
          // Distance of the sphere's centre from the ray towards the light.
          const d = [x - g[0], r - g[1], z - g[2]];
          const along = d[0]! * light[0]! + d[1]! * light[1]! + d[2]! * light[2]!;
          truth =
            along > 0 &&
            Math.hypot(d[0]! - along * light[0]!, d[1]! - along * light[1]!, d[2]! - along * light[2]!) < r;
        }
        const [x0, y0, x1, y1] = shade.box;
        const seen = q >= x0 && q < x1 && y >= y0 && y < y1 && shade.cover[(y - y0) * (x1 - x0) + q - x0]! > 0.5;
        if (truth && seen) both++;
        if (truth || seen) either++;
      }
    }
    expect(either).toBeGreaterThan(300);
    expect(both / either).toBeGreaterThan(0.88);
  });

  it('lets two bodies cast in their shares between two frames of a turn', () => {
    const { foot, pxPerMetre } = scene(0, 5),
      matte = sphereMatte(0, 5, 0.35),
      base: GroundFrame = { frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg: 60 };
    const bodies = [
      { lean: 0, head: 0, deep: 0 },
      { lean: 0.5, head: 0, deep: 0 },
    ];
    const covers = [0, 1, 0.4].map((bodyAt) => {
      const s = shadeGround(
        step(60, 35, { bodies }),
        { ...base, bodyAt },
        { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
      )!;
      const [x0, y0, x1, y1] = s.box;
      return (x: number, y: number): number =>
        x >= x0 && x < x1 && y >= y0 && y < y1 ? s.cover[(y - y0) * (x1 - x0) + x - x0]! : 0;
    });
    let apart = 0,
      off = 0;
    for (let y = 0; y < H; y += 2)
      for (let x = 0; x < W; x += 2) {
        const [a, b, mixed] = covers.map((c) => c(x, y)) as [number, number, number];
        if (Math.abs(a - b) > 0.5) apart++;
        off = Math.max(off, Math.abs(mixed - (0.6 * a + 0.4 * b)));
      }
    expect(off).toBeLessThan(1e-5);
    expect(apart).toBeGreaterThan(40);
  });

  it('turns in every frame with what a person changes in the step', () => {
    const { foot, pxPerMetre } = scene(0, 5);
    const matte = sphereMatte(0, 5, 0.35),
      at = (azimuthDeg: number): GroundFrame => ({ frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg });
    const cover = (azimuth: number, frameAzimuth: number): Buffer =>
      Buffer.from(
        shadeGround(step(azimuth, 30, { proposedAzimuthDeg: 50 }), at(frameAzimuth), {
          alpha: matte,
          matteBox: [0, 0, W, H],
          widthPx: W,
          heightPx: H,
          softEdgePx: 0,
        })!.cover.slice().buffer,
      );
    // The camera has panned by 4° since: the frame's own azimuth goes along.
    expect(cover(20, 54).equals(cover(50, 24))).toBe(true);
    expect(cover(20, 54).equals(cover(50, 54))).toBe(false);
  });

  it('lies on the side away from the key, and moves with it', () => {
    const { foot, pxPerMetre } = scene(0, 5);
    const matte = sphereMatte(0, 5, 0.35);
    const middle = (azimuth: number): number => {
      const s = shadeGround(
        step(azimuth, 30),
        { frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg: azimuth },
        { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
      )!;
      const w = s.box[2] - s.box[0];
      let sum = 0,
        weight = 0;
      s.cover.forEach((c, i) => {
        sum += c * (s.box[0] + (i % w));
        weight += c;
      });
      return sum / weight - foot[0];
    };
    expect(middle(60)).toBeLessThan(-20);
    expect(middle(-60)).toBeGreaterThan(20);
  });

  it('a larger lamp softens the edge more, farther from the body', () => {
    const { foot, pxPerMetre } = scene(0, 5);
    const matte = sphereMatte(0, 5, 0.35);
    const softPixels = (softness: number): number => {
      const s = shadeGround(
        step(50, 25, { softnessDeg: softness }),
        { frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg: 50 },
        { alpha: matte, matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
      )!;
      return s.cover.reduce((n, c) => n + (c > 0.1 && c < 0.9 ? 1 : 0), 0);
    };
    expect(softPixels(12)).toBeGreaterThan(2 * softPixels(0.5));
  });

  it('leaves the transmission inside, nothing outside, and lays no second shadow where the plate is dark already', () => {
    const { foot, pxPerMetre } = scene(0, 5);
    const s = step(50, 30, { litLinear: [0.3, 0.3, 0.3] });
    const shade = shadeGround(
      s,
      { frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg: 50 },
      { alpha: sphereMatte(0, 5, 0.35), matteBox: [0, 0, W, H], widthPx: W, heightPx: H, softEdgePx: 0 },
    )!;
    const box = shade.box,
      n = (box[2] - box[0]) * (box[3] - box[1]);
    const run = (level: readonly [number, number, number]): { out: Float32Array; touched: Uint8Array } => {
      const base = createPicture(box[2] - box[0], box[3] - box[1], 3);
      for (let c = 0; c < 3; c++) base.data.fill(level[c]!, c * n, (c + 1) * n);
      const out = { ...base, data: base.data.slice() };
      const touched = new Uint8Array(n);
      applyShade(s, shade, base, out, box, touched, null, null);
      return { out: out.data, touched };
    };
    const lit = run([0.3, 0.3, 0.3]);
    const deep = shade.cover.findIndex((c) => c > 0.999),
      free = shade.cover.findIndex((c) => c === 0);
    expect(lit.out[deep]).toBeCloseTo(0.3 * 0.3, 3);
    expect(lit.out[2 * n + deep]).toBeCloseTo(0.3 * 0.45, 3);
    expect(lit.out[free]).toBe(Math.fround(0.3));
    expect(lit.touched[free]).toBe(0);
    const dark = run([0.3 * 0.3, 0.3 * 0.35, 0.3 * 0.45]);
    expect(dark.out[deep]! / (0.3 * 0.3)).toBeGreaterThan(0.85);
  });
});

describe('shadow on a carrier', () => {
  const { foot, pxPerMetre } = scene(0, 5),
    at: GroundFrame = { frame: 0, foot, pxPerMetre, tiltDeg: TILT, rollDeg: 0, azimuthDeg: 20 },
    matte = { alpha: sphereMatte(0, 5, 0.35), matteBox: [0, 0, W, H] as const, widthPx: W, heightPx: H, softEdgePx: 0 };

  it('lies level under who sits on it, as on the ground, not on a wall behind', () => {
    const top = shadeGround(step(20, 30, { receiver: 'carrier', carrierTop: true }), at, matte)!,
      ground = shadeGround(step(20, 30), at, matte)!,
      wall = shadeGround(step(20, 30, { receiver: 'carrier' }), at, matte)!;
    const lowest = (s: NonNullable<ReturnType<typeof shadeGround>>): number => {
      const w = s.box[2] - s.box[0];
      return s.box[1] + Math.floor(s.cover.findLastIndex((c) => c > 0.5) / w);
    };
    expect(Math.abs(lowest(top) - lowest(ground))).toBeLessThanOrEqual(1);
    expect(lowest(wall)).toBeGreaterThan(lowest(ground) + 8);
  });

  it('fades towards a border that is guessed', () => {
    const run = (receiverSoftPx?: number): Float32Array => {
      const s = step(20, 30, { receiver: 'carrier', ...(receiverSoftPx === undefined ? {} : { receiverSoftPx }) }),
        shade = shadeGround(s, at, matte)!,
        { box } = shade,
        w = box[2] - box[0],
        h = box[3] - box[1],
        base = createPicture(w, h, 3);
      base.data.fill(0.4);
      const middle = (box[0] + box[2]) / 2,
        half: [number, number][] = [
          [0, 0],
          [middle, 0],
          [middle, H],
          [0, H],
        ];
      applyShade(s, shade, base, base, box, new Uint8Array(w * h), half, null);
      const y = Math.floor(h / 2);
      return base.data.slice(y * w, (y + 1) * w);
    };
    const steepest = (row: Float32Array): number =>
      row.reduce((m, v, i) => (i === 0 ? 0 : Math.max(m, v - row[i - 1]!)), 0);
    expect(steepest(run())).toBeGreaterThan(0.1);
    expect(steepest(run(8))).toBeLessThan(0.03);
  });
});

describe('key in the camera frame', () => {
  it('comes from behind the camera at azimuth 0 and from the right at 90', () => {
    expect(lightInCamera(0, 0, 0, 0)[2]).toBeCloseTo(-1, 9);
    expect(lightInCamera(90, 0, 0, 0)[0]).toBeCloseTo(1, 9);
    expect(lightInCamera(0, 90, 0, 0)[1]).toBeCloseTo(-1, 9);
  });
});
