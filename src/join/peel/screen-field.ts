/**
 * The screen's colour at every small pixel of one frame, and which pixels surely are screen.
 *
 * A lit screen of one cloth has one chromaticity; folds, fall-off and shadow change its brightness s. With B the local screen
 * colour and I the pixel, s = I·B / B·B, and ρ = |I − sB| / (s|B|) is the tangent of the angle between the two colours in
 * linear light. Pixels of small ρ are screen; B is their mean in cells, filled behind the performer (priorFill); the two are
 * found in turn, the limit of ρ following the screen's own scatter.
 */
import { connectedComponents } from '../../image/components.js';
import { median } from '../../image/statistics.js';
import { cellMoments } from './local-unmix.js';
import { resampleCells } from './resample-cells.js';
import { hueDegrees, hueGap, type ScreenHue } from './screen-hue.js';
import type { SmallLinear } from './small-linear.js';

export interface ScreenField {
  /** Screen colour, planar RGB, small size. */
  readonly colour: Float32Array;
  /** 1 where the pixel surely is screen. */
  readonly sure: Uint8Array;
  /** Limit of ρ used at last. */
  readonly limit: number;
  /** Mean square of I − B over sure pixels and channels: the screen's noise after averaging, plus its finest texture. */
  readonly noise: number;
}

/** Small pixels a cell of the screen field. */
const CELL = 4;
const LEAST_LIMIT = 0.05;
const LARGEST_LIMIT = 0.25;

/**
 * @param start planar RGB screen colours to start from (an earlier model of the same set-up), or null to start from `hue`
 */
export function screenField(small: SmallLinear, hue: ScreenHue, start: Float32Array | null = null): ScreenField {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const sure = new Uint8Array(n);
  const weight = new Float32Array(n);
  const excess = new Float32Array(n);
  let colour = start;
  let limit = start === null ? 0.35 : 0.15;
  let noise = 0;
  const hueLimit = Math.min(24, hue.spreadDeg + 4);
  const turns = start === null ? 4 : 2;
  for (let turn = 0; turn < turns; turn += 1) {
    const wide = colour === null;
    const low = wide ? 0.15 : 0.25;
    const high = wide ? 4 : 1.6;
    const scatter: number[] = [];
    let square = 0;
    for (let i = 0; i < n; i += 1) {
      const r = data[i]!;
      const g = data[n + i]!;
      const b = data[2 * n + i]!;
      const br = colour === null ? hue.linear[0] : colour[i]!;
      const bg = colour === null ? hue.linear[1] : colour[n + i]!;
      const bb = colour === null ? hue.linear[2] : colour[2 * n + i]!;
      const power = br * br + bg * bg + bb * bb;
      const s = (r * br + g * bg + b * bb) / power;
      const xr = r - s * br;
      const xg = g - s * bg;
      const xb = b - s * bb;
      const rho = Math.sqrt((xr * xr + xg * xg + xb * xb) / power) / Math.max(s, 1e-3);
      const is = s > low && s < high && rho < limit && (!wide || hueGap(hueDegrees(r, g, b), hue.hueDeg) < hueLimit);
      excess[i] = s > low && s < high ? rho / limit : 99;
      sure[i] = is ? 1 : 0;
      weight[i] = is ? 1 : 0;
      if (!is) continue;
      if (i % 5 === 0) scatter.push(rho);
      square += (r - br) ** 2 + (g - bg) ** 2 + (b - bb) ** 2;
    }
    if (!wide && turn >= turns - 2) dropStrays(small, sure, weight, limit);
    const cells = cellMoments(data, weight, w, h, CELL, 4);
    if (cells === null) break;
    colour = resampleCells(cells.moments, cells.grid, CELL, w, h, 3);
    noise = square / Math.max(15 * scatter.length, 1);
    const own = Math.max(LEAST_LIMIT, 3.5 * median(scatter));
    limit = wide ? Math.min(0.3, Math.max(own, 0.12)) : Math.min(LARGEST_LIMIT, own);
  }
  takeInSpecks(sure, excess, w, h);
  if (colour === null) {
    colour = new Float32Array(3 * n);
    for (let p = 0; p < 3; p += 1) colour.fill(hue.linear[p]!, p * n, (p + 1) * n);
  }
  return { colour, sure, limit, noise };
}

/** A few pixels alone on the screen, only just off its colour (the rim of a hard shadow, a stitch), are screen. */
function takeInSpecks(sure: Uint8Array, excess: Float32Array, w: number, h: number): void {
  const n = w * h;
  const other = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) other[i] = 1 - sure[i]!;
  const parts = connectedComponents(other, w, h, 8);
  const worst = new Float32Array(parts.components.length + 1);
  const area = new Int32Array(parts.components.length + 1);
  for (let i = 0; i < n; i += 1) {
    const l = parts.labels[i]!;
    if (l === 0) continue;
    area[l] = area[l]! + 1;
    worst[l] = Math.max(worst[l]!, excess[i]!);
  }
  for (let i = 0; i < n; i += 1) {
    const l = parts.labels[i]!;
    if (l !== 0 && area[l]! <= 4 && worst[l]! < 1.6) sure[i] = 1;
  }
}

/** Small parts must look like the screen round them, not only share its hue: a dark green strap is no screen. */
function dropStrays(small: SmallLinear, sure: Uint8Array, weight: Float32Array, limit: number): void {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const parts = connectedComponents(sure, w, h, 4);
  const area = new Int32Array(parts.components.length + 1);
  for (let i = 0; i < n; i += 1) area[parts.labels[i]!] = area[parts.labels[i]!]! + 1;
  const large = 0.01 * n;
  const major = new Float32Array(n);
  let any = false;
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 1 && area[parts.labels[i]!]! >= large) {
      major[i] = 1;
      any = true;
    }
  }
  if (!any) return;
  const cells = cellMoments(data, major, w, h, CELL, 4)!;
  const around = resampleCells(cells.moments, cells.grid, CELL, w, h, 3);
  const total = new Float64Array(parts.components.length + 1);
  const off = new Float64Array(parts.components.length + 1);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0 || major[i] === 1) continue;
    const r = around[i]!;
    const g = around[n + i]!;
    const b = around[2 * n + i]!;
    const power = r * r + g * g + b * b;
    const s = (data[i]! * r + data[n + i]! * g + data[2 * n + i]! * b) / power;
    const l = parts.labels[i]!;
    total[l] = total[l]! + s;
    off[l] = off[l]! + Math.sqrt(((data[i]! - s * r) ** 2 + (data[n + i]! - s * g) ** 2 + (data[2 * n + i]! - s * b) ** 2) / power);
  }
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0 || major[i] === 1) continue;
    const l = parts.labels[i]!;
    const s = total[l]! / area[l]!;
    if (s < 0.5 || s > 1.5 || off[l]! / area[l]! > limit * s) {
      sure[i] = 0;
      weight[i] = 0;
    }
  }
}
