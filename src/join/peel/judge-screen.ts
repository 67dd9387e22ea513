/**
 * Which small pixels are screen, given the screen's colour at each (see screen-field.ts): those whose colour lies at a
 * small angle to it and whose brightness lies within bounds. By the kernel `screenJudge`, with its plain twin.
 */
import { kernels } from '../../image/kernels.js';

/** What one look at the picture says of each pixel, filled anew in every turn. */
export interface Judged {
  readonly rho: Float32Array;
  /** rho over its limit; 99 where the strength s is out of bounds. */
  readonly excess: Float32Array;
  /** 1 where the pixel is screen, else 0; `sure` says the same. */
  readonly weight: Float32Array;
  readonly sure: Uint8Array;
  /** A row's sum of |I - B|² over screen pixels. */
  readonly square: Float32Array;
}

/** Fills `judged` by the kernel. @param colour B, planar */
export function judgeScreen(
  data: Float32Array,
  colour: Float32Array,
  w: number,
  h: number,
  low: number,
  high: number,
  limit: number,
  judged: Judged,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    const bytes = door.owns(judged.sure) ? judged.sure.byteOffset : scope.allocate(w * h);
    door.run(
      'screenJudge',
      [
        scope.input(data),
        scope.input(colour),
        w,
        h,
        low,
        high,
        limit,
        scope.output(judged.rho),
        scope.output(judged.excess),
        scope.output(judged.weight),
        bytes,
        scope.output(judged.square),
      ],
      h,
      w * 6,
    );
    if (!door.owns(judged.sure)) judged.sure.set(new Uint8Array(door.memory.buffer, bytes, w * h));
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. `also`: what else a screen pixel must be. */
export function judgeScreenPlain(
  data: Float32Array,
  colour: Float32Array,
  w: number,
  h: number,
  low: number,
  high: number,
  limit: number,
  judged: Judged,
  also: ((r: number, g: number, b: number) => boolean) | null = null,
): void {
  const n = w * h;
  judged.square.fill(0);
  for (let i = 0; i < n; i += 1) {
    const r = data[i]!;
    const g = data[n + i]!;
    const b = data[2 * n + i]!;
    const br = colour[i]!;
    const bg = colour[n + i]!;
    const bb = colour[2 * n + i]!;
    const power = br * br + bg * bg + bb * bb;
    const s = (r * br + g * bg + b * bb) / power;
    const xr = r - s * br;
    const xg = g - s * bg;
    const xb = b - s * bb;
    const rho = Math.sqrt((xr * xr + xg * xg + xb * xb) / power) / Math.max(s, 1e-3);
    const within = s > low && s < high;
    const is = within && rho < limit && (also === null || also(r, g, b));
    judged.rho[i] = rho;
    judged.excess[i] = within ? rho / limit : 99;
    judged.sure[i] = is ? 1 : 0;
    judged.weight[i] = is ? 1 : 0;
    if (!is) continue;
    const y = (i / w) | 0;
    judged.square[y] = judged.square[y]! + (r - br) ** 2 + (g - bg) ** 2 + (b - bb) ** 2;
  }
}
