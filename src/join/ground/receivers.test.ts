/**
 * Shadows on marked surfaces against shadows worked out by ray tracing with the camera model of src/geometry, which
 * receivers.ts does not use.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, project, unproject } from '../../geometry/camera.js';
import { createPicture } from '../../image/picture.js';
import { shadeGround, type GroundShade } from './ground.js';
import { applyShade } from './shade.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame, ShadowReceiver } from './types.js';

const W = 640,
  H = 360,
  F = 800,
  TILT = -8,
  EYE = 1.4;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: EYE, widthPx: W, heightPx: H });
type V = [number, number, number];
const pixel = (p: V): [number, number] => {
  const q = project(camera, p)!;
  return [q.x, q.y];
};
const towards = (azimuth: number, elevation: number): V => [
  Math.cos(elevation * RAD_PER_DEG) * Math.sin(azimuth * RAD_PER_DEG),
  Math.sin(elevation * RAD_PER_DEG),
  -Math.cos(elevation * RAD_PER_DEG) * Math.cos(azimuth * RAD_PER_DEG),
];
const dot = (a: V, b: V): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** Sphere on the ground: centre and radius. */
interface Ball {
  readonly at: V;
  readonly r: number;
}

function matteOf({ at, r }: Ball): Float32Array {
  const c = project(camera, at)!;
  const px = (F * r) / Math.sqrt(c.depth * c.depth - r * r);
  const m = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let q = 0; q < W; q++)
      m[y * W + q] = Math.min(1, Math.max(0, px - Math.hypot(q + 0.5 - c.x, y + 0.5 - c.y) + 0.5));
  return m;
}

function circle({ at, r }: Ball): [number, number][] {
  const c = project(camera, at)!;
  const px = (F * r) / Math.sqrt(c.depth * c.depth - r * r);
  return Array.from({ length: 48 }, (_, i) => [
    c.x + px * Math.cos((i * Math.PI) / 24),
    c.y + px * Math.sin((i * Math.PI) / 24),
  ]);
}

function shade(
  ball: Ball,
  azimuth: number,
  elevation: number,
  receivers: readonly ShadowReceiver[],
  lensPx?: number,
): { step: GroundStep; got: GroundShade } {
  const foot = project(camera, [ball.at[0], 0, ball.at[2]])!;
  const step: GroundStep = {
    step: 'ground',
    on: true,
    why: '',
    shadow: true,
    contact: false,
    azimuthDeg: azimuth,
    elevationDeg: elevation,
    transmission: [0.3, 0.35, 0.45],
    softnessDeg: 0.5,
    ...(lensPx === undefined ? {} : { lensPx }),
    contactStrength: 0.6,
    focalPx: F,
    frames: [],
    receiver: 'ground',
    receivers,
  };
  const at: GroundFrame = {
    frame: 0,
    foot: [foot.x, foot.y],
    pxPerMetre: F / foot.depth,
    tiltDeg: TILT,
    rollDeg: 0,
    azimuthDeg: azimuth,
  };
  return {
    step,
    got: shadeGround(step, at, {
      alpha: matteOf(ball),
      matteBox: [0, 0, W, H],
      widthPx: W,
      heightPx: H,
      softEdgePx: 0,
    })!,
  };
}

/** What a line of sight from the camera meets first, its normal, and a number for the surface; null for nothing. */
type Scene = (origin: V, d: V) => { readonly p: V; readonly n: V; readonly surface: number } | null;

/** Intersection over union of the shadow on one surface of the scene (or all, −1). */
function agreement(
  got: GroundShade,
  scene: Scene,
  ball: Ball,
  light: V,
  surface: number,
): { iou: number; pixels: number } {
  let both = 0,
    either = 0;
  const [x0, y0, x1, y1] = got.box;
  for (let y = 0; y < H; y++) {
    for (let q = 0; q < W; q++) {
      const hit = scene(camera.position as V, unproject(camera, q + 0.5, y + 0.5));
      if (hit === null || (surface >= 0 && hit.surface !== surface)) continue;
      const d: V = [ball.at[0] - hit.p[0], ball.at[1] - hit.p[1], ball.at[2] - hit.p[2]];
      const along = dot(d, light);
      const truth = dot(hit.n, light) > 0.03 && along > 0 && dot(d, d) - along * along < ball.r * ball.r;
      const seen = q >= x0 && q < x1 && y >= y0 && y < y1 && got.cover[(y - y0) * (x1 - x0) + q - x0]! > 0.5;
      if (truth && seen) both++;
      if (truth || seen) either++;
    }
  }
  return { iou: both / either, pixels: either };
}

/** Where a ray meets n · x = d in front of its origin. */
function onPlane(o: V, v: V, n: V, d: number): { t: number; p: V } | null {
  const t = (d - dot(n, o)) / dot(n, v);
  return t > 1e-9 ? { t, p: [o[0] + v[0] * t, o[1] + v[1] * t, o[2] + v[2] * t] } : null;
}

const BALL: Ball = { at: [0.3, 0.35, 5], r: 0.35 };

describe('shadow on a wall', () => {
  // A wall aslant behind the sphere: foot from (−1.6, 6.1) to (1.4, 5.3) on the ground, 1.2 m high.
  const a: V = [-1.6, 0, 6.1],
    b: V = [1.4, 0, 5.3];
  const l = Math.hypot(b[0] - a[0], b[2] - a[2]);
  const n: V = [(b[2] - a[2]) / l, 0, -(b[0] - a[0]) / l];
  const wall: ShadowReceiver = {
    surface: 'wall',
    frames: [
      {
        frame: 0,
        polygon: [pixel(a), pixel(b), pixel([b[0], 1.2, b[2]]), pixel([a[0], 1.2, a[2]])],
        base: [pixel(a), pixel(b)],
      },
    ],
  };
  const scene: Scene = (o, v) => {
    const w = onPlane(o, v, n, dot(n, a)),
      g = onPlane(o, v, [0, 1, 0], 0);
    const on = w !== null && w.p[1] >= 0 && w.p[1] <= 1.2 && w.p[0] >= a[0] && w.p[0] <= b[0];
    if (on && (g === null || w.t < g.t)) return { p: w.p, n, surface: 1 };
    return g === null ? null : { p: g.p, n: [0, 1, 0], surface: 0 };
  };

  it('agrees with ray tracing on the wall and on the ground before it', () => {
    const { got } = shade(BALL, 35, 18, [wall]);
    const light = towards(35, 18);
    const onWall = agreement(got, scene, BALL, light, 1),
      all = agreement(got, scene, BALL, light, -1);
    expect(onWall.pixels).toBeGreaterThan(2000);
    expect(onWall.iou).toBeGreaterThan(0.88);
    expect(all.iou).toBeGreaterThan(0.88);
    // Without the mark the shadow runs along the ground, behind the wall.
    expect(agreement(shade(BALL, 35, 18, []).got, scene, BALL, light, -1).iou).toBeLessThan(0.6);
  });

  it('throws none on a wall that the key reaches from behind', () => {
    const { got } = shade(BALL, 160, 18, [wall]);
    expect(Math.max(...got.cover.map((c, i) => c * (got.marked!.share[i]! > 0.99 ? 1 : 0)))).toBe(0);
  });

  it("is as soft there as the plate's lens makes edges, and as dark up to the wall's own border", () => {
    const hard = shade(BALL, 35, 18, [wall]),
      { got } = shade(BALL, 35, 18, [wall], 2);
    const rise = (g: GroundShade): number => {
      // Steepest change from pixel to pixel well inside the wall, along its rows.
      const w = g.box[2] - g.box[0];
      let most = 0;
      for (let i = 1; i < g.cover.length; i++)
        if (i % w > 0 && g.marked!.share[i] === 1 && g.marked!.share[i - 1] === 1)
          most = Math.max(most, Math.abs(g.cover[i]! - g.cover[i - 1]!));
      return most;
    };
    // An edge spread by a Gaussian of sd 2 px rises by 1 / (2 √(2π)) at its steepest.
    expect(rise(hard.got)).toBeGreaterThan(0.3);
    expect(rise(got)).toBeLessThan(1 / (2 * Math.sqrt(2 * Math.PI)) + 0.01);
    // All the shadow that falls on the wall still does, nearly: none leaves over its border.
    const sum = (g: GroundShade): number => g.cover.reduce((a, c, i) => a + (g.marked!.share[i] === 1 ? c : 0), 0);
    expect(sum(got) / sum(hard.got)).toBeGreaterThan(0.97);
    expect(sum(got) / sum(hard.got)).toBeLessThan(1.03);
  });

  it('takes away as much as the key gives the wall, not the ground', () => {
    const { step, got } = shade(BALL, 35, 18, [wall]);
    const light = towards(35, 18),
      k = dot(n, light) / light[1];
    const w = got.box[2] - got.box[0],
      h = got.box[3] - got.box[1];
    const base = createPicture(w, h, 3);
    base.data.fill(0.5);
    const out = { ...base, data: base.data.slice() };
    applyShade(step, got, base, out, got.box, new Uint8Array(w * h), null, null);
    const deep = got.cover.findIndex((c, i) => c > 0.9999 && got.marked!.share[i] === 1);
    expect(deep).toBeGreaterThan(0);
    // Fill .3, key .7 on level ground; on the wall k times that key.
    expect(out.data[deep]! / 0.5).toBeCloseTo(0.3 / (0.3 + 0.7 * k), 3);
  });
});

describe('shadow on a step', () => {
  it('agrees with ray tracing on a step up, its riser and the ground', () => {
    const edge = 5.6,
      top = 0.22,
      half = 2;
    const riser: ShadowReceiver = {
      surface: 'wall',
      frames: [
        {
          frame: 0,
          polygon: [
            pixel([-half, 0, edge]),
            pixel([half, 0, edge]),
            pixel([half, top, edge]),
            pixel([-half, top, edge]),
          ],
          base: [pixel([-half, 0, edge]), pixel([half, 0, edge])],
        },
      ],
    };
    const step: ShadowReceiver = {
      surface: 'step',
      height: top,
      frames: [
        {
          frame: 0,
          polygon: [pixel([-half, top, edge]), pixel([half, top, edge]), pixel([half, top, 9]), pixel([-half, top, 9])],
        },
      ],
    };
    const scene: Scene = (o, v) => {
      const t = onPlane(o, v, [0, 1, 0], top),
        r = onPlane(o, v, [0, 0, -1], -edge),
        g = onPlane(o, v, [0, 1, 0], 0);
      if (t !== null && t.p[2] >= edge && t.p[2] < 9 && Math.abs(t.p[0]) < half)
        return { p: t.p, n: [0, 1, 0], surface: 2 };
      if (r !== null && r.p[1] >= 0 && r.p[1] < top && Math.abs(r.p[0]) < half)
        return { p: r.p, n: [0, 0, -1], surface: 1 };
      return g === null ? null : { p: g.p, n: [0, 1, 0], surface: 0 };
    };
    const { got } = shade(BALL, 30, 20, [riser, step]);
    const light = towards(30, 20);
    for (const surface of [-1, 1, 2]) {
      const { iou, pixels } = agreement(got, scene, BALL, light, surface);
      expect(pixels).toBeGreaterThan(300);
      expect(iou).toBeGreaterThan(0.85);
    }
    expect(agreement(shade(BALL, 30, 20, []).got, scene, BALL, light, -1).iou).toBeLessThan(0.75);
  });

  it('leaves no gap where two surfaces meet, and no trace of one beside its outline', () => {
    const edge = 5.6,
      top = 0.22;
    const riser: ShadowReceiver = {
      surface: 'wall',
      frames: [
        {
          frame: 0,
          polygon: [pixel([-2, 0, edge]), pixel([2, 0, edge]), pixel([2, top, edge]), pixel([-2, top, edge])],
          base: [pixel([-2, 0, edge]), pixel([2, 0, edge])],
        },
      ],
    };
    const step: ShadowReceiver = {
      surface: 'step',
      height: top,
      frames: [
        { frame: 0, polygon: [pixel([-2, top, edge]), pixel([2, top, edge]), pixel([2, top, 9]), pixel([-2, top, 9])] },
      ],
    };
    const face: ShadowReceiver = {
      surface: 'face',
      frames: [{ frame: 0, polygon: circle({ at: [-1.2, 0.35, 5], r: 0.3 }) }],
    };
    const both = shade(BALL, 30, 20, [riser, step]).got,
      three = shade(BALL, 30, 20, [riser, step, face]).got;
    const [x0, y0, x1] = both.box,
      w = x1 - x0,
      column = Math.floor(pixel([0, 0, edge])[0]) - x0;
    const foot = Math.floor(pixel([0, 0, edge])[1]) - y0,
      high = Math.floor(pixel([0, top, edge])[1]) - y0;
    for (let y = high - 4; y < foot; y++) {
      expect(both.marked!.share[y * w + column]).toBeCloseTo(1, 3);
      expect(both.cover[y * w + column]).toBeGreaterThan(0.99);
    }
    const [u0, v0, u1] = three.box;
    for (let y = high - 4; y < foot; y++) {
      const i = y * w + column,
        j = (y + y0 - v0) * (u1 - u0) + column + x0 - u0;
      expect(three.marked!.number[j]).toBe(both.marked!.number[i]);
      expect(three.marked!.key[j]).toBeCloseTo(both.marked!.key[i]!, 5);
    }
  });

  it('agrees with ray tracing on a floor that lies lower', () => {
    // The upper ground ends at x = −.15; what shows of the lower floor begins at that edge.
    const low = -0.3,
      edge = -0.15;
    const step: ShadowReceiver = {
      surface: 'step',
      height: low,
      frames: [
        { frame: 0, polygon: [pixel([edge, 0, 3]), pixel([edge, 0, 9]), pixel([-4, low, 11]), pixel([-4, low, 3.6])] },
      ],
    };
    const scene: Scene = (o, v) => {
      const g = onPlane(o, v, [0, 1, 0], 0),
        f = onPlane(o, v, [0, 1, 0], low);
      if (g !== null && g.p[0] >= edge) return { p: g.p, n: [0, 1, 0], surface: 0 };
      return f === null ? null : { p: f.p, n: [0, 1, 0], surface: 1 };
    };
    const { got } = shade(BALL, 65, 25, [step]);
    const { iou, pixels } = agreement(got, scene, BALL, towards(65, 25), 1);
    expect(pixels).toBeGreaterThan(1500);
    expect(iou).toBeGreaterThan(0.85);
  });
});

describe('shadow on a face', () => {
  it('agrees with ray tracing on a sphere beside the performer, at its distance and farther off', () => {
    // Without a foot line it stands in the upright plane through the performer that is square to the line of sight: .3
    // x + 5 z = .3² + 5².
    for (const [z, own, azimuth] of [
      [5 + (0.3 * (0.3 + 0.42)) / 5, true, 78],
      [5.35, false, 60],
    ] as const) {
      const head: Ball = { at: [-0.42, 0.42, z], r: 0.3 };
      const face: ShadowReceiver = {
        surface: 'face',
        frames: [
          {
            frame: 0,
            polygon: circle(head),
            ...(own ? {} : { base: [pixel([-0.7, 0, z]), pixel([-0.14, 0, z])] as const }),
          },
        ],
      };
      const scene: Scene = (o, v) => {
        const c: V = [head.at[0] - o[0], head.at[1] - o[1], head.at[2] - o[2]];
        const along = dot(c, v),
          root = along * along - dot(c, c) + head.r * head.r;
        if (root < 0) return null;
        const t = along - Math.sqrt(root);
        const p: V = [o[0] + v[0] * t, o[1] + v[1] * t, o[2] + v[2] * t];
        return {
          p,
          n: [(p[0] - head.at[0]) / head.r, (p[1] - head.at[1]) / head.r, (p[2] - head.at[2]) / head.r],
          surface: 0,
        };
      };
      const { got } = shade(BALL, azimuth, 12, [face]);
      const { iou, pixels } = agreement(got, scene, BALL, towards(azimuth, 12), 0);
      expect(pixels).toBeGreaterThan(800);
      expect(iou).toBeGreaterThan(0.85);
    }
  });
});
