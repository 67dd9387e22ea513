// Clouds of colour in coarse cells: sums, pull-push filling, unmixing weights, resampling. Twins in src/join/peel/:
// cellMomentsPlain, priorFillPlain, unmixingModelPlain, resampleCellsPlain.
import { put } from './peel-light';

/** Sums of two neighbouring columns each, or of all four, at p. */
// @ts-ignore: decorator
@inline
function storeCells(p: usize, v: v128, cell: i32): void {
  const two = f32x4.add(v, v128.shuffle<f32>(v, v, 1, 0, 3, 2));
  if (cell == 2) v128.store64_lane(p, v128.shuffle<f32>(two, two, 0, 2, 0, 2), 0);
  else store<f32>(p, f32x4.extract_lane(two, 0) + f32x4.extract_lane(two, 2));
}

/** Two cells of 2 × 2 pixels or one of 4 × 4. Cells that say nothing come in long runs and are left as they are: 0. */
function fourColumns(
  colour: usize, weight: usize, w: i32, plane: usize, x0: i32, y0: i32, y1: i32, cell: i32, fields: i32,
  evidence: usize, sums: usize, g: usize,
): void {
  let e = f32x4.splat(0), sr = e, sg = e, sb = e, rr = e, rg = e, rb = e, gg = e, gb = e, bb = e;
  let any = e;
  for (let y = y0; y < y1; y++) {
    const p = <usize>(y * w + x0) << 2;
    const k = v128.load(weight + p);
    if (!v128.any_true(k)) continue;
    any = v128.or(any, k);
    const r = v128.load(colour + p), gr = v128.load(colour + plane + p), b = v128.load(colour + 2 * plane + p);
    // What has no weight may hold anything.
    const on = f32x4.gt(k, f32x4.splat(0));
    const kr = v128.and(on, f32x4.mul(k, r)), kg = v128.and(on, f32x4.mul(k, gr)), kb = v128.and(on, f32x4.mul(k, b));
    e = f32x4.add(e, k);
    sr = f32x4.add(sr, kr);
    sg = f32x4.add(sg, kg);
    sb = f32x4.add(sb, kb);
    if (fields == 3) continue;
    rr = f32x4.add(rr, v128.and(on, f32x4.mul(kr, r)));
    rg = f32x4.add(rg, v128.and(on, f32x4.mul(kr, gr)));
    rb = f32x4.add(rb, v128.and(on, f32x4.mul(kr, b)));
    gg = f32x4.add(gg, v128.and(on, f32x4.mul(kg, gr)));
    gb = f32x4.add(gb, v128.and(on, f32x4.mul(kg, b)));
    bb = f32x4.add(bb, v128.and(on, f32x4.mul(kb, b)));
  }
  if (!v128.any_true(any)) return;
  storeCells(evidence, e, cell);
  storeCells(sums, sr, cell);
  storeCells(sums + g, sg, cell);
  storeCells(sums + 2 * g, sb, cell);
  if (fields == 3) return;
  storeCells(sums + 3 * g, rr, cell);
  storeCells(sums + 4 * g, rg, cell);
  storeCells(sums + 5 * g, rb, cell);
  storeCells(sums + 6 * g, gg, cell);
  storeCells(sums + 7 * g, gb, cell);
  storeCells(sums + 8 * g, bb, cell);
}

/** Sums of neighbouring columns of eight, two rows each: four cells of 2 × 2. */
// @ts-ignore: decorator
@inline
function storeFour(p: usize, a: v128, b: v128): void {
  v128.store(p, f32x4.add(v128.shuffle<f32>(a, b, 0, 2, 4, 6), v128.shuffle<f32>(a, b, 1, 3, 5, 7)));
}

/** A value where its weight is above 0: what has no weight may hold anything. */
// @ts-ignore: decorator
@inline
function held(k: v128, v: v128): v128 {
  return v128.and(f32x4.gt(k, f32x4.splat(0)), v);
}

/** Four cells of 2 × 2 pixels, the second row `down` bytes below. Cells without weight are left as they are: 0. */
function eightColumns(
  red: usize, green: usize, blue: usize, weight: usize, down: usize, fields: i32, evidence: usize, sums: usize,
  g: usize,
): void {
  const k0 = v128.load(weight), k1 = v128.load(weight, 16);
  const l0 = v128.load(weight + down), l1 = v128.load(weight + down, 16);
  if (!v128.any_true(v128.or(v128.or(k0, k1), v128.or(l0, l1)))) return;
  storeFour(evidence, f32x4.add(k0, l0), f32x4.add(k1, l1));
  let out = sums;
  for (let i = 0; i < 3; i++) {
    const p = i == 0 ? red : i == 1 ? green : blue;
    const a0 = held(k0, f32x4.mul(k0, v128.load(p))), a1 = held(k1, f32x4.mul(k1, v128.load(p, 16)));
    const b0 = held(l0, f32x4.mul(l0, v128.load(p + down))), b1 = held(l1, f32x4.mul(l1, v128.load(p + down, 16)));
    storeFour(sums + <usize>i * g, f32x4.add(a0, b0), f32x4.add(a1, b1));
    if (fields == 3) continue;
    for (let j = i; j < 3; j++) {
      out += g;
      const q = j == 0 ? red : j == 1 ? green : blue;
      storeFour(
        out + 2 * g,
        f32x4.add(held(k0, f32x4.mul(a0, v128.load(q))), held(l0, f32x4.mul(b0, v128.load(q + down)))),
        f32x4.add(held(k1, f32x4.mul(a1, v128.load(q, 16))), held(l1, f32x4.mul(b1, v128.load(q + down, 16)))),
      );
    }
  }
}

/** Weighted colour moments a cell: evidence and `fields` sums (3 or 9). Items: rows of cells. */
export function cellSums(
  colour: usize, weight: usize, w: i32, h: i32, cell: i32, gw: i32, gh: i32, fields: i32, evidence: usize, sums: usize,
  from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const g = <usize>gw * <usize>gh << 2;
  for (let j = from; j < to; j++) {
    const y0 = j * cell, y1 = min(y0 + cell, h);
    const line = <usize>(j * gw) << 2;
    memory.fill(evidence + line, 0, <usize>gw << 2);
    for (let f = 0; f < fields; f++) memory.fill(sums + <usize>f * g + line, 0, <usize>gw << 2);
    for (let i = 0; i < gw; i++) {
      const x0 = i * cell, x1 = min(x0 + cell, w);
      if (cell == 2 && x0 + 8 <= w && y1 == y0 + 2) {
        const p = colour + (<usize>(y0 * w + x0) << 2), o = line + (<usize>i << 2);
        eightColumns(
          p, p + plane, p + 2 * plane, weight + (<usize>(y0 * w + x0) << 2), <usize>w << 2, fields, evidence + o,
          sums + o, g,
        );
        i += 3;
        continue;
      }
      if ((cell == 2 || cell == 4) && x0 + 4 <= w) {
        fourColumns(
          colour, weight, w, plane, x0, y0, y1, cell, fields, evidence + line + (<usize>i << 2),
          sums + line + (<usize>i << 2), g,
        );
        i += 4 / cell - 1;
        continue;
      }
      let e: f32 = 0, sr: f32 = 0, sg: f32 = 0, sb: f32 = 0, rr: f32 = 0;
      let rg: f32 = 0, rb: f32 = 0, gg: f32 = 0, gb: f32 = 0, bb: f32 = 0;
      for (let y = y0; y < y1; y++) {
        for (let x = x0; x < x1; x++) {
          const p = <usize>(y * w + x) << 2;
          const k = load<f32>(weight + p);
          if (k <= 0) continue;
          const r = load<f32>(colour + p), gr = load<f32>(colour + plane + p), b = load<f32>(colour + 2 * plane + p);
          const kr = k * r, kg = k * gr, kb = k * b;
          e += k;
          sr += kr;
          sg += kg;
          sb += kb;
          rr += kr * r;
          rg += kr * gr;
          rb += kr * b;
          gg += kg * gr;
          gb += kg * b;
          bb += kb * b;
        }
      }
      const o = <usize>(j * gw + i) << 2;
      store<f32>(evidence + o, e);
      const t = sums + o;
      store<f32>(t, sr);
      store<f32>(t + g, sg);
      store<f32>(t + 2 * g, sb);
      if (fields == 3) continue;
      store<f32>(t + 3 * g, rr);
      store<f32>(t + 4 * g, rg);
      store<f32>(t + 5 * g, rb);
      store<f32>(t + 6 * g, gg);
      store<f32>(t + 7 * g, gb);
      store<f32>(t + 8 * g, bb);
    }
  }
}

/** Four sums of 2 × 2 values at column x of two rows, b of weight 0 or 1. */
// @ts-ignore: decorator
@inline
function pairs(a: usize, b: usize, second: v128): v128 {
  const lo = f32x4.add(v128.load(a), v128.and(v128.load(b), second));
  const hi = f32x4.add(v128.load(a, 16), v128.and(v128.load(b, 16), second));
  return f32x4.add(v128.shuffle<f32>(lo, hi, 0, 2, 4, 6), v128.shuffle<f32>(lo, hi, 1, 3, 5, 7));
}

/**
 * Sums of 2 × 2 cells, held so that a weight is at most `cap`. Sums must be 0 where the weight
 * is. Items: coarse rows. Scratch: cw + 8 floats.
 */
export function cellPush(
  weight: usize, sums: usize, w: i32, h: i32, coarseWeight: usize, coarseSums: usize, fields: i32, cap: f32, from: i32,
  to: i32, scratch: usize,
): void {
  const cw = (w + 1) >> 1, ch = (h + 1) >> 1;
  for (let j = from; j < to; j++) {
    const below = 2 * j + 1 < h ? 1 : 0;
    const second = i32x4.splat(-below);
    for (let f = -1; f < fields; f++) {
      const src = (f < 0 ? weight : sums + (<usize>(f * w * h) << 2)) + (<usize>(2 * j * w) << 2);
      const under = src + (<usize>(below * w) << 2);
      const dst = (f < 0 ? coarseWeight : coarseSums + (<usize>(f * cw * ch) << 2)) + (<usize>(j * cw) << 2);
      let x = 0;
      for (; 2 * x + 8 <= w; x += 4) {
        const v = pairs(src + (<usize>x << 3), under + (<usize>x << 3), second);
        if (f < 0) {
          const scale = f32x4.div(f32x4.splat(cap), f32x4.max(v, f32x4.splat(cap)));
          v128.store(scratch + (<usize>x << 2), scale);
          v128.store(dst + (<usize>x << 2), f32x4.min(v, f32x4.splat(cap)));
        } else v128.store(dst + (<usize>x << 2), f32x4.mul(v, v128.load(scratch + (<usize>x << 2))));
      }
      for (; x < cw; x++) {
        const p = <usize>x << 3;
        let v = load<f32>(src + p);
        const right = 2 * x + 1 < w;
        if (right) v += load<f32>(src + p, 4);
        if (below != 0) {
          v += load<f32>(under + p);
          if (right) v += load<f32>(under + p, 4);
        }
        if (f < 0) {
          store<f32>(scratch + (<usize>x << 2), cap / max(v, cap));
          store<f32>(dst + (<usize>x << 2), min(v, cap));
        } else store<f32>(dst + (<usize>x << 2), v * load<f32>(scratch + (<usize>x << 2)));
      }
    }
  }
}

/**
 * Means of a finer level from its sums and the coarser means, which count for `prior` observations.
 * Items: fine rows. Scratch: cw + 16 and w + 8 floats.
 */
export function cellPull(
  weight: usize, sums: usize, w: i32, h: i32, mean: usize, dst: usize, fields: i32, prior: f32, from: i32, to: i32,
  scratch: usize,
): void {
  const cw = (w + 1) >> 1, ch = (h + 1) >> 1;
  const row = scratch + 16, inverse = scratch + (<usize>(cw + 16) << 2);
  const vp = f32x4.splat(prior), quarter = f32x4.splat(0.25), most = f32x4.splat(0.75);
  for (let y = from; y < to; y++) {
    const fy = min(max(<f32>y * 0.5 - 0.25, <f32>0), <f32>(ch - 1));
    const ya = <i32>fy, yb = min(ya + 1, ch - 1);
    const ty = f32x4.splat(fy - <f32>ya);
    const line = <usize>(y * w) << 2;
    for (let x = 0; x < w; x += 4) {
      const p = <usize>x << 2;
      v128.store(inverse + p, f32x4.div(f32x4.splat(1), f32x4.add(v128.load(weight + line + p), vp)));
    }
    for (let f = 0; f < fields; f++) {
      const m = mean + (<usize>(f * cw * ch) << 2);
      const a = m + (<usize>(ya * cw) << 2), b = m + (<usize>(yb * cw) << 2);
      for (let x = 0; x < cw; x += 4) {
        const p = <usize>x << 2;
        const v = v128.load(a + p);
        v128.store(row + p, f32x4.add(v, f32x4.mul(f32x4.sub(v128.load(b + p), v), ty)));
      }
      store<f32>(row - 4, load<f32>(row));
      const end = load<f32>(row + (<usize>(cw - 1) << 2));
      for (let k = 0; k < 5; k++) store<f32>(row + (<usize>(cw + k) << 2), end);
      const s = sums + (<usize>(f * w * h) << 2) + line, d = dst + (<usize>(f * w * h) << 2) + line;
      for (let x = 0; x < w; x += 8) {
        const q = row + (<usize>x << 1);
        const c = f32x4.mul(v128.load(q), most);
        const even = f32x4.add(c, f32x4.mul(v128.load(q - 4), quarter));
        const odd = f32x4.add(c, f32x4.mul(v128.load(q + 4), quarter));
        const p = <usize>x << 2;
        const left = w - x;
        put(
          d + p,
          f32x4.mul(
            f32x4.add(v128.load(s + p), f32x4.mul(vp, v128.shuffle<f32>(even, odd, 0, 4, 1, 5))),
            v128.load(inverse + p),
          ),
          left,
        );
        if (left > 4)
          put(
            d + p + 16,
            f32x4.mul(
              f32x4.add(v128.load(s + p, 16), f32x4.mul(vp, v128.shuffle<f32>(even, odd, 2, 6, 3, 7))),
              v128.load(inverse + p, 16),
            ),
            left - 4,
          );
      }
    }
  }
}

/** Weights of the unmixing model, in double precision. Items: 64 cells. */
export function cellUnmix(
  performer: usize, screen: usize, residual: usize, cells: i32, noise: f64, share: f64, dst: usize, from: i32, to: i32,
  scratch: usize,
): void {
  const g = <usize>cells << 2;
  const last = min(cells, to << 6);
  for (let j = from << 6; j < last; j++) {
    const o = <usize>j << 2;
    const f = performer + o, e = residual + o, s = screen + o;
    const fr = <f64>load<f32>(f), fg = <f64>load<f32>(f + g), fb = <f64>load<f32>(f + 2 * g);
    const dr = fr - <f64>load<f32>(s), dg = fg - <f64>load<f32>(s + g), db = fb - <f64>load<f32>(s + 2 * g);
    const ridge = noise + 1e-4 * (dr * dr + dg * dg + db * db);
    const c00 = share * (<f64>load<f32>(f + 3 * g) - fr * fr + <f64>load<f32>(e + 3 * g)) + ridge;
    const c01 = share * (<f64>load<f32>(f + 4 * g) - fr * fg + <f64>load<f32>(e + 4 * g));
    const c02 = share * (<f64>load<f32>(f + 5 * g) - fr * fb + <f64>load<f32>(e + 5 * g));
    const c11 = share * (<f64>load<f32>(f + 6 * g) - fg * fg + <f64>load<f32>(e + 6 * g)) + ridge;
    const c12 = share * (<f64>load<f32>(f + 7 * g) - fg * fb + <f64>load<f32>(e + 7 * g));
    const c22 = share * (<f64>load<f32>(f + 8 * g) - fb * fb + <f64>load<f32>(e + 8 * g)) + ridge;
    const a00 = c11 * c22 - c12 * c12, a01 = c02 * c12 - c01 * c22, a02 = c01 * c12 - c02 * c11;
    const a11 = c00 * c22 - c02 * c02, a12 = c01 * c02 - c00 * c12, a22 = c00 * c11 - c01 * c01;
    const wr = a00 * dr + a01 * dg + a02 * db, wg = a01 * dr + a11 * dg + a12 * db, wb = a02 * dr + a12 * dg + a22 * db;
    const k = wr * dr + wg * dg + wb * db;
    const inverse = Math.abs(k) > 1e-30 ? 1 / k : 0;
    store<f32>(dst + o, <f32>(wr * inverse));
    store<f32>(dst + o + g, <f32>(wg * inverse));
    store<f32>(dst + o + 2 * g, <f32>(wb * inverse));
  }
}

/**
 * Row y of coarse fields, `cell` pixels a cell and cell 0's centre at cell / 2 - offset: interpolated down into
 * `row`, `count` runs of gw + 8 floats, ends repeated.
 */
export function seekRow(fields: usize, gw: i32, gh: i32, cell: f32, offset: f32, y: i32, count: i32, row: usize): void {
  seekCells(fields, gw, gh, cell, offset, y, count, row, 0, gw);
}

/** The same for the cells c0 to c1 only, those of each four that hold them. */
export function seekCells(
  fields: usize, gw: i32, gh: i32, cell: f32, offset: f32, y: i32, count: i32, row: usize, c0: i32, c1: i32,
): void {
  const fy = min(max((<f32>y + offset) / cell - 0.5, <f32>0), <f32>(gh - 1));
  const y0 = <i32>fy, y1 = min(y0 + 1, gh - 1);
  const t = f32x4.splat(fy - <f32>y0);
  for (let p = 0; p < count; p++) {
    const a = fields + (<usize>((p * gh + y0) * gw) << 2), b = fields + (<usize>((p * gh + y1) * gw) << 2);
    const o = row + (<usize>(p * (gw + 8)) << 2);
    for (let x = c0 & ~3; x < min(c1, gw); x += 4) {
      const q = <usize>x << 2;
      const v = v128.load(a + q);
      v128.store(o + q, f32x4.add(v, f32x4.mul(f32x4.sub(v128.load(b + q), v), t)));
    }
    if (c1 >= gw) store<f32>(o + (<usize>gw << 2), load<f32>(o + (<usize>(gw - 1) << 2)));
  }
}

/** Four values between cells of one run of `seekRow`: `first` cell and `share` of the next a column. */
// @ts-ignore: decorator
@inline
export function acrossRow(row: usize, first: usize, share: v128): v128 {
  let a = v128.load64_zero(row + (<usize>load<i32>(first) << 2));
  a = v128.load64_lane(row + (<usize>load<i32>(first, 4) << 2), a, 1);
  let b = v128.load64_zero(row + (<usize>load<i32>(first, 8) << 2));
  b = v128.load64_lane(row + (<usize>load<i32>(first, 12) << 2), b, 1);
  const low = v128.shuffle<f32>(a, b, 0, 2, 4, 6), high = v128.shuffle<f32>(a, b, 1, 3, 5, 7);
  return f32x4.add(low, f32x4.mul(f32x4.sub(high, low), share));
}

/**
 * Coarse fields at every pixel of the columns x0 to x1, times `gain` (same shape as dst) where that is not 0. Items:
 * rows from y0 on. `first` and `share` have w + 4 entries. Scratch: count (gw + 8) floats.
 */
export function cellResample(
  fields: usize, gw: i32, gh: i32, cell: f32, offset: f32, w: i32, h: i32, x0: i32, x1: i32, y0: i32, count: i32,
  first: usize, share: usize, gain: usize, dst: usize, from: i32, to: i32, scratch: usize,
): void {
  for (let y = y0 + from; y < y0 + to; y++) {
    seekRow(fields, gw, gh, cell, offset, y, count, scratch);
    for (let p = 0; p < count; p++) {
      const row = scratch + (<usize>(p * (gw + 8)) << 2);
      const at = <usize>((p * h + y) * w) << 2;
      for (let x = x0; x < x1; x += 4) {
        const q = <usize>x << 2;
        let v = acrossRow(row, first + q, v128.load(share + q));
        if (gain != 0) v = f32x4.mul(v, v128.load(gain + at + q));
        put(dst + at + q, v, x1 - x);
      }
    }
  }
}
