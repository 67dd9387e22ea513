/**
 * Display-coded planes to an encoder's codes, by the kernels kernels/fill-yuv.ts and their plain twins: the same to the
 * last code.
 */
import type { Picture } from '../image/picture.js';
import { KERNEL_FROM_PIXELS, kernels, type KernelDoor } from '../image/kernels.js';
import type { ColourTags } from './types.js';
import { encodingConstants, lumaWeights, quantisation } from './ycbcr.js';

type Codes = Uint8Array | Uint16Array;

/** Rows of a tight plane in the kernels' memory into one whose rows are `stride` samples apart. */
function layRows(door: KernelDoor, pointer: number, width: number, height: number, to: Codes, stride: number): void {
  const made =
    to instanceof Uint8Array
      ? new Uint8Array(door.memory.buffer, pointer, width * height)
      : new Uint16Array(door.memory.buffer, pointer, width * height);
  if (stride === width) {
    to.set(made);
    return;
  }
  for (let y = 0; y < height; y++) to.set(made.subarray(y * width, (y + 1) * width), y * stride);
}

/** A plane of `src` that begins at `at`, times scale plus offset, rounded and held within low and high. */
export function quantisePlane(
  src: Float32Array,
  at: number,
  width: number,
  height: number,
  dst: Codes,
  stride: number,
  scale: number,
  offset: number,
  low: number,
  high: number,
): void {
  if (width * height < KERNEL_FROM_PIXELS) {
    quantisePlanePlain(src, at, width, height, dst, stride, scale, offset, low, high);
    return;
  }
  const door = kernels();
  const scope = door.scope();
  const deep = dst instanceof Uint8Array ? 0 : 1;
  try {
    const made = scope.allocate((width * height) << deep);
    door.run(
      'quantise',
      [
        scope.input(src.subarray(at, at + width * height)),
        width,
        height,
        deep,
        scope.input(Float64Array.of(scale, offset + 0.5, low, high)),
        made,
      ],
      height,
      width * 2,
    );
    layRows(door, made, width, height, dst, stride);
  } finally {
    scope.close();
  }
}

/**
 * Y'CbCr codes of a display-coded picture into planes whose rows are `rowLength` samples apart; chroma
 * left-sited: 1-2-1 across, the mean of the lines down.
 */
export function fillYuv(
  coded: Picture,
  samples: Codes[],
  rowLength: number[],
  shift: readonly [number, number],
  tags: ColourTags,
  bitDepth: number,
  low: number,
  high: number,
): void {
  const { width: w, height: h } = coded;
  const n = w * h;
  if (n < KERNEL_FROM_PIXELS) {
    fillYuvPlain(coded, samples, rowLength, shift, tags, bitDepth, low, high);
    return;
  }
  const [sx, sy] = shift;
  const deep = bitDepth > 8 ? 1 : 0;
  const cw = (w + (1 << sx) - 1) >> sx;
  const ch = (h + (1 << sy) - 1) >> sy;
  const grey = coded.channels < 3;
  const door = kernels();
  const scope = door.scope();
  try {
    const y = scope.allocate(n << deep);
    const u = scope.allocate((cw * ch) << deep);
    const v = scope.allocate((cw * ch) << deep);
    const k = Float64Array.of(...encodingConstants(tags, bitDepth), low, high);
    const light = scope.input(coded.data.subarray(0, grey ? n : 3 * n));
    door.run(
      'fillYuv',
      [light, grey ? 0 : 4 * n, grey ? 0 : 8 * n, w, h, sx, sy, deep, scope.input(k), y, u, v],
      ch,
      (w << sy) * 6,
      8 * (w + 8),
    );
    layRows(door, y, w, h, samples[0]!, rowLength[0]!);
    layRows(door, u, cw, ch, samples[1]!, rowLength[1]!);
    layRows(door, v, cw, ch, samples[2]!, rowLength[2]!);
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link quantisePlane}. */
export function quantisePlanePlain(
  src: Float32Array,
  at: number,
  width: number,
  height: number,
  dst: Uint8Array | Uint16Array,
  stride: number,
  scale: number,
  offset: number,
  low: number,
  high: number,
): void {
  const bias = offset + 0.5;
  for (let y = 0; y < height; y++) {
    const i = at + y * width;
    const j = y * stride;
    for (let x = 0; x < width; x++) {
      const v = src[i + x]! * scale + bias;
      dst[j + x] = v < low ? low : v >= high ? high : v;
    }
  }
}

/**
 * Plain twin of {@link fillYuv}. Rows are worked out in floats and then rounded into their plane by a loop of the
 * plane's own type: one loop that meets bytes and words alike is several times slower.
 */
export function fillYuvPlain(
  coded: Picture,
  samples: (Uint8Array | Uint16Array)[],
  rowLength: number[],
  shift: readonly [number, number],
  tags: ColourTags,
  bitDepth: number,
  low: number,
  high: number,
): void {
  const { width: w, height: h, data } = coded;
  const n = w * h;
  const [sx, sy] = shift;
  const q = quantisation(bitDepth, tags.fullRange);
  const [kr, kb] = lumaWeights(tags.matrix);
  const us = q.chromaScale / (2 * (1 - kb));
  const vs = q.chromaScale / (2 * (1 - kr));
  const mid = q.chromaOffset + 0.5;
  const green = coded.channels < 3 ? 0 : n;
  const blue = coded.channels < 3 ? 0 : 2 * n;
  const lines = 1 << sy;
  const cw = (w + (1 << sx) - 1) >> sx;
  const luma = new Float32Array(w);
  const u = new Float32Array(w);
  const v = new Float32Array(w);
  for (let top = 0; top < h; top += lines) {
    const used = Math.min(lines, h - top);
    u.fill(0);
    v.fill(0);
    for (let k = 0; k < used; k++) {
      const row = (top + k) * w;
      addRow(data, row, row + green, row + blue, w, kr, kb, luma, u, v);
      roundRow(luma, w, q.lumaScale, q.lumaOffset + 0.5, samples[0]!, (top + k) * rowLength[0]!, low, high);
    }
    if (sx !== 0) {
      thin(u, w, cw, sx);
      thin(v, w, cw, sx);
    }
    const at = (top >> sy) * rowLength[1]!;
    roundRow(u, cw, us / used, mid, samples[1]!, at, low, high);
    roundRow(v, cw, vs / used, mid, samples[2]!, at, low, high);
  }
}

/** Luma of a row, and its blue and red differences added to u and v. */
function addRow(
  data: Float32Array,
  r0: number,
  g0: number,
  b0: number,
  w: number,
  kr: number,
  kb: number,
  luma: Float32Array,
  u: Float32Array,
  v: Float32Array,
): void {
  const kg = 1 - kr - kb;
  for (let x = 0; x < w; x++) {
    const r = data[r0 + x]!;
    const b = data[b0 + x]!;
    const l = kr * r + kg * data[g0 + x]! + kb * b;
    luma[x] = l;
    u[x] = u[x]! + (b - l);
    v[x] = v[x]! + (r - l);
  }
}

/** 1-2-1 across at every 2^shift-th sample, in place. */
function thin(row: Float32Array, w: number, cw: number, shift: number): void {
  let before = row[0]!;
  for (let x = 0; x < cw; x++) {
    const c = x << shift;
    const centre = row[c]!;
    const value = 0.25 * ((c > 0 ? before : centre) + (c + 1 < w ? row[c + 1]! : centre)) + 0.5 * centre;
    // The sample left of the next centre is read before this one may overwrite it.
    before = row[((x + 1) << shift) - 1] ?? 0;
    row[x] = value;
  }
}

function roundRow(
  src: Float32Array,
  count: number,
  scale: number,
  bias: number,
  dst: Uint8Array | Uint16Array,
  at: number,
  low: number,
  high: number,
): void {
  if (dst instanceof Uint8Array) roundToBytes(src, count, scale, bias, dst, at, low, high);
  else roundToWords(src, count, scale, bias, dst, at, low, high);
}

function roundToBytes(
  src: Float32Array,
  count: number,
  scale: number,
  bias: number,
  dst: Uint8Array,
  at: number,
  low: number,
  high: number,
): void {
  for (let x = 0; x < count; x++) {
    const c = src[x]! * scale + bias;
    dst[at + x] = c < low ? low : c >= high ? high : c | 0;
  }
}

function roundToWords(
  src: Float32Array,
  count: number,
  scale: number,
  bias: number,
  dst: Uint16Array,
  at: number,
  low: number,
  high: number,
): void {
  for (let x = 0; x < count; x++) {
    const c = src[x]! * scale + bias;
    dst[at + x] = c < low ? low : c >= high ? high : c | 0;
  }
}
