/**
 * The matte of one frame at full resolution from its analysis. Only the band about the performer's outline is unmixed.
 */
import { kernels } from '../../image/kernels.js';
import type { Picture } from '../../image/picture.js';
import { fillHoles } from './fill-holes.js';
import type { FrameAnalysis } from './frame-analysis.js';
import { columnTaps } from './resample-cells.js';
import { RowSampler } from './row-sampler.js';

/** Small pixels beyond which nothing but the plain verdict (screen, performer) is possible. */
const SOLID_FROM = 10;
const EMPTY_FROM = 3;
/**
 * Matte below which a pixel near the screen's colour opens a gap, and how near: squared share of the screen's own
 * strength.
 */
const GAP_BELOW = 0.12;
const GAP_NEAR = 0.0625;

/**
 * @param dst alpha 0..1, a value a pixel of `linear`
 * @returns the highest alpha of each block of the small picture
 */
export function matteOfFrame(linear: Picture, analysis: FrameAnalysis, dst: Float32Array): Float32Array {
  const { width: w, height: h } = linear;
  const { small, field, grid } = analysis;
  const { width: sw, height: sh, block } = small;
  const highest = new Float32Array(sw * sh);
  if (!analysis.occupied) {
    dst.fill(0);
    return highest;
  }
  const door = kernels();
  const scope = door.scope();
  try {
    const cell = analysis.cell * block;
    const acrossW = columnTaps(w, cell, grid.width);
    const acrossB = columnTaps(w, block, sw);
    const fromScreen = scope.input(analysis.fromScreen);
    const alpha = scope.output(dst);
    const state = scope.allocate(w * h);
    const cost = w * block * 2;
    door.run(
      'peelMatte',
      [
        scope.input(linear.data),
        w,
        h,
        block,
        sw,
        sh,
        fromScreen,
        scope.input(analysis.fromPerformer),
        scope.input(analysis.screen),
        SOLID_FROM,
        EMPTY_FROM,
        scope.input(analysis.weights),
        grid.width,
        grid.height,
        cell,
        scope.input(acrossW.first),
        scope.input(acrossW.share),
        scope.input(field.colour),
        scope.input(acrossB.first),
        scope.input(acrossB.share),
        GAP_BELOW,
        GAP_NEAR,
        alpha,
        state,
      ],
      sh,
      cost,
      12 * (grid.width + sw + 16) + 64,
    );
    const [top, bottom] = openRows(analysis);
    const level = scope.allocate(w * h);
    if (bottom > top)
      door.run(
        'peelFlood',
        [alpha, state, level, scope.allocate(4 * w * h), w, h, top * block, Math.min(bottom * block, h)],
        1,
        1,
        1024,
      );
    const peaks = scope.output(highest);
    door.run('peelLift', [alpha, state, level, w, h, block, sw, fromScreen, peaks], sh, cost);
    scope.finish();
  } finally {
    scope.close();
  }
  return highest;
}

/**
 * The flood by itself: `fillHoles` as grey levels. @returns the level of the lowest pass from a marker to each active
 * pixel, its own at least, in 255ths; 255 where there is no way
 */
export function floodHollows(
  alpha: Float32Array,
  marker: Uint8Array,
  active: Uint8Array,
  w: number,
  h: number,
): Uint8Array {
  const door = kernels();
  const scope = door.scope();
  try {
    const state = scope.input(active.map((a, i) => (a === 0 ? 0 : marker[i] === 1 ? 3 : 1)));
    const level = scope.allocate(w * h);
    door.run('peelFlood', [scope.input(alpha), state, level, scope.allocate(4 * w * h), w, h, 0, h], 1, 1, 1024);
    return new Uint8Array(door.memory.buffer, level, w * h).slice();
  } finally {
    scope.close();
  }
}

/** First and one past the last row of blocks that hold some of the band. */
function openRows(analysis: FrameAnalysis): readonly [number, number] {
  const { width: sw, height: sh } = analysis.small;
  let top = sh;
  let bottom = 0;
  for (let j = 0; j < sh; j += 1) {
    for (let i = j * sw; i < (j + 1) * sw; i += 1) {
      if (analysis.fromPerformer[i]! >= EMPTY_FROM || analysis.fromScreen[i]! >= SOLID_FROM) continue;
      if (top === sh) top = j;
      bottom = j + 1;
      break;
    }
  }
  return [top, bottom];
}

/** Plain twin of the kernels. */
export function matteOfFramePlain(linear: Picture, analysis: FrameAnalysis, dst: Float32Array): void {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const { small, field } = analysis;
  dst.fill(0);
  if (!analysis.occupied) return;
  const k = small.block;
  const sw = small.width;
  const weights = new RowSampler(analysis.weights, analysis.grid, analysis.cell * k, w, 3);
  const screen = new RowSampler(field.colour, small, k, w, 3);
  const wr = weights.row;
  const ws = weights.stride;
  const br = screen.row;
  const bs = screen.stride;
  const active = new Uint8Array(n);
  const marker = new Uint8Array(n);
  for (let y = 0; y < h; y += 1) {
    const row = ((y / k) | 0) * sw;
    weights.seek(y);
    screen.seek(y);
    for (let s = 0; s < sw; s += 1) {
      const j = row + s;
      if (analysis.fromPerformer[j]! >= EMPTY_FROM) continue;
      const end = Math.min(s * k + k, w);
      if (analysis.fromScreen[j]! >= SOLID_FROM) {
        dst.fill(1, y * w + s * k, y * w + end);
        continue;
      }
      const sure = analysis.screen[j]!;
      for (let x = s * k; x < end; x += 1) {
        const i = y * w + x;
        const a0 = weights.first[x]!;
        const at = weights.share[x]!;
        const b0 = screen.first[x]!;
        const bt = screen.share[x]!;
        const sr = br[b0]! + (br[b0 + 1]! - br[b0]!) * bt;
        const sg = br[bs + b0]! + (br[bs + b0 + 1]! - br[bs + b0]!) * bt;
        const sb = br[2 * bs + b0]! + (br[2 * bs + b0 + 1]! - br[2 * bs + b0]!) * bt;
        const dr = data[i]! - sr;
        const dg = data[n + i]! - sg;
        const db = data[2 * n + i]! - sb;
        const a =
          (wr[a0]! + (wr[a0 + 1]! - wr[a0]!) * at) * dr +
          (wr[ws + a0]! + (wr[ws + a0 + 1]! - wr[ws + a0]!) * at) * dg +
          (wr[2 * ws + a0]! + (wr[2 * ws + a0 + 1]! - wr[2 * ws + a0]!) * at) * db;
        active[i] = 1;
        dst[i] = a <= 0 ? 0 : a >= 1 ? 1 : a;
        // Sure screen blocks, and single pixels of clear screen colour: the gaps between hairs and links.
        if (sure === 1 || (a < GAP_BELOW && dr * dr + dg * dg + db * db < GAP_NEAR * (sr * sr + sg * sg + sb * sb)))
          marker[i] = 1;
      }
    }
  }
  const filled = dst.slice();
  fillHoles(filled, marker, active, w, h);
  for (let y = 0; y < h; y += 1) {
    const row = ((y / k) | 0) * sw;
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      if (active[i] === 0) continue;
      const a = dst[i]!;
      const rise = filled[i]! - a;
      if (rise <= 0) continue;
      // Near the outline a deep hollow is a gap in the fur; further in, or where the matte is almost solid, it is a
      // flaw.
      dst[i] = a + rise * Math.max(ramp(1.5, 4, analysis.fromScreen[row + ((x / k) | 0)]!), ramp(0.5, 0.8, a));
    }
  }
}

function ramp(a: number, b: number, x: number): number {
  const t = Math.min(1, Math.max(0, (x - a) / (b - a)));
  return t * t * (3 - 2 * t);
}
