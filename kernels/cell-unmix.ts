// The linear discriminant between performer and screen in each coarse cell. Twin: unmixingModelPlain in
// src/join/peel/local-unmix.ts.

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
