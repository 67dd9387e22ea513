/**
 * How the benches of cast shadows see made bodies (made-bodies.ts): cameras that look down at the upright they stand
 * on, the pixels that body and shadow can reach, and what a take shows of its own shadow.
 */
import type { RandomStream } from '../src/core/random.js';
import type { Vec3 } from '../src/geometry/mat3.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import type { TakeShadow } from '../src/join/body/body-depth.js';
import { pixelOf, type MadeView } from './made-bodies.js';

const RAD = Math.PI / 180;

/** Unit vector towards a key so far round from straight behind the camera and so high, degrees. */
export const towards = (azimuthDeg: number, elevationDeg: number): Vec3 => [
  Math.cos(elevationDeg * RAD) * Math.sin(azimuthDeg * RAD),
  Math.sin(elevationDeg * RAD),
  -Math.cos(elevationDeg * RAD) * Math.cos(azimuthDeg * RAD),
];

/**
 * A camera so far off that sees the foot in the lower middle, at such an elevation (degrees down to the body's middle).
 */
export function cameraAt(
  far: number,
  downDeg: number,
  height: number,
  focalPx: number,
  width: number,
  rows: number,
): MadeView {
  return {
    position: [0, height / 2 + far * Math.sin(downDeg * RAD), -far * Math.cos(downDeg * RAD)],
    tiltDeg: -downDeg + (0.1 * rows) / focalPx / RAD,
    focalPx,
    width,
    height: rows,
  };
}

/** Box of the pixels that a body of such a height and breadth (2 `room`, m) at the origin and its shadow can reach. */
export function boundsOf(v: MadeView, height: number, light: Vec3, room: number): [number, number, number, number] {
  const reach = height / light[1];
  const end: Vec3 = [-light[0] * reach, 0, -light[2] * reach];
  let x0 = v.width;
  let y0 = v.height;
  let x1 = 0;
  let y1 = 0;
  for (const p of [[0, 0, 0], end] as Vec3[])
    for (const dx of [-room, room])
      for (const dy of [0, height * 1.05])
        for (const dz of [-room, room]) {
          const [x, y] = pixelOf(v, [p[0] + dx, p === end ? 0 : dy, p[2] + dz]);
          x0 = Math.min(x0, x);
          x1 = Math.max(x1, x);
          y0 = Math.min(y0, y);
          y1 = Math.max(y1, y);
        }
  return [
    Math.max(0, Math.floor(x0)),
    Math.max(0, Math.floor(y0)),
    Math.min(v.width, Math.ceil(x1)),
    Math.min(v.height, Math.ceil(y1)),
  ];
}

/** Pixels a side of a cell of the shadow that a take shows. */
const CELL = 2;

/**
 * The shadow that a take shows of its own performer: soft, a little noisy, not told under the performer.
 * @param own matte and shadow, 0..1, `width` × `height` (even both) @param dark how much of the light the shadow takes
 */
export function shownShadow(
  own: { readonly matte: Float32Array; readonly shadow: Float32Array },
  width: number,
  height: number,
  dark: number,
  r: RandomStream,
): NonNullable<TakeShadow['shadow']> {
  const cw = width / CELL;
  const ch = height / CELL;
  const cells = new Float32Array(cw * ch);
  for (let y = 0; y < ch; y++)
    for (let x = 0; x < cw; x++) {
      let s = 0;
      let m = 0;
      for (let dy = 0; dy < CELL; dy++)
        for (let dx = 0; dx < CELL; dx++) {
          const i = (y * CELL + dy) * width + x * CELL + dx;
          s += own.shadow[i]!;
          m += own.matte[i]!;
        }
      cells[y * cw + x] = m > 0 ? 0 : (dark * s) / (CELL * CELL);
    }
  const density = gaussianPlane(cells, cw, ch, 1.2);
  for (let i = 0; i < density.length; i++) density[i] = Math.max(0, density[i]! + 0.015 * r.normal());
  return { width: cw, height: ch, cell: CELL, density };
}
