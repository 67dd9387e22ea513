/**
 * Marks as a careful hand would set them: outlines round what the scenes draw, and lines and uprights from the truth.
 */
import { project, type Camera } from './camera.js';
import { add, type Point, type Vec3 } from './vector.js';

export type Mark = Record<string, unknown> & { readonly kind: string };

export interface Standing {
  readonly foot: Point;
  readonly top: Point;
  readonly shadowTip: Point;
  readonly height: number;
  readonly position: Vec3;
}

export const round = (p: Point): [number, number] => [Math.round(p[0] * 100) / 100, Math.round(p[1] * 100) / 100];
export const poly = (points: readonly Point[]): [number, number][] => points.map(round);

/** First, last and evenly spaced frames between. */
export function spread(count: number, marks: number): number[] {
  return Array.from({ length: marks }, (_, i) => Math.round((i * (count - 1)) / (marks - 1)));
}

/** Box round a standing person in the picture, a little larger than the person. */
export function around(c: Camera, at: Vec3, half: number, height: number): [number, number][] {
  const top = project(c, add(at, [0, height, 0]));
  const foot = project(c, at);
  const w = (c.focalPx * half) / Math.hypot(at[0] - c.position[0], at[2] - c.position[2]);
  const drop = w * 0.28;
  return poly([
    [top[0] - w * 0.5, top[1] - 5],
    [top[0] + w * 0.5, top[1] - 5],
    [top[0] + w * 0.72, top[1] + (foot[1] - top[1]) * 0.2],
    [foot[0] + w, top[1] + (foot[1] - top[1]) * 0.45],
    [foot[0] + w * 0.95, foot[1] + drop],
    [foot[0] - w * 0.95, foot[1] + drop],
    [foot[0] - w, top[1] + (foot[1] - top[1]) * 0.45],
    [top[0] - w * 0.72, top[1] + (foot[1] - top[1]) * 0.2],
  ]);
}

export const uprightAndShadow = (frame: number, s: Standing, shadow = true): Mark[] => [
  { kind: 'upright', frame, foot: round(s.foot), top: round(s.top), height: s.height },
  ...(shadow ? [{ kind: 'shadow', frame, foot: round(s.foot), tip: round(s.shadowTip), height: s.height }] : []),
];
export const lines = (frame: number, l: unknown): Mark => ({
  kind: 'groundLines',
  frame,
  lines: (l as [Point, Point][]).map((x) => poly(x)),
});

/** Every so many frames of a pick, and the last. */
export const every = (count: number, step: number): number[] =>
  Array.from({ length: count }, (_, n) => n).filter((n) => n % step === 0 || n === count - 1);

/** Support points of the parts in sixteen directions: their hull, always of as many corners. */
export function hullOf(
  parts: readonly { readonly x: number; readonly y: number; readonly wide: number; readonly tall: number }[],
  z: number,
): Vec3[] {
  return Array.from({ length: 16 }, (_, i): Vec3 => {
    const cx = Math.cos((i * Math.PI) / 8);
    const cy = Math.sin((i * Math.PI) / 8);
    let best: Vec3 = [0, 0, z];
    let most = -Infinity;
    for (const q of parts) {
      const reach = Math.hypot(q.wide * cx, q.tall * cy);
      const far = q.x * cx + q.y * cy + reach;
      if (far > most) {
        most = far;
        best = [q.x + (q.wide * q.wide * cx) / reach, q.y + (q.tall * q.tall * cy) / reach, z];
      }
    }
    return best;
  });
}
