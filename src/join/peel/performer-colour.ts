/**
 * The performer's own colour: solved under partial coverage, then freed of the screen's light.
 *
 * Colour: with α known, F minimises |I − αF − (1 − α)B|² + λ|F − μ|², so F = (α(I − (1 − α)B) + λμ) / (α² + λ), μ the
 * performer's local mean (a Gaussian prior as in Chuang et al. 2001 with an isotropic cloud). Spill: a furred or
 * skinned performer's green lies between its red and blue, or a little below, and where it is lit the take shows how
 * far (`coat-green.ts`); the excess of the screen's primary over that, in display-like (square root) light, is what the
 * screen has lent it; with it goes the screen's share of the two other primaries. A blue screen's bounce is divided out
 * first, and blue is limited by what the coat shows of it where it is lit (`cloth-bounce.ts`).
 */
import { kernels } from '../../image/kernels.js';
import type { Picture } from '../../image/picture.js';
import { clothBounce, type ClothBounce } from './cloth-bounce.js';
import { coatGreen, greenAt, USUAL_GREEN, type CoatGreen } from './coat-green.js';
import type { FrameAnalysis } from './frame-analysis.js';
import { columnTaps } from './resample-cells.js';
import { RowSampler } from './row-sampler.js';

const LAMBDA = 0.05;
/** Small pixels from anything that may be performer beyond which the colour is simply 0. */
const NOTHING_FROM = 8;

/** Part of a picture, [x0, y0, x1, y1] in pixels; x1 = x0 where it is empty. */
export type Box = readonly [number, number, number, number];

/**
 * Columns of each row of blocks, and the box, outside which the colour is 0. `everywhere`: a marked polygon may hold
 * solid pixels anywhere.
 */
function colourSpans(
  analysis: FrameAnalysis,
  w: number,
  h: number,
  everywhere: boolean,
): { readonly begin: Int32Array; readonly end: Int32Array; readonly box: Box } {
  const { width: sw, height: sh, block } = analysis.small;
  const begin = new Int32Array(sh);
  const end = new Int32Array(sh);
  let x0 = w;
  let y0 = h;
  let x1 = 0;
  let y1 = 0;
  for (let j = 0; j < sh; j += 1) {
    let first = everywhere ? 0 : sw;
    let last = everywhere ? sw - 1 : -1;
    for (let s = 0; s < sw && !everywhere; s += 1)
      if (analysis.fromPerformer[j * sw + s]! < NOTHING_FROM) {
        if (s < first) first = s;
        last = s;
      }
    if (last < first) continue;
    begin[j] = first * block;
    end[j] = Math.min((last + 1) * block, w);
    x0 = Math.min(x0, begin[j]!);
    x1 = Math.max(x1, end[j]!);
    y0 = Math.min(y0, j * block);
    y1 = Math.min((j + 1) * block, h);
  }
  return { begin, end, box: x1 > x0 ? [x0, y0, x1, y1] : [0, 0, 0, 0] };
}

/**
 * @param alpha of `linear`'s size @param keep 1 where screen-like colour stays, or null
 * @param dst filled within the box that is returned; beyond it the colour is 0 and not written
 */
export function performerColour(
  linear: Picture,
  analysis: FrameAnalysis,
  alpha: Float32Array,
  spill: number,
  keep: Float32Array | null,
  dst: Picture,
): Box {
  const { width: w, height: h } = linear;
  const { small, field, grid } = analysis;
  const { width: sw, height: sh, block } = small;
  const { begin, end, box } = colourSpans(analysis, w, h, keep !== null);
  if (box[2] <= box[0]) return box;
  const bounce = spill > 0 ? clothBounce(analysis, alpha, w, box) : null;
  const own = ownGreen(analysis, alpha, spill, w, box);
  const door = kernels();
  const scope = door.scope();
  try {
    const cell = analysis.cell * block;
    const acrossM = columnTaps(w, cell, grid.width);
    const acrossB = columnTaps(w, block, sw);
    // Only the box is written: what lies beside it must come home unchanged.
    const owned = door.owns(dst.data);
    const out = owned ? scope.output(dst.data) : scope.input(dst.data);
    door.run(
      'peelColour',
      [
        scope.input(linear.data),
        w,
        h,
        box[1],
        block,
        sw,
        sh,
        scope.input(begin),
        scope.input(end),
        scope.input(analysis.performer),
        grid.width,
        grid.height,
        cell,
        scope.input(acrossM.first),
        scope.input(acrossM.share),
        scope.input(field.colour),
        scope.input(acrossB.first),
        scope.input(acrossB.share),
        scope.input(alpha),
        keep === null ? 0 : scope.input(keep),
        spill,
        LAMBDA,
        isBlue(analysis) ? 1 : 0,
        bounce === null ? 0 : scope.input(bounce.fields),
        bounce?.red ?? 0,
        bounce?.green ?? 0,
        scope.input(Float32Array.of(...own)),
        box[0],
        box[2],
        out,
      ],
      box[3] - box[1],
      (box[2] - box[0]) * 6,
      20 * (grid.width + 8) + 12 * (sw + 8) + 64,
    );
    if (!owned) dst.data.set(door.view(out, dst.data.length));
  } finally {
    scope.close();
  }
  return box;
}

/** What is told of a coat before a green screen; what is usual where no spill is taken out or the screen is blue. */
function ownGreen(analysis: FrameAnalysis, alpha: Float32Array, spill: number, w: number, box: Box): CoatGreen {
  return spill > 0 && analysis.occupied && !isBlue(analysis) ? coatGreen(analysis, alpha, w, box) : USUAL_GREEN;
}

function isBlue(analysis: FrameAnalysis): boolean {
  const { colour } = analysis.field;
  const cells = analysis.small.width * analysis.small.height;
  return colour[2 * cells]! > colour[cells]!;
}

/** Plain twin of the kernel; clears all of `dst` first. */
export function performerColourPlain(
  linear: Picture,
  analysis: FrameAnalysis,
  alpha: Float32Array,
  spill: number,
  keep: Float32Array | null,
  dst: Picture,
): void {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const { small, field } = analysis;
  const k = small.block;
  const screen = new RowSampler(field.colour, small, k, w, 3);
  const mean = new RowSampler(analysis.performer, analysis.grid, analysis.cell * k, w, 3);
  const out = dst.data;
  const blue = isBlue(analysis);
  const key = blue ? 2 : 1;
  const other = blue ? 1 : 2;
  const br = screen.row;
  const bs = screen.stride;
  const mr = mean.row;
  const ms = mean.stride;
  const { begin, end, box } = colourSpans(analysis, w, h, keep !== null);
  const bounce = spill > 0 ? clothBounce(analysis, alpha, w, box) : null;
  const own = ownGreen(analysis, alpha, spill, w, box);
  const thrown = bounce === null ? null : new RowSampler(bounce.fields, analysis.grid, analysis.cell * k, w, 2);
  out.fill(0);
  for (let y = 0; y < h; y += 1) {
    const j = (y / k) | 0;
    const x0 = begin[j]!;
    const x1 = end[j]!;
    if (x1 <= x0) continue;
    screen.seek(y);
    mean.seek(y);
    thrown?.seek(y);
    for (let x = x0; x < x1; x += 1) {
      const i = y * w + x;
      const a = alpha[i]!;
      const m0 = mean.first[x]!;
      const strength = keep === null ? spill : spill * (1 - keep[i]!);
      if (a <= 0) {
        // Nothing of the performer: its mean goes on, so that a filter over the edge meets no foreign colour.
        const mt = mean.share[x]!;
        for (let p = 0; p < 3; p += 1)
          out[p * n + i] = Math.max(0, mr[p * ms + m0]! + (mr[p * ms + m0 + 1]! - mr[p * ms + m0]!) * mt);
        if (bounce !== null) divide(out, i, n, bounce, strength * read(thrown!, x, 0));
        free(out, i, n, [key, other], strength, [0, 0, 1], thrown === null ? Infinity : read(thrown, x, 1), own);
        continue;
      }
      let r = data[i]!;
      let g = data[n + i]!;
      let b = data[2 * n + i]!;
      const b0 = screen.first[x]!;
      const bt = screen.share[x]!;
      const sr = br[b0]! + (br[b0 + 1]! - br[b0]!) * bt;
      const sg = br[bs + b0]! + (br[bs + b0 + 1]! - br[bs + b0]!) * bt;
      const sb = br[2 * bs + b0]! + (br[2 * bs + b0 + 1]! - br[2 * bs + b0]!) * bt;
      if (a < 1) {
        const c = 1 - a;
        const inverse = 1 / (a * a + LAMBDA * c);
        const pull = LAMBDA * c;
        const mt = mean.share[x]!;
        r = (a * (r - c * sr) + pull * (mr[m0]! + (mr[m0 + 1]! - mr[m0]!) * mt)) * inverse;
        g = (a * (g - c * sg) + pull * (mr[ms + m0]! + (mr[ms + m0 + 1]! - mr[ms + m0]!) * mt)) * inverse;
        b = (a * (b - c * sb) + pull * (mr[2 * ms + m0]! + (mr[2 * ms + m0 + 1]! - mr[2 * ms + m0]!) * mt)) * inverse;
      }
      out[i] = r < 0 ? 0 : r;
      out[n + i] = g < 0 ? 0 : g;
      out[2 * n + i] = b < 0 ? 0 : b;
      if (bounce !== null) divide(out, i, n, bounce, strength * read(thrown!, x, 0));
      const most = thrown === null ? Infinity : read(thrown, x, 1);
      free(out, i, n, [key, other], strength, [sr, blue ? sg : sb, blue ? sb : sg], most, own);
    }
  }
}

function read({ row, first, share, stride }: RowSampler, x: number, field: number): number {
  const at = field * stride + first[x]!;
  return row[at]! + (row[at + 1]! - row[at]!) * share[x]!;
}

/**
 * Divides the cloth's bounce out of one pixel; as much light as that was comes back without its colour, as from a grey
 * floor.
 */
function divide(out: Float32Array, i: number, n: number, { red, green }: ClothBounce, q: number): void {
  const grey = 1 + ((red + green + 1) / 3) * q;
  out[i] = (out[i]! * grey) / (1 + q * red);
  out[n + i] = (out[n + i]! * grey) / (1 + q * green);
  out[2 * n + i] = (out[2 * n + i]! * grey) / (1 + q);
}

/**
 * Takes the screen's light out of one pixel. `channels`: the screen's primary and the one that is neither it nor red;
 * `screen`: its colour there, red, that other and the primary; `most`: of its primary, in parts of the geometric mean
 * of the two others; `own`: the coat's own green, where that is the primary.
 */
function free(
  out: Float32Array,
  i: number,
  n: number,
  [key, other]: readonly [number, number],
  strength: number,
  [screenRed, screenOther, screenKey]: readonly [number, number, number],
  most: number,
  own: CoatGreen,
): void {
  const red = out[i]!;
  const second = out[other * n + i]!;
  const excess =
    out[key * n + i]! -
    Math.min(
      usualKey(red, second, key === 2 ? null : own),
      most < Infinity ? most * Math.sqrt(red * second) : Infinity,
    );
  if (excess <= 0 || strength <= 0) return;
  // Fur gives back the screen's light filtered by its own colour: of red and blue half the screen's share goes with it.
  const amount = (strength * excess) / Math.max(screenKey - 0.25 * (screenRed + screenOther), 0.25 * screenKey, 1e-4);
  out[i] = Math.max(0, red - 0.5 * amount * screenRed);
  out[other * n + i] = Math.max(0, second - 0.5 * amount * screenOther);
  out[key * n + i] = Math.max(0, out[key * n + i]! - amount * screenKey);
}

/**
 * Most of the screen's primary that a performer of this red and other primary shows by itself: their mean in
 * square-root light, and where red is the more the coat's own share of their difference beside it.
 */
function usualKey(red: number, other: number, own: CoatGreen | null): number {
  const r = Math.sqrt(red),
    o = Math.sqrt(other),
    m = 0.5 * (r + o) + (own === null || !(r > o) ? 0 : greenAt(own, o / r) * (r - o));
  return m * m;
}
