/**
 * Pictures of a test reel (reel-maker.ts): one source frame seen through a view (zoom, shift, blur, mirror) under a
 * look (gain, lift, tint), and made-up scenes for want of footage. 8-bit Y'CbCr 4:2:0 in one buffer, coded values.
 */
import { RandomStream } from '../src/core/random.js';

export interface ReelSource {
  readonly name: string;
  /** Frames of one continuous shot. */
  readonly frames: readonly Uint8Array[];
}

export interface Planes {
  readonly y: Float32Array;
  readonly u: Float32Array;
  readonly v: Float32Array;
}

export function planesOf(w: number, h: number): Planes {
  return { y: new Float32Array(w * h), u: new Float32Array((w * h) / 4), v: new Float32Array((w * h) / 4) };
}

/** Resamples a source plane through a view: scale about the centre, shift in source widths, mirror at the borders. */
function sampleInto(
  src: Uint8Array,
  at: number,
  w: number,
  h: number,
  zoom: number,
  shiftX: number,
  shiftY: number,
  flip: boolean,
  blurX: number,
  dst: Float32Array,
): void {
  const taps = Math.max(1, Math.min(24, Math.round(Math.abs(blurX) * w)));
  for (let y = 0; y < h; y++) {
    let sy = ((y + 0.5) / h - 0.5) / zoom + 0.5 + shiftY;
    sy = Math.abs(sy % 2);
    if (sy > 1) sy = 2 - sy;
    const fy = Math.min(h - 1.001, Math.max(0, sy * h - 0.5));
    const iy = Math.floor(fy);
    const ty = fy - iy;
    for (let x = 0; x < w; x++) {
      let sum = 0;
      for (let t = 0; t < taps; t++) {
        const off = taps === 1 ? 0 : ((t + 0.5) / taps - 0.5) * blurX;
        let sx = (((flip ? w - 1 - x : x) + 0.5) / w - 0.5) / zoom + 0.5 + shiftX + off;
        sx = Math.abs(sx % 2);
        if (sx > 1) sx = 2 - sx;
        const fx = Math.min(w - 1.001, Math.max(0, sx * w - 0.5));
        const ix = Math.floor(fx);
        const tx = fx - ix;
        const i = at + iy * w + ix;
        sum +=
          (src[i]! * (1 - tx) + src[i + 1]! * tx) * (1 - ty) + (src[i + w]! * (1 - tx) + src[i + w + 1]! * tx) * ty;
      }
      dst[y * w + x] = sum / taps;
    }
  }
}

interface Look {
  readonly zoom: number;
  readonly flip: boolean;
  readonly gain: number;
  readonly lift: number;
  readonly tintU: number;
  readonly tintV: number;
}

export interface Segment {
  readonly source: ReelSource;
  readonly start: number;
  readonly length: number;
  readonly look: Look;
}

export function render(
  seg: Segment,
  k: number,
  w: number,
  h: number,
  view: { shiftX: number; shiftY: number; blurX: number; zoom: number },
  out: Planes,
): void {
  const n = seg.source.frames.length;
  // Past the end the shot plays back and forth: still one continuous shot.
  let f = (seg.start + k) % (2 * n - 2 || 1);
  if (f >= n) f = 2 * n - 2 - f;
  const src = seg.source.frames[Math.max(0, Math.min(n - 1, f))]!;
  const z = seg.look.zoom * view.zoom;
  sampleInto(src, 0, w, h, z, view.shiftX, view.shiftY, seg.look.flip, view.blurX, out.y);
  sampleInto(src, w * h, w / 2, h / 2, z, view.shiftX, view.shiftY, seg.look.flip, view.blurX, out.u);
  sampleInto(src, w * h * 1.25, w / 2, h / 2, z, view.shiftX, view.shiftY, seg.look.flip, view.blurX, out.v);
  const { gain, lift, tintU, tintV } = seg.look;
  for (let i = 0; i < out.y.length; i++) out.y[i] = 16 + (out.y[i]! - 16) * gain + lift;
  for (let i = 0; i < out.u.length; i++) {
    out.u[i] = 128 + (out.u[i]! - 128) * gain + tintU;
    out.v[i] = 128 + (out.v[i]! - 128) * gain + tintV;
  }
}

/** A made-up scene: layered value noise with a moving camera and moving blobs; needs no footage. */
export function syntheticSource(seed: number, w: number, h: number, count: number): ReelSource {
  const rng = new RandomStream(seed, 91);
  const layers = Array.from({ length: 4 }, (_, k) => {
    const n = 6 << k;
    return { n, grid: Float32Array.from({ length: n * n }, () => rng.uniform()), amp: 0.6 ** k };
  });
  const base = 40 + 90 * rng.uniform();
  const contrast = 60 + 90 * rng.uniform();
  const vx = (rng.uniform() - 0.5) * 0.012;
  const vy = (rng.uniform() - 0.5) * 0.004;
  const vz = (rng.uniform() - 0.5) * 0.006;
  const u0 = (rng.uniform() - 0.5) * 50;
  const v0 = (rng.uniform() - 0.5) * 50;
  const cu = (rng.uniform() - 0.5) * 60;
  const cv = (rng.uniform() - 0.5) * 60;
  const blobs = Array.from({ length: 3 }, () => ({
    x: rng.uniform(),
    y: rng.uniform(),
    r: 0.04 + 0.12 * rng.uniform(),
    vx: (rng.uniform() - 0.5) * 0.02,
    vy: (rng.uniform() - 0.5) * 0.01,
    l: (rng.uniform() - 0.5) * 180,
    u: (rng.uniform() - 0.5) * 80,
  }));
  const tex = (x: number, y: number): number => {
    let s = 0;
    for (const l of layers) {
      const fx = (((x * l.n * 0.5) % l.n) + l.n) % l.n;
      const fy = (((y * l.n * 0.5) % l.n) + l.n) % l.n;
      const ix = Math.floor(fx);
      const iy = Math.floor(fy);
      const tx = fx - ix;
      const ty = fy - iy;
      const g = (a: number, b: number): number => l.grid[(b % l.n) * l.n + (a % l.n)]!;
      s +=
        l.amp *
        ((g(ix, iy) * (1 - tx) + g(ix + 1, iy) * tx) * (1 - ty) +
          (g(ix, iy + 1) * (1 - tx) + g(ix + 1, iy + 1) * tx) * ty -
          0.5);
    }
    return s;
  };
  const frames: Uint8Array[] = [];
  for (let t = 0; t < count; t++) {
    const f = new Uint8Array(w * h * 1.5);
    const z = Math.exp(vz * t);
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const px = ((x / w - 0.5) * z + vx * t) * 1.78;
        const py = (y / h - 0.5) * z + vy * t;
        let l = base + contrast * tex(px + 3, py + 5);
        for (const b of blobs) {
          const d = Math.hypot(x / w - b.x - b.vx * t, ((y / h - b.y - b.vy * t) * h) / w) / b.r;
          if (d < 1) l += b.l * Math.min(1, (1 - d) * 4);
        }
        f[y * w + x] = Math.max(16, Math.min(235, l + rng.normal() * 2));
        if (x % 2 === 0 && y % 2 === 0) {
          const i = (y / 2) * (w / 2) + x / 2;
          const c = tex(py + 9, px + 2);
          f[w * h + i] = Math.max(16, Math.min(240, 128 + u0 + cu * c));
          f[w * h * 1.25 + i] = Math.max(16, Math.min(240, 128 + v0 + cv * c));
        }
      }
    frames.push(f);
  }
  return { name: `synthetic ${seed}`, frames };
}
