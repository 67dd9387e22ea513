// How much of one small frame is found again in another (see src/film/block-match.ts, whose plain twin gives the same
// bytes). Frames are 96 × 54 unsigned 16-bit; they are worked on at 15 bits, so that products of two and sums of two
// products fit signed 32-bit lanes (pmaddwd). All sums are whole numbers and exact in any order; what is divided is
// double precision in the twin's order. One item: a whole match.
//
// scratch: a, b at 15 bits (10368 bytes each), coarse a, b (1152 + 64 padding each), their summed-area tables. out: f64
// dissimilarity, rigid, dx, dy, evidence, motion, spread, 0; left[72]; contrast[72]; then i32 shiftX[72], shiftY[72].

const W: i32 = 96, H: i32 = 54, CW: i32 = 32, CH: i32 = 18, BW: i32 = 8;
const BH: i32 = 9, BX: i32 = 12, BY: i32 = 6, BLOCKS: i32 = 72;
const N: f64 = 72;
const CODE2: f64 = 16384;
const CONTRAST_HALF: f64 = 384;
const BAR: i32 = 640;
const A: usize = 0, B: usize = 10368, CA: usize = 20736;
const CB: usize = 21952, TABLE: usize = 23168, TABLE_BYTES: usize = 7528;
/** Pixel values of the block sought; then its sum and variance sum (f64); then the active part x0, x1, y0, y1 (i32). */
const BLOCK: usize = 38224, SUM_A: usize = 38368, VAR_A: usize = 38376, ACTIVE: usize = 38384;

// @ts-ignore: decorator
@inline
function widen(sum: v128, add: v128): v128 {
  return i64x2.add(sum, i64x2.add(i64x2.extend_low_i32x4_s(add), i64x2.extend_high_i32x4_s(add)));
}

// @ts-ignore: decorator
@inline
function total64(v: v128): f64 {
  return <f64>(i64x2.extract_lane(v, 0) + i64x2.extract_lane(v, 1));
}

// @ts-ignore: decorator
@inline
function total32(v: v128): f64 {
  return <f64>(
    i32x4.extract_lane(v, 0) + i32x4.extract_lane(v, 1) + i32x4.extract_lane(v, 2) + i32x4.extract_lane(v, 3)
  );
}

function coarse(src: usize, dst: usize): void {
  for (let cy = 0; cy < CH; cy++) for (let cx = 0; cx < CW; cx++) {
    const p = src + <usize>((cy * 3 * W + cx * 3) << 1);
    let s: i32 = 0;
    for (let v: usize = 0; v < 3; v++) {
      const q = p + v * <usize>(W << 1);
      s += <i32>load<u16>(q) + <i32>load<u16>(q, 2) + <i32>load<u16>(q, 4);
    }
    store<u16>(dst + <usize>((cy * CW + cx) << 1), <u16>((2 * s + 9) / 18));
  }
}

/** Summed-area tables of values (i32, 33 × 19) and squares (f64, after them). */
function tables(src: usize, at: usize): void {
  const squares = at + 2512;
  for (let x = 0; x <= CW; x++) {
    store<i32>(at + <usize>(x << 2), 0);
    store<f64>(squares + <usize>(x << 3), 0);
  }
  for (let y = 0; y < CH; y++) {
    let s: i32 = 0, ss: f64 = 0;
    const up = y * 33, row = up + 33;
    store<i32>(at + <usize>(row << 2), 0);
    store<f64>(squares + <usize>(row << 3), 0);
    for (let x = 0; x < CW; x++) {
      const v = <i32>load<u16>(src + <usize>((y * CW + x) << 1));
      s += v;
      ss += <f64>(v * v);
      store<i32>(at + <usize>((row + x + 1) << 2), s + load<i32>(at + <usize>((up + x + 1) << 2)));
      store<f64>(squares + <usize>((row + x + 1) << 3), ss + load<f64>(squares + <usize>((up + x + 1) << 3)));
    }
  }
}

function boxSum(at: usize, x0: i32, y0: i32, x1: i32, y1: i32): f64 {
  const a = y0 * 33, b = y1 * 33;
  return <f64>(
    load<i32>(at + <usize>((b + x1) << 2)) - load<i32>(at + <usize>((b + x0) << 2))
      - load<i32>(at + <usize>((a + x1) << 2)) + load<i32>(at + <usize>((a + x0) << 2))
  );
}

function boxSquares(at: usize, x0: i32, y0: i32, x1: i32, y1: i32): f64 {
  const q = at + 2512, a = y0 * 33, b = y1 * 33;
  return load<f64>(q + <usize>((b + x1) << 3)) - load<f64>(q + <usize>((b + x0) << 3))
    - load<f64>(q + <usize>((a + x1) << 3)) + load<f64>(q + <usize>((a + x0) << 3));
}

function coarseNcc(scratch: usize, left: i32, right: i32, top: i32, bottom: i32, dx: i32, dy: i32): f64 {
  const x0 = max(left, left - dx), x1 = min(right, right - dx), y0 = max(top, top - dy), y1 = min(bottom, bottom - dy);
  const iota = i16x8(0, 1, 2, 3, 4, 5, 6, 7);
  const ta = scratch + TABLE, tb = ta + TABLE_BYTES;
  let sum = i64x2.splat(0);
  for (let y = y0; y < y1; y++) {
    const ra = scratch + CA + <usize>((y * CW) << 1), rb = scratch + CB + <usize>(((y + dy) * CW + dx) << 1);
    let x = x0;
    for (; x + 8 <= x1; x += 8)
      sum = widen(sum, i32x4.dot_i16x8_s(v128.load(ra + <usize>(x << 1)), v128.load(rb + <usize>(x << 1))));
    if (x < x1) {
      const p = v128.and(v128.load(ra + <usize>(x << 1)), i16x8.gt_s(i16x8.splat(<i16>(x1 - x)), iota));
      sum = widen(sum, i32x4.dot_i16x8_s(p, v128.load(rb + <usize>(x << 1))));
    }
  }
  const n = <f64>((x1 - x0) * (y1 - y0));
  const sa = boxSum(ta, x0, y0, x1, y1), sb = boxSum(tb, x0 + dx, y0 + dy, x1 + dx, y1 + dy);
  const va = boxSquares(ta, x0, y0, x1, y1) - (sa * sa) / n;
  const vb = boxSquares(tb, x0 + dx, y0 + dy, x1 + dx, y1 + dy) - (sb * sb) / n;
  const noise = n * CODE2 * 0.25;
  return (total64(sum) - (sa * sb) / n) / sqrt<f64>((va + noise) * (vb + noise));
}

function dark(scratch: usize, at: i32, step: i32, count: i32): bool {
  let ma: i32 = 0, mb: i32 = 0;
  for (let k = 0, i = at; k < count; k++, i += step) {
    ma = max(ma, <i32>load<u16>(scratch + A + <usize>(i << 1)));
    mb = max(mb, <i32>load<u16>(scratch + B + <usize>(i << 1)));
    if (ma >= BAR && mb >= BAR) return false;
  }
  return true;
}

function findActive(scratch: usize): void {
  let y0 = 0, y1 = H, x0 = 0, x1 = W;
  while (y0 < H && dark(scratch, y0 * W, 1, W)) y0++;
  while (y1 > y0 && dark(scratch, (y1 - 1) * W, 1, W)) y1--;
  while (x0 < W && dark(scratch, x0, W, H)) x0++;
  while (x1 > x0 && dark(scratch, x1 - 1, W, H)) x1--;
  if (y0 > 0) y0++;
  if (y1 < H) y1--;
  if (x0 > 0) x0++;
  if (x1 < W) x1--;
  const enough = y1 - y0 >= 24 && x1 - x0 >= 40;
  store<i32>(scratch + ACTIVE, enough ? x0 : 0);
  store<i32>(scratch + ACTIVE, enough ? x1 : W, 4);
  store<i32>(scratch + ACTIVE, enough ? y0 : 0, 8);
  store<i32>(scratch + ACTIVE, enough ? y1 : H, 12);
}

function loadBlock(scratch: usize, x: i32, y: i32): void {
  let sum = i32x4.splat(0), squares = i64x2.splat(0);
  let p = scratch + A + <usize>((y * W + x) << 1);
  for (let v: usize = 0; v < 144; v += 16) {
    const q = v128.load(p);
    v128.store(scratch + BLOCK + v, q);
    sum = i32x4.add(sum, i32x4.extadd_pairwise_i16x8_s(q));
    squares = widen(squares, i32x4.dot_i16x8_s(q, q));
    p += W << 1;
  }
  const s = total32(sum);
  store<f64>(scratch + SUM_A, s);
  store<f64>(scratch + VAR_A, total64(squares) - (s * s) / N);
}

function score(scratch: usize, x: i32, y: i32): f64 {
  if (
    x < load<i32>(scratch + ACTIVE)
    || y < load<i32>(scratch + ACTIVE, 8)
    || x > load<i32>(scratch + ACTIVE, 4) - BW
    || y > load<i32>(scratch + ACTIVE, 12) - BH
  )
    return 1;
  let sum = i32x4.splat(0), squares = i64x2.splat(0), products = i64x2.splat(0);
  let p = scratch + B + <usize>((y * W + x) << 1);
  for (let v: usize = 0; v < 144; v += 16) {
    const q = v128.load(p);
    sum = i32x4.add(sum, i32x4.extadd_pairwise_i16x8_s(q));
    squares = widen(squares, i32x4.dot_i16x8_s(q, q));
    products = widen(products, i32x4.dot_i16x8_s(q, v128.load(scratch + BLOCK + v)));
    p += W << 1;
  }
  const sb = total32(sum);
  const cov = total64(products) - (load<f64>(scratch + SUM_A) * sb) / N;
  if (cov <= 0) return 1;
  const floor = N * CODE2 * 0.5;
  return 1 - (cov * cov) / ((load<f64>(scratch + VAR_A) + floor) * (total64(squares) - (sb * sb) / N + floor));
}

// @ts-ignore: decorator
@inline
function hypot(x: i32, y: i32): f64 {
  return sqrt<f64>(<f64>(x * x + y * y));
}

/**
 * The whole match of `b` against `a` (96 × 54 unsigned 16-bit each), a block straying by `reach` cells from its best
 * prediction; done where `from` < `to`. `out` and `scratch` as above; twin: src/film/block-match-plain.ts.
 */
export function blockMatch(a: usize, b: usize, reach: i32, out: usize, from: i32, to: i32, scratch: usize): void {
  if (from >= to) return;
  memory.fill(out, 0, 64 + BLOCKS * 24);
  for (let i: usize = 0; i < <usize>(W * H * 2); i += 16) {
    v128.store(scratch + A + i, i16x8.shr_u(v128.load(a + i), 1));
    v128.store(scratch + B + i, i16x8.shr_u(v128.load(b + i), 1));
  }
  coarse(scratch + A, scratch + CA);
  coarse(scratch + B, scratch + CB);
  let apart: i32 = 0;
  for (let i: usize = 0; i < <usize>(CW * CH * 2); i += 2)
    apart += abs<i32>(<i32>load<u16>(scratch + CA + i) - <i32>load<u16>(scratch + CB + i));
  if (apart < CW * CH * 64) {
    store<f64>(out, 1, 32);
    return;
  }
  findActive(scratch);
  const ax0 = load<i32>(scratch + ACTIVE), ax1 = load<i32>(scratch + ACTIVE, 4);
  const ay0 = load<i32>(scratch + ACTIVE, 8), ay1 = load<i32>(scratch + ACTIVE, 12);
  const left = (ax0 + 2) / 3, right = ax1 / 3, top = (ay0 + 2) / 3, bottom = ay1 / 3;
  tables(scratch + CA, scratch + TABLE);
  tables(scratch + CB, scratch + TABLE + TABLE_BYTES);
  let best = coarseNcc(scratch, left, right, top, bottom, 0, 0);
  let gx = 0, gy = 0;
  if (best < 0.985) {
    for (let dy = -6; dy <= 6; dy++) for (let dx = -11; dx <= 11; dx++) {
      const s = coarseNcc(scratch, left, right, top, bottom, dx, dy) - 0.004 * <f64>(abs<i32>(dx) + abs<i32>(dy));
      if (s > best) {
        best = s;
        gx = dx;
        gy = dy;
      }
    }
  }
  gx *= 3;
  gy *= 3;
  const leftOver = out + 64, contrast = leftOver + BLOCKS * 8;
  const shiftX = contrast + BLOCKS * 8, shiftY = shiftX + BLOCKS * 4;
  let sum: f64 = 0, rigid: f64 = 0, weights: f64 = 0, motion: f64 = 0;
  for (let by = 0; by < BY; by++) for (let bx = 0; bx < BX; bx++) {
    const k = by * BX + bx;
    const x0 = ax0 + (2 * bx * (ax1 - ax0 - BW) + BX - 1) / (2 * (BX - 1));
    const y0 = ay0 + (2 * by * (ay1 - ay0 - BH) + BY - 1) / (2 * (BY - 1));
    loadBlock(scratch, x0, y0);
    const variance = load<f64>(scratch + VAR_A) / N;
    const sd = sqrt<f64>(max<f64>(0, variance));
    let sx = 0, sy = 0;
    let e = score(scratch, x0, y0);
    let eRigid = e;
    let leftSight = false;
    if (e > 0.02) {
      const inside = x0 + gx >= ax0 && y0 + gy >= ay0 && x0 + gx <= ax1 - BW && y0 + gy <= ay1 - BH;
      for (let t = 0; t < 3; t++) {
        let tx = gx, ty = gy;
        const at = t == 1 && bx > 0 ? k - 1 : t == 2 && by > 0 ? k - BX : -1;
        if (at >= 0) {
          tx = load<i32>(shiftX + <usize>(at << 2));
          ty = load<i32>(shiftY + <usize>(at << 2));
        }
        const f = score(scratch, x0 + tx, y0 + ty);
        if (t == 0 && f < eRigid) eRigid = f;
        if (f < e) {
          e = f;
          sx = tx;
          sy = ty;
        }
      }
      if (e > 0.06) {
        const cx = sx, cy = sy;
        for (let dy = -reach; dy <= reach; dy++) for (let dx = -reach; dx <= reach; dx++) {
          const f = score(scratch, x0 + cx + dx, y0 + cy + dy);
          if (f < e) {
            e = f;
            sx = cx + dx;
            sy = cy + dy;
          }
        }
        for (let dy = -1; dy <= 1; dy++) for (let dx = -1; dx <= 1; dx++) {
          const f = score(scratch, x0 + gx + dx, y0 + gy + dy);
          if (f < eRigid) eRigid = f;
        }
        if (eRigid < e) e = eRigid;
      }
      leftSight = !inside && e > 0.3;
    }
    const w = (leftSight ? 0.25 * sd : sd) / (sd + CONTRAST_HALF);
    sum += w * e;
    rigid += w * eRigid;
    weights += w;
    // A block whose global prediction has left the frame went out of sight: it says little.
    if (leftSight) {
      sx = gx;
      sy = gy;
    } else {
      store<f64>(leftOver + <usize>(k << 3), e);
      store<f64>(contrast + <usize>(k << 3), variance);
      motion += w * hypot(sx, sy);
    }
    store<i32>(shiftX + <usize>(k << 2), sx);
    store<i32>(shiftY + <usize>(k << 2), sy);
  }
  let spread: f64 = 0;
  for (let k = 0; k < BLOCKS; k++)
    spread += hypot(load<i32>(shiftX + <usize>(k << 2)) - gx, load<i32>(shiftY + <usize>(k << 2)) - gy);
  const enough = weights > 0.01 * N;
  store<f64>(out, enough ? sum / weights : 0);
  store<f64>(out, enough ? rigid / weights : 0, 8);
  store<f64>(out, <f64>gx, 16);
  store<f64>(out, <f64>gy, 24);
  store<f64>(out, weights / N, 32);
  store<f64>(out, weights > 0 ? motion / weights : 0, 40);
  store<f64>(out, spread / N, 48);
}
