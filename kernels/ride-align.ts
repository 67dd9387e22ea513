// A template's pixels under a warp, and the step that brings it nearer (see src/plate/ride/ride-sums.ts, whose plain
// twins these are). Pixels of a cell lie together and every cell's run is padded to a multiple of four with pixels that
// lie nowhere (u is not a number). One item: a whole level. Sums run over four lanes in single precision within a cell,
// about the cell's own mean, and in double across.

/** Bytes of a cell's sums; their order is told in src/plate/ride/ride-light.ts. */
export const SLOTS: usize = 18 * 8;
/** A sample that says nothing: outside the frame, clipped or crushed. */
export const MISSING: f32 = -9;

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
