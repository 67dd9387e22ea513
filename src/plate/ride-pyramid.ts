/**
 * Luma pyramid for alignment. Level 0 is the frame smoothed by the binomial [1 2 1]/4 in both directions (sd 0.71 px), so
 * that bilinear sampling of it is nearly free of phase error; each further level halves the size with [1 3 3 1]/8, whose
 * centre falls between two pixels, so that pixel x of level l lies at 2^l x of the frame (centres at +0.5). Edges clamp.
 */
export interface LumaLevel {
  readonly width: number;
  readonly height: number;
  /** height × width. */
  readonly data: Float32Array;
}
export type LumaPyramid = readonly LumaLevel[];

/** Allocates the levels of a pyramid for frames of one size; at most `levels`, none below 12 px. */
export function allocatePyramid(widthPx: number, heightPx: number, levels: number): LumaLevel[] {
  const out: LumaLevel[] = [];
  let w = widthPx, h = heightPx;
  for (let l = 0; l < levels && w >= 12 && h >= 12; l++) {
    out.push({ width: w, height: h, data: new Float32Array(w * h) });
    w = w >> 1;
    h = h >> 1;
  }
  return out;
}

/** Fills `dst` from a luma plane. `scratch` holds at least the plane's size. */
export function fillPyramid(luma: Float32Array, dst: readonly LumaLevel[], scratch: Float32Array): void {
  const l0 = dst[0]!;
  smooth121(luma, l0.data, scratch, l0.width, l0.height);
  for (let l = 1; l < dst.length; l++) halve(dst[l - 1]!, dst[l]!, scratch);
}

function smooth121(src: Float32Array, dst: Float32Array, tmp: Float32Array, w: number, h: number): void {
  for (let y = 0; y < h; y++) {
    const o = y * w;
    tmp[o] = 0.75 * src[o]! + 0.25 * src[o + 1]!;
    for (let x = 1; x < w - 1; x++) tmp[o + x] = 0.25 * (src[o + x - 1]! + src[o + x + 1]!) + 0.5 * src[o + x]!;
    tmp[o + w - 1] = 0.75 * src[o + w - 1]! + 0.25 * src[o + w - 2]!;
  }
  for (let y = 0; y < h; y++) {
    const o = y * w, a = (y > 0 ? y - 1 : 0) * w, b = (y < h - 1 ? y + 1 : h - 1) * w;
    for (let x = 0; x < w; x++) dst[o + x] = 0.25 * (tmp[a + x]! + tmp[b + x]!) + 0.5 * tmp[o + x]!;
  }
}

function halve(src: LumaLevel, dst: LumaLevel, tmp: Float32Array): void {
  const { width: sw, height: sh, data: s } = src;
  const { width: w, height: h, data: d } = dst;
  for (let y = 0; y < sh; y++) {
    const o = y * sw, q = y * w;
    for (let x = 0; x < w; x++) {
      const k = o + 2 * x;
      const left = x > 0 ? s[k - 1]! : s[k]!;
      const right = 2 * x + 2 < sw ? s[k + 2]! : s[k + 1]!;
      tmp[q + x] = 0.125 * (left + right) + 0.375 * (s[k]! + s[k + 1]!);
    }
  }
  for (let y = 0; y < h; y++) {
    const k = 2 * y * w;
    const a = y > 0 ? k - w : k, b = k + w, c = 2 * y + 2 < sh ? k + 2 * w : b;
    const o = y * w;
    for (let x = 0; x < w; x++) d[o + x] = 0.125 * (tmp[a + x]! + tmp[c + x]!) + 0.375 * (tmp[k + x]! + tmp[b + x]!);
  }
}
