/**
 * How much darker the ground is on a way from an upright's foot than beside it, by widths of shadow, in the ground's
 * own noise.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { project, type Pinhole } from '../../geometry/camera.js';
import { median } from '../../image/statistics.js';

export interface Foot {
  /** Foot and top in the picture, px; the foot on the ground and the height, metres of the view. */
  readonly foot: readonly [number, number];
  readonly top: readonly [number, number];
  readonly ground: readonly [number, number, number];
  readonly height: number;
}

/** Half widths of the shadow at the foot, pixels of a picture 854 wide. */
export const HALF_PX = [1, 2, 4, 8];

/** In linear light's logarithm: what is hardly darker is no key's shadow, however smooth the ground. */
const LEAST_NOISE = 0.06;

/** A direction within this of the upright as it stands in the picture is hidden by it, degrees. */
export const BEHIND_DEG = 25;
/** Half width of what stands there, as a share of its height: behind its foot nothing so near its axis counts. */
export const STOUT = 0.12;

/** Points of the way that a shadow takes, one about every pixel, with what it has gone on the ground. */
export interface Way {
  readonly x: readonly number[];
  readonly y: readonly number[];
  readonly gone: readonly number[];
  readonly near: readonly number[];
  readonly nx: number;
  readonly ny: number;
}

/**
 * The way is a straight line of the picture, on which the ground's metres run projectively. @param
 * longest of the way on the ground, in the view's metres
 */
export function wayOf(cam: Pinhole, f: Foot, azimuthDeg: number, longest: number, w: number, h: number): Way {
  // Away from the light: azimuth 0 comes from behind the camera and throws away from it.
  const a = azimuthDeg * RAD_PER_DEG;
  const ux = -Math.sin(a);
  const uz = Math.cos(a);
  const x: number[] = [];
  const y: number[] = [];
  const gone: number[] = [];
  const near: number[] = [];
  const from = project(cam, f.ground);
  const on = project(cam, [f.ground[0] + ux * 1e-3, 0, f.ground[2] + uz * 1e-3]);
  if (from === null || on === null) return { x, y, gone, near, nx: 0, ny: 0 };
  // p(s) = p0 + v s z0 / (z0 + s dz), v the speed at the foot in px a metre.
  const z0 = from.depth;
  const dz = (on.depth - z0) / 1e-3;
  const vx = ((on.x - from.x) / 1e-3) * (on.depth / z0);
  const vy = ((on.y - from.y) / 1e-3) * (on.depth / z0);
  const v = Math.hypot(vx, vy);
  const dx = vx / v;
  const dy = vy / v;
  for (let q = 1; q < 600; q += 1) {
    const left = v * z0 - q * dz;
    const s = (q * z0) / left;
    const px = from.x + dx * q;
    const py = from.y + dy * q;
    if (!(left > 1e-9) || s > longest || px < 2 || py < 2 || px > w - 2 || py > h - 2) break;
    x.push(px);
    y.push(py);
    gone.push(s);
    near.push(z0 / (z0 + s * dz));
  }
  return { x, y, gone, near, nx: -dy, ny: dx };
}

/** One width of shadow, with the picture smoothed for its core and for the ground beside it. */
export interface Width {
  readonly half: number;
  readonly core: Float32Array;
  readonly beside: Float32Array;
}

/**
 * How much darker a point of the way is than the darker of its two sides, so that a border between two grounds is none.
 */
export function darknessAt(w: number, h: number, way: Way, k: number, width: Width): number {
  const x = way.x[k]!;
  const y = way.y[k]!;
  const nx = way.nx;
  const ny = way.ny;
  const b = width.half * way.near[k]!;
  const gap = b + 1.2 + 0.6 * Math.max(1.5, b);
  return (
    Math.min(
      nearest(width.beside, w, h, x + nx * gap, y + ny * gap),
      nearest(width.beside, w, h, x - nx * gap, y - ny * gap),
    ) - nearest(width.core, w, h, x, y)
  );
}

function nearest(plane: Float32Array, w: number, h: number, x: number, y: number): number {
  const u = x < 0 ? 0 : x >= w ? w - 1 : x | 0;
  const v = y < 0 ? 0 : y >= h ? h - 1 : y | 0;
  return plane[v * w + u]!;
}

/** Spread of a point's darkness where no shadow is looked for. */
export function noiseOf(
  w: number,
  h: number,
  cam: Pinhole,
  places: readonly Foot[],
  azimuths: readonly number[],
  width: Width,
): number {
  const seen: number[] = [];
  places.forEach((f, i) => {
    const way = wayOf(cam, f, azimuths[(i * 37) % azimuths.length]!, 2 * f.height, w, h);
    for (let k = 0; k < way.x.length; k += 5) seen.push(Math.abs(darknessAt(w, h, way, k, width)));
  });
  return seen.length === 0 ? LEAST_NOISE : Math.max(LEAST_NOISE, 1.4826 * median(Float64Array.from(seen)));
}
