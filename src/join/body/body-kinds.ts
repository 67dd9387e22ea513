/**
 * Bodies that a performer may have, as few balls by a few numbers: an animal on four legs that stands, sits or lies, a
 * bird on two, a person. No likeness of one animal: trunk, legs, neck and head with usual proportions, so that an
 * outline, which tells no depth, can be asked which of them it may be of (body-likeness.ts).
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
  readonly name: 'standing' | 'sitting' | 'lying' | 'bird' | 'person';
  readonly spreads: readonly Spread[];
  /** Number of balls, the same for all of a kind. */
  readonly count: number;
  /** Fills `out` with the body of these numbers. */
  readonly make: (p: ArrayLike<number>, out: BallList) => void;
}

class Filling {
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

const TRUNK = 7,
  LEG = 8,
  NECK = 6,
  TAIL = 5;

/**
 * Neck from (0, y, z) on, raised by `raise` and as long as `long`; head and muzzle look along `look` beside the body's
 * front.
 */
function head(
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
const HEAD = NECK + 1 + 2 + 1;

const spread = (middle: number, sd: number, least: number, most: number): Spread => ({ middle, sd, least, most });
const RAISE = spread(0.9, 0.45, -0.3, 1.7),
  NECK_LONG = spread(1.4, 0.5, 0.4, 3),
  HEAD_SIZE = spread(0.62, 0.13, 0.35, 1),
  LOOK = spread(0, 0.35, -1.2, 1.2),
  TAIL_RAISE = spread(0.1, 0.6, -1.2, 1.3);

/**
 * Numbers: trunk from hip to shoulder, leg under the trunk, neck's raise and length, head, look, step, tail's raise.
 */
const STANDING: BodyKind = {
  name: 'standing',
  spreads: [
    spread(3.6, 0.8, 1.8, 6.5),
    spread(1.7, 0.6, 0.5, 3.5),
    RAISE,
    NECK_LONG,
    HEAD_SIZE,
    LOOK,
    spread(0, 0.25, -0.8, 0.8),
    TAIL_RAISE,
  ],
  count: TRUNK + 4 * LEG + HEAD + TAIL,
  make: (p, out) => {
    const f = new Filling(out),
      long = p[0]!,
      leg = p[1]!,
      y = leg + 0.85,
      step = p[6]!;
    f.limb(TRUNK, 0, y, -0.5 * long, 0.9, 0, y, 0.5 * long, 1);
    for (let side = -1; side <= 1; side += 2)
      for (let end = -1; end <= 1; end += 2)
        f.limb(
          LEG,
          side * 0.55,
          leg,
          end * 0.47 * long,
          0.36,
          side * 0.55,
          0.24,
          end * 0.47 * long + side * end * step,
          0.24,
        );
    head(f, y + 0.3, 0.55 * long, 0.7, p[2]!, p[3]!, p[4]!, p[5]!);
    f.limb(
      TAIL,
      0,
      y + 0.3,
      -0.5 * long - 0.8,
      0.22,
      0,
      y + 0.3 + 1.5 * Math.sin(p[7]!),
      -0.5 * long - 0.8 - 1.5 * Math.cos(p[7]!),
      0.12,
    );
  },
};

/** Numbers: trunk, its rise, neck's raise and length, head, look, haunches' breadth, where the tail lies. */
const SITTING: BodyKind = {
  name: 'sitting',
  spreads: [
    spread(2.2, 0.6, 0.9, 4),
    spread(1, 0.25, 0.3, 1.5),
    RAISE,
    spread(1, 0.5, 0.2, 2.6),
    HEAD_SIZE,
    LOOK,
    spread(1, 0.15, 0.6, 1.4),
    spread(0, 1, -2, 2),
  ],
  count: TRUNK + 2 * LEG + 4 + HEAD + TAIL,
  make: (p, out) => {
    const f = new Filling(out),
      long = p[0]!,
      c = Math.cos(p[1]!),
      s = Math.sin(p[1]!),
      wide = p[6]!,
      y = 1 + s * long,
      z = c * long - 0.5;
    f.limb(TRUNK, 0, 1, -0.5, 1.05, 0, y, z, 0.8);
    for (let side = -1; side <= 1; side += 2) {
      f.limb(LEG, side * 0.45, y - 0.4, z + 0.2, 0.36, side * 0.45, 0.24, z + 0.35, 0.24);
      f.ball(side * wide * 0.8, 0.62, 0, 0.62);
      f.ball(side * wide * 0.9, 0.24, 0.75, 0.24);
    }
    head(f, y + 0.3, z + 0.1, 0.65, p[2]!, p[3]!, p[4]!, p[5]!);
    f.limb(TAIL, 0, 0.3, -1.5, 0.25, 0.6 * p[7]!, 0.25, -2.3, 0.16);
  },
};

/**
 * Numbers: trunk, how far it is flattened or raised, neck's raise and length, head, look, forelegs' length, roll of the
 * hips.
 */
const LYING: BodyKind = {
  name: 'lying',
  spreads: [
    spread(3.6, 0.8, 1.6, 6.5),
    spread(0.95, 0.1, 0.7, 1.2),
    RAISE,
    spread(1.1, 0.5, 0.2, 2.6),
    HEAD_SIZE,
    LOOK,
    spread(1.4, 0.5, 0, 2.6),
    spread(0, 0.35, -0.9, 0.9),
  ],
  count: TRUNK + 2 * 3 + 4 + HEAD + TAIL,
  make: (p, out) => {
    const f = new Filling(out),
      long = p[0]!,
      y = p[1]!,
      roll = p[7]!;
    f.limb(TRUNK, 0, y, -0.5 * long, 0.95, 0, y, 0.5 * long, 1);
    for (let side = -1; side <= 1; side += 2) {
      f.limb(3, side * 0.6, 0.34, 0.45 * long, 0.34, side * 0.6, 0.25, 0.5 * long + p[6]!, 0.25);
      f.ball(side * 0.85 + roll, 0.6, -0.4 * long, 0.6);
      f.ball(side * 0.95 + roll, 0.26, -0.4 * long + 0.9, 0.26);
    }
    head(f, y + 0.4, 0.5 * long, 0.7, p[2]!, p[3]!, p[4]!, p[5]!);
    f.limb(TAIL, 0, 0.4, -0.5 * long - 0.9, 0.26, roll, 0.25, -0.5 * long - 2.4, 0.14);
  },
};

/** Numbers: trunk, its rise, leg, neck's raise and length, head, tail's length, look. */
const BIRD: BodyKind = {
  name: 'bird',
  spreads: [
    spread(1.3, 0.4, 0.5, 2.6),
    spread(0.35, 0.25, -0.2, 1.2),
    spread(1.2, 0.6, 0.2, 3),
    spread(1.2, 0.3, 0.3, 1.7),
    spread(1.3, 0.5, 0.3, 3),
    spread(0.38, 0.1, 0.2, 0.7),
    spread(1.3, 0.5, 0.3, 2.6),
    LOOK,
  ],
  count: TRUNK + 2 * LEG + 2 + NECK + 1 + 2 + TAIL,
  make: (p, out) => {
    const f = new Filling(out),
      half = 0.5 * p[0]!,
      c = Math.cos(p[1]!),
      s = Math.sin(p[1]!),
      leg = p[2]!,
      y = leg + 0.9,
      size = p[5]!,
      look = p[7]!;
    f.limb(TRUNK, 0, y - s * half, -c * half, 0.85, 0, y + s * half, c * half, 1);
    for (let side = -1; side <= 1; side += 2) {
      f.limb(LEG, side * 0.4, leg, 0, 0.18, side * 0.4, 0.1, 0, 0.11);
      f.ball(side * 0.4, 0.12, 0.25, 0.12);
    }
    const ny = y + s * half + 0.4,
      nz = c * half + 0.5,
      hy = ny + Math.sin(p[3]!) * p[4]!,
      hz = nz + Math.cos(p[3]!) * p[4]!;
    f.limb(NECK, 0, ny, nz, 0.5, 0, hy, hz, 0.8 * size);
    f.ball(0, hy + 0.2 * size, hz, size);
    f.limb(
      2,
      Math.sin(look) * size,
      hy + 0.1 * size,
      hz + Math.cos(look) * size,
      0.3 * size,
      Math.sin(look) * 1.8 * size,
      hy,
      hz + Math.cos(look) * 1.8 * size,
      0.15 * size,
    );
    f.limb(TAIL, 0, y - s * half, -c * half - 0.6, 0.45, 0, y - s * (half + p[6]!), -c * (half + p[6]!) - 0.5, 0.25);
  },
};

/**
 * Numbers (trunk's half breadth at the shoulders is a third of a radius more): trunk, leg, stride, breadth of the hips,
 * arms' spread and bend, head, lean.
 */
const PERSON: BodyKind = {
  name: 'person',
  spreads: [
    spread(3.2, 0.5, 2, 4.6),
    spread(5.2, 0.8, 3, 7.5),
    spread(0, 0.7, -2, 2),
    spread(0.75, 0.15, 0.4, 1.2),
    spread(0.5, 0.4, 0, 2),
    spread(0.6, 0.6, -0.5, 2.2),
    spread(0.75, 0.1, 0.5, 1),
    spread(0, 0.06, -0.2, 0.2),
  ],
  count: 2 * TRUNK + 2 * 8 + 2 + 2 * 8 + 3,
  make: (p, out) => {
    const f = new Filling(out),
      trunk = p[0]!,
      leg = p[1]!,
      stride = p[2]!,
      hip = p[3]!,
      spreadArm = p[4]!,
      bend = p[5]!,
      lean = p[7]! * trunk,
      y = leg + trunk;
    for (let side = -1; side <= 1; side += 2) {
      f.limb(TRUNK, side * 0.4, leg, 0, 0.75, side * 0.6, y - 0.4, lean, 0.75);
      f.limb(8, side * hip * 0.8, leg, 0, 0.6, side * hip, 0.3, side * stride, 0.3);
      f.ball(side * hip, 0.26, side * stride + 0.5, 0.26);
      f.limb(4, side * 1.3, y - 0.5, lean, 0.36, side * (1.5 + 0.5 * spreadArm), y - 2.4, lean, 0.3);
      f.limb(
        4,
        side * (1.5 + 0.5 * spreadArm),
        y - 2.4,
        lean,
        0.28,
        side * (1.4 + 0.5 * spreadArm),
        y - 2.4 - 1.8 * Math.cos(bend),
        lean + 1.8 * Math.sin(bend),
        0.22,
      );
    }
    f.limb(3, 0, y, lean, 0.4, 0, y + 1.1 + p[6]!, lean, p[6]!);
  },
};

/** All of them, as body-likeness.ts tries them. */
export const BODY_KINDS: readonly BodyKind[] = [STANDING, SITTING, LYING, BIRD, PERSON];
