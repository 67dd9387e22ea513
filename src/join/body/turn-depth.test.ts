/**
 * Depth from turning outlines: a body and a head before it, as spheres, turned about the upright through the foot and
 * seen by a known camera.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, project } from '../../geometry/camera.js';
import { depthFromTurn } from './turn-depth.js';
import type { TurnedOutline } from './turned-outline.js';
import { turnedFrames } from './turned-frames.js';

const W = 320,
  H = 200,
  F = 420,
  TILT = -12,
  HEIGHT = 1,
  Z = 3;
const camera = groundCamera({ focalPx: F, tiltDeg: TILT, rollDeg: 0, cameraHeight: HEIGHT, widthPx: W, heightPx: H });
const foot = project(camera, [0, 0, Z])!;

/** The head stands so far in front; the front turns to the picture's left as yaw grows. */
function outline(front: number, yawDeg: number, frame: number, grows = 1): TurnedOutline {
  const alpha = new Float32Array(W * H),
    s = Math.sin(yawDeg * RAD_PER_DEG),
    c = Math.cos(yawDeg * RAD_PER_DEG);
  for (const [forward, y, r] of [
    [0, 0.24, 0.22],
    [front, 0.54, 0.13],
  ] as const) {
    const p = project(camera, [-forward * s, y, Z - forward * c])!,
      radius = (grows * F * r) / Math.sqrt(p.depth * p.depth - r * r);
    for (let i = 0; i < W * H; i++)
      alpha[i] = Math.max(
        alpha[i]!,
        Math.min(1, Math.max(0, radius - Math.hypot((i % W) + 0.5 - p.x, Math.floor(i / W) + 0.5 - p.y) + 0.5)),
      );
  }
  return { frame, yawDeg, alpha, box: [0, 0, W, H] };
}

const ground = {
  focalPx: F,
  widthPx: W,
  heightPx: H,
  at: {
    frame: 0,
    foot: [foot.x, foot.y] as const,
    pxPerMetre: F / foot.depth,
    tiltDeg: TILT,
    rollDeg: 0,
    azimuthDeg: 0,
  },
};
const told = (front: number, yaws: readonly number[]): ReturnType<typeof depthFromTurn> =>
  depthFromTurn(
    yaws.map((yaw, i) => outline(front, yaw, 10 * i)),
    ground,
  );

describe("a body's depth from its turn", () => {
  it('finds how far the head stands in front of the foot, seen from in front', () => {
    const found = told(0.22, [-30, 0, 30])!;
    expect(found.after).toBeGreaterThan(found.before + 0.03);
    const d = found.frames[1]!.depth,
      tall = 0.67,
      u = 0.54 / tall;
    // Of a carved body: where the middle of its head stands.
    const head =
      d.parts?.reduce((b, p) => (Math.hypot(p.x, p.u - u) < Math.hypot(b.x, b.u - u) ? p : b)).at[0] ??
      d.lean * u + d.head * (2 * u - 1);
    expect(Math.abs(head * tall - 0.22)).toBeLessThan(tall / 7);
  });

  it('makes a body that is seen end-on on the way as long as it looks from the side, about an upright beside the marked foot', () => {
    // Four balls one behind the other; the foot is marked a twelfth of the height aside.
    const long = (yawDeg: number, frame: number): TurnedOutline => {
      const alpha = new Float32Array(W * H),
        s = Math.sin(yawDeg * RAD_PER_DEG),
        c = Math.cos(yawDeg * RAD_PER_DEG);
      for (const [forward, y, r] of [
        [0.3, 0.24, 0.2],
        [0.1, 0.24, 0.2],
        [-0.1, 0.24, 0.2],
        [-0.3, 0.24, 0.2],
        [0.36, 0.52, 0.12],
      ] as const) {
        const p = project(camera, [-forward * s, y, Z - forward * c])!,
          radius = (F * r) / Math.sqrt(p.depth * p.depth - r * r);
        for (let i = 0; i < W * H; i++)
          alpha[i] = Math.max(
            alpha[i]!,
            Math.min(1, Math.max(0, radius - Math.hypot((i % W) + 0.5 - p.x, Math.floor(i / W) + 0.5 - p.y) + 0.5)),
          );
      }
      return { frame, yawDeg, alpha, box: [0, 0, W, H] };
    };
    const beside = project(camera, [0.05, 0, Z])!;
    const found = depthFromTurn(
      [-30, -10, 10, 30].map((yaw, i) => long(yaw, 10 * i)),
      { ...ground, at: { ...ground.at, foot: [beside.x, beside.y] } },
    )!;
    expect(found.carved).toBe(true);
    expect(found.after).toBeGreaterThan(found.before + 0.15);
    // On the frame at -10 degrees the hindmost ball stands .3 m behind the middle, the foremost as far before; the body
    // is .64 m tall.
    const at = found.frames[1]!.depth.parts!.filter((p) => p.r > 0.15 && p.u < 0.5).flatMap((p) => p.at);
    expect(Math.min(...at)).toBeLessThan(-0.25);
    expect(Math.max(...at)).toBeGreaterThan(0.2);
    expect(Math.max(...at) - Math.min(...at)).toBeLessThan(1.2);
  });

  it('leaves a body alone that is as deep as it looks, and one that does more than turn', () => {
    expect(told(0, [-30, 0, 30])).toBeNull();
    expect(depthFromTurn([outline(0.2, -30, 0), outline(0.2, 0, 5, 1.6), outline(0.2, 30, 10)], ground)).toBeNull();
  });

  it('takes frames spread over the turn, none where there is hardly one or the place changes', () => {
    const pose = (frame: number, yawDeg: number) => ({ kind: 'pose' as const, frame, yawDeg }),
      performer = (frame: number) => ({
        kind: 'performer' as const,
        frame,
        ground: [10, 20] as [number, number],
        top: [10, 5] as [number, number],
      });
    expect(
      turnedFrames({ frame: 0, marks: [performer(0), pose(0, 20), pose(35, -40)] }, 36).map((f) => f.frame),
    ).toEqual([35, 23, 12, 0]);
    expect(turnedFrames({ frame: 0, marks: [performer(0), pose(0, 170), pose(10, -170)] }, 11)).toEqual([]);
    expect(turnedFrames({ frame: 0, marks: [performer(0), performer(9), pose(0, 20), pose(35, -40)] }, 36)).toEqual([]);
  });
});
