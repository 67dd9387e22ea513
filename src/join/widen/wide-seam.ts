/**
 * Lays what was added about a frame round it without a seam: what frame and fill differ by along the frame's edge is
 * carried smoothly out over the fill and added, as erase-seam.ts does for holes (after P. Pérez, M. Gangnet, A. Blake,
 * "Poisson image editing", SIGGRAPH 2003; interpolated by push-pull). Only the band inside the edge is looked at and
 * only the added part is touched, and the difference is carried on a grid of cells: it is far smoother than they are.
 */
import { distanceToSet } from '../../image/distance.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { pushPull } from '../../image/push-pull.js';
import { selectInPlace } from '../../image/statistics.js';
import type { Reframe } from './reframe.js';

/** Width over which the frame's own edge passes into the canvas, px. */
const SOFT_EDGE = 6;
/** Width of the band inside the edge, and the distance over which its say falls to a third, px. */
const BAND = 32,
  FALL = 12;
/** Only some tens of pixels together outweigh what lies further out, so that grain draws no streaks. */
const LIGHT = 0.03;
/** Side of a cell, px. */
const CELL = 4;
const MOST_GAIN = 1.5;

/** One size of canvas, worked out once and used for every frame. */
export class WideSeam {
  readonly width: number;
  readonly height: number;
  /** 1 where the canvas is added, over the canvas. */
  readonly hidden: Float32Array;
  /** How much of each pixel is not the frame's own, 0..1. */
  readonly cover: Float32Array;
  private readonly left: number;
  private readonly top: number;
  /** Pixels with any cover, and those of the band with their say. */
  private readonly ring: Int32Array;
  private readonly band: Int32Array;
  private readonly say: Float32Array;

  /** The canvas about a frame of w × h. */
  constructor({ left, right, top, bottom }: Reframe, w: number, h: number) {
    const W = (this.width = w + left + right),
      H = (this.height = h + top + bottom);
    this.left = left;
    this.top = top;
    const hidden = (this.hidden = new Float32Array(W * H).fill(1)),
      cover = (this.cover = new Float32Array(W * H));
    for (let y = 0; y < h; y++) hidden.fill(0, (y + top) * W + left, (y + top) * W + left + w);
    const near = distanceToSet(hidden, W, H);
    const ring: number[] = [],
      band: number[] = [],
      say: number[] = [];
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        // Depth inside the frame, from the sides that were widened only.
        const depth = Math.min(
          left > 0 ? x - left + 0.5 : SOFT_EDGE,
          right > 0 ? left + w - x - 0.5 : SOFT_EDGE,
          top > 0 ? y - top + 0.5 : SOFT_EDGE,
          bottom > 0 ? top + h - y - 0.5 : SOFT_EDGE,
        );
        cover[i] = depth <= 0 ? 1 : depth >= SOFT_EDGE ? 0 : 1 - depth / SOFT_EDGE;
        if (cover[i]! > 0) ring.push(i);
        if (hidden[i] === 0 && near[i]! <= BAND) {
          band.push(i);
          say.push(LIGHT * Math.exp(-near[i]! / FALL));
        }
      }
    this.ring = Int32Array.from(ring);
    this.band = Int32Array.from(band);
    this.say = Float32Array.from(say);
  }

  /** A frame in the middle of its canvas; black about it. */
  place(coded: Picture): Picture {
    const { width: w, height: h } = coded,
      { width: W, height: H } = this,
      out = createPicture(W, H, 3);
    for (let c = 0; c < 3; c++)
      for (let y = 0; y < h; y++)
        out.data.set(
          coded.data.subarray((c * h + y) * w, (c * h + y + 1) * w),
          c * W * H + (y + this.top) * W + this.left,
        );
    return out;
  }

  /**
   * Lays `fill` (of the canvas's size, unchanged) into `around`, a placed frame.
   *
   * @param trusted > .5 where fill and frame show the same thing; null: wherever the frame is
   */
  lay(around: Picture, fill: Picture, trusted: Float32Array | null): void {
    const { band, ring, say, width: W, height: H } = this,
      n = W * H,
      k = band.length;
    const gains = [1, 1, 1],
      away = new Float32Array(k),
      list = new Float32Array(k);
    for (let c = 0; c < 3; c++) {
      const a = around.data.subarray(c * n, (c + 1) * n),
        f = fill.data.subarray(c * n, (c + 1) * n);
      let m = 0;
      for (let q = 0; q < k; q++) {
        const i = band[q]!;
        if (trusted !== null && !(trusted[i]! > 0.5)) continue;
        const v = f[i]!;
        if (v > 0.08 && v < 0.94) list[m++] = a[i]! / v;
      }
      const g = (gains[c] =
        m < 50 ? 1 : Math.min(MOST_GAIN, Math.max(1 / MOST_GAIN, selectInPlace(list.subarray(0, m), m >> 1))));
      for (let q = 0; q < k; q++) {
        const i = band[q]!,
          d = Math.abs(a[i]! - g * f[i]!);
        if (d > away[q]!) away[q] = d;
      }
    }
    let m = 0;
    for (let q = 0; q < k; q++) if (trusted === null || trusted[band[q]!]! > 0.5) list[m++] = away[q]!;
    // What differs by more is no matter of light: somebody who passes the edge.
    const bound = m < 50 ? 0 : Math.max(0.02, 3 * selectInPlace(list.subarray(0, m), m >> 1));
    const gw = Math.ceil(W / CELL),
      gh = Math.ceil(H / CELL),
      weight = new Float32Array(gw * gh),
      sums = [0, 1, 2].map(() => new Float32Array(gw * gh));
    for (let q = 0; q < k; q++) {
      const i = band[q]!;
      if (!(away[q]! < bound) || (trusted !== null && !(trusted[i]! > 0.5))) continue;
      const x = i % W,
        o = Math.floor((i - x) / W / CELL) * gw + Math.floor(x / CELL),
        s = say[q]!;
      weight[o] = weight[o]! + s;
      for (let c = 0; c < 3; c++)
        sums[c]![o] = sums[c]![o]! + s * (around.data[c * n + i]! - gains[c]! * fill.data[c * n + i]!);
    }
    for (const p of sums) for (let o = 0; o < p.length; o++) if (weight[o]! > 0) p[o] = p[o]! / weight[o]!;
    const membrane = pushPull(sums, weight, gw, gh);
    for (let q = 0; q < ring.length; q++) {
      const i = ring[q]!,
        x = i % W,
        y = (i - x) / W,
        share = this.cover[i]!;
      const u = Math.max(0, Math.min(gw - 1, (x + 0.5) / CELL - 0.5)),
        v = Math.max(0, Math.min(gh - 1, (y + 0.5) / CELL - 0.5));
      const u0 = Math.floor(u),
        v0 = Math.floor(v),
        fx = u - u0,
        fy = v - v0;
      const p = v0 * gw + u0,
        r = u0 + 1 < gw ? p + 1 : p,
        s = v0 + 1 < gh ? gw : 0;
      for (let c = 0; c < 3; c++) {
        const t = membrane[c]!;
        const d = (t[p]! * (1 - fx) + t[r]! * fx) * (1 - fy) + (t[p + s]! * (1 - fx) + t[r + s]! * fx) * fy;
        const o = c * n + i,
          a = around.data[o]!;
        around.data[o] = a + share * (gains[c]! * fill.data[o]! + d - a);
      }
    }
  }
}
