// Passes over the small picture of a peel. Twins: judgeScreenPlain (judge-screen.ts), screenRatioPlain and
// meanSquarePlain (screen-model.ts), seedsPlain and matteTurnPlain (frame-analysis.ts).
import { acrossRow, seekRow } from './cell-resample';
import { put } from './peel-light';

/**
 * Which pixels lie on the line of the screen's colour: rho, excess over the limit (99 where the strength is out of
 * bounds), weight 0 or 1, sure 0 or 1, and a row's sum of (I - B) squared over sure pixels. Items: rows.
 */
export function screenJudge(
  data: usize, colour: usize, w: i32, h: i32, low: f32, high: f32, limit: f32, rho: usize, excess: usize, weight: usize,
  sure: usize, square: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const lo = f32x4.splat(low), hi = f32x4.splat(high), li = f32x4.splat(limit);
  const il = f32x4.splat(1 / limit), one = f32x4.splat(1);
  for (let y = from; y < to; y++) {
    let sum = f32x4.splat(0);
    for (let x = 0; x < w; x += 4) {
      const i = y * w + x;
      const p = <usize>i << 2;
      const r = v128.load(data + p), g = v128.load(data + plane + p), b = v128.load(data + 2 * plane + p);
      const br = v128.load(colour + p), bg = v128.load(colour + plane + p), bb = v128.load(colour + 2 * plane + p);
      const inverse = f32x4.div(one, f32x4.add(f32x4.add(f32x4.mul(br, br), f32x4.mul(bg, bg)), f32x4.mul(bb, bb)));
      const s = f32x4.mul(f32x4.add(f32x4.add(f32x4.mul(r, br), f32x4.mul(g, bg)), f32x4.mul(b, bb)), inverse);
      const xr = f32x4.sub(r, f32x4.mul(s, br)), xg = f32x4.sub(g, f32x4.mul(s, bg));
      const xb = f32x4.sub(b, f32x4.mul(s, bb));
      const across = f32x4.mul(f32x4.add(f32x4.add(f32x4.mul(xr, xr), f32x4.mul(xg, xg)), f32x4.mul(xb, xb)), inverse);
      const q = f32x4.div(f32x4.sqrt(across), f32x4.max(s, f32x4.splat(1e-3)));
      const within = v128.and(f32x4.gt(s, lo), f32x4.lt(s, hi));
      let is = v128.and(within, f32x4.lt(q, li));
      const left = w - x;
      if (left < 4)
        is = v128.and(is, left == 1 ? i32x4(-1, 0, 0, 0) : left == 2 ? i32x4(-1, -1, 0, 0) : i32x4(-1, -1, -1, 0));
      put(rho + p, q, left);
      put(excess + p, v128.bitselect(f32x4.mul(q, il), f32x4.splat(99), within), left);
      put(weight + p, v128.and(is, one), left);
      const bits = i32x4.bitmask(is);
      for (let k = 0; k < min(left, 4); k++) store<u8>(sure + <usize>(i + k), <u8>((bits >> k) & 1));
      const dr = f32x4.sub(r, br), dg = f32x4.sub(g, bg), db = f32x4.sub(b, bb);
      sum = f32x4.add(sum, v128.and(is, f32x4.add(f32x4.add(f32x4.mul(dr, dr), f32x4.mul(dg, dg)), f32x4.mul(db, db))));
    }
    store<f32>(
      square + (<usize>y << 2),
      (f32x4.extract_lane(sum, 0) + f32x4.extract_lane(sum, 1))
        + (f32x4.extract_lane(sum, 2) + f32x4.extract_lane(sum, 3)),
    );
  }
}

// @ts-ignore: decorator
@inline
function smooth(a: f32, b: f32, v: v128): v128 {
  const t = f32x4.min(
    f32x4.splat(1),
    f32x4.max(f32x4.splat(0), f32x4.mul(f32x4.sub(v, f32x4.splat(a)), f32x4.splat(1 / (b - a)))),
  );
  return f32x4.mul(f32x4.mul(t, t), f32x4.sub(f32x4.splat(3), f32x4.add(t, t)));
}

/**
 * The small matte from the model's weights, and from it how much each pixel counts for the performer's and the screen's
 * cloud. Items: rows. `screenWeight` is 1 where sure. Scratch: 3 (gw + 8) floats.
 */
export function matteTurn(
  weights: usize, gw: i32, gh: i32, cell: f32, w: i32, h: i32, first: usize, share: usize, difference: usize,
  fromScreen: usize, screenWeight: usize, deep: f32, begin: f32, matte: usize, weightF: usize, weightB: usize,
  from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const stride = <usize>(gw + 8) << 2;
  const one = f32x4.splat(1);
  for (let y = from; y < to; y++) {
    seekRow(weights, gw, gh, cell, 0.5, y, 3, scratch);
    for (let x = 0; x < w; x += 4) {
      const q = <usize>x << 2, p = <usize>(y * w + x) << 2;
      const t = v128.load(share + q), at = first + q;
      const a = f32x4.add(
        f32x4.add(
          f32x4.mul(acrossRow(scratch, at, t), v128.load(difference + p)),
          f32x4.mul(acrossRow(scratch + stride, at, t), v128.load(difference + plane + p)),
        ),
        f32x4.mul(acrossRow(scratch + 2 * stride, at, t), v128.load(difference + 2 * plane + p)),
      );
      const depth = v128.load(fromScreen + p);
      const left = w - x;
      put(matte + p, a, left);
      put(
        weightF + p,
        v128.bitselect(one, v128.and(f32x4.gt(depth, one), smooth(begin, 1, a)), f32x4.ge(depth, f32x4.splat(deep))),
        left,
      );
      put(weightB + p, f32x4.mul(v128.load(screenWeight + p), f32x4.sub(one, smooth(0.15, 0.4, a))), left);
    }
  }
}

/** Four verdicts (bytes) as a mask. */
// @ts-ignore: decorator
@inline
function verdicts(p: usize): v128 {
  return i32x4.gt_u(i32x4.extend_low_i16x8_u(i16x8.extend_low_i8x16_u(v128.load32_zero(p))), i32x4.splat(0));
}

/** What a frame shows over what the map says, held within 0.1 to 4, and the verdicts as weights. Items: rows. */
export function screenRatio(
  data: usize, map: usize, sure: usize, w: i32, h: i32, ratio: usize, weight: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  for (let y = from; y < to; y++) {
    for (let x = 0; x < w; x += 4) {
      const i = y * w + x, left = w - x;
      const p = <usize>i << 2;
      put(weight + p, v128.and(verdicts(sure + <usize>i), f32x4.splat(1)), left);
      for (let c: usize = 0; c < 3; c++) {
        const o = c * plane + p;
        put(
          ratio + o,
          f32x4.min(
            f32x4.splat(4),
            f32x4.max(
              f32x4.splat(0.1),
              f32x4.div(v128.load(data + o), f32x4.max(v128.load(map + o), f32x4.splat(1e-4))),
            ),
          ),
          left,
        );
      }
    }
  }
}

/** A row's sum of squared differences over sure pixels. Items: rows. */
export function squareOff(
  a: usize, b: usize, sure: usize, w: i32, h: i32, square: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  for (let y = from; y < to; y++) {
    let sum: f64 = 0;
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      if (load<u8>(sure + <usize>i) == 0) continue;
      const p = <usize>i << 2;
      const r = load<f32>(a + p) - load<f32>(b + p), g = load<f32>(a + plane + p) - load<f32>(b + plane + p);
      const l = load<f32>(a + 2 * plane + p) - load<f32>(b + 2 * plane + p);
      sum += <f64>(r * r + g * g + l * l);
    }
    store<f32>(square + (<usize>y << 2), <f32>sum);
  }
}

/**
 * Where a frame's clouds start: I - B, the verdicts as weights of the screen, and the performer's: 1 from `deep` on,
 * 0.3 where the colour differs from the screen's hue. Items: rows.
 */
export function peelSeeds(
  data: usize, back: usize, sure: usize, fromScreen: usize, w: i32, h: i32, deep: f32, difference: usize,
  onScreen: usize, weightF: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const half = f32x4.splat(0.5), across = f32x4.splat(0.8660254), one = f32x4.splat(1);
  for (let y = from; y < to; y++) {
    for (let x = 0; x < w; x += 4) {
      const i = y * w + x, left = w - x;
      const p = <usize>i << 2;
      const r = v128.load(data + p), g = v128.load(data + plane + p), b = v128.load(data + 2 * plane + p);
      const sr = v128.load(back + p), sg = v128.load(back + plane + p), sb = v128.load(back + 2 * plane + p);
      const su = f32x4.sub(sr, f32x4.mul(half, f32x4.add(sg, sb))), sv = f32x4.mul(across, f32x4.sub(sg, sb));
      const u = f32x4.sub(r, f32x4.mul(half, f32x4.add(g, b))), v = f32x4.mul(across, f32x4.sub(g, b));
      const along = f32x4.add(f32x4.mul(u, su), f32x4.mul(v, sv));
      const beside = f32x4.abs(f32x4.sub(f32x4.mul(v, su), f32x4.mul(u, sv)));
      const power = f32x4.max(f32x4.add(f32x4.mul(su, su), f32x4.mul(sv, sv)), f32x4.splat(1e-9));
      const other = f32x4.lt(
        f32x4.sub(along, f32x4.mul(f32x4.splat(0.577), beside)),
        f32x4.mul(f32x4.splat(0.1), power),
      );
      const depth = v128.load(fromScreen + p);
      const shallow = v128.and(v128.and(other, f32x4.gt(depth, f32x4.splat(1.5))), f32x4.splat(0.3));
      put(weightF + p, v128.bitselect(one, shallow, f32x4.ge(depth, f32x4.splat(deep))), left);
      put(onScreen + p, v128.and(verdicts(sure + <usize>i), one), left);
      put(difference + p, f32x4.sub(r, sr), left);
      put(difference + plane + p, f32x4.sub(g, sg), left);
      put(difference + 2 * plane + p, f32x4.sub(b, sb), left);
    }
  }
}
