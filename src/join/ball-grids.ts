/**
 * Balls drawn on a grid: the front surface of a body of balls, and how deep each cell lies inside it. Kernels with plain twins
 * (kernels/balls.ts). Places and radii in cells; cell centres at +0.5.
 */
import { kernels } from '../image/kernels.js';
import type { Ball } from './body-volume.js';

/** Fewer cells take the plain twins. */
const KERNEL_FROM = 1024;

/** Height of the front surface over the plane of the picture, 0 where no ball reaches. width × height. */
export function frontOfBalls(balls: readonly Ball[], width: number, height: number): Float32Array {
  const out = width * height < KERNEL_FROM ? ballsFrontPlain(balls, width, height) : new Float32Array(width * height);
  if (width * height >= KERNEL_FROM) {
    const list = new Float32Array(3 * balls.length);
    balls.forEach((b, k) => { list[3 * k] = b.x; list[3 * k + 1] = b.y; list[3 * k + 2] = b.r; });
    const door = kernels(), scope = door.scope();
    try {
      door.run('ballsFront', [scope.input(list), balls.length, scope.output(out), width, height], height, width * balls.length / 8);
      scope.finish();
    } finally {
      scope.close();
    }
  }
  for (let i = 0; i < out.length; i++) if (out[i]! > 0) out[i] = Math.sqrt(out[i]!);
  return out;
}

/** Plain twin: the square of the height. */
export function ballsFrontPlain(balls: readonly Ball[], width: number, height: number): Float32Array {
  const square = new Float32Array(width * height);
  for (const b of balls) {
    const y1 = Math.min(height - 1, Math.floor(b.y + b.r)), x1 = Math.min(width - 1, Math.floor(b.x + b.r));
    for (let y = Math.max(0, Math.floor(b.y - b.r)); y <= y1; y++) {
      const dy = y + 0.5 - b.y;
      for (let x = Math.max(0, Math.floor(b.x - b.r)); x <= x1; x++) {
        const dx = x + 0.5 - b.x;
        const s = b.r * b.r - dx * dx - dy * dy, i = y * width + x;
        if (s > square[i]!) square[i] = s;
      }
    }
  }
  return square;
}

export interface StandingBall extends Ball {
  /** What a cell that lies deepest in this ball is told. */
  readonly stand: number;
}

/** How deep each cell lies inside the ball that it lies deepest in (negative outside), and that ball's `stand`; −1e9 and 0 farther than `beyond` from all. The first of equals counts. */
export function depthInBalls(balls: readonly StandingBall[], width: number, height: number, beyond: number): { depth: Float32Array; stand: Float32Array } {
  const n = width * height;
  if (n < KERNEL_FROM) return ballsDepthPlain(balls, width, height, beyond);
  const depth = new Float32Array(n), stand = new Float32Array(n);
  const list = new Float32Array(4 * balls.length);
  balls.forEach((b, k) => { list[4 * k] = b.x; list[4 * k + 1] = b.y; list[4 * k + 2] = b.r; list[4 * k + 3] = b.stand; });
  const door = kernels(), scope = door.scope();
  try {
    door.run('ballsDepth', [scope.input(list), balls.length, beyond, scope.output(depth), scope.output(stand), width, height], height, width * balls.length / 8);
    scope.finish();
  } finally {
    scope.close();
  }
  return { depth, stand };
}

/** Plain twin of {@link depthInBalls}. */
export function ballsDepthPlain(balls: readonly StandingBall[], width: number, height: number, beyond: number): { depth: Float32Array; stand: Float32Array } {
  const depth = new Float32Array(width * height).fill(-1e9), stand = new Float32Array(width * height);
  for (const b of balls) {
    const reach = b.r + beyond;
    const y1 = Math.min(height - 1, Math.floor(b.y + reach)), x1 = Math.min(width - 1, Math.floor(b.x + reach));
    for (let y = Math.max(0, Math.floor(b.y - reach)); y <= y1; y++) {
      const dy = y + 0.5 - b.y;
      for (let x = Math.max(0, Math.floor(b.x - reach)); x <= x1; x++) {
        const dx = x + 0.5 - b.x, i = y * width + x;
        const inside = b.r - Math.sqrt(dx * dx + dy * dy);
        if (inside > depth[i]!) { depth[i] = inside; stand[i] = b.stand; }
      }
    }
  }
  return { depth, stand };
}
