/**
 * A source's way to a frame turned round: for each place of the frame, where in the source what it shows or hides lies.
 */
import type { LocalField } from './field-cells.js';
import type { Way } from './way-between.js';
import { pushPull } from '../../image/push-pull.js';

export interface HiddenMotion {
  /** The place in the source that shows what the frame shows, or hides, at (x, y) is (x, y) + field. */
  readonly field: LocalField;
  /** 1 where some point of the source was carried to, of those whose way is known. */
  readonly told: Float32Array;
}

/**
 * Each point of the source goes where its way leads; of several at one place the one that parts most from the rest, as
 * near things do.
 */
export function carryOver(
  u: Float32Array,
  v: Float32Array,
  ru: Float32Array,
  rv: Float32Array,
  a: Way,
  w: number,
  h: number,
  reach: number,
): HiddenMotion {
  const n = w * h,
    swift = new Float32Array(n).fill(-1),
    sum = new Float32Array(n),
    fu = new Float32Array(n),
    fv = new Float32Array(n);
  const each = (take: (o: number, share: number, speed: number, x: number, y: number) => void): void => {
    for (let y = 0, i = 0; y < h; y++)
      for (let x = 0; x < w; x++, i++) {
        if (a.known[i] === 0) continue;
        const du = u[i]! + ru[i]!,
          dv = v[i]! + rv[i]!;
        if (Math.abs(du) > reach || Math.abs(dv) > reach) continue;
        const px = x + du,
          py = y + dv,
          x0 = Math.floor(px),
          y0 = Math.floor(py),
          speed = Math.hypot(du, dv);
        for (let k = 0; k < 4; k++) {
          const X = x0 + (k & 1),
            Y = y0 + (k >> 1);
          if (X < 0 || Y < 0 || X >= w || Y >= h) continue;
          const share = (1 - Math.abs(px - X)) * (1 - Math.abs(py - Y));
          if (share > 0.02) take(Y * w + X, share, speed, du, dv);
        }
      }
  };
  each((o, share, speed) => {
    if (share > 0.2 && speed > swift[o]!) swift[o] = speed;
  });
  each((o, share, speed, x, y) => {
    if (speed < swift[o]! - 1.5) return;
    sum[o] = sum[o]! + share;
    fu[o] = fu[o]! - share * x;
    fv[o] = fv[o]! - share * y;
  });
  const told = new Float32Array(n);
  for (let i = 0; i < n; i++)
    if (sum[i]! > 0.25) {
      fu[i] = fu[i]! / sum[i]!;
      fv[i] = fv[i]! / sum[i]!;
      told[i] = 1;
    }
  const [x, y] = pushPull([fu, fv], told, w, h);
  return { field: { cellPx: 1, columns: w, rows: h, u: x!, v: y! }, told };
}
