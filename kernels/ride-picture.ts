// A ride's pictures made smooth and small. Twins in src/plate/ride/: smoothBinomialPlain (ride-pyramid.ts),
// reduceLumaPlain (ride-camera.ts).

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
