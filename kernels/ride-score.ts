// A coarse template tried at every place of a frame. Twin: scoreAt in src/plate/ride/ride-score.ts.

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
