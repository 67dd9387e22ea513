/**
 * Who stands where in a made truth shot (truth-plan.ts), how they turn and walk, and how the camera moves: functions
 * of the frame, drawn from the plan's one stream. Performer at the world's middle, the man beside or with it; metres,
 * degrees.
 */
import { aim, headingDeg, tiltDeg, type Camera } from '../demo/scenes/camera.js';
import { wander } from '../demo/scenes/random.js';
import { add, DEG, ease, turnY, type Vec3 } from '../demo/scenes/vector.js';
import { H, W } from './truth-furniture.js';
import type { Man } from './truth-man.js';
import { FRAMES, cameraShowing } from './truth-plan-words.js';
import type { TruthKind } from './truth-set.js';
import type { TruthDraws } from './truth-take-plan.js';

/** How large the performer is in the picture, and from which side of it the man is. */
export interface Framing {
  /** −1: the man stands on the picture's left, or walks to it; 1: right. */
  readonly side: number;
  readonly focalPx: number;
  /** Distance and height of the camera. */
  readonly far: number;
  readonly high: number;
}

/** @param heightM of the performer */
export function drawFraming({ u, sign }: TruthDraws, kind: TruthKind, heightM: number): Framing {
  const carried = kind === 'turn';
  const side = sign();
  const focalPx = W * (carried ? u(1.4, 2.1) : kind === 'pan' ? u(1, 1.4) : u(1.05, 1.8));
  const share = carried ? u(0.28, 0.42) : u(0.24, 0.38);
  return { side, focalPx, far: (focalPx * heightM) / (share * H), high: carried ? u(1.15, 1.7) : u(0.9, 1.65) };
}

/** Places of both and the directions that they face, by frame. */
export interface Bodies {
  readonly manAt: (f: number) => Vec3;
  readonly manYaw: (f: number) => number;
  readonly performerAt: (f: number) => Vec3;
  readonly performerYaw: (f: number) => number;
}

export function drawBodies({ u, sign }: TruthDraws, kind: TruthKind, man: Man, side: number): Bodies {
  const t = (f: number): number => f / (FRAMES[kind] - 1);
  // Most is drawn for every kind, used or not: the order of the draws is part of the plan.
  const turnBy = sign() * u(70, 140);
  const yawFrom = -turnBy * u(0.35, 0.65);
  const yaw0 = u(-40, 40);
  const sway = u(-20, 20);
  const at: Vec3 =
    kind === 'turn'
      ? [0, 0, 0]
      : kind === 'pan'
        ? [-side * u(0.5, 0.8), 0, u(-0.2, 0.7)]
        : [side * u(0.75, 1.2), 0, u(0.2, 1.3)];
  const walk = u(1.1, 1.5);
  const standYaw = u(-50, 50);
  const standTurn = u(-40, 40);
  const standing = (f: number): number => standYaw + standTurn * t(f);
  switch (kind) {
    case 'turn': {
      const yaw = (f: number): number => yawFrom + turnBy * ease(t(f));
      return { manAt: () => at, manYaw: yaw, performerAt: (f) => add(at, turnY(man.seat, yaw(f))), performerYaw: yaw };
    }
    case 'pan':
      return {
        manAt: (f) => [at[0] + side * walk * t(f), 0, at[2]],
        manYaw: () => -90 * side,
        performerAt: () => [0, 0, 0],
        performerYaw: standing,
      };
    case 'stand':
    case 'push':
      return {
        manAt: () => at,
        manYaw: (f) => yaw0 + sway * t(f),
        performerAt: () => [0, 0, 0],
        performerYaw: standing,
      };
  }
}

/** The camera by frame, and how far it comes nearer (metres) where it does. */
export interface CameraPlan {
  readonly at: (f: number) => Camera;
  readonly ahead: number;
}

export function drawCamera(
  { u, sign }: TruthDraws,
  kind: TruthKind,
  seed: number,
  man: Man,
  { side, focalPx, far, high }: Framing,
): CameraPlan {
  const carried = kind === 'turn';
  const bearing = u(-8, 8);
  const position: Vec3 = [-far * Math.sin(bearing * DEG), high, -far * Math.cos(bearing * DEG)];
  const middle: Vec3 = carried ? [0, man.seat[1], 0] : [0, 0, 0];
  // Shares of the picture's width at which the performer stands.
  const across = {
    turn: () => u(0.42, 0.58),
    stand: () => 0.5 - side * u(0.08, 0.16),
    push: () => 0.5 - side * u(0.02, 0.1),
    pan: () => 0.5,
  }[kind]();
  const base = cameraShowing(position, middle, W * across, H * (carried ? u(0.62, 0.74) : u(0.78, 0.92)), focalPx);
  const heading = headingDeg(base);
  const tilt = tiltDeg(base);
  const panBy = sign() * u(12, 22);
  const ahead = u(0.15, 0.32) * far;
  const aside = sign() * u(0.15, 0.5);
  // Degrees that shift the picture by 2.8 px.
  const shake = (0.35 * Math.atan(8 / focalPx)) / DEG;
  const t = (f: number): number => f / (FRAMES[kind] - 1);
  const at = (f: number): Camera => {
    if (kind === 'pan') return aim(position, heading + panBy * (ease(t(f)) - 0.5), tilt, focalPx, 0, W, H);
    if (kind !== 'push') return base;
    const e = ease(0.1 + 0.8 * t(f));
    const q = (k: number): number => shake * wander(seed * 8 + k, f / 24);
    const moved: Vec3 = [position[0] + aside * (e - 0.5), high - 0.1 * e, position[2] + ahead * e];
    const seen = cameraShowing(moved, middle, W * 0.5 - side * 30, H * 0.86, focalPx);
    return aim(moved, headingDeg(seen) + q(1), tiltDeg(seen) + q(2), focalPx, 0, W, H);
  };
  return { at, ahead };
}
