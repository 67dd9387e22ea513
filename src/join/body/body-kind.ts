/**
 * What a usual body is (body-kinds.ts), and what several of them have in common: balls along a limb, neck and head.
 *
 * A body's own frame: x to its right, y up from the ground, z to where its front looks; lengths in radii of its trunk.
 */

/** Balls as x, y, z, r in turn. */
export type BallList = Float64Array;

/** How one of a kind's numbers is spread before anything is seen: middle and sd, and its ends. */
export interface Spread {
  readonly middle: number;
  readonly sd: number;
  readonly least: number;
  readonly most: number;
}

export interface BodyKind {
  readonly name: 'standing' | 'sitting' | 'lying' | 'crouching' | 'bird' | 'person';
  readonly spreads: readonly Spread[];
  /** Number of balls, the same for all of a kind. */
  readonly count: number;
  /** Stream of random numbers that it is searched by: what one finds does not hang on a kind of another stream. */
  readonly stream: number;
  /** Fills `out` with the body of these numbers. */
  readonly make: (p: ArrayLike<number>, out: BallList) => void;
}

/** Writes a body's balls one after the other. */
export class Filling {
  private at = 0;
  private readonly out: BallList;
  constructor(out: BallList) {
    this.out = out;
  }
  ball(x: number, y: number, z: number, r: number): void {
    const { out } = this;
    out[this.at++] = x;
    out[this.at++] = y;
    out[this.at++] = z;
    out[this.at++] = r;
  }
  /** `n` balls from one place to another, their radii going along. */
  limb(
    n: number,
    x0: number,
    y0: number,
    z0: number,
    r0: number,
    x1: number,
    y1: number,
    z1: number,
    r1: number,
  ): void {
    for (let k = 0; k < n; k++) {
      const t = n === 1 ? 1 : k / (n - 1);
      this.ball(x0 + t * (x1 - x0), y0 + t * (y1 - y0), z0 + t * (z1 - z0), r0 + t * (r1 - r0));
    }
  }
}

/** Balls along a trunk, a leg, a neck and a tail. */
export const TRUNK = 7,
  LEG = 8,
  NECK = 6,
  TAIL = 5;

/**
 * Neck from (0, y, z) on, raised by `raise` and as long as `long`; head and muzzle look along `look` beside the body's
 * front.
 */
export function head(
  f: Filling,
  y: number,
  z: number,
  thick: number,
  raise: number,
  long: number,
  size: number,
  look: number,
): void {
  const c = Math.cos(raise),
    s = Math.sin(raise),
    hy = y + s * long,
    hz = z + c * long,
    lx = Math.sin(look),
    lz = Math.cos(look);
  f.limb(NECK, 0, y, z, thick, 0, hy, hz, 0.8 * size);
  f.ball(0, hy + 0.15 * size, hz, size);
  f.limb(
    2,
    lx * 0.9 * size,
    hy - 0.1 * size,
    hz + lz * 0.9 * size,
    0.55 * size,
    lx * 1.5 * size,
    hy - 0.2 * size,
    hz + lz * 1.5 * size,
    0.4 * size,
  );
  f.ball(0, hy + 1.05 * size, hz - 0.1 * size, 0.35 * size);
}
export const HEAD = NECK + 1 + 2 + 1;

export const spread = (middle: number, sd: number, least: number, most: number): Spread => ({
  middle,
  sd,
  least,
  most,
});
export const RAISE = spread(0.9, 0.45, -0.3, 1.7),
  NECK_LONG = spread(1.4, 0.5, 0.4, 3),
  HEAD_SIZE = spread(0.62, 0.13, 0.35, 1),
  LOOK = spread(0, 0.35, -1.2, 1.2),
  TAIL_RAISE = spread(0.1, 0.6, -1.2, 1.3);
