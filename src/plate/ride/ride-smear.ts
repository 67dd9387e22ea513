/**
 * A template as an open shutter shows it: every pixel becomes the mean of the key frame along the way that
 * the region's motion carries it during the exposure (box shutter, centred on the frame), so that a fast
 * frame is compared with a picture as blurred as itself. Matching blur to blur, not undoing it, after H. Jin,
 * P. Favaro & R. Cipolla, *Visual Tracking in the Presence of Motion Blur*, CVPR 2005. Motion is given over
 * the eight generators, in template units a frame.
 */
import { kernels } from '../../image/kernels.js';
import type { RideMemory } from './ride-memory.js';
import type { LumaLevel, LumaPyramid } from './ride-pyramid.js';
import type { RideTemplate } from './ride-template.js';

/** Side of a tile, level px; as in the kernel. */
const TILE = 8;

/** Longest way (key-frame px) of the corners under a motion. */
export function smearLength(template: RideTemplate, motion: ArrayLike<number>): number {
  let most = 0;
  for (const [u, v] of template.corners) most = Math.max(most, Math.hypot(wayU(motion, u, v), wayV(motion, u, v)));
  return most * template.scale;
}

/** A template over the same pixels whose values `smear` may overwrite. */
export function twinOf(template: RideTemplate, memory: RideMemory): RideTemplate {
  return {
    ...template,
    levels: template.levels.map((l) => ({
      ...l,
      value: memory.copy(l.value),
      jacobian: memory.copy(l.jacobian),
      slope: memory.copy(l.slope),
      reference: memory.copy(l.reference),
    })),
  };
}

/**
 * Fills the levels `from` to `to` of `dst` (from `twinOf`) with the key picture smeared by `motion`, the exposure's
 * share of a frame already in it. Within tiles of 8 × 8 pixels the way is one.
 */
export function smear(
  template: RideTemplate,
  key: LumaPyramid,
  motion: ArrayLike<number>,
  dst: RideTemplate,
  from = 0,
  to = Infinity,
): RideTemplate {
  const { scale, toPixels } = template;
  const length = smearLength(template, motion);
  const xs = template.polygon.map((p) => p[0]);
  const ys = template.polygon.map((p) => p[1]);
  const left = Math.min(...xs);
  const right = Math.max(...xs);
  const top = Math.min(...ys);
  const bottom = Math.max(...ys);
  template.levels.forEach((l, at) => {
    if (at < from || at > to) return;
    const d = dst.levels[at]!;
    const f = 1 / (1 << l.level);
    const picture = key[l.level]!;
    const x0 = Math.max(0, Math.floor(left * f) - 2);
    const y0 = Math.max(0, Math.floor(top * f) - 2);
    const columns = Math.max(1, Math.ceil((Math.min(picture.width, Math.ceil(right * f) + 3) - x0) / TILE));
    const rows = Math.max(1, Math.ceil((Math.min(picture.height, Math.ceil(bottom * f) + 3) - y0) / TILE));
    const taps = Math.max(1, Math.min(9, Math.ceil((length * f) / 1.3)));
    const ways = new Float32Array(2 * columns * rows);
    for (let r = 0, k = 0; r < rows; r++)
      for (let c = 0; c < columns; c++) {
        const u = ((x0 + (c + 0.5) * TILE) / f - toPixels[2]) / scale;
        const v = ((y0 + (r + 0.5) * TILE) / f - toPixels[5]) / scale;
        ways[k++] = wayU(motion, u, v) * scale * f;
        ways[k++] = wayV(motion, u, v) * scale * f;
      }
    const w = columns * TILE;
    const data = smearTiles(picture, ways, columns, rows, x0, y0, taps);
    d.reference.fill(0);
    d.grain = l.grain * grainLeft(length * f, taps);
    const { value, slope, jacobian: J, reference } = d;
    for (let c = 0; c < l.cells; c++) {
      const first = l.starts[c]!;
      const end = l.starts[c + 1]!;
      let n = 0;
      let sum = 0;
      for (let i = first; i < end; i++) {
        const u = l.u[i]!;
        const v = l.v[i]!;
        if (u !== u) continue;
        const o = Math.floor((toPixels[5] + scale * v) * f - y0) * w + Math.floor((toPixels[2] + scale * u) * f - x0);
        const s = data[o]!;
        const gx = 0.5 * (data[o + 1]! - data[o - 1]!);
        const gy = 0.5 * (data[o + w]! - data[o - w]!);
        value[i] = s;
        slope[i] = Math.sqrt(gx * gx + gy * gy);
        sum += s;
        n++;
        const gu = gx * f * scale;
        const gv = gy * f * scale;
        const radial = gu * u + gv * v;
        const j = i * 8;
        J[j] = gu;
        J[j + 1] = gv;
        J[j + 2] = -gu * v + gv * u;
        J[j + 3] = radial;
        J[j + 4] = gu * u - gv * v;
        J[j + 5] = gu * v + gv * u;
        J[j + 6] = -u * radial;
        J[j + 7] = -v * radial;
      }
      reference[c] = sum / Math.max(1, n);
    }
  });
  return dst;
}

/** Tiles of a picture from (x0, y0) on, each smeared along its own way (px along and down); rows · 8 × columns · 8. */
export function smearTiles(
  picture: LumaLevel,
  ways: Float32Array,
  columns: number,
  rows: number,
  x0: number,
  y0: number,
  taps: number,
): Float32Array {
  const out = new Float32Array(columns * rows * TILE * TILE);
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'rideSmear',
      [
        scope.input(picture.data),
        picture.width,
        picture.height,
        scope.input(ways),
        columns,
        x0,
        y0,
        taps,
        scope.output(out),
      ],
      rows,
      columns * TILE * TILE * taps,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/** Plain twin of `smearTiles`. */
export function smearTilesPlain(
  picture: LumaLevel,
  ways: Float32Array,
  columns: number,
  rows: number,
  x0: number,
  y0: number,
  taps: number,
): Float32Array {
  const { width: w, height: h, data } = picture;
  const out = new Float32Array(columns * rows * TILE * TILE);
  const at = (x: number, y: number): number =>
    data[Math.max(0, Math.min(h - 1, y)) * w + Math.max(0, Math.min(w - 1, x))]!;
  for (let y = 0, o = 0; y < rows * TILE; y++)
    for (let x = 0; x < columns * TILE; x++, o++) {
      const k = 2 * (Math.floor(y / TILE) * columns + Math.floor(x / TILE));
      for (let t = 0; t < taps; t++) {
        const q = (t + 0.5) / taps - 0.5;
        const sx = q * ways[k]!;
        const sy = q * ways[k + 1]!;
        const ix = Math.floor(sx);
        const iy = Math.floor(sy);
        const fx = sx - ix;
        const fy = sy - iy;
        const px = x0 + x + ix;
        const py = y0 + y + iy;
        out[o] =
          out[o]! +
          ((1 - fy) * ((1 - fx) * at(px, py) + fx * at(px + 1, py)) +
            fy * ((1 - fx) * at(px, py + 1) + fx * at(px + 1, py + 1))) /
            taps;
      }
    }
  return out;
}

/**
 * Share of the grain's variance left in the mean of `taps` samples along a way (level pixels): neighbours are alike
 * after the pyramid's own smoothing, of sd .71 px, and the samples' own, of about .4.
 */
function grainLeft(way: number, taps: number): number {
  let s = 0;
  for (let i = 0; i < taps; i++)
    for (let k = 0; k < taps; k++) s += Math.exp(-((((i - k) * way) / taps) ** 2) / (4 * (0.71 ** 2 + 0.4 ** 2)));
  return s / (taps * taps);
}

function wayU(m: ArrayLike<number>, u: number, v: number): number {
  return m[0]! - m[2]! * v + (m[3]! + m[4]!) * u + m[5]! * v - m[6]! * u * u - m[7]! * u * v;
}

function wayV(m: ArrayLike<number>, u: number, v: number): number {
  return m[1]! + m[2]! * u + (m[3]! - m[4]!) * v + m[5]! * u - m[6]! * u * v - m[7]! * v * v;
}
