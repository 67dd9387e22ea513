// Small vectors for the scene writer. World: x right, y up, z away from the viewer
// (left-handed, as the ray tracer has it); metres.

export type Vec3 = readonly [number, number, number];
export type Point = readonly [number, number];

export const DEG = Math.PI / 180;

export const add = (a: Vec3, b: Vec3): Vec3 => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const sub = (a: Vec3, b: Vec3): Vec3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const mul = (a: Vec3, s: number): Vec3 => [a[0] * s, a[1] * s, a[2] * s];
export const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
export const norm = (a: Vec3): number => Math.sqrt(dot(a, a));
export const unit = (a: Vec3): Vec3 => mul(a, 1 / Math.max(norm(a), 1e-12));

/** Turns a point about the upward axis the way the ray tracer's `rotate y*deg` does (z towards x). */
export function turnY(p: Vec3, deg: number): Vec3 {
  const c = Math.cos(deg * DEG);
  const s = Math.sin(deg * DEG);
  return [p[0] * c + p[2] * s, p[1], -p[0] * s + p[2] * c];
}

/** Smooth 0..1 ramp with flat ends (the cubic 3t² − 2t³), clamped. */
export function ease(t: number): number {
  const u = Math.min(1, Math.max(0, t));
  return u * u * (3 - 2 * u);
}

export const lerp = (a: number, b: number, t: number): number => a + (b - a) * t;

/** Text of a vector for the ray tracer, to a tenth of a millimetre. */
export const v = (p: Vec3): string => `<${n(p[0])},${n(p[1])},${n(p[2])}>`;

/** Text of a number for the ray tracer. */
export function n(x: number): string {
  const s = x.toFixed(5);
  return s.includes('.') ? s.replace(/\.?0+$/, '').replace(/^-0$/, '0') : s;
}
