/** The lamps, sky and panes of the ground step's scenes, as the tracer reads them. */
import { mapTuple, three } from '../src/core/tuples.js';
import { sunFrom, type Camera } from '../demo/scenes/camera.js';
import { v, type Vec3 } from '../demo/scenes/vector.js';
import type { Case } from './ground-cases.js';

/** Points (along, up) of the wall that stands aslant, in the world. */
export function aslant(points: readonly (readonly [number, number])[]): Vec3[] {
  const c = Math.cos((35 * Math.PI) / 180);
  const s = Math.sin((35 * Math.PI) / 180);
  // The trace turns left-handed about y: the wall's right end comes nearer or goes farther with the sine.
  return points.map(([a, u]) => [-0.35 + a * c, u, 0.25 + a * s]);
}

/** Directions over the upper half, evenly by solid angle (a Fibonacci lattice; Swinbank & Purser, QJRMS 132, 2006). */
export function dome(count: number): Vec3[] {
  return Array.from({ length: count }, (_, i) => {
    const y = (i + 0.5) / count;
    const r = Math.sqrt(1 - y * y);
    const a = i * 2.399963;
    return [r * Math.cos(a), y, r * Math.sin(a)];
  });
}

/** A disc of the sky of so many degrees, as lamps of their own. */
function disc(towards: Vec3, deg: number, count: number): Vec3[] {
  const side = unit3(cross3(towards, [0, 1, 0]));
  const up = cross3(side, towards);
  const k = Math.tan((deg * Math.PI) / 360);
  return Array.from({ length: count }, (_, i) => {
    const r = k * Math.sqrt((i + 0.5) / count);
    const a = i * 2.399963;
    return unit3(three((j) => towards[j]! + r * (Math.cos(a) * side[j]! + Math.sin(a) * up[j]!)));
  });
}
const cross3 = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
const unit3 = (a: Vec3): Vec3 => {
  const l = Math.hypot(...a);
  return [a[0] / l, a[1] / l, a[2] / l];
};

const SKY_LAMPS = 96;
export const SKY_RGB: Vec3 = [0.8, 0.95, 1.2];

export function lampsText(c: Case, camera: Camera): string {
  const light = (d: Vec3, rgb: Vec3): string =>
    `light_source{${v([d[0] * 90, d[1] * 90, d[2] * 90])} rgb${v(rgb)} parallel point_at 0}\n`;
  let out = '';
  // The sky's share of light on level ground is `sky` times its colour over π.
  for (const d of dome(SKY_LAMPS))
    out += light(
      d,
      mapTuple(SKY_RGB, (s) => (2 * s * c.sky) / SKY_LAMPS / 1.6),
    );
  for (const l of c.lamps) {
    const to = sunFrom(camera, l.azimuth, l.elevation);
    const parts = l.softDeg === undefined ? [to] : disc(to, l.softDeg, 40);
    for (const d of parts)
      out += light(
        d,
        mapTuple(l.rgb, (s) => s / parts.length),
      );
  }
  return out;
}

/** Dark glass: a thin upright box over a foot line. */
export function paneText([a, b, tall]: readonly [Vec3, Vec3, number]): string {
  return (
    `polygon{5, ${[a, b, [b[0], tall, b[2]], [a[0], tall, a[2]], a].map((p) => v(p as Vec3)).join(', ')} ` +
    'pigment{rgb<0.03,0.035,0.04>} finish{ambient 0 diffuse 0.85 reflection{0.04,1 fresnel on}} ' +
    'interior{ior 1.5}}\n'
  );
}
