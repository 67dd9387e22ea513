// The matte and the performer's colour at full resolution. Twins in src/join/peel/: matteOfFrame's and
// performerColour's plain forms (frame-matte.ts, performer-colour.ts).
import { acrossRow, seekCells } from './cell-resample';
import { put } from './peel-light';

/** The cells that the columns x0 to x1 lie between (`first` as of columnTaps), of a row y of three fields. */
function seekUnder(
  fields: usize, gw: i32, gh: i32, cell: f32, y: i32, row: usize, first: usize, x0: i32, x1: i32,
): void {
  seekCells(
    fields, gw, gh, cell, 0.5, y, 3, row,
    load<i32>(first + (<usize>x0 << 2)),
    load<i32>(first + (<usize>(x1 - 1) << 2)) + 2,
  );
}

/** State of a pixel: 0 decided, 1 in the band, 3 in the band and surely screen. */

/**
 * Unmixing in the band about the outline. Items: rows of blocks. Depths and sure are of the small picture, sw × sh;
 * verdicts of the columns beyond w are not written. Scratch: 3 (gw + 8) + 3 (sw + 8) floats.
 */
export function peelMatte(
  data: usize, w: i32, h: i32, block: i32, sw: i32, sh: i32, fromScreen: usize, fromPerformer: usize, sure: usize,
  solidFrom: f32, emptyFrom: f32, weights: usize, gw: i32, gh: i32, cell: f32, firstW: usize, shareW: usize,
  colour: usize, firstB: usize, shareB: usize, gapBelow: f32, gapNear: f32, alpha: usize, state: usize, from: i32,
  to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const gs = <usize>(gw + 8) << 2, bs = <usize>(sw + 8) << 2;
  const back = scratch + 3 * gs;
  const zero = f32x4.splat(0), one = f32x4.splat(1);
  for (let j = from; j < to; j++) {
    const small = j * sw;
    // Blocks from the first to the last that hold some of the band.
    let begin = sw, end = 0;
    for (let s = 0; s < sw; s++) {
      const o = <usize>(small + s) << 2;
      if (load<f32>(fromPerformer + o) >= emptyFrom || load<f32>(fromScreen + o) >= solidFrom) continue;
      begin = min(begin, s);
      end = s + 1;
    }
    const y1 = min((j + 1) * block, h);
    for (let y = j * block; y < y1; y++) {
      const line = y * w;
      if (begin < end) {
        seekUnder(weights, gw, gh, cell, y, scratch, firstW, begin * block, min(end * block, w));
        seekUnder(colour, sw, sh, <f32>block, y, back, firstB, begin * block, min(end * block, w));
      }
      for (let s = 0; s < sw; s++) {
        const o = <usize>(small + s) << 2;
        const x0 = s * block, x1 = min(x0 + block, w);
        const at = line + x0;
        const outside = load<f32>(fromPerformer + o) >= emptyFrom;
        if (outside || load<f32>(fromScreen + o) >= solidFrom) {
          const v: f32 = outside ? 0 : 1;
          if (x1 - x0 == 4) {
            v128.store(alpha + (<usize>at << 2), f32x4.splat(v));
            store<u32>(state + <usize>at, 0);
            continue;
          }
          for (let x = 0; x < x1 - x0; x++) store<f32>(alpha + (<usize>(at + x) << 2), v);
          memory.fill(state + <usize>at, 0, <usize>(x1 - x0));
          continue;
        }
        const on = load<u8>(sure + <usize>(small + s)) != 0;
        for (let x = x0; x < x1; x += 4) {
          const i = line + x;
          const p = <usize>i << 2, q = <usize>x << 2;
          const tb = v128.load(shareB + q), tw = v128.load(shareW + q), fb = firstB + q, fw = firstW + q;
          const sr = acrossRow(back, fb, tb), sg = acrossRow(back + bs, fb, tb), sb = acrossRow(back + 2 * bs, fb, tb);
          const dr = f32x4.sub(v128.load(data + p), sr), dg = f32x4.sub(v128.load(data + plane + p), sg);
          const db = f32x4.sub(v128.load(data + 2 * plane + p), sb);
          const a = f32x4.add(
            f32x4.add(f32x4.mul(acrossRow(scratch, fw, tw), dr), f32x4.mul(acrossRow(scratch + gs, fw, tw), dg)),
            f32x4.mul(acrossRow(scratch + 2 * gs, fw, tw), db),
          );
          const left = x1 - x;
          put(alpha + p, f32x4.min(one, f32x4.max(zero, a)), left);
          // Sure screen blocks, and single pixels of clear screen colour: the gaps between hairs and links.
          const off = f32x4.add(f32x4.add(f32x4.mul(dr, dr), f32x4.mul(dg, dg)), f32x4.mul(db, db));
          const power = f32x4.mul(
            f32x4.splat(gapNear),
            f32x4.add(f32x4.add(f32x4.mul(sr, sr), f32x4.mul(sg, sg)), f32x4.mul(sb, sb)),
          );
          const bits = on ? 15 : i32x4.bitmask(v128.and(f32x4.lt(a, f32x4.splat(gapBelow)), f32x4.lt(off, power)));
          for (let k = 0; k < min(left, 4); k++) store<u8>(state + <usize>(i + k), <u8>(1 + 2 * ((bits >> k) & 1)));
        }
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function ramp(a: f32, b: f32, x: f32): f32 {
  const t = min(<f32>1, max(<f32>0, (x - a) / (b - a)));
  return t * t * (3 - 2 * t);
}

/**
 * Lifts hollows to what the flood left in `level` (255: shut in on all sides). Items: rows of
 * blocks. Writes the highest alpha of each block.
 */
export function peelLift(
  alpha: usize, state: usize, level: usize, w: i32, h: i32, block: i32, sw: i32, fromScreen: usize, highest: usize,
  from: i32, to: i32, scratch: usize,
): void {
  for (let j = from; j < to; j++) {
    const y1 = min((j + 1) * block, h);
    for (let s = 0; s < sw; s++) {
      const x0 = s * block, x1 = min(x0 + block, w);
      const corner = j * block * w + x0;
      // A block is in the band or out of it as a whole; out of it, it has one value.
      if (load<u8>(state + <usize>corner) == 0) {
        store<f32>(highest + (<usize>(j * sw + s) << 2), load<f32>(alpha + (<usize>corner << 2)));
        continue;
      }
      const deep = ramp(1.5, 4, load<f32>(fromScreen + (<usize>(j * sw + s) << 2)));
      let top: f32 = 0;
      for (let y = j * block; y < y1; y++) {
        for (let i = y * w + x0; i < y * w + x1; i++) {
          const p = alpha + (<usize>i << 2);
          let a = load<f32>(p);
          const l = <i32>load<u8>(level + <usize>i);
          if (l > <i32>(a * 255)) {
            const rise = <f32>l / 255 - a;
            if (rise > 0) {
              a += rise * max(deep, ramp(0.5, 0.8, a));
              store<f32>(p, a);
            }
          }
          if (a > top) top = a;
        }
      }
      store<f32>(highest + (<usize>(j * sw + s) << 2), top);
    }
  }
}

/** `share` and so much more as `alike` goes from the one value to the other. */
@inline
function rampTo(share: v128, alike: v128, low: f32, high: f32, more: f32): v128 {
  const t = f32x4.mul(f32x4.sub(alike, f32x4.splat(low)), f32x4.splat(1 / (high - low)));
  return f32x4.add(share, f32x4.mul(f32x4.splat(more), f32x4.max(f32x4.splat(0), f32x4.min(f32x4.splat(1), t))));
}

/**
 * The performer's colour, freed of the screen's light, from column begin[row of blocks] to end[...] (pixels), rows from
 * y0 on. Columns left to right that lie outside are cleared. `blue` says which primary is the screen's. keep: 0 or a
 * plane of 0..1 where nothing is freed. `bounce`: 0 or two fields of the mean's grid, by which a blue cloth's light is
 * divided out and blue is limited (cloth-bounce.ts). `own`: the coat's own green at four palenesses (coat-green.ts).
 * Items: rows of the picture from y0 on.
 * Scratch: 5 (gw + 8) + 3 (sw + 8) floats.
 */
export function peelColour(
  data: usize, w: i32, h: i32, y0: i32, block: i32, sw: i32, sh: i32, begin: usize, end: usize, mean: usize, gw: i32,
  gh: i32, cell: f32, firstM: usize, shareM: usize, screen: usize, firstB: usize, shareB: usize, alpha: usize,
  keep: usize, spill: f32, lambda: f32, blue: i32, bounce: usize, bounceRed: f32, bounceGreen: f32, own: usize,
  left: i32, right: i32, dst: usize, from: i32, to: i32, scratch: usize,
): void {
  const plane = <usize>w * <usize>h << 2;
  const gs = <usize>(gw + 8) << 2, bs = <usize>(sw + 8) << 2;
  const back = scratch + 5 * gs;
  const thrown = scratch + 3 * gs;
  const zero = f32x4.splat(0), one = f32x4.splat(1), half = f32x4.splat(0.5), vl = f32x4.splat(lambda);
  const own0 = load<f32>(own), own1 = load<f32>(own + 4), own2 = load<f32>(own + 8), own3 = load<f32>(own + 12);
  for (let item = from; item < to; item++) {
    const y = y0 + item, j = y / block;
    const x0 = load<i32>(begin + (<usize>j << 2)), x1 = load<i32>(end + (<usize>j << 2));
    const row = dst + (<usize>(y * w) << 2);
    for (let c: usize = 0; c < 3; c++) {
      if (x1 <= x0) memory.fill(row + c * plane + (<usize>left << 2), 0, <usize>(right - left) << 2);
      else {
        memory.fill(row + c * plane + (<usize>left << 2), 0, <usize>(x0 - left) << 2);
        memory.fill(row + c * plane + (<usize>x1 << 2), 0, <usize>(right - x1) << 2);
      }
    }
    if (x1 <= x0) continue;
    seekUnder(screen, sw, sh, <f32>block, y, back, firstB, x0, x1);
    seekUnder(mean, gw, gh, cell, y, scratch, firstM, x0, x1);
    if (bounce != 0) {
      const last = load<i32>(firstM + (<usize>(x1 - 1) << 2)) + 2;
      seekCells(bounce, gw, gh, cell, 0.5, y, 2, thrown, load<i32>(firstM + (<usize>x0 << 2)), last);
    }
    for (let x = x0; x < x1; x += 4) {
      const i = y * w + x;
      const p = <usize>i << 2, q = <usize>x << 2;
      const a = v128.load(alpha + p);
      const none = f32x4.le(a, zero), solid = f32x4.ge(a, one);
      const allSolid = i32x4.all_true(solid);
      const tb = v128.load(shareB + q), fb = firstB + q;
      const sr = acrossRow(back, fb, tb), sg = acrossRow(back + bs, fb, tb), sb = acrossRow(back + 2 * bs, fb, tb);
      let r = v128.load(data + p), g = v128.load(data + plane + p), b = v128.load(data + 2 * plane + p);
      if (!allSolid) {
        const tm = v128.load(shareM + q), fm = firstM + q;
        const mr = acrossRow(scratch, fm, tm), mg = acrossRow(scratch + gs, fm, tm);
        const mb = acrossRow(scratch + 2 * gs, fm, tm);
        const c = f32x4.sub(one, a);
        const pull = f32x4.mul(vl, c);
        const inverse = f32x4.div(one, f32x4.add(f32x4.mul(a, a), pull));
        r = v128.bitselect(
          r,
          f32x4.mul(f32x4.add(f32x4.mul(a, f32x4.sub(r, f32x4.mul(c, sr))), f32x4.mul(pull, mr)), inverse),
          solid,
        );
        g = v128.bitselect(
          g,
          f32x4.mul(f32x4.add(f32x4.mul(a, f32x4.sub(g, f32x4.mul(c, sg))), f32x4.mul(pull, mg)), inverse),
          solid,
        );
        b = v128.bitselect(
          b,
          f32x4.mul(f32x4.add(f32x4.mul(a, f32x4.sub(b, f32x4.mul(c, sb))), f32x4.mul(pull, mb)), inverse),
          solid,
        );
        // Nothing of the performer: its mean goes on, so that a filter over the edge meets no foreign colour.
        r = v128.bitselect(mr, r, none);
        g = v128.bitselect(mg, g, none);
        b = v128.bitselect(mb, b, none);
      }
      r = f32x4.max(zero, r);
      g = f32x4.max(zero, g);
      b = f32x4.max(zero, b);
      let strength = f32x4.splat(spill);
      if (keep != 0) strength = f32x4.mul(strength, f32x4.sub(one, v128.load(keep + p)));
      if (bounce != 0) {
        const share = f32x4.mul(strength, acrossRow(thrown, firstM + q, v128.load(shareM + q)));
        const grey = f32x4.add(one, f32x4.mul(f32x4.splat((bounceRed + bounceGreen + 1) / 3), share));
        r = f32x4.div(f32x4.mul(r, grey), f32x4.add(one, f32x4.mul(share, f32x4.splat(bounceRed))));
        g = f32x4.div(f32x4.mul(g, grey), f32x4.add(one, f32x4.mul(share, f32x4.splat(bounceGreen))));
        b = f32x4.div(f32x4.mul(b, grey), f32x4.add(one, share));
      }
      // The screen's light: its primary above what lies between the two others in square-root light (usualKey).
      const key = blue != 0 ? b : g, other = blue != 0 ? g : b;
      const rr = f32x4.sqrt(r), ro = f32x4.sqrt(other);
      let m = f32x4.mul(half, f32x4.add(rr, ro));
      if (blue == 0) {
        // The coat's own share at its paleness (greenAt): 0.45, 0.6, 0.73, 0.84, white from 0.9 on.
        const alike = f32x4.div(ro, f32x4.max(rr, f32x4.splat(1e-6)));
        let share = f32x4.splat(own0);
        share = rampTo(share, alike, 0.45, 0.6, own1 - own0);
        share = rampTo(share, alike, 0.6, 0.73, own2 - own1);
        share = rampTo(share, alike, 0.73, 0.84, own3 - own2);
        share = rampTo(share, alike, 0.84, 0.9, <f32>0.14 - own3);
        m = f32x4.add(m, f32x4.mul(share, f32x4.max(zero, f32x4.sub(rr, ro))));
      }
      let most = f32x4.mul(m, m);
      if (bounce != 0) {
        const line = acrossRow(thrown + gs, firstM + q, v128.load(shareM + q));
        most = f32x4.min(most, f32x4.mul(line, f32x4.sqrt(f32x4.mul(r, g))));
      }
      const excess = f32x4.max(zero, f32x4.sub(key, most));
      // Where nothing of the performer is, only the key gives way.
      const kr = v128.andnot(sr, none), ko = v128.andnot(blue != 0 ? sg : sb, none);
      const kk = v128.bitselect(one, blue != 0 ? sb : sg, none);
      const least = f32x4.max(f32x4.mul(f32x4.splat(0.25), kk), f32x4.splat(1e-4));
      const amount = f32x4.div(
        f32x4.mul(strength, excess),
        f32x4.max(f32x4.sub(kk, f32x4.mul(f32x4.splat(0.25), f32x4.add(kr, ko))), least),
      );
      const away = f32x4.mul(half, amount);
      r = f32x4.max(zero, f32x4.sub(r, f32x4.mul(away, kr)));
      const o = f32x4.max(zero, f32x4.sub(other, f32x4.mul(away, ko)));
      const k = f32x4.max(zero, f32x4.sub(key, f32x4.mul(amount, kk)));
      const rest = x1 - x;
      put(dst + p, r, rest);
      put(dst + plane + p, blue != 0 ? o : k, rest);
      put(dst + 2 * plane + p, blue != 0 ? k : o, rest);
    }
  }
}
