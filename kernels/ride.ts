// Alignment of a ride's template to a frame (see src/plate/ride/ride-sums.ts, whose plain twins these are). Pixels
// of a cell lie together and every cell's run is padded to a multiple of four with pixels that lie nowhere (u
// is not a number). One item: a whole level. Sums run over four lanes in single precision within a cell,
// about the cell's own mean, and in double across.

const SLOTS: usize = 18 * 8;
const MISSING: f32 = -9;

// @ts-ignore: decorator
@inline
function total(v: v128): f64 {
  return <f64>f32x4.extract_lane(v, 0) + <f64>f32x4.extract_lane(v, 1) + <f64>f32x4.extract_lane(v, 2)
    + <f64>f32x4.extract_lane(v, 3);
}

// @ts-ignore: decorator
@inline
function add(p: usize, slot: usize, v: f64): void {
  store<f64>(p + (slot << 3), v);
}

/**
 * Samples the frame under the warp and sums each cell's template, sample and products; how
 * many pixels lay inside goes behind the last cell.
 */
export function rideSample(
  u: usize, v: usize, value: usize, slope: usize, starts: usize, reference: usize, cells: i32, sample: usize,
  weight: usize, sums: usize, matrix: usize, data: usize, w: i32, h: i32, first: i32, from: i32, to: i32,
  scratch: usize,
): void {
  const m0 = v128.load32_splat(matrix), m1 = v128.load32_splat(matrix, 4), m2 = v128.load32_splat(matrix, 8);
  const m3 = v128.load32_splat(matrix, 12), m4 = v128.load32_splat(matrix, 16), m5 = v128.load32_splat(matrix, 20);
  const m6 = v128.load32_splat(matrix, 24), m7 = v128.load32_splat(matrix, 28), m8 = v128.load32_splat(matrix, 32);
  const zero = f32x4.splat(0), one = f32x4.splat(1), half = f32x4.splat(0.5), missing = f32x4.splat(MISSING);
  const xMax = f32x4.splat(<f32>w - <f32>1.001), yMax = f32x4.splat(<f32>h - <f32>1.001);
  const high = f32x4.splat(0.985), low = f32x4.splat(0.004), tenth = f32x4.splat(0.1);
  const stride = <usize>w << 2;
  let seen: i32 = 0;
  for (let c = 0; c < cells; c++) {
    const a0 = <usize>load<i32>(starts + (<usize>c << 2)) << 2, a1 = <usize>load<i32>(starts + (<usize>c << 2), 4) << 2;
    const r1 = load<f32>(reference + (<usize>c << 2));
    const ref = f32x4.splat(r1);
    let n = zero, st = zero, si = zero, stt = zero, sti = zero, sii = zero;
    let rn = zero, rt = zero, ri = zero, rtt = zero, rti = zero, rii = zero, energy = zero;
    for (let i = a0; i < a1; i += 16) {
      const a = v128.load(u + i), b = v128.load(v + i);
      const den = f32x4.add(f32x4.add(f32x4.mul(m6, a), f32x4.mul(m7, b)), m8);
      const q = f32x4.div(one, den);
      const px = f32x4.sub(f32x4.mul(f32x4.add(f32x4.add(f32x4.mul(m0, a), f32x4.mul(m1, b)), m2), q), half);
      const py = f32x4.sub(f32x4.mul(f32x4.add(f32x4.add(f32x4.mul(m3, a), f32x4.mul(m4, b)), m5), q), half);
      const inside = v128.and(
        v128.and(f32x4.gt(q, zero), v128.and(f32x4.ge(px, zero), f32x4.ge(py, zero))),
        v128.and(f32x4.le(px, xMax), f32x4.le(py, yMax)),
      );
      const bits = i32x4.bitmask(inside);
      if (bits == 0) {
        v128.store(sample + i, missing);
        v128.store(weight + i, zero);
        continue;
      }
      seen += popcnt(bits);
      const x = v128.and(px, inside), y = v128.and(py, inside);
      const xi = i32x4.trunc_sat_f32x4_s(x), yi = i32x4.trunc_sat_f32x4_s(y);
      const fx = f32x4.sub(x, f32x4.convert_i32x4_s(xi)), fy = f32x4.sub(y, f32x4.convert_i32x4_s(yi));
      const o = i32x4.shl(i32x4.add(i32x4.mul(yi, i32x4.splat(w)), xi), 2);
      const o0 = data + <usize>i32x4.extract_lane(o, 0), o1 = data + <usize>i32x4.extract_lane(o, 1);
      const o2 = data + <usize>i32x4.extract_lane(o, 2), o3 = data + <usize>i32x4.extract_lane(o, 3);
      const t01 = v128.shuffle<i32>(v128.load64_zero(o0), v128.load64_zero(o1), 0, 4, 1, 5);
      const t23 = v128.shuffle<i32>(v128.load64_zero(o2), v128.load64_zero(o3), 0, 4, 1, 5);
      const b01 = v128.shuffle<i32>(v128.load64_zero(o0 + stride), v128.load64_zero(o1 + stride), 0, 4, 1, 5);
      const b23 = v128.shuffle<i32>(v128.load64_zero(o2 + stride), v128.load64_zero(o3 + stride), 0, 4, 1, 5);
      const tl = v128.shuffle<i64>(t01, t23, 0, 2), tr = v128.shuffle<i64>(t01, t23, 1, 3);
      const bl = v128.shuffle<i64>(b01, b23, 0, 2), br = v128.shuffle<i64>(b01, b23, 1, 3);
      const top = f32x4.add(tl, f32x4.mul(fx, f32x4.sub(tr, tl)));
      const bottom = f32x4.add(bl, f32x4.mul(fx, f32x4.sub(br, bl)));
      const s = f32x4.add(top, f32x4.mul(fy, f32x4.sub(bottom, top)));
      // Clipped highlights and crushed blacks say nothing of the light or the place.
      const good = v128.and(inside, v128.and(f32x4.le(s, high), f32x4.ge(s, low)));
      v128.store(sample + i, v128.bitselect(s, missing, good));
      const before = v128.and(v128.load(weight + i), good);
      v128.store(weight + i, before);
      const t = v128.and(f32x4.sub(v128.load(value + i), ref), good), d = v128.and(f32x4.sub(s, ref), good);
      const g = v128.load(slope + i);
      const k = v128.and(one, good), tt = f32x4.mul(t, t), td = f32x4.mul(t, d), dd = f32x4.mul(d, d);
      rn = f32x4.add(rn, k); rt = f32x4.add(rt, t); ri = f32x4.add(ri, d);
      rtt = f32x4.add(rtt, tt); rti = f32x4.add(rti, td); rii = f32x4.add(rii, dd);
      energy = f32x4.add(energy, v128.and(f32x4.mul(g, g), good));
      if (first == 0) {
        const m = v128.and(f32x4.add(before, tenth), good);
        n = f32x4.add(n, m); st = f32x4.add(st, f32x4.mul(m, t)); si = f32x4.add(si, f32x4.mul(m, d));
        stt = f32x4.add(stt, f32x4.mul(m, tt));
        sti = f32x4.add(sti, f32x4.mul(m, td));
        sii = f32x4.add(sii, f32x4.mul(m, dd));
      }
    }
    if (first != 0) { n = rn; st = rt; si = ri; stt = rtt; sti = rti; sii = rii; }
    const p = sums + <usize>c * SLOTS, f = <f64>r1;
    put(p, total(n), total(st), total(si), total(stt), total(sti), total(sii), f);
    put(p + 80, total(rn), total(rt), total(ri), total(rtt), total(rti), total(rii), f);
    add(p, 6, 0); add(p, 7, 0); add(p, 8, 0); add(p, 9, 0);
    add(p, 16, total(energy));
    add(p, 17, 0);
  }
  store<f64>(sums + <usize>cells * SLOTS, <f64>seen);
}

/** Sums about a reference as sums about none. */
// @ts-ignore: decorator
@inline
function put(p: usize, n: f64, t: f64, s: f64, tt: f64, ts: f64, ss: f64, f: f64): void {
  store<f64>(p, n);
  store<f64>(p, t + f * n, 8);
  store<f64>(p, s + f * n, 16);
  store<f64>(p, tt + 2 * f * t + f * f * n, 24);
  store<f64>(p, ts + f * (t + s) + f * f * n, 32);
  store<f64>(p, ss + 2 * f * s + f * f * n, 40);
}

/**
 * Robust weights and the normal equations. Per cell in `light`: gain, bias, trust, balance (f32 each). `out`, f64: 64
 * of the matrix (upper blocks), 8 of the gradient, then Σ weight · slope², Σ slope², Σ w, Σ wt, Σ wl, Σ wtt, Σ wtl, Σ
 * wll. `lights`, 18 f64 a cell: Σ w j, Σ w t j, Σ w, Σ w t. numbers: 1 / (Tukey σ), slope share, slope slack (f32).
 */
export function rideNormal(
  value: usize, slope: usize, jacobian: usize, starts: usize, reference: usize, cells: i32, sample: usize,
  weight: usize, light: usize, numbers: usize, out: usize, lights: usize, from: i32, to: i32, scratch: usize,
): void {
  const zero = f32x4.splat(0), one = f32x4.splat(1), missing = f32x4.splat(MISSING);
  const inverse = v128.load32_splat(numbers), share = v128.load32_splat(numbers, 4);
  const slack = v128.load32_splat(numbers, 8);
  for (let k: usize = 0; k < 640; k += 16) v128.store(out + k, i64x2.splat(0));
  let sumW: f64 = 0, sumSlope: f64 = 0, sw: f64 = 0, swt: f64 = 0;
  let swl: f64 = 0, swtt: f64 = 0, swtl: f64 = 0, swll: f64 = 0;
  for (let c = 0; c < cells; c++) {
    const a0 = <usize>load<i32>(starts + (<usize>c << 2)) << 2, a1 = <usize>load<i32>(starts + (<usize>c << 2), 4) << 2;
    const lp = light + (<usize>c << 4), own = lights + <usize>c * SLOTS;
    for (let k: usize = 0; k < SLOTS; k += 16) v128.store(own + k, i64x2.splat(0));
    const r1 = load<f32>(reference + (<usize>c << 2));
    const invGain = f32x4.div(one, v128.load32_splat(lp)), bias = v128.load32_splat(lp, 4);
    const trust = v128.load32_splat(lp, 8), balance = v128.load32_splat(lp, 12);
    const ref = f32x4.splat(r1);
    let w0 = zero, s0 = zero, cw = zero, ct = zero, cl = zero, ctt = zero, ctl = zero, cll = zero;
    let kept: i32 = 0;
    for (let i = a0; i < a1; i += 16) {
      const s = v128.load(sample + i);
      const there = f32x4.ne(s, missing);
      if (!v128.any_true(there)) continue;
      const raw = v128.load(value + i), lit = f32x4.mul(f32x4.sub(s, bias), invGain), r = f32x4.sub(lit, raw);
      const g = v128.load(slope + i), steep = v128.and(f32x4.mul(g, g), there);
      s0 = f32x4.add(s0, steep);
      const z = f32x4.mul(share, g), y = f32x4.mul(slack, g), e = f32x4.mul(r, inverse);
      const e2 = f32x4.div(f32x4.mul(e, e), f32x4.add(one, f32x4.mul(y, y)));
      const rest = v128.and(f32x4.max(zero, f32x4.sub(one, e2)), there);
      const robust = f32x4.mul(f32x4.mul(rest, rest), trust);
      v128.store(weight + i, robust);
      if (!v128.any_true(robust)) continue;
      w0 = f32x4.add(w0, f32x4.mul(robust, steep));
      const wi = f32x4.mul(f32x4.div(robust, f32x4.add(one, f32x4.mul(z, z))), balance);
      const t = v128.and(f32x4.sub(raw, ref), there), l = v128.and(f32x4.sub(lit, ref), there);
      const wt = f32x4.mul(wi, t), wl = f32x4.mul(wi, l);
      cw = f32x4.add(cw, wi); ct = f32x4.add(ct, wt); cl = f32x4.add(cl, wl);
      ctt = f32x4.add(ctt, f32x4.mul(wt, t));
      ctl = f32x4.add(ctl, f32x4.mul(wt, l));
      cll = f32x4.add(cll, f32x4.mul(wl, l));
      // What a pixel needs for its share of the matrix: weight, residual, template, where its row lies.
      const p = scratch + (<usize>kept << 4);
      v128.store(p, wi);
      v128.store(p, v128.and(r, there), 16);
      v128.store(p, t, 32);
      store<u32>(p, <u32>(i << 3), 48);
      kept += 4;
    }
    sumSlope += total(s0);
    if (kept == 0) continue;
    sumW += total(w0);
    const f = <f64>r1, m = total(cw), mt = total(ct), ml = total(cl);
    sw += m; swt += mt + f * m; swl += ml + f * m;
    swtt += total(ctt) + 2 * f * mt + f * f * m;
    swtl += total(ctl) + f * (mt + ml) + f * f * m;
    swll += total(cll) + 2 * f * ml + f * f * m;
    let h0 = zero, h1 = zero, h2 = zero, h3 = zero, k0 = zero, k1 = zero;
    let k2 = zero, k3 = zero, k4 = zero, k5 = zero, k6 = zero, k7 = zero;
    let g0 = zero, g1 = zero, j0 = zero, j1 = zero, q0 = zero, q1 = zero;
    for (let k = 0; k < kept; k++) {
      const p = scratch + (<usize>(k & ~3) << 4) + (<usize>(k & 3) << 2);
      if (load<f32>(p) == 0) continue;
      const row = jacobian + <usize>load<u32>(scratch + (<usize>(k & ~3) << 4), 48) + (<usize>(k & 3) << 5);
      const a = v128.load(row), b = v128.load(row, 16);
      const wi = v128.load32_splat(p), r = v128.load32_splat(p, 16), t = v128.load32_splat(p, 32);
      const wa = f32x4.mul(wi, a), wb = f32x4.mul(wi, b);
      j0 = f32x4.add(j0, wa); j1 = f32x4.add(j1, wb);
      q0 = f32x4.add(q0, f32x4.mul(t, wa)); q1 = f32x4.add(q1, f32x4.mul(t, wb));
      g0 = f32x4.add(g0, f32x4.mul(r, wa)); g1 = f32x4.add(g1, f32x4.mul(r, wb));
      let x = v128.shuffle<i32>(wa, wa, 0, 0, 0, 0);
      h0 = f32x4.add(h0, f32x4.mul(x, a));
      k0 = f32x4.add(k0, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wa, wa, 1, 1, 1, 1);
      h1 = f32x4.add(h1, f32x4.mul(x, a));
      k1 = f32x4.add(k1, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wa, wa, 2, 2, 2, 2);
      h2 = f32x4.add(h2, f32x4.mul(x, a));
      k2 = f32x4.add(k2, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wa, wa, 3, 3, 3, 3);
      h3 = f32x4.add(h3, f32x4.mul(x, a));
      k3 = f32x4.add(k3, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wb, wb, 0, 0, 0, 0); k4 = f32x4.add(k4, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wb, wb, 1, 1, 1, 1); k5 = f32x4.add(k5, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wb, wb, 2, 2, 2, 2); k6 = f32x4.add(k6, f32x4.mul(x, b));
      x = v128.shuffle<i32>(wb, wb, 3, 3, 3, 3); k7 = f32x4.add(k7, f32x4.mul(x, b));
    }
    more(out, h0); more(out + 64, h1); more(out + 128, h2); more(out + 192, h3);
    more(out + 32, k0); more(out + 96, k1); more(out + 160, k2); more(out + 224, k3);
    more(out + 288, k4); more(out + 352, k5); more(out + 416, k6); more(out + 480, k7);
    more(out + 512, g0); more(out + 544, g1);
    more(own, j0); more(own + 32, j1);
    // Back from the cell's mean: Σ w t j = Σ w (t − f) j + f Σ w j.
    more(own + 64, q0); more(own + 96, q1);
    for (let k: usize = 0; k < 64; k += 8) store<f64>(own + k, load<f64>(own + k, 64) + f * load<f64>(own + k), 64);
    store<f64>(own, m, 128);
    store<f64>(own, mt + f * m, 136);
  }
  store<f64>(out, sumW, 576); store<f64>(out, sumSlope, 584); store<f64>(out, sw, 592); store<f64>(out, swt, 600);
  store<f64>(out, swl, 608); store<f64>(out, swtt, 616); store<f64>(out, swtl, 624); store<f64>(out, swll, 632);
}

/** Four doubles at `p` grow by the four lanes. */
function more(p: usize, v: v128): void {
  v128.store(p, f64x2.add(v128.load(p), f64x2.promote_low_f32x4(v)));
  v128.store(p, f64x2.add(v128.load(p, 16), f64x2.promote_low_f32x4(v128.shuffle<i32>(v, v, 2, 3, 2, 3))), 16);
}

/** Binomial [1 2 1]/4 both ways, edges repeated; rows from..to. scratch: w + 8 floats. */
export function rideSmooth(src: usize, dst: usize, w: i32, h: i32, from: i32, to: i32, scratch: usize): void {
  const stride = <usize>w << 2, line = scratch + 16, quarter = f32x4.splat(0.25), half = f32x4.splat(0.5);
  for (let y = from; y < to; y++) {
    const a = src + <usize>max(0, y - 1) * stride, b = src + <usize>y * stride;
    const c = src + <usize>min(h - 1, y + 1) * stride, d = dst + <usize>y * stride;
    let x = 0;
    for (; x + 4 <= w; x += 4) {
      const o = <usize>x << 2;
      v128.store(
        line + o,
        f32x4.add(f32x4.mul(quarter, f32x4.add(v128.load(a + o), v128.load(c + o))), f32x4.mul(half, v128.load(b + o))),
      );
    }
    for (; x < w; x++) {
      const o = <usize>x << 2;
      store<f32>(line + o, <f32>0.25 * (load<f32>(a + o) + load<f32>(c + o)) + <f32>0.5 * load<f32>(b + o));
    }
    store<f32>(line - 4, load<f32>(line));
    store<f32>(line + stride, load<f32>(line + stride - 4));
    x = 0;
    for (; x + 4 <= w; x += 4) {
      const o = line + (<usize>x << 2);
      v128.store(
        d + (<usize>x << 2),
        f32x4.add(f32x4.mul(quarter, f32x4.add(v128.load(o - 4), v128.load(o + 4))), f32x4.mul(half, v128.load(o))),
      );
    }
    for (; x < w; x++) {
      const o = line + (<usize>x << 2);
      store<f32>(d + (<usize>x << 2), <f32>0.25 * (load<f32>(o - 4) + load<f32>(o + 4)) + <f32>0.5 * load<f32>(o));
    }
  }
}

/** The value of rank `rank` among the first n, which are left with the smaller ones first (Hoare's selection). */
function nth(a: usize, n: i32, rank: i32): f32 {
  let lo = 0, hi = n - 1;
  while (lo < hi) {
    const pivot = load<f32>(a + (<usize>((lo + hi) >> 1) << 2));
    let i = lo, j = hi;
    while (i <= j) {
      while (load<f32>(a + (<usize>i << 2)) < pivot) i++;
      while (load<f32>(a + (<usize>j << 2)) > pivot) j--;
      if (i <= j) {
        const t = load<f32>(a + (<usize>i << 2));
        store<f32>(a + (<usize>i << 2), load<f32>(a + (<usize>j << 2)));
        store<f32>(a + (<usize>j << 2), t);
        i++;
        j--;
      }
    }
    if (rank <= j) hi = j;
    else if (rank >= i) lo = i;
    else break;
  }
  return load<f32>(a + (<usize>rank << 2));
}

/**
 * Every `stride`-th residual of the cells trusted from .3 on: their number, their median and the value that three
 * tenths lie below, to `out` (f64). Scratch: a float a pixel. Twin: residualScalePlain in src/plate/ride/ride-scale.ts.
 */
export function rideScale(
  value: usize, starts: usize, cells: i32, sums: usize, sample: usize, stride: i32, out: usize, from: i32, to: i32,
  scratch: usize,
): void {
  let k = 0, phase = 0;
  for (let c = 0; c < cells; c++) {
    const p = sums + <usize>c * SLOTS, end = load<i32>(starts + (<usize>c << 2), 4);
    if (load<f64>(p, 64) < 0.3) continue;
    const bias = load<f64>(p, 56), inverse = 1 / load<f64>(p, 48);
    let i = load<i32>(starts + (<usize>c << 2)) + phase;
    for (; i < end; i += stride) {
      const s = load<f32>(sample + (<usize>i << 2));
      if (s == MISSING) continue;
      store<f32>(
        scratch + (<usize>k << 2),
        <f32>abs((<f64>s - bias) * inverse - <f64>load<f32>(value + (<usize>i << 2))),
      );
      k++;
    }
    phase = i - end;
  }
  store<f64>(out, k);
  if (k < 12) return;
  store<f64>(out, nth(scratch, k, k >> 1), 8);
  store<f64>(out, nth(scratch, k >> 1, <i32>(<f64>k * 0.3)), 16);
}

/**
 * Means of squares of k pixels, a row of which is summed in double and added in single precision. Items: rows of `dst`.
 * Twin: reduceLumaPlain in src/plate/ride/ride-camera.ts.
 */
export function rideReduce(src: usize, w: i32, k: i32, dst: usize, dw: i32, from: i32, to: i32, scratch: usize): void {
  const share: f64 = 1 / <f64>(k * k);
  for (let y = from; y < to; y++) {
    const out = dst + (<usize>(y * dw) << 2);
    for (let i = 0; i < k; i++) {
      let p = src + (<usize>((y * k + i) * w) << 2);
      for (let x = 0; x < dw; x++) {
        let s: f64 = 0;
        if (k == 3) {
          s = (<f64>load<f32>(p) + <f64>load<f32>(p, 4)) + <f64>load<f32>(p, 8);
          p += 12;
        } else {
          for (let j = 0; j < k; j++) {
            s += <f64>load<f32>(p);
            p += 4;
          }
        }
        const o = out + (<usize>x << 2);
        store<f32>(o, <f32>((i == 0 ? <f64>0 : <f64>load<f32>(o)) + s * share));
      }
    }
  }
}

/**
 * How well the blocks of a coarse template agree with each place of a row of places: Σ weight · correlation² of those
 * whose correlation is positive and that lie inside wholly, over their weight; −1 where less than two fifths do. Items:
 * rows. blocks, 32 bytes each: first pixel, count, left, right, top, bottom (i32), energy, weight (f32). Pixels of a
 * block are sorted by row; `offset` is y · w + x. Four neighbouring places at a time, so that loads are vectors.
 */
export function rideScore(
  blocks: usize, count: i32, offset: usize, value: usize, data: usize, w: i32, h: i32, ox: i32, oy: i32, columns: i32,
  scores: usize, from: i32, to: i32, scratch: usize,
): void {
  const zero = f32x4.splat(0), one = f32x4.splat(1);
  const lanes = f32x4(0, 1, 2, 3);
  for (let row = from; row < to; row++) {
    for (let c = 0; c < columns; c += 4) {
      const x0 = ox + c, y0 = oy + row;
      let score = zero, inside = zero;
      for (let b = 0; b < count; b++) {
        const p = blocks + (<usize>b << 5);
        const left = load<i32>(p, 8) + x0, right = load<i32>(p, 12) + x0;
        if (load<i32>(p, 16) + y0 < 0 || load<i32>(p, 20) + y0 >= h || left + 3 < 0 || right >= w) continue;
        const at = f32x4.splat(<f32>left), end = f32x4.splat(<f32>right);
        const fits = v128.and(
          f32x4.ge(f32x4.add(at, lanes), zero),
          f32x4.lt(f32x4.add(end, lanes), f32x4.splat(<f32>w)),
        );
        const n = load<i32>(p, 4), begin = <usize>load<i32>(p) << 2;
        const origin = data + (<isize>(y0 * w + x0) << 2);
        let si = zero, sii = zero, sti = zero;
        // About the first pixel, so that a flat block keeps its digits; the template's own mean is nought.
        const about = v128.load(origin + (<usize>load<i32>(offset + begin) << 2));
        for (let i: usize = 0; i < <usize>n << 2; i += 4) {
          const s = f32x4.sub(v128.load(origin + (<usize>load<i32>(offset + begin + i) << 2)), about);
          si = f32x4.add(si, s);
          sii = f32x4.add(sii, f32x4.mul(s, s));
          sti = f32x4.add(sti, f32x4.mul(v128.load32_splat(value + begin + i), s));
        }
        const weight = v128.load32_splat(p, 28), energy = v128.load32_splat(p, 24), nn = f32x4.splat(<f32>n);
        inside = f32x4.add(inside, v128.and(weight, fits));
        const vi = f32x4.sub(sii, f32x4.div(f32x4.mul(si, si), nn));
        const good = v128.and(fits, v128.and(f32x4.gt(vi, f32x4.mul(f32x4.splat(1e-6), nn)), f32x4.gt(sti, zero)));
        score = f32x4.add(
          score,
          v128.and(
            good,
            f32x4.div(f32x4.mul(weight, f32x4.mul(sti, sti)), f32x4.mul(energy, f32x4.max(vi, f32x4.splat(1e-20)))),
          ),
        );
      }
      // A small share counts a little less: fewer blocks agree by chance more easily.
      const enough = f32x4.ge(inside, f32x4.splat(0.4));
      const s = f32x4.mul(
        f32x4.div(score, f32x4.max(inside, f32x4.splat(1e-9))),
        f32x4.add(f32x4.splat(0.8), f32x4.mul(f32x4.splat(0.2), inside)),
      );
      const out = v128.bitselect(s, f32x4.neg(one), enough), to1 = scores + (<usize>(row * columns + c) << 2);
      store<f32>(to1, f32x4.extract_lane(out, 0));
      if (c + 1 < columns) store<f32>(to1, f32x4.extract_lane(out, 1), 4);
      if (c + 2 < columns) store<f32>(to1, f32x4.extract_lane(out, 2), 8);
      if (c + 3 < columns) store<f32>(to1, f32x4.extract_lane(out, 3), 12);
    }
  }
}
