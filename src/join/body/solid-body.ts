/**
 * The body of balls set up in the scene: in the upright plane at the foot, turned along the line of its feet where
 * these stand at several depths (foot-line.ts), and given the depth that its shadow in the take told (body-depth.ts).
 * Camera frame: x right, y down, z forward; lengths as of ground-geometry.ts.
 */
import { cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import type { Ball } from './body-volume.js';
import { frontAbout, frontGrid } from './measured-front.js';
import { standWhole } from './whole-body.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import type { SolidBall } from '../ground/shadow-map.js';
import type { BodyDepth, BodyPart } from '../ground/types.js';

/**
 * How high over the ground a ball's middle must lie, in its radii. A body's lower outline is the underside of its round
 * front, which hangs over the ground: balls that fill it out may sink in. Brought nearer until they rest on the ground
 * they made the shadow's near side too wide (overlap on ten scenes: nothing differs between 0 and .5, at 1 six lose .06
 * to .2).
 */
const RESTS = 0.5;
/** Less depth than this makes no difference to be seen. */
const LEAST_DEEP = 0.02;
/** A ball so many times as large as the part of the body that it lies on is broken up. */
const MUCH_LARGER = 1.6;
/** In heights: smaller balls are not broken up; still smaller ones, hairs of the outline, stand at one depth only. */
const LEAST_BROKEN = 0.05,
  HAIR = 0.02;

/** Horizontal direction from the camera to the foot. */
export function facing(g: GroundGeometry): Vec3 {
  const h = dot(g.foot, g.up);
  return unit([g.foot[0] - h * g.up[0], g.foot[1] - h * g.up[1], g.foot[2] - h * g.up[2]]);
}

/**
 * Balls in plate pixels → balls in the scene, standing in the upright plane that faces the camera at the foot, or
 * turned about it so that it goes `slope` far for one aside. A ball that would sink into the ground by more than half
 * its radius is brought nearer along its line of sight until it does not: paws in front of the body. `depth` leans the
 * body towards the camera and makes it deeper than a round one.
 */
export function standUp(balls: readonly Ball[], g: GroundGeometry, slope = 0, depth?: BodyDepth): SolidBall[] {
  const ahead = facing(g),
    aside = cross(g.up, ahead);
  const n = unit([ahead[0] - slope * aside[0], ahead[1] - slope * aside[1], ahead[2] - slope * aside[2]]);
  const reach = dot(n, g.foot),
    ground = dot(g.foot, g.up),
    tall = depth === undefined ? 0 : (rowsOf(balls) / g.focalPx) * g.foot[2];
  const whole = depth?.whole === undefined ? null : standWhole(balls, depth.whole, g, ahead);
  if (whole !== null) return whole;
  if (depth?.parts !== undefined && depth.parts.length > 0 && tall > 0)
    return standParts(balls, g, depth.parts, depth.small ?? [], tall);
  return standIn(balls, g, n, reach, ground, tall, depth, ahead);
}

/** Each ball in the plane n · x = reach. Some thousand a frame: few objects in between. */
function standIn(
  balls: readonly Ball[],
  g: GroundGeometry,
  n: Vec3,
  reach: number,
  ground: number,
  tall: number,
  depth: BodyDepth | undefined,
  ahead: Vec3,
): SolidBall[] {
  const [ux, uy, uz] = g.up,
    [nx, ny, nz] = n,
    [cx, cy] = g.principal,
    f = g.focalPx;
  const px = (tall * g.focalPx) / g.foot[2],
    x0 = cx + (f * g.foot[0]) / g.foot[2],
    y0 = cy + (f * g.foot[1]) / g.foot[2];
  const front = depth?.front === undefined ? null : frontGrid(depth.front),
    out: SolidBall[] = [];
  for (let i = 0; i < balls.length; i++) {
    const ball = balls[i]!,
      dx = (ball.x - cx) / f,
      dy = (ball.y - cy) / f;
    let k = reach / (nx * dx + ny * dy + nz);
    if (!(k > 0) || !Number.isFinite(k)) continue;
    let behind = 0;
    if (depth !== undefined && tall > 0) {
      const u = Math.max(0, Math.min(1, (k * (dx * ux + dy * uy + uz) - ground) / tall)),
        guess = nearer(depth, u);
      let near = guess;
      if (front !== null) {
        // Where the front was measured a ball lies its own radius behind it, and the body goes on from there to the
        // upright plane.
        const [told, trust] = frontAbout(front, (ball.x - x0) / px, (y0 - ball.y) / px),
          r = ball.r / px;
        near = trust * (told - r) + (1 - trust) * guess;
        behind = r < HAIR ? 0 : trust * Math.max(0, near);
      }
      k *= Math.max(0.3, 1 - (near * tall) / g.foot[2]);
    }
    let x = dx * k,
      y = dy * k,
      z = k,
      radius = (ball.r / f) * k;
    const height = x * ux + y * uy + z * uz - ground,
      least = RESTS * radius;
    if (height < least && g.cameraHeight > 0) {
      const t = g.cameraHeight / (g.cameraHeight - height + least);
      if (t > 0.5 && t < 1) {
        x *= t;
        y *= t;
        z *= t;
        radius *= t;
      }
    }
    out.push({ centre: [x, y, z], radius });
    for (let far = radius; far < behind * tall; far += Math.max(radius, LEAST_BROKEN * tall))
      out.push({ centre: [x + far * ahead[0], y + far * ahead[1], z + far * ahead[2]], radius });
    if (depth === undefined || depth.deep < LEAST_DEEP) continue;
    for (let s = -1; s <= 1; s += 2) {
      const away = s * (depth.deep * radius);
      out.push({ centre: [x + away * ahead[0], y + away * ahead[1], z + away * ahead[2]], radius });
    }
  }
  return out;
}

/**
 * The parts of a body in order of height, so that only those about a ball's own are looked at: some thousand balls a
 * frame beside some hundred parts.
 */
interface PartOrder {
  readonly order: readonly number[];
  readonly xs: Float64Array;
  readonly us: Float64Array;
  readonly rs: Float64Array;
}

/**
 * The part nearest to a place, of like size too: a hair's end beside a belly says nothing of it. Of two as near the
 * first of the list counts.
 */
function nearestPart({ order, xs, us, rs }: PartOrder, x: number, u: number, r: number): number {
  const n = us.length;
  let low = 0,
    high = n;
  while (low < high) {
    const mid = (low + high) >> 1;
    if (us[mid]! < u) low = mid + 1;
    else high = mid;
  }
  let nearest = 0,
    least = Infinity;
  for (let i = low, step = 1; ; i += step) {
    const du = i >= 0 && i < n ? us[i]! - u : Infinity;
    if (du * du > least || du === Infinity) {
      if (step < 0) return nearest;
      i = low;
      step = -1;
      continue;
    }
    const dx = xs[i]! - x,
      dr = rs[i]! - r,
      q = dx * dx + du * du + dr * dr;
    if (q < least || (q === least && order[i]! < nearest)) {
      least = q;
      nearest = order[i]!;
    }
  }
}

/** A ball at so many depths in the plane `ahead` · x = reach. */
function put(
  out: SolidBall[],
  ball: Ball,
  at: readonly number[],
  count: number,
  g: GroundGeometry,
  ahead: Vec3,
  reach: number,
  tall: number,
): void {
  const dx = (ball.x - g.principal[0]) / g.focalPx,
    dy = (ball.y - g.principal[1]) / g.focalPx,
    plane = reach / (ahead[0] * dx + ahead[1] * dy + ahead[2]);
  if (!(plane > 0) || !Number.isFinite(plane)) return;
  for (let i = 0; i < count; i++) {
    const k = plane * Math.max(0.3, 1 - (at[i]! * tall) / g.foot[2]);
    out.push({ centre: [dx * k, dy * k, k], radius: (ball.r / g.focalPx) * k });
  }
}

/**
 * Each ball at the depths of the part that lies nearest on the body; one much larger than that part is broken up first.
 */
function standParts(
  balls: readonly Ball[],
  g: GroundGeometry,
  parts: readonly BodyPart[],
  small: readonly BodyPart[],
  tall: number,
): SolidBall[] {
  const ahead = facing(g),
    reach = dot(ahead, g.foot),
    out: SolidBall[] = [];
  const order = parts.map((_, i) => i).sort((a, b) => parts[a]!.u - parts[b]!.u || a - b);
  const sorted: PartOrder = {
    order,
    xs: Float64Array.from(order, (i) => parts[i]!.x),
    us: Float64Array.from(order, (i) => parts[i]!.u),
    rs: Float64Array.from(order, (i) => parts[i]!.r),
  };
  const px = (tall * g.focalPx) / g.foot[2],
    x0 = g.principal[0] + (g.focalPx * g.foot[0]) / g.foot[2],
    y0 = g.principal[1] + (g.focalPx * g.foot[1]) / g.foot[2];
  // Broken up twice at most, each time in its place.
  const waiting: Ball[] = [],
    times: number[] = [];
  for (const first of balls) {
    waiting.push(first);
    times.push(0);
    while (waiting.length > 0) {
      const ball = waiting.pop()!,
        broken = times.pop()!,
        r = ball.r / px;
      const best = parts[nearestPart(sorted, (ball.x - x0) / px, (y0 - ball.y) / px, r)]!;
      if (broken < 2 && r > LEAST_BROKEN && r > MUCH_LARGER * best.r) {
        for (const b of pieces(ball).reverse()) {
          waiting.push(b);
          times.push(broken + 1);
        }
      } else put(out, ball, best.at, r < HAIR ? Math.min(1, best.at.length) : best.at.length, g, ahead, reach, tall);
    }
  }
  for (const p of small)
    put(out, { x: x0 + p.x * px, y: y0 - p.u * px, r: p.r * px }, p.at, p.at.length, g, ahead, reach, tall);
  return out;
}

/** A ball broken into seven of half its radius within its disc. */
export function pieces(b: Ball): Ball[] {
  const r = 0.5 * b.r;
  return [
    { x: b.x, y: b.y, r },
    ...Array.from({ length: 6 }, (_, k) => ({
      x: b.x + r * Math.cos((k * Math.PI) / 3),
      y: b.y + r * Math.sin((k * Math.PI) / 3),
      r,
    })),
  ];
}

/** How far towards the camera a part at the share `u` of the height stands, in heights. */
export function nearer(depth: BodyDepth, u: number): number {
  return depth.lean * u + depth.head * Math.max(0, 2 * u - 1);
}

function rowsOf(balls: readonly Ball[]): number {
  let top = Infinity,
    low = -Infinity;
  for (const b of balls) {
    top = Math.min(top, b.y - b.r);
    low = Math.max(low, b.y + b.r);
  }
  return Math.max(0, low - top);
}
