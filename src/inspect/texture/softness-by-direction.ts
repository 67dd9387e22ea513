/**
 * Softness by direction beside the take through the recipe. A lens out of focus takes fine detail alike in all
 * directions, motion takes what lies across the way alone. The slopes' energies of the performer, seen and asked, are
 * held against each other direction by direction: the direction in which the least is left is the one of the motion,
 * and square to it nothing is lost.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { Expected } from './against-take.js';
import { coreOf, DEEP } from './fineness.js';
import type { SeenFrame } from '../reader/frame.js';

export interface Direction {
  /** Energy of slopes left, seen over asked, along the direction of which least is left, and square to it. */
  readonly along: number;
  readonly across: number;
  /** That direction in the picture, degrees from the horizontal, 0 to 180, y down. */
  readonly deg: number;
}

/** Grain and encoder stay below, px. */
const SOFT = 0.8;
const FEWEST = 400,
  STEPS = 18;

/** Null where too little lies deep enough in both. */
export function readDirection(f: SeenFrame, expected: Expected): Direction | null {
  if (f.box === null) return null;
  const W = f.join.width,
    [x0, y0, x1, y1] = f.box,
    w = x1 - x0,
    h = y1 - y0,
    here = coreOf(f.matte, W, f.box),
    there = coreOf(expected.matte, W, f.box);
  const cut = (luma: Float32Array): Float32Array => {
    const out = new Float32Array(w * h);
    for (let y = 0; y < h; y++) out.set(luma.subarray((y0 + y) * W + x0, (y0 + y) * W + x1), y * w);
    return gaussianPlane(out, w, h, SOFT);
  };
  const planes = [cut(f.luma), cut(expected.luma)],
    t = [
      [0, 0, 0],
      [0, 0, 0],
    ];
  let n = 0;
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x,
        p = (y0 + y) * W + x0 + x;
      if (here(p) < DEEP || there(p) < DEEP) continue;
      planes.forEach((q, k) => {
        const gx = (q[i + 1]! - q[i - 1]!) / 2,
          gy = (q[i + w]! - q[i - w]!) / 2,
          s = t[k]!;
        s[0]! += gx * gx;
        s[1]! += gx * gy;
        s[2]! += gy * gy;
      });
      n++;
    }
  if (n < FEWEST) return null;
  const left = (rad: number): number => {
    const c = Math.cos(rad),
      s = Math.sin(rad),
      of = (q: readonly number[]): number => c * c * q[0]! + 2 * c * s * q[1]! + s * s * q[2]!;
    return of(t[0]!) / Math.max(1e-9, of(t[1]!));
  };
  let at = 0;
  for (let k = 1; k < STEPS; k++) if (left((k * Math.PI) / STEPS) < left((at * Math.PI) / STEPS)) at = k;
  const rad = (at * Math.PI) / STEPS;
  return { along: left(rad), across: left(rad + Math.PI / 2), deg: (at * 180) / STEPS };
}
