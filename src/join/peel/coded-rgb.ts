/**
 * Display-coded R'G'B' at full resolution from a decoded frame, for keying.
 *
 * A matte needs chroma as sharp as luma, but 4:2:0 and 4:2:2 files keep only a quarter or a half of it. Each chroma
 * sample is therefore upsampled jointly with luma: in a small window of chroma samples the chroma is regressed on the
 * luma brought to the chroma grid (the local linear model of the guided filter, He, Sun and Tang, "Guided Image
 * Filtering", PAMI 2013, eq. 3 to 8), and the luma detail that the chroma grid could not hold is added through the
 * slope. Where luma and chroma do not move together the slope vanishes and plain bilinear interpolation remains.
 *
 * Values: R'G'B' 0..1 (super-whites kept up to 1.1), planar, height × width. Matrix coefficients: ITU-R BT.601-7,
 * BT.709-6, BT.2020-2. Plain twin of the kernels behind `linearFrame`, which go on to light; for measurements and
 * tests.
 */
import { createPicture, type Picture } from '../../image/picture.js';
import { lumaPlane } from '../../media/luma.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import { decodingOf, quantisation } from '../../media/ycbcr.js';
import { SLOPE_FLOOR } from './linear-frame.js';

interface ChromaGrid {
  readonly width: number;
  readonly height: number;
  /** Luma averaged onto the chroma samples. */
  readonly luma: Float32Array;
  readonly cb: Float32Array;
  readonly cr: Float32Array;
}

/**
 * Full-resolution coded R'G'B' of a frame (three planes; alpha is not touched). Frames without subsampled chroma go
 * through the media door's plain conversion.
 */
export function codedRgb(frame: VideoFrame, dst?: Picture): Picture {
  const { widthPx: w, heightPx: h } = frame;
  const n = w * h;
  const [shiftX, shiftY] = frame.chromaShift;
  const out =
    dst !== undefined && dst.width === w && dst.height === h && dst.channels === 3 ? dst : createPicture(w, h, 3);
  if (frame.layout !== 'yuv' || (shiftX === 0 && shiftY === 0)) return toCodedRgb(frame, out);
  const red = out.data.subarray(0, n);
  const green = out.data.subarray(n, 2 * n);
  const blue = out.data.subarray(2 * n, 3 * n);
  const decoding = decodingOf(frame.colour.matrix);
  const luma = lumaPlane(frame, red);
  const grid = chromaOf(frame, luma);
  const { slopeB, slopeR, baseB, baseR } = localSlopes(grid);
  const cw = grid.width;
  const ch = grid.height;
  const columns = taps(w, cw, shiftX, frame.chromaSite[0]);
  const rowSlopeB = new Float32Array(cw);
  const rowSlopeR = new Float32Array(cw);
  const rowBaseB = new Float32Array(cw);
  const rowBaseR = new Float32Array(cw);
  const rows = taps(h, ch, shiftY, frame.chromaSite[1]);
  for (let y = 0; y < h; y += 1) {
    const a = rows.first[y]! * cw;
    const b = rows.second[y]! * cw;
    const t = rows.share[y]!;
    for (let x = 0; x < cw; x += 1) {
      rowSlopeB[x] = slopeB[a + x]! + (slopeB[b + x]! - slopeB[a + x]!) * t;
      rowSlopeR[x] = slopeR[a + x]! + (slopeR[b + x]! - slopeR[a + x]!) * t;
      rowBaseB[x] = baseB[a + x]! + (baseB[b + x]! - baseB[a + x]!) * t;
      rowBaseR[x] = baseR[a + x]! + (baseR[b + x]! - baseR[a + x]!) * t;
    }
    for (let x = 0; x < w; x += 1) {
      const k = columns.first[x]!;
      const m = columns.second[x]!;
      const f = columns.share[x]!;
      const i = y * w + x;
      const l = luma[i]!;
      const u =
        rowBaseB[k]! + (rowBaseB[m]! - rowBaseB[k]!) * f + (rowSlopeB[k]! + (rowSlopeB[m]! - rowSlopeB[k]!) * f) * l;
      const v =
        rowBaseR[k]! + (rowBaseR[m]! - rowBaseR[k]!) * f + (rowSlopeR[k]! + (rowSlopeR[m]! - rowSlopeR[k]!) * f) * l;
      red[i] = l + decoding.crToR * v;
      green[i] = l + decoding.cbToG * u + decoding.crToG * v;
      blue[i] = l + decoding.cbToB * u;
    }
  }
  return out;
}

/**
 * Plain twin of `peelQuads`: the mean light of four pixels each of a 4:2:0 frame, by the same two points.
 *
 * @param light coded value to light
 */
export function quadLightPlain(frame: VideoFrame, light: (coded: number) => number): Picture {
  const { widthPx: w, heightPx: h } = frame;
  const d = decodingOf(frame.colour.matrix);
  const luma = lumaPlane(frame);
  const grid = chromaOf(frame, luma);
  const lines = localSlopes(grid);
  const { width: cw, height: ch } = grid;
  const n = cw * ch;
  const out = createPicture(cw, ch, 3);
  const sites = [frame.chromaSite[0], frame.chromaSite[1]].map((s) => 0.25 - s / 2);
  for (let y = 0; y < ch; y += 1) {
    for (let x = 0; x < cw; x += 1) {
      const four = [0, 1, 2, 3].map(
        (k) => luma[Math.min(2 * y + (k >> 1), h - 1) * w + Math.min(2 * x + (k & 1), w - 1)]!,
      );
      const l = (four[0]! + four[1]! + four[2]! + four[3]!) / 4;
      const sd = Math.sqrt(four.reduce((s, v) => s + (v - l) ** 2, 0) / 4);
      const u = Math.min(Math.max(x + sites[0]!, 0), cw - 1),
        v = Math.min(Math.max(y + sites[1]!, 0), ch - 1);
      const fx = u - Math.floor(u),
        fy = v - Math.floor(v),
        a = Math.floor(v) * cw + Math.floor(u);
      const right = Math.min(Math.floor(u) + 1, cw - 1) - Math.floor(u),
        below = (Math.min(Math.floor(v) + 1, ch - 1) - Math.floor(v)) * cw;
      const at = (p: Float32Array): number =>
        (p[a]! * (1 - fx) + p[a + right]! * fx) * (1 - fy) +
        (p[a + below]! * (1 - fx) + p[a + below + right]! * fx) * fy;
      const sb = at(lines.slopeB),
        sr = at(lines.slopeR),
        cb = at(lines.baseB) + sb * l,
        cr = at(lines.baseR) + sr * l;
      const i = y * cw + x;
      const mean = (c: number, off: number): number => 0.5 * (light(c + off) + light(c - off));
      out.data[i] = mean(l + d.crToR * cr, sd * (1 + d.crToR * sr));
      out.data[n + i] = mean(l + d.cbToG * cb + d.crToG * cr, sd * (1 + d.cbToG * sb + d.crToG * sr));
      out.data[2 * n + i] = mean(l + d.cbToB * cb, sd * (1 + d.cbToB * sb));
    }
  }
  return out;
}

/** The two chroma samples beside each luma sample and the share of the second. */
function taps(
  size: number,
  chromaSize: number,
  shift: number,
  site: number,
): { first: Int32Array; second: Int32Array; share: Float32Array } {
  const first = new Int32Array(size);
  const second = new Int32Array(size);
  const share = new Float32Array(size);
  for (let i = 0; i < size; i += 1) {
    const at = Math.min(Math.max((i - (shift === 0 ? 0 : site)) / (1 << shift), 0), chromaSize - 1);
    first[i] = at | 0;
    second[i] = Math.min((at | 0) + 1, chromaSize - 1);
    share[i] = at - (at | 0);
  }
  return { first, second, share };
}

function chromaOf(frame: VideoFrame, luma: Float32Array): ChromaGrid {
  const { widthPx: w, heightPx: h } = frame;
  const [shiftX, shiftY] = frame.chromaShift;
  const cw = (w + (1 << shiftX) - 1) >> shiftX;
  const ch = (h + (1 << shiftY) - 1) >> shiftY;
  const n = cw * ch;
  const q = quantisation(frame.bitDepth, frame.colour.fullRange);
  const scale = 1 / q.chromaScale;
  const cb = new Float32Array(n);
  const cr = new Float32Array(n);
  const fromB = frame.planes[1]!;
  const fromR = frame.planes[2]!;
  for (let i = 0; i < n; i += 1) {
    cb[i] = (fromB[i]! - q.chromaOffset) * scale;
    cr[i] = (fromR[i]! - q.chromaOffset) * scale;
  }
  return { width: cw, height: ch, luma: lumaOnChroma(luma, w, h, cw, ch, shiftX, shiftY, frame.chromaSite), cb, cr };
}

/**
 * Luma averaged onto the chroma samples: [1 2 1]/4 across where a chroma sample sits on a luma sample, a pair where it
 * sits between two.
 */
function lumaOnChroma(
  luma: Float32Array,
  w: number,
  h: number,
  cw: number,
  ch: number,
  shiftX: number,
  shiftY: number,
  site: readonly [number, number],
): Float32Array {
  const across = new Float32Array(cw * h);
  for (let y = 0; y < h; y += 1) averageLine(luma, y * w, 1, w, across, y * cw, 1, cw, shiftX, site[0]);
  if (shiftY === 0) return across;
  const out = new Float32Array(cw * ch);
  // Rows as wholes: memory is read in order.
  const between = site[1] % 1 !== 0;
  const count = 1 << shiftY;
  const row = (y: number): number => Math.min(Math.max(y, 0), h - 1) * cw;
  for (let j = 0; j < ch; j += 1) {
    const to = j * cw;
    if (between) {
      for (let k = 0; k < count; k += 1) {
        const from = row(j * count + k);
        for (let x = 0; x < cw; x += 1) out[to + x] = out[to + x]! + across[from + x]!;
      }
      for (let x = 0; x < cw; x += 1) out[to + x] = out[to + x]! / count;
    } else {
      const c = Math.min(j * count + Math.floor(site[1]), h - 1);
      const a = row(c - 1);
      const b = row(c);
      const d = row(c + 1);
      for (let x = 0; x < cw; x += 1) out[to + x] = 0.25 * (across[a + x]! + 2 * across[b + x]! + across[d + x]!);
    }
  }
  return out;
}

function averageLine(
  src: Float32Array,
  from: number,
  step: number,
  size: number,
  dst: Float32Array,
  to: number,
  dstStep: number,
  dstSize: number,
  shift: number,
  site: number,
): void {
  if (shift === 0) {
    for (let i = 0; i < dstSize; i += 1) dst[to + i * dstStep] = src[from + i * step]!;
    return;
  }
  const count = 1 << shift;
  const between = site % 1 !== 0;
  for (let i = 0; i < dstSize; i += 1) {
    const c = Math.min(i * count + Math.floor(site), size - 1);
    if (between) {
      let sum = 0;
      const start = i * count;
      for (let k = 0; k < count; k += 1) sum += src[from + Math.min(start + k, size - 1) * step]!;
      dst[to + i * dstStep] = sum / count;
    } else {
      dst[to + i * dstStep] =
        0.25 *
        (src[from + Math.max(c - 1, 0) * step]! +
          2 * src[from + c * step]! +
          src[from + Math.min(c + 1, size - 1) * step]!);
    }
  }
}

function localSlopes(grid: ChromaGrid): {
  slopeB: Float32Array;
  slopeR: Float32Array;
  baseB: Float32Array;
  baseR: Float32Array;
} {
  const { width: w, height: h, luma, cb, cr } = grid;
  const n = w * h;
  const slopeB = new Float32Array(n);
  const slopeR = new Float32Array(n);
  const baseB = new Float32Array(n);
  const baseR = new Float32Array(n);
  // Sums over three rows, column by column, one column spare at either side; then three columns together.
  const columns = new Float64Array(6 * (w + 2));
  const s = w + 2;
  for (let y = 0; y < h; y += 1) {
    const ya = Math.max(y - 1, 0);
    const yb = Math.min(y + 1, h - 1);
    const rows = yb - ya + 1;
    for (let x = 0; x < w; x += 1) {
      let sl = 0;
      let sll = 0;
      let sb = 0;
      let sr = 0;
      let slb = 0;
      let slr = 0;
      for (let i = ya * w + x; i <= yb * w + x; i += w) {
        const l = luma[i]!;
        const b = cb[i]!;
        const r = cr[i]!;
        sl += l;
        sll += l * l;
        sb += b;
        sr += r;
        slb += l * b;
        slr += l * r;
      }
      const c = x + 1;
      columns[c] = sl;
      columns[s + c] = sll;
      columns[2 * s + c] = sb;
      columns[3 * s + c] = sr;
      columns[4 * s + c] = slb;
      columns[5 * s + c] = slr;
    }
    for (let x = 0; x < w; x += 1) {
      const c = x + 1;
      const m = 1 / (rows * (w === 1 ? 1 : x === 0 || x === w - 1 ? 2 : 3));
      const sl = (columns[c - 1]! + columns[c]! + columns[c + 1]!) * m;
      const sll = (columns[s + c - 1]! + columns[s + c]! + columns[s + c + 1]!) * m;
      const sb = (columns[2 * s + c - 1]! + columns[2 * s + c]! + columns[2 * s + c + 1]!) * m;
      const sr = (columns[3 * s + c - 1]! + columns[3 * s + c]! + columns[3 * s + c + 1]!) * m;
      const slb = (columns[4 * s + c - 1]! + columns[4 * s + c]! + columns[4 * s + c + 1]!) * m;
      const slr = (columns[5 * s + c - 1]! + columns[5 * s + c]! + columns[5 * s + c + 1]!) * m;
      const i = y * w + x;
      const inverse = 1 / (sll - sl * sl + SLOPE_FLOOR);
      const kb = (slb - sl * sb) * inverse;
      const kr = (slr - sl * sr) * inverse;
      slopeB[i] = kb;
      slopeR[i] = kr;
      // The line is hung on the sample itself, so that the chroma of the file is kept where luma is flat.
      baseB[i] = cb[i]! - kb * luma[i]!;
      baseR[i] = cr[i]! - kr * luma[i]!;
    }
  }
  return { slopeB, slopeR, baseB, baseR };
}
