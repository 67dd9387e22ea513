/**
 * Usual bodies (body-kind.ts) on two legs: a bird and a person. Proportions and their spreads are own judgement.
 */
import { type BodyKind, Filling, LEG, LOOK, NECK, spread, TAIL, TRUNK } from './body-kind.js';

/** Numbers: trunk, its rise, leg, neck's raise and length, head, tail's length, look. */
export const BIRD: BodyKind = {
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
  stream: 61,
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
export const PERSON: BodyKind = {
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
  stream: 61,
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
