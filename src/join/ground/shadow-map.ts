/**
 * Shadow of a body of balls under parallel light: the balls are drawn as discs in a map that lies square to the light
 * (Williams, "Casting curved shadows on curved surfaces", SIGGRAPH 1978); a point of the scene looks itself up there.
 * The penumbra grows with the way from the body to the point (percentage-closer soft shadows, Fernando 2005): the map
 * is kept at several blurs and read between the two that fit.
 *
 * All vectors in the camera frame (x right, y down, z forward), lengths in metres.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { kernels } from '../../image/kernels.js';
import { depthInBalls, type StandingBall } from '../body/ball-grids.js';
import type { FrameRoom } from '../render/frame-room.js';
import { cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';

/** A ball of a body, in the camera's axes; lengths as in ground-geometry.ts. */
export interface SolidBall {
  readonly centre: Vec3;
  readonly radius: number;
}

const PAD = 24;
/** Blurs at which the map is kept, in cells. */
export const BLURS = [0.5, 1.2, 2.5, 5, 10] as const;
/** A body is filled from some 120 rows; a finer map would show nothing more. */
const MOST_CELLS = 300;

export interface ShadowMap {
  readonly width: number;
  readonly height: number;
  /** Metres a cell. */
  readonly cell: number;
  /** Axes of the map and the direction towards the light. */
  readonly a: Vec3;
  readonly b: Vec3;
  readonly light: Vec3;
  readonly a0: number;
  readonly b0: number;
  /** Coverage 0..1 at each blur of BLURS. */
  readonly levels: readonly Float32Array[];
  /** How far towards the light the covering body stands (dot with `light`). */
  readonly stand: Float32Array;
  /** tan of the key's angular diameter over four: sd of the penumbra per metre of way. */
  readonly spread: number;
  /** Blur always there, in cells: the soft outline of fur. */
  readonly baseBlur: number;
}

/**
 * Builds the map. `softnessDeg`: apparent diameter of the key; `edge`: softness of the body's own outline in metres
 * (sd); `room`: where the map is to lie. Null for no balls.
 */
export function buildShadowMap(
  balls: readonly SolidBall[],
  light: Vec3,
  up: Vec3,
  softnessDeg: number,
  cell: number,
  edge: number,
  room?: FrameRoom,
): ShadowMap | null {
  if (balls.length === 0) return null;
  const along = dot(up, light);
  const upright: Vec3 = [up[0] - along * light[0], up[1] - along * light[1], up[2] - along * light[2]];
  // Light from straight above: any axis will do.
  const a = Math.hypot(...upright) > 1e-6 ? unit(upright) : unit(cross(light, [0, 0, 1]));
  const b = cross(light, a);
  const [lowA, highA] = reachAlong(balls, a),
    [lowB, highB] = reachAlong(balls, b);
  const size = Math.max(highA - lowA, highB - lowB);
  const c = Math.max(cell, size / (MOST_CELLS - 2 * PAD));
  const pad = PAD;
  const width = Math.ceil((highB - lowB) / c) + 2 * pad,
    height = Math.ceil((highA - lowA) / c) + 2 * pad;
  const a0 = lowA - pad * c,
    b0 = lowB - pad * c;
  // Largest first: what lies inside a large ball is seldom deeper inside another.
  const order = Int32Array.from(balls, (_, i) => i).sort((p, q) => balls[q]!.radius - balls[p]!.radius || p - q);
  const n = width * height;
  const planes = (count: number): Float32Array =>
    room === undefined ? new Float32Array(count * n) : room.picture(width, count * height, 1, true).data;
  const stand = planes(1),
    work = planes(2),
    cover = work.subarray(n);
  coverAndStand(
    depthInBalls(standingOf(balls, order, a, b, light, a0, b0, c), width, height, 3, {
      depth: work.subarray(0, n),
      stand,
    }),
    cover,
    width,
    height,
  );
  const spread = Math.tan((softnessDeg * Math.PI) / 180) / 4,
    baseBlur = edge / c;
  // The longest way that matters is about the body's own shadow; blurs beyond its penumbra are not made.
  const widest = Math.hypot(baseBlur, (spread * 4 * size) / c);
  let made = 2;
  while (made < BLURS.length && BLURS[made - 1]! < widest) made++;
  const all = planes(made);
  const levels = BLURS.slice(0, made).map((sigma, i) =>
    gaussianPlane(cover, width, height, sigma, sigma, all.subarray(i * n, (i + 1) * n)),
  );
  return { width, height, cell: c, a, b, light, a0, b0, levels, stand, spread, baseBlur };
}

/** From where to where balls reach along an axis. */
function reachAlong(balls: readonly SolidBall[], axis: Vec3): readonly [number, number] {
  let low = Infinity,
    high = -Infinity;
  for (let i = 0; i < balls.length; i++) {
    const { centre, radius } = balls[i]!,
      p = dot(centre, axis);
    low = Math.min(low, p - radius);
    high = Math.max(high, p + radius);
  }
  return [low, high];
}

/** The balls in the map's cells, in `order`. */
function standingOf(
  balls: readonly SolidBall[],
  order: Int32Array,
  a: Vec3,
  b: Vec3,
  light: Vec3,
  a0: number,
  b0: number,
  cell: number,
): StandingBall[] {
  const out: StandingBall[] = [];
  for (let i = 0; i < order.length; i++) {
    const { centre, radius } = balls[order[i]!]!;
    out.push({
      x: (dot(centre, b) - b0) / cell,
      y: (dot(centre, a) - a0) / cell,
      r: radius / cell,
      stand: dot(centre, light),
    });
  }
  return out;
}

/**
 * Fills `cover` from the depth inside the balls, soft over one cell, and carries depth and stand outwards by two sweeps
 * (rows and back, columns and back), enough for the width of a penumbra: where no ball reaches, the nearest body's
 * distance is still wanted for its outer half. By the kernel (kernels/body.ts).
 */
export function coverAndStand(
  balls: { readonly depth: Float32Array; readonly stand: Float32Array },
  cover: Float32Array,
  width: number,
  height: number,
): void {
  const door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'coverAndStand',
      [scope.changed(balls.depth), scope.changed(balls.stand), scope.output(cover), width, height],
      1,
      1,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link coverAndStand}. */
export function coverAndStandPlain(
  { depth: known, stand: value }: { readonly depth: Float32Array; readonly stand: Float32Array },
  cover: Float32Array,
  width: number,
  height: number,
): void {
  for (let i = 0; i < cover.length; i++) cover[i] = Math.min(1, Math.max(0, known[i]! + 0.5));
  const carry = (i: number, from: number): void => {
    if (known[i]! < -1e8 && known[from]! > -1e8) {
      known[i] = known[from]!;
      value[i] = value[from]!;
    }
  };
  for (let y = 0; y < height; y++) {
    for (let x = 1; x < width; x++) carry(y * width + x, y * width + x - 1);
    for (let x = width - 2; x >= 0; x--) carry(y * width + x, y * width + x + 1);
  }
  for (let x = 0; x < width; x++) {
    for (let y = 1; y < height; y++) carry(y * width + x, (y - 1) * width + x);
    for (let y = height - 2; y >= 0; y--) carry(y * width + x, (y + 1) * width + x);
  }
}

/** Share of the key hidden from the point (x, y, z), 0..1. */
export function shadowAt(map: ShadowMap, x: number, y: number, z: number): number {
  const { a, b, light, width, height } = map;
  const fx = (x * b[0] + y * b[1] + z * b[2] - map.b0) / map.cell - 0.5;
  const fy = (x * a[0] + y * a[1] + z * a[2] - map.a0) / map.cell - 0.5;
  const ix = Math.floor(fx),
    iy = Math.floor(fy);
  if (ix < 0 || iy < 0 || ix >= width - 1 || iy >= height - 1) return 0;
  const i = iy * width + ix;
  const way = map.stand[i]! - (x * light[0] + y * light[1] + z * light[2]);
  // A body behind the point, seen from the light, throws no shadow on it.
  if (way <= 0) return 0;
  const penumbra = (way * map.spread) / map.cell;
  const sigma = Math.sqrt(map.baseBlur * map.baseBlur + penumbra * penumbra);
  let k = 0;
  while (k < map.levels.length - 2 && sigma > BLURS[k + 1]!) k++;
  const lo = BLURS[k]!,
    hi = BLURS[k + 1]!;
  const t = sigma <= lo ? 0 : sigma >= hi ? 1 : (sigma - lo) / (hi - lo);
  const tx = fx - ix,
    ty = fy - iy;
  const p = map.levels[k]!,
    q = map.levels[k + 1]!;
  const w00 = (1 - tx) * (1 - ty),
    w10 = tx * (1 - ty),
    w01 = (1 - tx) * ty,
    w11 = tx * ty;
  const cl = p[i]! * w00 + p[i + 1]! * w10 + p[i + width]! * w01 + p[i + width + 1]! * w11;
  const ch = q[i]! * w00 + q[i + 1]! * w10 + q[i + width]! * w01 + q[i + width + 1]! * w11;
  return cl + (ch - cl) * t;
}
