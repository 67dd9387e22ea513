// Pinhole camera of the scenes: camera frame x right, y down, z forward; image origin top left, pixel centres at +0.5.

import { add, cross, DEG, dot, mul, sub, unit, v, type Point, type Vec3 } from './vector.js';

export interface Camera {
  readonly position: Vec3;
  readonly right: Vec3;
  readonly down: Vec3;
  readonly forward: Vec3;
  readonly focalPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

/** A window of the picture in whole pixels. */
export interface Rect {
  readonly x: number;
  readonly y: number;
  readonly w: number;
  readonly h: number;
}

export const WIDTH = 854;
export const HEIGHT = 480;

/**
 * Camera from heading (positive to the right), tilt (positive up) and roll (positive:
 * picture content turns anticlockwise), degrees.
 */
export function aim(
  position: Vec3,
  headingDeg: number,
  tiltDeg: number,
  focalPx: number,
  rollDeg = 0,
  widthPx = WIDTH,
  heightPx = HEIGHT,
): Camera {
  const ch = Math.cos(headingDeg * DEG);
  const sh = Math.sin(headingDeg * DEG);
  const ct = Math.cos(tiltDeg * DEG);
  const st = Math.sin(tiltDeg * DEG);
  const forward: Vec3 = [sh * ct, st, ch * ct];
  const right0: Vec3 = [ch, 0, -sh];
  const down0 = mul(unit(cross(forward, right0)), -1);
  const cr = Math.cos(rollDeg * DEG);
  const sr = Math.sin(rollDeg * DEG);
  return {
    position,
    forward,
    focalPx,
    widthPx,
    heightPx,
    right: add(mul(right0, cr), mul(down0, sr)),
    down: add(mul(down0, cr), mul(right0, -sr)),
  };
}

/** Camera that looks from one point at another, level. */
export function lookAt(position: Vec3, target: Vec3, focalPx: number): Camera {
  const d = sub(target, position);
  return aim(position, Math.atan2(d[0], d[2]) / DEG, Math.atan2(d[1], Math.hypot(d[0], d[2])) / DEG, focalPx);
}

export const headingDeg = (c: Camera): number => Math.atan2(c.forward[0], c.forward[2]) / DEG;
export const tiltDeg = (c: Camera): number => Math.asin(c.forward[1]) / DEG;

/** Pixel position of a world point. */
export function project(c: Camera, p: Vec3): Point {
  const q = sub(p, c.position);
  const z = dot(q, c.forward);
  return [c.widthPx / 2 + (c.focalPx * dot(q, c.right)) / z, c.heightPx / 2 + (c.focalPx * dot(q, c.down)) / z];
}

/** Unit vector towards the sun: azimuth 0 = from straight behind the camera, positive = from camera right. */
export function sunFrom(c: Camera, azimuthDeg: number, elevationDeg: number): Vec3 {
  const h = headingDeg(c) * DEG;
  const fwd: Vec3 = [Math.sin(h), 0, Math.cos(h)];
  const right: Vec3 = [Math.cos(h), 0, -Math.sin(h)];
  const ce = Math.cos(elevationDeg * DEG);
  const a = azimuthDeg * DEG;
  return add(add(mul(fwd, -ce * Math.cos(a)), mul(right, ce * Math.sin(a))), [0, Math.sin(elevationDeg * DEG), 0]);
}

/** Azimuth and elevation of the sun relative to the camera's heading. */
export function sunAngles(c: Camera, sun: Vec3): { azimuthDeg: number; elevationDeg: number } {
  const h = headingDeg(c) * DEG;
  const fwd: Vec3 = [Math.sin(h), 0, Math.cos(h)];
  const right: Vec3 = [Math.cos(h), 0, -Math.sin(h)];
  return { azimuthDeg: Math.atan2(dot(sun, right), -dot(sun, fwd)) / DEG, elevationDeg: Math.asin(sun[1]) / DEG };
}

/** Where the shadow of a point falls on the ground y = groundY. */
export function shadowOf(p: Vec3, sun: Vec3, groundY = 0): Vec3 {
  const t = (p[1] - groundY) / sun[1];
  return [p[0] - sun[0] * t, groundY, p[2] - sun[2] * t];
}

/** Elevation of the camera as seen from a point, degrees, and its distance. */
export function viewFrom(c: Camera, p: Vec3): { viewElevationDeg: number; distance: number } {
  const d = sub(c.position, p);
  const flat = Math.hypot(d[0], d[2]);
  return { viewElevationDeg: Math.atan2(d[1], flat) / DEG, distance: Math.hypot(flat, d[1]) };
}

/** The ray tracer's camera for one window of the picture: the off-axis frustum of exactly those pixels. */
export function povCamera(c: Camera, rect: Rect): string {
  const cx = rect.x + rect.w / 2 - c.widthPx / 2;
  const cy = rect.y + rect.h / 2 - c.heightPx / 2;
  const s = 1 / c.focalPx;
  const direction = add(c.forward, add(mul(c.right, cx * s), mul(c.down, cy * s)));
  const f = (p: Vec3): string => `<${p.map((x) => x.toFixed(9)).join(',')}>`;
  return (
    `camera { perspective location ${v(c.position)} direction ${f(direction)} right ${f(mul(c.right, rect.w * s))} ` +
    `up ${f(mul(c.down, -rect.h * s))} }\n`
  );
}

/** Smallest whole-pixel window that holds the points with a margin, clipped to the picture. */
export function windowOf(c: Camera, points: readonly Vec3[], marginPx: number): Rect {
  let x0 = Infinity;
  let y0 = Infinity;
  let x1 = -Infinity;
  let y1 = -Infinity;
  for (const p of points) {
    const [x, y] = project(c, p);
    x0 = Math.min(x0, x);
    x1 = Math.max(x1, x);
    y0 = Math.min(y0, y);
    y1 = Math.max(y1, y);
  }
  const cut = (a: number, hi: number): number => Math.min(hi, Math.max(0, a));
  const x = cut(2 * Math.floor((x0 - marginPx) / 2), c.widthPx - 2);
  const y = cut(2 * Math.floor((y0 - marginPx) / 2), c.heightPx - 2);
  const xe = cut(2 * Math.ceil((x1 + marginPx) / 2), c.widthPx);
  const ye = cut(2 * Math.ceil((y1 + marginPx) / 2), c.heightPx);
  return { x, y, w: Math.max(2, xe - x), h: Math.max(2, ye - y) };
}
