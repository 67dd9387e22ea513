// A take's Y'CbCr planes (4:2:0) to scene-linear RGB at half the size, each pixel the mean of the light of the four
// it stands for, and its block means on the way. Chroma is led by luma as in peelLinear; within a quad it is a line
// on luma, so each coded primary is too, and the mean of the four's light is that of two values one standard
// deviation of luma to either side: they have the four's mean and variance, and the curve is smooth (two-point
// quadrature). Twin: quadLightPlain in src/join/peel/coded-rgb.ts.
import { byTable } from './curve-table';
import { meanBlocks, put } from './peel-light';
import { linesBetween, openLines, strideOf } from './peel-lines';
import { four, one } from './ycbcr';

/** Four samples of a row from x on; the last is repeated beyond the row. */
// @ts-ignore: decorator
@inline
function samples(p: usize, line: i32, x: i32, w: i32, deep: i32): v128 {
  if (x + 4 <= w) return four(p, line + x, deep);
  let v = f32x4.splat(one(p, line + min(x, w - 1), deep));
  v = f32x4.replace_lane(v, 1, one(p, line + min(x + 1, w - 1), deep));
  v = f32x4.replace_lane(v, 2, one(p, line + min(x + 2, w - 1), deep));
  return f32x4.replace_lane(v, 3, one(p, line + w - 1, deep));
}

/**
 * Coded sd of luma in a quad below which its four are taken for their mean: the curve's
 * bend then is worth 8e-5 of light at most.
 */
const FLAT: f32 = 1.0 / 128.0;

/** Mean light of two coded values about c. */
// @ts-ignore: decorator
@inline
function light(c: v128, off: v128, flat: bool, table: usize, lo: v128, steps: v128, top: v128): v128 {
  if (table == 0) return c;
  if (flat) return byTable(c, table, lo, steps, top);
  return f32x4.mul(
    f32x4.splat(0.5),
    f32x4.add(byTable(f32x4.add(c, off), table, lo, steps, top), byTable(f32x4.sub(c, off), table, lo, steps, top)),
  );
}

/**
 * out: three planes of cw × ch. Items: rows of blocks of `block` pixels of out. k as in ycbcrToRgb; `floor` as in
 * linesAt; table 0 leaves the values coded. Scratch: 7 (cw + 16) + 4 floats and a work space of lines.
 */
export function peelQuads(
  yp: usize, up: usize, vp: usize, floor: f32, out: usize, w: i32, h: i32, deep: i32, k: usize, table: usize, lo: f32,
  steps: f32, count: i32, block: i32, small: usize, sw: i32, sh: i32, from: i32, to: i32, scratch: usize,
): void {
  const cw = (w + 1) >> 1, ch = (h + 1) >> 1;
  const plane = <usize>cw * <usize>ch << 2;
  const ys = f32x4.splat(load<f32>(k)), yo = f32x4.splat(load<f32>(k, 4));
  const rv = f32x4.splat(load<f32>(k, 16)), gu = f32x4.splat(load<f32>(k, 20));
  const gv = f32x4.splat(load<f32>(k, 24)), bu = f32x4.splat(load<f32>(k, 28));
  const cs = strideOf(cw);
  const room = scratch + 16, sums = room + 4 * cs, chroma = sums + 3 * cs;
  openLines(chroma, yp, up, vp, w, h, 1, 1, deep, k, floor);
  // Where the middle of a quad lies between two chroma samples.
  const shiftX = (<f32>0.5 - load<f32>(k, 32)) * 0.5, shiftY = (<f32>0.5 - load<f32>(k, 36)) * 0.5;
  const first = Mathf.floor(shiftX), share = f32x4.splat(shiftX - first), step = <usize>(<i32>first << 2);
  const vlo = f32x4.splat(lo), vst = f32x4.splat(steps), top = f32x4.splat(<f32>count);
  const quarter = f32x4.splat(0.25), unit = f32x4.splat(1);
  for (let j = from; j < to; j++) {
    const y0 = j * block, y1 = min(y0 + block, ch);
    for (let y = y0; y < y1; y++) {
      const at = min(max(<f32>y + shiftY, <f32>0), <f32>(ch - 1));
      const rows = linesBetween(chroma, at, cw, ch, room);
      const upper = 2 * y * w, lower = min(2 * y + 1, h - 1) * w;
      const row = out + (<usize>(y * cw) << 2);
      for (let x = 0; x < cw; x += 4) {
        const p = <usize>x << 2;
        let mean: v128, power: v128;
        if (deep == 0 && 2 * x + 8 <= w) {
          // Bytes: sums of four and of their squares in whole numbers.
          const pa = v128.load64_zero(yp + <usize>(upper + 2 * x)), pb = v128.load64_zero(yp + <usize>(lower + 2 * x));
          const sum = i32x4.extend_low_i16x8_u(
            i16x8.add(i16x8.extadd_pairwise_i8x16_u(pa), i16x8.extadd_pairwise_i8x16_u(pb))
          );
          const wa = i16x8.extend_low_i8x16_u(pa), wb = i16x8.extend_low_i8x16_u(pb);
          const squares = i32x4.add(i32x4.dot_i16x8_s(wa, wa), i32x4.dot_i16x8_s(wb, wb));
          mean = f32x4.mul(quarter, f32x4.convert_i32x4_u(sum));
          power = f32x4.mul(quarter, f32x4.convert_i32x4_u(i32x4.sub(i32x4.shl(squares, 2), i32x4.mul(sum, sum))));
        } else {
          const a0 = samples(yp, upper, 2 * x, w, deep), a1 = samples(yp, upper, 2 * x + 4, w, deep);
          const b0 = samples(yp, lower, 2 * x, w, deep), b1 = samples(yp, lower, 2 * x + 4, w, deep);
          const p0 = v128.shuffle<f32>(a0, a1, 0, 2, 4, 6), p1 = v128.shuffle<f32>(a0, a1, 1, 3, 5, 7);
          const p2 = v128.shuffle<f32>(b0, b1, 0, 2, 4, 6), p3 = v128.shuffle<f32>(b0, b1, 1, 3, 5, 7);
          mean = f32x4.mul(quarter, f32x4.add(f32x4.add(p0, p1), f32x4.add(p2, p3)));
          const d0 = f32x4.sub(p0, mean), d1 = f32x4.sub(p1, mean), d2 = f32x4.sub(p2, mean), d3 = f32x4.sub(p3, mean);
          power = f32x4.add(
            f32x4.add(f32x4.mul(d0, d0), f32x4.mul(d1, d1)),
            f32x4.add(f32x4.mul(d2, d2), f32x4.mul(d3, d3)),
          );
        }
        const sd = f32x4.mul(ys, f32x4.sqrt(f32x4.mul(quarter, power)));
        const l = f32x4.add(f32x4.mul(mean, ys), yo);
        const q = rows + p + step;
        const sb = between(q, share), sr = between(q + cs, share);
        const u = f32x4.add(between(q + 2 * cs, share), f32x4.mul(sb, l));
        const v = f32x4.add(between(q + 3 * cs, share), f32x4.mul(sr, l));
        const left = cw - x;
        const flat = !v128.any_true(f32x4.gt(sd, f32x4.splat(FLAT)));
        const r = light(
          f32x4.add(l, f32x4.mul(rv, v)),
          f32x4.mul(sd, f32x4.add(unit, f32x4.mul(rv, sr))),
          flat, table, vlo, vst, top,
        );
        const g = light(
          f32x4.add(l, f32x4.add(f32x4.mul(gu, u), f32x4.mul(gv, v))),
          f32x4.mul(sd, f32x4.add(unit, f32x4.add(f32x4.mul(gu, sb), f32x4.mul(gv, sr)))),
          flat, table, vlo, vst, top,
        );
        const c = light(
          f32x4.add(l, f32x4.mul(bu, u)),
          f32x4.mul(sd, f32x4.add(unit, f32x4.mul(bu, sb))),
          flat, table, vlo, vst, top,
        );
        put(row + p, r, left);
        put(row + plane + p, g, left);
        put(row + 2 * plane + p, c, left);
        // The sums of the block's columns, begun anew by its first row.
        const s = sums + p;
        v128.store(s, y == y0 ? r : f32x4.add(v128.load(s), r));
        v128.store(s + cs, y == y0 ? g : f32x4.add(v128.load(s + cs), g));
        v128.store(s + 2 * cs, y == y0 ? c : f32x4.add(v128.load(s + 2 * cs), c));
      }
    }
    for (let c = 0; c < 3; c++)
      meanBlocks(sums + <usize>c * cs, cw, block, y1 - y0, sw, small + (<usize>((c * sh + j) * sw) << 2));
  }
}

/** Values between each sample and the next. */
// @ts-ignore: decorator
@inline
function between(p: usize, share: v128): v128 {
  const a = v128.load(p);
  return f32x4.add(a, f32x4.mul(f32x4.sub(v128.load(p, 4), a), share));
}
