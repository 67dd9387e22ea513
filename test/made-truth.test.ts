import { describe, expect, it } from 'vitest';
import { truthPlan } from '../bench/truth-plan.js';
import {
  plateCamera,
  projectWorld,
  shadowOnGround,
  sunInWorld,
  takeCamera,
  truthKind,
  type TruthKind,
  type Vec3,
} from '../bench/truth-set.js';

// Made truth sets (bench/truth-scenes.ts) must keep the practice set's conventions, or
// marks made from them lie. Nothing is traced.
const KINDS: readonly TruthKind[] = ['stand', 'turn', 'pan', 'push'];
const SEEDS = [340, 341, 342];
const DEG = Math.PI / 180;
const up = (p: Vec3, h: number): Vec3 => [p[0], p[1] + h, p[2]];

describe.each(KINDS.flatMap((kind) => SEEDS.map((seed) => ({ kind, seed }))))(
  'made truth: $kind $seed',
  ({ kind, seed }) => {
    const plan = truthPlan(kind, seed);
    const t = plan.truth;

    it('puts feet and heads where the set’s own camera shows them, in the picture', () => {
      expect(truthKind(t.name)).toBe(kind);
      for (const f of t.frames) {
        const c = plateCamera(t, f.frame);
        for (const [place, height, low, high] of [
          [f.performer.position, t.heights.performer, f.performer.ground, f.performer.top],
          [f.mannequin.position, t.heights.mannequin, f.mannequin.feet, f.mannequin.top],
        ] as const) {
          for (const [k, p] of [
            [low, place],
            [high, up(place, height)],
          ] as const) {
            const q = projectWorld(p, c);
            expect(Math.hypot(q[0] - k[0], q[1] - k[1])).toBeLessThan(1e-6);
          }
        }
        for (const p of [f.performer.ground, f.performer.top]) {
          expect(p[0]).toBeGreaterThan(0);
          expect(p[0]).toBeLessThan(t.width);
          expect(p[1]).toBeGreaterThan(0);
          expect(p[1]).toBeLessThan(t.height);
        }
        expect(f.performer.top[1]).toBeLessThan(f.performer.ground[1]);
      }
    });

    it('tells sun, heading and view as its rotation does', () => {
      const check = (
        R: readonly Vec3[],
        C: Vec3,
        inCamera: Vec3,
        sun: { azimuthDeg: number; elevationDeg: number },
        view: { viewElevationDeg: number; distance: number },
        middle: Vec3,
      ): void => {
        // Rows right, down, forward; azimuth from behind the camera, positive from its
        // right, on level ground (the practice set's words).
        const s = sunInWorld(inCamera, R as never);
        const f = R[2]!;
        const flat = Math.hypot(f[0], f[2]);
        const ahead = (s[0] * f[0] + s[2] * f[2]) / flat;
        const right = (s[0] * f[2] - s[2] * f[0]) / flat;
        expect(Math.hypot(...s)).toBeCloseTo(1, 6);
        expect(sun.elevationDeg).toBeCloseTo(Math.asin(s[1]) / DEG, 4);
        expect(sun.azimuthDeg).toBeCloseTo(Math.atan2(right, -ahead) / DEG, 4);
        expect(R[1]![1]).toBeLessThan(0);
        const d: Vec3 = [C[0] - middle[0], C[1] - middle[1], C[2] - middle[2]];
        expect(view.distance).toBeCloseTo(Math.hypot(...d), 6);
        expect(view.viewElevationDeg).toBeCloseTo(Math.asin(d[1] / Math.hypot(...d)) / DEG, 4);
      };
      for (const f of t.frames) {
        check(
          f.rotationWorldToCamera,
          f.cameraPosition,
          f.sunInCamera,
          f.sun,
          f.view,
          up(f.performer.position, t.heights.performer / 2),
        );
        expect(f.headingDeg).toBeCloseTo(
          Math.atan2(f.rotationWorldToCamera[2][0], f.rotationWorldToCamera[2][2]) / DEG,
          6,
        );
      }
      check(t.take.rotationWorldToCamera, t.take.cameraPosition, t.take.sunInCamera, t.take.sun, t.take.view, [
        0,
        t.heights.performer / 2,
        0,
      ]);
      const tip = shadowOnGround([0, t.heights.performer, 0], sunInWorld(t.take.sunInCamera, takeCamera(t).R));
      expect(tip[1]).toBe(0);
      expect(Math.hypot(tip[0], tip[2])).toBeCloseTo(t.heights.performer / Math.tan(t.take.sun.elevationDeg * DEG), 5);
    });

    it('moves as its kind says', () => {
      const a = t.frames[0]!;
      const z = t.frames.at(-1)!;
      const moved = (x: Vec3, y: Vec3): number => Math.hypot(x[0] - y[0], x[1] - y[1], x[2] - y[2]);
      const turned = Math.abs(z.headingDeg - a.headingDeg);
      if (kind === 'turn') {
        for (const f of t.frames) {
          // Positive yaw turns the front to the camera's left: what is carried before the man goes to smaller x.
          const front = [-Math.sin(f.mannequin.yaw * DEG), -Math.cos(f.mannequin.yaw * DEG)];
          const d = [
            f.performer.position[0] - f.mannequin.position[0],
            f.performer.position[2] - f.mannequin.position[2],
          ];
          expect(d[0]! * front[0]! + d[1]! * front[1]!).toBeGreaterThan(0.15);
          expect(f.performer.yaw).toBe(f.mannequin.yaw);
        }
        expect(Math.abs(z.mannequin.yaw - a.mannequin.yaw)).toBeGreaterThan(60);
        // The take turns at its own rate from the same start.
        const offset = a.takeYaw - a.performer.yaw;
        const at = t.frames.length - 1;
        expect(
          t.take.pace >= 1
            ? z.takeYaw - offset - z.performer.yaw
            : plan.performer.yaw(at * t.take.pace) + offset - z.takeYaw,
        ).toBeCloseTo(0, 6);
        expect(Object.keys(a.posterCorners)).toHaveLength(0);
      } else {
        expect(moved(a.performer.position, z.performer.position)).toBe(0);
        expect(
          t.frames.every((f) => Math.abs(f.takeYaw - f.performer.yaw - (a.takeYaw - a.performer.yaw)) < 1e-9),
        ).toBe(true);
      }
      if (kind === 'pan') {
        expect(turned).toBeGreaterThan(11);
        expect(moved(a.cameraPosition, z.cameraPosition)).toBe(0);
        expect(moved(a.mannequin.position, z.mannequin.position)).toBeGreaterThan(1);
      } else if (kind === 'push') expect(moved(a.cameraPosition, z.cameraPosition)).toBeGreaterThan(0.2);
      else {
        expect(turned).toBe(0);
        expect(moved(a.cameraPosition, z.cameraPosition)).toBe(0);
      }
    });
  },
);
