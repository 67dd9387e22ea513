// Weighted sums of colour and of its products in coarse cells. Twin: cellMomentsPlain in src/join/peel/local-unmix.ts.

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
