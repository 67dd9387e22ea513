// Outline of the conductor's head, cap and collar as the camera sees them, row by row from the parts that people.ts
// builds them of.

import { project, type Camera } from './camera.js';
import { ofPerson, type PersonPose } from './people.js';
import { add, turnY, type Point, type Vec3 } from './vector.js';

/** A part of the head: middle and half axes in the head's own frame, metres. */
interface Part {
  readonly at: Vec3;
  readonly half: Vec3;
}

const ball = (at: Vec3, r: number): Part => ({ at, half: [r, r, r] });
const HEAD: readonly Part[] = [
  { at: [0, 0, 0], half: [0.122, 0.142, 0.125] },
  { at: [0, 0.155, 0.005], half: [0.175, 0.045, 0.172] },
  // The cap's band is a cylinder: balls flattened one over the other stand for it.
  ...[0.085, 0.105, 0.125].map((y): Part => ({ at: [0, y, 0], half: [0.1345, 0.016, 0.1345] })),
  // The peak: the front of a flat ball.
  { at: [0, 0.078, -0.14], half: [0.106, 0.017, 0.072] },
  { at: [0, 0, -0.137], half: [0.029, 0.029, 0.034] },
  ...[-1, 1].flatMap((s): Part[] => [
    ball([s * 0.035, -0.05, -0.142], 0.025),
    ball([s * 0.075, -0.064, -0.126], 0.022),
    ball([s * 0.108, -0.053, -0.105], 0.015),
    ball([s * 0.125, -0.025, -0.096], 0.008),
    { at: [s * 0.125, 0.01, 0], half: [0.018, 0.034, 0.026] },
  ]),
];
/** Collar, in the person's frame. */
const COLLAR: readonly Part[] = [
  { at: [0, 1.575, 0], half: [0.123, 0.03, 0.123] },
  { at: [0, 1.545, 0], half: [0.126, 0.028, 0.126] },
  { at: [0, 1.515, 0], half: [0.105, 0.025, 0.105] },
];
/** Rows of the outline, from the cap's top to the collar's foot. */
const ROWS = 26;

function turnX(p: Vec3, deg: number): Vec3 {
  const a = (deg * Math.PI) / 180;
  const c = Math.cos(a);
  const s = Math.sin(a);
  return [p[0], c * p[1] - s * p[2], s * p[1] + c * p[2]];
}

/** Corners down its right side and up its left, always as many; px. */
export function headOutline(man: PersonPose, c: Camera): Point[] {
  const seen = [
    ...HEAD.map((q) => ({
      at: ofPerson(man, add(turnY(turnX(q.at, man.headPitch ?? 0), man.headYaw ?? 0), [0, 1.675, 0])),
      half: q.half,
      yaw: man.yaw + (man.headYaw ?? 0),
    })),
    ...COLLAR.map((q) => ({ at: ofPerson(man, q.at), half: q.half, yaw: man.yaw })),
  ].map(({ at, half, yaw }) => {
    const [x, y] = project(c, at);
    const [x1] = project(c, add(at, c.right));
    const a = (yaw * Math.PI) / 180;
    const px = x1 - x;
    return { x, y, wide: px * Math.hypot(half[0] * Math.cos(a), half[2] * Math.sin(a)), tall: px * half[1] };
  });
  const top = Math.min(...seen.map((e) => e.y - e.tall));
  const foot = Math.max(...seen.map((e) => e.y + e.tall));
  const right: Point[] = [];
  const left: Point[] = [];
  for (let i = 0; i < ROWS; i++) {
    // Closer together at the ends, where the outline is round.
    const y = top + ((foot - top) * (1 - Math.cos((Math.PI * (i + 0.3)) / (ROWS - 0.4)))) / 2;
    let low = Infinity;
    let high = -Infinity;
    for (const e of seen) {
      const u = (y - e.y) / e.tall;
      if (Math.abs(u) >= 1) continue;
      const w = e.wide * Math.sqrt(1 - u * u);
      low = Math.min(low, e.x - w);
      high = Math.max(high, e.x + w);
    }
    if (low > high) {
      low = high = left[left.length - 1]?.[0] ?? seen[0]!.x;
    }
    right.push([high, y]);
    left.push([low, y]);
  }
  return [...right, ...left.reverse()];
}
