// The performer drawn onto plate pixels (see src/join/render/draw-placed.ts): for each plate pixel a grid of samples of
// the take's premultiplied RGBA, interleaved, through a homography and a shift along the upright that a height field
// gives. Items are rows of the plate's box. Twin: drawPlacedPlain.

/** Planar RGBA (four planes of n) to interleaved. Items: 1024 pixels. */
export function weave(src: usize, dst: usize, n: i32, from: i32, to: i32, scratch: usize): void {
  const last = min(n, to << 10);
  const plane = <usize>n << 2;
  let i = from << 10;
  for (; i + 4 <= last; i += 4) {
    const p = src + (<usize>i << 2), q = dst + (<usize>i << 4);
    const r = v128.load(p), g = v128.load(p + plane), b = v128.load(p + 2 * plane), a = v128.load(p + 3 * plane);
    const rg = v128.shuffle<f32>(r, g, 0, 4, 1, 5), rg2 = v128.shuffle<f32>(r, g, 2, 6, 3, 7);
    const ba = v128.shuffle<f32>(b, a, 0, 4, 1, 5), ba2 = v128.shuffle<f32>(b, a, 2, 6, 3, 7);
    v128.store(q, v128.shuffle<f32>(rg, ba, 0, 1, 4, 5));
    v128.store(q, v128.shuffle<f32>(rg, ba, 2, 3, 6, 7), 16);
    v128.store(q, v128.shuffle<f32>(rg2, ba2, 0, 1, 4, 5), 32);
    v128.store(q, v128.shuffle<f32>(rg2, ba2, 2, 3, 6, 7), 48);
  }
  for (; i < last; i++)
    for (let c: usize = 0; c < 4; c++)
      store<f32>(dst + (<usize>i << 4) + (c << 2), load<f32>(src + (<usize>i << 2) + c * plane));
}

/** Height of the front surface at a take pixel. */
// @ts-ignore: decorator
@inline
function front(k: usize, field: usize, x: f64, y: f64): f64 {
  const cell = load<f64>(k, 168);
  const u = (x - load<f64>(k, 152)) / cell - 0.5, v = (y - load<f64>(k, 160)) / cell - 0.5;
  const i = <i32>Math.floor(u), j = <i32>Math.floor(v);
  const w = <i32>load<f64>(k, 176), h = <i32>load<f64>(k, 184);
  if (i < 0 || j < 0 || i >= w - 1 || j >= h - 1) return 0;
  const tx = u - <f64>i, ty = v - <f64>j;
  const p = field + (<usize>(j * w + i) << 2), q = p + (<usize>w << 2);
  return (<f64>load<f32>(p) * (1 - tx) + <f64>load<f32>(p, 4) * tx) * (1 - ty)
    + (<f64>load<f32>(q) * (1 - tx) + <f64>load<f32>(q, 4) * tx) * ty;
}

/**
 * The front surface bends little within so many plate pixels: with a shift only every so
 * many-th corner of every so many-th line is worked out.
 */
const STRIDE: i32 = 4;

/** Source places (u, v) of the pixel corners of one line into `out`, 16 bytes a corner. */
function corners(k: usize, field: usize, w: i32, py: f64, out: usize): void {
  const m0 = load<f64>(k), m1 = load<f64>(k, 8), m2 = load<f64>(k, 16), m3 = load<f64>(k, 24), m4 = load<f64>(k, 32);
  const m5 = load<f64>(k, 40), m6 = load<f64>(k, 48), m7 = load<f64>(k, 56), m8 = load<f64>(k, 64);
  const x0 = load<f64>(k, 72), ox = load<f64>(k, 88), oy = load<f64>(k, 96);
  const shifted = load<f64>(k, 104) != 0;
  const fx = load<f64>(k, 112), fy = load<f64>(k, 120), ax = load<f64>(k, 128), ay = load<f64>(k, 136);
  const ground = load<f64>(k, 144), cf = load<f64>(k, 192), sf = load<f64>(k, 200), ct = load<f64>(k, 208);
  const st = load<f64>(k, 216), df = load<f64>(k, 224), dt = load<f64>(k, 232);
  const middle = load<f64>(k, 240), shown = load<f64>(k, 248), size = load<f64>(k, 256), stretch = ct / cf;
  const cr = load<f64>(k, 264), sr = load<f64>(k, 272);
  let p = out;
  const step = shifted ? STRIDE : 1;
  for (let x = 0; x < w + step; x += step) {
    const px = x0 + <f64>x;
    const d = 1.0 / (m6 * px + m7 * py + m8);
    let u = (m0 * px + m1 * py + m2) * d, v = (m3 * px + m4 * py + m5) * d;
    if (shifted) {
      const seen = (u - fx) * ax + (v - fy) * ay, aside = (v - fy) * ax - (u - fx) * ay;
      let t = seen / stretch, s = aside;
      // As src/join/body/view-sight.ts has it.
      for (let q = 0; q < 4; q++) {
        const ball = front(k, field, fx + t * ax - s * ay, fy + t * ay + s * ax);
        const a = max(ball, -t * ground) * cf, up = t - middle;
        const y = (up * (df - a * cf) + df * a * sf) / (df * cf + up * sf);
        const per = (df - a * cf - y * sf) / df;
        const near = a * cr - s * per * sr;
        const larger = size * dt / (dt - near * ct - y * st);
        t += (seen - shown - larger * (y * ct - near * st)) / stretch;
        s = (aside / larger - a * sr) / (cr * per);
      }
      u = fx + t * ax - s * ay;
      v = fy + t * ay + s * ax;
    }
    store<f64>(p, u - ox - 0.5);
    store<f64>(p, v - oy - 0.5, 8);
    p += <usize>step << 4;
  }
  if (step == 1) return;
  for (let x = 0; x < w; x += STRIDE) {
    const q = out + (<usize>x << 4);
    const a = v128.load(q), d = f64x2.mul(f64x2.sub(v128.load(q, 16 * STRIDE), a), f64x2.splat(1.0 / <f64>STRIDE));
    let v = a;
    for (let j = 1; j < STRIDE; j++) { v = f64x2.add(v, d); v128.store(q + (<usize>j << 4), v); }
  }
}

/** The corners of a line that lies `t` of the way from one to another. */
function lineBetween(a: usize, b: usize, t: f64, w: i32, out: usize): void {
  // Exactly the one or the other at 0 and 1.
  const vt = f64x2.splat(t), va = f64x2.splat(1 - t);
  for (let p: usize = 0, end = <usize>(w + 1) << 4; p < end; p += 16)
    v128.store(out + p, f64x2.add(f64x2.mul(v128.load(a + p), va), f64x2.mul(v128.load(b + p), vt)));
}

// @ts-ignore: decorator
@inline
function tap(data: usize, sw: i32, sh: i32, x: i32, y: i32, f: f32, sum: v128): v128 {
  return x < 0 || y < 0 || x >= sw || y >= sh
    ? sum
    : f32x4.add(sum, f32x4.mul(f32x4.splat(f), v128.load(data + (<usize>(y * sw + x) << 4))));
}

/** The four weights of Keys' cubic at t, for a of −1/2 (his own) or another. */
// @ts-ignore: decorator
@inline
function keys(t: f32, a: f32): v128 {
  const v = f32x4.splat(t);
  const c3 = f32x4(a, a + 2, -a - 2, -a), c2 = f32x4(-2 * a, -a - 3, 2 * a + 3, a);
  const c1 = f32x4(a, 0, -a, 0), c0 = f32x4(0, 1, 0, 0);
  return f32x4.add(f32x4.mul(f32x4.add(f32x4.mul(f32x4.add(f32x4.mul(c3, v), c2), v), c1), v), c0);
}

// @ts-ignore: decorator
@inline
function cubicRow(p: usize, k: v128): v128 {
  return f32x4.add(
    f32x4.add(
      f32x4.mul(v128.shuffle<f32>(k, k, 0, 0, 0, 0), v128.load(p)),
      f32x4.mul(v128.shuffle<f32>(k, k, 1, 1, 1, 1), v128.load(p, 16)),
    ),
    f32x4.add(
      f32x4.mul(v128.shuffle<f32>(k, k, 2, 2, 2, 2), v128.load(p, 32)),
      f32x4.mul(v128.shuffle<f32>(k, k, 3, 3, 3, 3), v128.load(p, 48)),
    ));
}

/**
 * k (doubles): inverse matrix (9), box x, y, source origin x, y, shifted (0 or 1), foot x, y, along x, y, floor, field
 * x, y, cell, width, height, then the sight (11): cos and sin of both elevations, both distances, the middle in both,
 * size, cos and sin of the turn. `held`: summed table of 8 × 8 source cells that hold something, hw × hh cells. Writes
 * four planes over w × h where the coverage is .0015 or more. `a`: the cubic's, where `larger` asks for it. scratch: 64
 * (w + 9) bytes.
 */
export function drawPlaced(
  src: usize, sw: i32, sh: i32, k: usize, field: usize, held: usize, hw: i32, hh: i32, dst: usize, w: i32, h: i32,
  gx: i32, gy: i32, larger: i32, a: f32, from: i32, to: i32, scratch: usize,
): void {
  const y0 = load<f64>(k, 80);
  const plane = <usize>(w * h) << 2;
  const line = <usize>(w + 8) << 4, taps = scratch + 4 * line;
  let top = scratch, low = scratch + line, above = scratch + 2 * line, below = scratch + 3 * line;
  const shifted = load<f64>(k, 104) != 0;
  const ix = 1.0 / <f64>gx, iy = 1.0 / <f64>gy;
  const vshare = f32x4.splat(<f32>1 / <f32>(gx * gy)), zero = f32x4.splat(0);
  const hs = hw + 1;
  if (shifted) {
    // Lines of the box's own count, so that it is the same however the rows are shared out.
    const first = from & ~(STRIDE - 1);
    corners(k, field, w, y0 + <f64>first, above);
    corners(k, field, w, y0 + <f64>(first + STRIDE), below);
    lineBetween(above, below, <f64>(from - first) / <f64>STRIDE, w, top);
  } else corners(k, field, w, y0 + <f64>from, top);
  for (let y = from; y < to; y++) {
    if (shifted) {
      const down = y & (STRIDE - 1);
      if (down == 0 && y != from) {
        const free = above;
        above = below;
        below = free;
        corners(k, field, w, y0 + <f64>(y + STRIDE), below);
      }
      lineBetween(above, below, <f64>(down + 1) / <f64>STRIDE, w, low);
    } else corners(k, field, w, y0 + <f64>(y + 1), low);
    for (let c: usize = 0; c < 4; c++) memory.fill(dst + c * plane + (<usize>(y * w) << 2), 0, <usize>w << 2);
    for (let x = 0; x < w; x++) {
      const p = <usize>x << 4;
      const a0 = v128.load(top + p), a1 = v128.load(top + p, 16), b0 = v128.load(low + p), b1 = v128.load(low + p, 16);
      const lo = f64x2.pmin(f64x2.pmin(a0, a1), f64x2.pmin(b0, b1));
      const hi = f64x2.pmax(f64x2.pmax(a0, a1), f64x2.pmax(b0, b1));
      const uMin = f64x2.extract_lane(lo, 0), vMin = f64x2.extract_lane(lo, 1);
      const uMax = f64x2.extract_lane(hi, 0), vMax = f64x2.extract_lane(hi, 1);
      // Also false for what is not a number.
      if (!(uMax > -3 && vMax > -3 && uMin < <f64>sw + 2 && vMin < <f64>sh + 2)) continue;
      const cx0 = max(0, <i32>Math.floor((uMin - 2) * 0.125)), cy0 = max(0, <i32>Math.floor((vMin - 2) * 0.125));
      const cx1 = min(hw, <i32>Math.floor((uMax + 3) * 0.125) + 1);
      const cy1 = min(hh, <i32>Math.floor((vMax + 3) * 0.125) + 1);
      if (cx1 <= cx0 || cy1 <= cy0) continue;
      if (
        load<i32>(held + (<usize>(cy1 * hs + cx1) << 2)) - load<i32>(held + (<usize>(cy0 * hs + cx1) << 2))
          - load<i32>(held + (<usize>(cy1 * hs + cx0) << 2)) + load<i32>(held + (<usize>(cy0 * hs + cx0) << 2)) <= 0
      )
        continue;
      // All samples well inside: no test a tap.
      const inside = uMin >= 1 && vMin >= 1 && uMax < <f64>(sw - 3) && vMax < <f64>(sh - 3);
      const da = f64x2.sub(b0, a0), db = f64x2.sub(b1, a1);
      let sum = zero;
      for (let j = 0; j < gy; j++) {
        const fy = f64x2.splat((<f64>j + 0.5) * iy);
        const left = f64x2.add(a0, f64x2.mul(da, fy)), run = f64x2.sub(f64x2.add(a1, f64x2.mul(db, fy)), left);
        for (let i = 0; i < gx; i++) {
          const at = f64x2.add(left, f64x2.mul(run, f64x2.splat((<f64>i + 0.5) * ix)));
          const cell = f64x2.floor(at);
          const frac = f64x2.sub(at, cell);
          // Whole numbers stand in the low words of a sum with 1.5 · 2⁵².
          const whole = f64x2.add(cell, f64x2.splat(6755399441055744));
          const iu = i32x4.extract_lane(whole, 0), iv = i32x4.extract_lane(whole, 2);
          const share = f32x4.demote_f64x2_zero(frac);
          if (larger == 0 && inside) {
            const o = src + (<usize>(iv * sw + iu) << 4), o2 = o + (<usize>sw << 4);
            const vu = v128.shuffle<f32>(share, share, 0, 0, 0, 0), vv = v128.shuffle<f32>(share, share, 1, 1, 1, 1);
            const t0 = v128.load(o), t1 = v128.load(o2);
            const up = f32x4.add(t0, f32x4.mul(vu, f32x4.sub(v128.load(o, 16), t0)));
            const dn = f32x4.add(t1, f32x4.mul(vu, f32x4.sub(v128.load(o2, 16), t1)));
            sum = f32x4.add(sum, f32x4.add(up, f32x4.mul(vv, f32x4.sub(dn, up))));
            continue;
          }
          const tu = f32x4.extract_lane(share, 0), tv = f32x4.extract_lane(share, 1);
          if (larger != 0) {
            const kx = keys(tu, a), ky = keys(tv, a);
            if (inside) {
              const o = src + (<usize>((iv - 1) * sw + iu - 1) << 4), row = <usize>sw << 4;
              const r0 = f32x4.mul(v128.shuffle<f32>(ky, ky, 0, 0, 0, 0), cubicRow(o, kx));
              const r1 = f32x4.mul(v128.shuffle<f32>(ky, ky, 1, 1, 1, 1), cubicRow(o + row, kx));
              const r2 = f32x4.mul(v128.shuffle<f32>(ky, ky, 2, 2, 2, 2), cubicRow(o + 2 * row, kx));
              const r3 = f32x4.mul(v128.shuffle<f32>(ky, ky, 3, 3, 3, 3), cubicRow(o + 3 * row, kx));
              sum = f32x4.add(sum, f32x4.add(f32x4.add(r0, r1), f32x4.add(r2, r3)));
              continue;
            }
            v128.store(taps, kx);
            v128.store(taps, ky, 16);
            for (let q = 0; q < 4; q++) {
              const wy = load<f32>(taps + (<usize>q << 2), 16);
              for (let s = 0; s < 4; s++)
                sum = tap(src, sw, sh, iu + s - 1, iv + q - 1, wy * load<f32>(taps + (<usize>s << 2)), sum);
            }
            continue;
          }
          // The picture's border: what lies beyond is transparent.
          sum = tap(src, sw, sh, iu, iv, (1 - tu) * (1 - tv), sum);
          sum = tap(src, sw, sh, iu + 1, iv, tu * (1 - tv), sum);
          sum = tap(src, sw, sh, iu, iv + 1, (1 - tu) * tv, sum);
          sum = tap(src, sw, sh, iu + 1, iv + 1, tu * tv, sum);
        }
      }
      const r = f32x4.mul(sum, vshare);
      const alpha = f32x4.extract_lane(r, 3);
      if (!(alpha >= <f32>0.0015)) continue;
      const c = f32x4.pmax(zero, r);
      const o = dst + (<usize>(y * w + x) << 2);
      store<f32>(o, f32x4.extract_lane(c, 0));
      store<f32>(o + plane, f32x4.extract_lane(c, 1));
      store<f32>(o + 2 * plane, f32x4.extract_lane(c, 2));
      store<f32>(o + 3 * plane, min<f32>(1, alpha));
    }
    const swap = top;
    top = low;
    low = swap;
  }
}
