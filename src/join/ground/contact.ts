/**
 * Near the foot the body hides part of the sky: occlusion of a hemisphere by a ball, (n·d) R² / d² with d of unit
 * length (Christensen, "Ambient occlusion", RenderMan notes 2002; form factor of a sphere in Nusselt's analogue).
 */
import type { SolidBall } from './shadow-map.js';

/** Balls as flat lists, `rr` their squared radii. */
export interface ContactBalls {
  readonly count: number;
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly z: Float64Array;
  readonly rr: Float64Array;
}

/** The body's balls laid out for {@link contactAt}: middles and squared radii, in the balls' own unit. */
export function contactBalls(balls: readonly SolidBall[]): ContactBalls {
  return {
    count: balls.length,
    x: Float64Array.from(balls, (b) => b.centre[0]),
    y: Float64Array.from(balls, (b) => b.centre[1]),
    z: Float64Array.from(balls, (b) => b.centre[2]),
    rr: Float64Array.from(balls, (b) => b.radius * b.radius),
  };
}

/** Share of the sky hidden from a point of a surface, 0..1; (nx, ny, nz) its normal. */
export function contactAt(
  balls: ContactBalls,
  px: number,
  py: number,
  pz: number,
  nx: number,
  ny: number,
  nz: number,
): number {
  let open = 1;
  for (let i = 0; i < balls.count; i++) {
    const vx = balls.x[i]! - px,
      vy = balls.y[i]! - py,
      vz = balls.z[i]! - pz;
    const d2 = vx * vx + vy * vy + vz * vz;
    const s = vx * nx + vy * ny + vz * nz;
    if (s <= 0) continue;
    const hidden = (s * balls.rr[i]!) / (d2 * Math.sqrt(d2));
    open *= hidden >= 1 ? 0 : 1 - hidden;
  }
  return 1 - open;
}
