/**
 * The usual body (body-kind.ts) of a small animal that crouches, its legs folded under it: a rabbit, a guinea pig, a
 * cat with its paws tucked in. A trunk like an egg, broad at the haunches, from nearly level to nearly upright; the
 * head sits close on its front, with ears from a stub to as long as the head, up, back or hanging. Proportions and
 * their spreads are own judgement of how such animals look, not measured.
 */
import { type BodyKind, Filling, HEAD_SIZE, LOOK, spread } from './body-kind.js';

const EGG = 7,
  THROAT = 3,
  EAR = 4;

/**
 * Numbers: hips to shoulders, their rise, the shoulders' radius, the head's raise over them and its size, look, the
 * ears' length, their raise (0 back along the head, a right angle up, below 0 hanging).
 */
export const CROUCHING: BodyKind = {
  name: 'crouching',
  spreads: [
    spread(1.1, 0.5, 0.3, 2.6),
    spread(0.6, 0.5, -0.1, 1.55),
    spread(0.78, 0.1, 0.5, 1),
    spread(0.7, 0.45, -0.3, 1.55),
    { ...HEAD_SIZE, middle: 0.66 },
    LOOK,
    spread(0.9, 0.6, 0.2, 2.2),
    spread(0.9, 0.7, -1.4, 1.8),
  ],
  count: EGG + THROAT + 2 * 2 + 1 + 2 + 1 + 2 * EAR,
  stream: 62,
  make: (p, out) => {
    const f = new Filling(out),
      long = p[0]!,
      c = Math.cos(p[1]!),
      s = Math.sin(p[1]!),
      chest = p[2]!,
      size = p[4]!,
      z0 = -0.5 * long * c;
    // The chest stays off the ground by its own radius.
    const y = Math.max(chest, 1 + s * long),
      z = z0 + c * long;
    f.limb(EGG, 0, 1, z0, 1, 0, y, z, chest);
    const reach = 0.5 * chest + size,
      hy = Math.max(size, y + 0.2 + Math.sin(p[3]!) * reach),
      hz = z + Math.cos(p[3]!) * reach;
    f.limb(THROAT, 0, y + 0.1, z + 0.2, 0.8 * chest, 0, hy, hz, 0.85 * size);
    for (let side = -1; side <= 1; side += 2) {
      f.ball(side * 0.75, 0.62, z0 + 0.15, 0.62);
      f.ball(side * 0.4, 0.22, Math.max(z, z0 + 0.8) + 0.35, 0.22);
    }
    const lx = Math.sin(p[5]!),
      lz = Math.cos(p[5]!);
    f.ball(0, hy, hz, size);
    f.limb(
      2,
      lx * 0.6 * size,
      hy - 0.15 * size,
      hz + lz * 0.6 * size,
      0.6 * size,
      lx * size,
      hy - 0.25 * size,
      hz + lz * size,
      0.4 * size,
    );
    // The scut.
    f.ball(0, 0.75, z0 - 0.95, 0.3);
    // Ears start on the crown; those that hang, at the head's sides, and end above the ground.
    const hang = p[7]! < 0,
      ear = p[6]!,
      aside = (hang ? 0.9 : 0.5) * size,
      y1 = hy + (hang ? 0.3 : 0.65) * size,
      y2 = Math.max(0.25, y1 + Math.sin(p[7]!) * ear),
      z2 = hz - Math.max(0, Math.cos(p[7]!)) * (hang ? 0.3 : 1) * ear;
    for (let side = -1; side <= 1; side += 2)
      f.limb(EAR, side * aside, y1, hz, 0.28 * size, side * aside, y2, z2, 0.22 * size);
  },
};
