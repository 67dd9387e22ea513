import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import type { PerformerPicture } from '../peel/performer.js';
import { surfaceFromTurn, turnSurface } from './turn-surface.js';

// A ball of radius .3 m that rests on the ground, .2 m before the axis at yaw 0, its coat spotted; seen from 3 m at 20°
// by a pinhole of 600 px.
const W = 320,
  H = 280,
  FOCAL = 600,
  DISTANCE = 3,
  DOWN = 20 * RAD_PER_DEG,
  RADIUS = 0.3,
  AHEAD = 0.2;
const noise = new Float32Array(4096);
{
  const r = new RandomStream(4);
  for (let i = 0; i < noise.length; i++) noise[i] = r.uniform();
}
const cellNoise = (x: number, y: number, z: number): number =>
  noise[(Math.floor(x) * 73 + Math.floor(y) * 179 + Math.floor(z) * 283) & 4095]!;
/** Smooth spots over the ball. */
const coat = (x: number, y: number, z: number): number => {
  const f = (v: number): [number, number] => {
    const i = Math.floor(v),
      t = v - i;
    return [i, t * t * (3 - 2 * t)];
  };
  const [i, a] = f(x * 22),
    [j, b] = f(y * 22),
    [k, c] = f(z * 22);
  let s = 0;
  for (const [dx, wx] of [
    [0, 1 - a],
    [1, a],
  ] as const)
    for (const [dy, wy] of [
      [0, 1 - b],
      [1, b],
    ] as const)
      for (const [dz, wz] of [
        [0, 1 - c],
        [1, c],
      ] as const)
        s += wx * wy * wz * cellNoise(i + dx, j + dy, k + dz);
  return 0.05 + 0.6 * s;
};
// Foot at the origin, x aside, y up, z towards the camera along the ground; the camera looks at the foot.
const eye = [0, DISTANCE * Math.sin(DOWN), DISTANCE * Math.cos(DOWN)] as const,
  FOOT = [W / 2, 220] as const;

function performer(yawDeg: number): PerformerPicture {
  const p = createPicture(W, H, 4),
    n = W * H,
    c = Math.cos(yawDeg * RAD_PER_DEG),
    s = Math.sin(yawDeg * RAD_PER_DEG);
  // Yaw grows as the front turns to the picture's left.
  const centre = [-AHEAD * s, RADIUS, AHEAD * c] as const;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const u = (x + 0.5 - FOOT[0]) / FOCAL,
        v = -(y + 0.5 - FOOT[1]) / FOCAL;
      const d = [u, v * Math.cos(DOWN) - Math.sin(DOWN), -v * Math.sin(DOWN) - Math.cos(DOWN)] as const;
      const o = eye.map((e, i) => e - centre[i]!),
        a = d[0] ** 2 + d[1] ** 2 + d[2] ** 2,
        b = o[0]! * d[0] + o[1]! * d[1] + o[2]! * d[2],
        q = b * b - a * (o[0]! ** 2 + o[1]! ** 2 + o[2]! ** 2 - RADIUS * RADIUS);
      if (q < 0) continue;
      const t = (-b - Math.sqrt(q)) / a,
        hx = o[0]! + t * d[0],
        hy = o[1]! + t * d[1],
        hz = o[2]! + t * d[2];
      const l = coat(hx * c + hz * s + 5, hy + 5, hz * c - hx * s + 5),
        i = y * W + x;
      for (let k = 0; k < 3; k++) p.data[k * n + i] = l;
      p.data[3 * n + i] = 1;
    }
  return { picture: p, box: [0, 0, W, H] };
}

const tiltDeg = -20,
  ground = {
    focalPx: FOCAL,
    widthPx: W,
    heightPx: 2 * FOOT[1],
    at: {
      frame: 0,
      foot: [FOOT[0], FOOT[1]] as [number, number],
      pxPerMetre: FOCAL / DISTANCE,
      tiltDeg,
      rollDeg: 0,
      azimuthDeg: 0,
    },
  };
const tall = 120;
/** Front of the ball, in shares of `tall`, where the line of sight of a point meets it at yaw 0. */
function trueFront(x: number, u: number): number {
  const px = (x * tall) / FOCAL,
    py = (u * tall) / FOCAL,
    d = [px, py * Math.cos(DOWN) - Math.sin(DOWN), -py * Math.sin(DOWN) - Math.cos(DOWN)] as const;
  const o = [0 - 0, eye[1] - RADIUS, eye[2] - AHEAD],
    a = d[0] ** 2 + d[1] ** 2 + d[2] ** 2,
    b = o[0]! * d[0] + o[1]! * d[1] + o[2]! * d[2],
    q = b * b - a * (o[0]! ** 2 + o[1]! ** 2 + o[2]! ** 2 - RADIUS * RADIUS);
  return ((eye[2] + ((-b - Math.sqrt(Math.max(0, q))) / a) * d[2]) * FOCAL) / DISTANCE / tall;
}

describe('the front of a body that turns', () => {
  const first = performer(0);
  it('is told by its coat, and so is how far it turned, though the poses are a third off', () => {
    const found = surfaceFromTurn({ frame: 0, turnDeg: -9, first, second: performer(6) }, ground, tall)!;
    expect(found).not.toBeNull();
    expect(found.turnDeg).toBeLessThan(-5.5);
    expect(found.turnDeg).toBeGreaterThan(-6.6);
    const off = found.points.map(([x, u, front]) => Math.abs(front - trueFront(x, u))).sort((a, b) => a - b);
    expect(off[off.length >> 1]).toBeLessThan(0.06);
    expect(off[Math.floor(0.9 * off.length)]).toBeLessThan(0.15);
    // Turned by twelve degrees more it goes aside as far as it stands before the axis.
    const mean = (points: typeof found.points, k: 0 | 2): number =>
      points.reduce((sum, p) => sum + p[k], 0) / points.length;
    expect(mean(turnSurface(found.points, -12, ground, tall), 0) - mean(found.points, 0)).toBeCloseTo(
      -mean(found.points, 2) * Math.sin(12 * RAD_PER_DEG),
      1,
    );
    expect(mean(found.points, 2)).toBeGreaterThan(0.3);
  });
  it('is not told by one that does not turn, nor by one that goes aside', () => {
    expect(surfaceFromTurn({ frame: 0, turnDeg: -6, first, second: performer(0) }, ground, tall)).toBeNull();
    const aside = performer(0),
      n = W * H;
    for (let k = 0; k < 4; k++)
      for (let y = H - 1; y >= 0; y--)
        for (let x = W - 1; x >= 0; x--)
          aside.picture.data[k * n + y * W + x] =
            x >= 9 && y >= 7 ? first.picture.data[k * n + (y - 7) * W + x - 9]! : 0;
    expect(surfaceFromTurn({ frame: 0, turnDeg: -6, first, second: aside }, ground, tall)).toBeNull();
  });
});
