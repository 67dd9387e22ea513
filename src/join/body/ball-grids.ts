/**
 * Balls drawn on a grid: the front surface of a body of balls, and how deep each cell lies inside it. Kernels with
 * plain twins (kernels/balls.ts). Places and radii in cells; cell centres at +0.5.
 */
import { kernels } from '../../image/kernels.js';
import type { Ball } from './body-volume.js';

/** Fewer cells take the plain twins. */
const KERNEL_FROM = 1024;

/** Rows of a part of the kernel `ballsDepth`. */
const PART_ROWS = 32;

/**
 * How a front surface is drawn: balls in pixels on cells of `cell` pixels with `pad` cells of border, heights times
 * `scale`, less `tilt` a pixel from the pixel `middle` on.
 */
export interface FrontSetting {
  readonly cell: number;
  readonly pad: number;
  readonly scale: number;
  readonly tilt: number;
  readonly middle: number;
}

const AS_IT_IS: FrontSetting = { cell: 1, pad: 0, scale: 1, tilt: 0, middle: 0 };

/**
 * Height of the front surface over the plane of the picture, 0 where no ball reaches (before it is tilted). width ×
 * height cells, heights in pixels.
 */
export function frontOfBalls(
  balls: readonly Ball[],
  width: number,
  height: number,
  setting: FrontSetting = AS_IT_IS,
): Float32Array {
  if (width * height < KERNEL_FROM) return ballsFrontPlain(balls, width, height, setting);
  const { cell, pad, scale, tilt, middle } = setting;
  const out = new Float32Array(width * height),
    list = listed(balls, cell, pad);
  const door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'ballsFront',
      [
        scope.input(list),
        balls.length,
        scope.output(out),
        width,
        height,
        scale * cell,
        tilt * cell,
        tilt * ((0.5 - pad) * cell - middle),
      ],
      height,
      (width * balls.length) / 8,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

function listed(balls: readonly Ball[], cell: number, pad: number): Float32Array {
  const list = new Float32Array(3 * balls.length);
  for (let k = 0; k < balls.length; k++) {
    const b = balls[k]!;
    list[3 * k] = b.x / cell + pad;
    list[3 * k + 1] = b.y / cell + pad;
    list[3 * k + 2] = b.r / cell;
  }
  return list;
}

/** Plain twin of {@link frontOfBalls}. */
export function ballsFrontPlain(
  balls: readonly Ball[],
  width: number,
  height: number,
  { cell, pad, scale, tilt, middle }: FrontSetting = AS_IT_IS,
): Float32Array {
  const square = new Float32Array(width * height);
  for (const ball of balls) {
    const b = { x: ball.x / cell + pad, y: ball.y / cell + pad, r: ball.r / cell };
    const y1 = Math.min(height - 1, Math.floor(b.y + b.r)),
      x1 = Math.min(width - 1, Math.floor(b.x + b.r));
    for (let y = Math.max(0, Math.floor(b.y - b.r)); y <= y1; y++) {
      const dy = y + 0.5 - b.y;
      for (let x = Math.max(0, Math.floor(b.x - b.r)); x <= x1; x++) {
        const dx = x + 0.5 - b.x;
        const s = b.r * b.r - dx * dx - dy * dy,
          i = y * width + x;
        if (s > square[i]!) square[i] = s;
      }
    }
  }
  return square.map((s, i) => scale * cell * Math.sqrt(s) - tilt * (((i % width) + 0.5 - pad) * cell - middle));
}

export interface StandingBall extends Ball {
  /** What a cell that lies deepest in this ball is told. */
  readonly stand: number;
}

/**
 * How deep each cell lies inside the ball that it lies deepest in (negative outside), and that ball's `stand`; −1e9 and
 * 0 farther than `beyond` from all. The first of equals counts; largest first is fastest. @param into where the two
 * planes go
 */
export function depthInBalls(
  balls: readonly StandingBall[],
  width: number,
  height: number,
  beyond: number,
  into: { readonly depth: Float32Array; readonly stand: Float32Array } = {
    depth: new Float32Array(width * height),
    stand: new Float32Array(width * height),
  },
): { depth: Float32Array; stand: Float32Array } {
  if (width * height < KERNEL_FROM) {
    const plain = ballsDepthPlain(balls, width, height, beyond);
    into.depth.set(plain.depth);
    into.stand.set(plain.stand);
    return into;
  }
  // Four more than the balls need: a shorter list ends with a group of none.
  const n = (balls.length + 7) & ~3,
    list = inPlanes(balls, n);
  const door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'ballsDepth',
      [scope.input(list), balls.length, n, beyond, scope.output(into.depth), scope.output(into.stand), width, height],
      Math.ceil(height / PART_ROWS),
      (width * balls.length) / 8,
      36 * n,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return into;
}

function inPlanes(balls: readonly StandingBall[], n: number): Float32Array {
  const list = new Float32Array(4 * n).fill(-1e9, 2 * n, 3 * n);
  for (let k = 0; k < balls.length; k++) {
    const b = balls[k]!;
    list[k] = b.x;
    list[n + k] = b.y;
    list[2 * n + k] = b.r;
    list[3 * n + k] = b.stand;
  }
  return list;
}

/** Plain twin of {@link depthInBalls}. */
export function ballsDepthPlain(
  balls: readonly StandingBall[],
  width: number,
  height: number,
  beyond: number,
): { depth: Float32Array; stand: Float32Array } {
  const depth = new Float32Array(width * height).fill(-1e9),
    stand = new Float32Array(width * height);
  for (const b of balls) {
    const reach = b.r + beyond;
    const y1 = Math.min(height - 1, Math.floor(b.y + reach)),
      x1 = Math.min(width - 1, Math.floor(b.x + reach));
    for (let y = Math.max(0, Math.floor(b.y - reach)); y <= y1; y++) {
      const dy = y + 0.5 - b.y;
      for (let x = Math.max(0, Math.floor(b.x - reach)); x <= x1; x++) {
        const dx = x + 0.5 - b.x,
          i = y * width + x;
        const inside = b.r - Math.sqrt(dx * dx + dy * dy);
        if (inside > depth[i]!) {
          depth[i] = inside;
          stand[i] = b.stand;
        }
      }
    }
  }
  return { depth, stand };
}
