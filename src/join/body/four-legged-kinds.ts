/**
 * Usual bodies (body-kind.ts) of animals on four legs: one that stands, one that sits on its haunches, one that lies.
 * Proportions and their spreads are own judgement of cats and dogs.
 */
import {
  type BodyKind,
  Filling,
  HEAD,
  HEAD_SIZE,
  head,
  LEG,
  LOOK,
  NECK_LONG,
  RAISE,
  spread,
  TAIL,
  TAIL_RAISE,
  TRUNK,
} from './body-kind.js';

/**
 * Numbers: trunk from hip to shoulder, leg under the trunk, neck's raise and length, head, look, step, tail's raise.
 */
export const STANDING: BodyKind = {
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
  stream: 61,
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
export const SITTING: BodyKind = {
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
  stream: 61,
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
export const LYING: BodyKind = {
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
  stream: 61,
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
