/**
 * A made animal that lies aslant, of ellipsoids none of which body-kinds.ts holds: its outline and floor shadow by
 * rays.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { BODY_KINDS } from './body-kinds.js';
import { CROUCHING } from './crouching-kind.js';
import type { ProposalInput } from '../proposal-input.js';
import { depthFromLikeness, type TakeOutline } from './likely-depth.js';
import { fromOutline } from './propose-likeness.js';
import type { TakeGround } from './body-depth.js';

const W = 320,
  H = 200,
  F = 420,
  TILT = -12,
  HEIGHT = 1,
  Z = 3;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: HEIGHT, widthPx: W, heightPx: H });
const azimuth = 70,
  elevation = 40;
type V3 = readonly [number, number, number];
const light: V3 = [
  Math.cos(elevation * RAD_PER_DEG) * Math.sin(azimuth * RAD_PER_DEG),
  Math.sin(elevation * RAD_PER_DEG),
  -Math.cos(elevation * RAD_PER_DEG) * Math.cos(azimuth * RAD_PER_DEG),
];
/** Middle and half axes along the body, up and across. */
const PARTS = [
  [0, 0.13, 0.36, 0.13, 0.12],
  [0.36, 0.26, 0.09, 0.16, 0.08],
  [0.44, 0.4, 0.13, 0.09, 0.08],
  [0.42, 0.05, 0.2, 0.05, 0.05],
  [-0.28, 0.12, 0.12, 0.12, 0.15],
] as const;

/** Does a ray (forward) meet the body that is turned by `yaw` (0: its front to the right, 90: to the camera)? */
function meets(o: V3, d: V3, yaw: number): boolean {
  const c = Math.cos(yaw * RAD_PER_DEG),
    s = Math.sin(yaw * RAD_PER_DEG),
    own = (v: V3): V3 => [c * v[0] - s * v[2], v[1], s * v[0] + c * v[2]];
  const p = own([o[0], o[1], o[2] - Z]),
    q = own(d);
  return PARTS.some(([x, y, a, b, w]) => {
    const u = [(p[0] - x) / a, (p[1] - y) / b, p[2] / w] as const,
      v = [q[0] / a, q[1] / b, q[2] / w] as const;
    const uu = u[0] ** 2 + u[1] ** 2 + u[2] ** 2,
      uv = u[0] * v[0] + u[1] * v[1] + u[2] * v[2],
      vv = v[0] ** 2 + v[1] ** 2 + v[2] ** 2;
    return uv * uv >= vv * (uu - 1) && (uu < 1 || uv < 0);
  });
}

function seen(yaw: number, more: Partial<TakeOutline> = {}): TakeOutline {
  const alpha = new Float32Array(W * H),
    density = new Float32Array(W * H),
    r = camera.worldToCamera;
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const v = [(x + 0.5 - W / 2) / F, (y + 0.5 - H / 2) / F, 1] as const,
        d: V3 = [
          r[0] * v[0] + r[3] * v[1] + r[6] * v[2],
          r[1] * v[0] + r[4] * v[1] + r[7] * v[2],
          r[2] * v[0] + r[5] * v[1] + r[8] * v[2],
        ];
      if (meets(camera.position, d, yaw)) {
        alpha[i] = 1;
        continue;
      }
      const g = groundPoint(camera, x + 0.5, y + 0.5);
      if (g !== null && meets([g[0], 1e-4, g[2]], light, yaw)) density[i] = 0.6;
    }
  return {
    alpha,
    box: [0, 0, W, H],
    shadow: { width: W, height: H, cell: 1, density },
    toldAt: null,
    others: [],
    keySd: [1, 1],
    ...more,
  };
}

const foot = project(camera, [0, 0, Z])!;
const ground: TakeGround = {
  focalPx: F,
  azimuthDeg: azimuth,
  elevationDeg: elevation,
  softnessDeg: 0.5,
  widthPx: W,
  heightPx: H,
  at: { frame: 0, foot: [foot.x, foot.y], pxPerMetre: F / foot.depth, tiltDeg: TILT, rollDeg: 0, azimuthDeg: azimuth },
};

/**
 * How far the body reaches in depth between its parts' middles, metres, and how far its right third stands nearer than
 * its left one.
 */
function reach(found: ReturnType<typeof depthFromLikeness>, tall: number): { long: number; right: number } {
  const parts = found!.depth.parts!.map((p) => ({ x: p.x, near: p.at[0]! * tall })),
    near = parts.map((p) => p.near),
    xs = parts.map((p) => p.x).sort((a, b) => a - b);
  const mean = (v: readonly number[]): number => v.reduce((a, b) => a + b, 0) / v.length;
  const low = xs[Math.floor(xs.length / 3)]!,
    high = xs[Math.floor((2 * xs.length) / 3)]!;
  return {
    long: Math.max(...near) - Math.min(...near),
    right:
      mean(parts.filter((p) => p.x >= high).map((p) => p.near)) -
      mean(parts.filter((p) => p.x <= low).map((p) => p.near)),
  };
}

describe('a body that is like a usual one', () => {
  it('has as many balls as it says, of finite size', () => {
    for (const kind of BODY_KINDS) {
      const out = new Float64Array(4 * kind.count).fill(NaN);
      kind.make(
        kind.spreads.map((s) => s.middle),
        out,
      );
      expect(out.every(Number.isFinite)).toBe(true);
      for (let i = 3; i < out.length; i += 4) expect(out[i]!).toBeGreaterThan(0);
      // Stands on the ground and hangs over it nowhere.
      let low = Infinity;
      for (let i = 0; i < out.length; i += 4) low = Math.min(low, out[i + 1]! - out[i + 3]!);
      // Paws and toes that sink in show lower rows: seen nearly level, .14 of a trunk's radius put a whole bird a
      // quarter of its height too far.
      for (let i = 0; i < out.length; i += 4)
        if (out[i + 3]! < 0.5) expect(out[i + 1]! - out[i + 3]!).toBeGreaterThan(-0.011);
      expect(Math.abs(low)).toBeLessThan(0.2);
    }
  });

  it('lies as long in depth as the made one, towards the camera or away', () => {
    for (const yaw of [60, -60]) {
      const found = depthFromLikeness(seen(yaw), ground)!;
      expect(found.outline).toBeGreaterThan(0.75);
      expect(found.shadow!).toBeGreaterThan(0.7);
      // Head and hindquarters stand .72 sin 60° = .62 m apart in depth.
      const { long, right } = reach(found, 0.5);
      expect(long).toBeGreaterThan(0.45);
      expect(long).toBeLessThan(1.1);
      expect(Math.sign(right)).toBe(Math.sign(yaw));
    }
  });

  it('says nothing of a shadow where none is dark, and leaves out what the performer cannot throw', () => {
    const lit = seen(60, { shadow: { width: W, height: H, cell: 1, density: new Float32Array(W * H) } });
    expect(depthFromLikeness(lit, ground)!.shadow).toBeNull();
    // A fold on the key's own side of the performer.
    const folded = seen(60),
      right = folded.shadow!.density.slice();
    for (let y = 110; y < 150; y++) for (let x = 270; x < 310; x++) right[y * W + x] = 0.6;
    const told = depthFromLikeness(folded, ground)!;
    // The same bytes for the same input.
    expect(depthFromLikeness(folded, ground)).toEqual(told);
    const beside = depthFromLikeness({ ...folded, shadow: { ...folded.shadow!, density: right } }, ground)!;
    expect(Math.abs(beside.shadow! - told.shadow!)).toBeLessThan(0.05);
    expect(depthFromLikeness({ ...lit, alpha: new Float32Array(W * H) }, ground)).toBeNull();
  });
});

/** A take that shows this outline and no shadow. */
function outlinedAlone(alpha: Float32Array): ReturnType<typeof fromOutline> {
  const data = new Float32Array(4 * W * H);
  data.set(alpha, 3 * W * H);
  const side = {
    measures: {
      widthPx: W,
      heightPx: H,
      view: { frame: 0, focalPx: { value: F }, tiltDeg: { value: TILT }, rollDeg: { value: 0 } },
    },
    marks: { marks: [] },
  };
  const top = project(camera, [0, 0.5, Z])!;
  return fromOutline(
    {
      plate: side,
      take: side,
      seen: { frame: 0, performer: { picture: { width: W, height: H, channels: 4, data }, box: [0, 0, W, H] } },
    } as unknown as ProposalInput,
    { frame: 0, ground: [foot.x, foot.y], top: [top.x, top.y], height: null },
  );
}

describe('a body that throws no shadow in its take', () => {
  it('is told by its outline where it lies aslant, as long in depth as the made one', () => {
    const found = outlinedAlone(seen(-45).alpha)!;
    expect(found.why).toContain('that lies');
    const whole = found.depth!.whole!,
      near = whole.map((b) => b[2]);
    // Head and hindquarters, .72 m apart, at 45°: .51 m, in lengths of which the mark's height, .5 m, is one.
    const deep = Math.max(...near) - Math.min(...near);
    expect(deep).toBeGreaterThan(0.9);
    expect(deep).toBeLessThan(2.2);
    // Its front, to the right, looks away.
    const right = whole.reduce((a, b) => (b[0] > a[0] ? b : a)),
      left = whole.reduce((a, b) => (b[0] < a[0] ? b : a));
    expect(right[2]).toBeLessThan(left[2]);
  });

  it('is told where it crouches and is long, and left flat and round where it crouches upright', () => {
    /** Outline of a body that crouches with its side to the camera, each of its balls seen as a disc. */
    const crouched = (trunk: number, rise: number, raise: number): Float32Array => {
      const balls = new Float64Array(4 * CROUCHING.count),
        alpha = new Float32Array(W * H);
      CROUCHING.make([trunk, rise, 0.78, raise, 0.66, 0, 0.5, 0.9], balls);
      for (let i = 0; i < balls.length; i += 4) {
        const k = 0.14,
          at = project(camera, [k * balls[i + 2]!, k * balls[i + 1]!, Z - k * balls[i]!])!,
          r = (F * k * balls[i + 3]!) / at.depth;
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) if (Math.hypot(x + 0.5 - at.x, y + 0.5 - at.y) < r) alpha[y * W + x] = 1;
      }
      return alpha;
    };
    expect(outlinedAlone(crouched(2.2, 0.1, 0.4))!.why).toContain('that crouches');
    expect(outlinedAlone(crouched(0.8, 1.4, 1.4))).toBeNull();
  });

  it('is left flat and round where its outline is no usual body’s', () => {
    const bar = new Float32Array(W * H);
    for (let y = 20; y < 150; y++) for (let x = 60; x < 260; x++) if ((x - 60) % 50 < 20 || y < 40) bar[y * W + x] = 1;
    expect(outlinedAlone(bar)).toBeNull();
    // The made animal nearly end-on.
    expect(outlinedAlone(seen(75).alpha)).toBeNull();
    expect(outlinedAlone(new Float32Array(W * H))).toBeNull();
  });
});
