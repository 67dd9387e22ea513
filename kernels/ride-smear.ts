// A picture as an open shutter shows it (see src/plate/ride/ride-smear.ts, whose plain twin this is): tiles of
// 8 by 8 pixels, in each of which the way is taken for one; every pixel becomes the mean of `taps`
// bilinear samples along it. One item: a row of tiles.

/**
 * ways: two floats a tile, px along and down. dst: tiles packed as a picture of columns · 8 across.
 * Positions outside the picture are clamped to it.
 */
export function rideSmear(
  src: usize, w: i32, h: i32, ways: usize, columns: i32, x0: i32, y0: i32, taps: i32, dst: usize, from: i32, to: i32,
  scratch: usize,
): void {
  const stride = <usize>w << 2, across = <usize>columns << 5;
  const share = f32x4.splat(<f32>1 / <f32>taps);
  for (let row = from; row < to; row++) for (let c = 0; c < columns; c++) {
    const way = ways + (<usize>(row * columns + c) << 3), dx = load<f32>(way), dy = load<f32>(way, 4);
    const x = x0 + (c << 3), y = y0 + (row << 3), out = dst + (<usize>row << 3) * across + (<usize>c << 5);
    const rx = <i32>Mathf.ceil(Mathf.abs(dx) * <f32>0.5) + 1, ry = <i32>Mathf.ceil(Mathf.abs(dy) * <f32>0.5) + 1;
    for (let k: usize = 0; k < 8; k++) {
      v128.store(out + k * across, f32x4.splat(0));
      v128.store(out + k * across, f32x4.splat(0), 16);
    }
    const whole = x - rx >= 0 && y - ry >= 0 && x + 8 + rx < w && y + 8 + ry < h;
    for (let t = 0; t < taps; t++) {
      const q = (<f32>t + <f32>0.5) / <f32>taps - <f32>0.5;
      const sx = q * dx, sy = q * dy, ix = Mathf.floor(sx), iy = Mathf.floor(sy), fx = sx - ix, fy = sy - iy;
      const gx = <f32>1 - fx, gy = <f32>1 - fy, w00 = gx * gy, w01 = fx * gy, w10 = gx * fy, w11 = fx * fy;
      if (whole) {
        const a = f32x4.splat(w00), b = f32x4.splat(w01), d = f32x4.splat(w10), e = f32x4.splat(w11);
        let p = src + (<usize>((y + <i32>iy) * w + x + <i32>ix) << 2);
        for (let k: usize = 0; k < 8; k++) {
          const o = out + k * across, n = p + stride;
          v128.store(
            o,
            f32x4.add(
              v128.load(o),
              f32x4.add(
                f32x4.add(f32x4.mul(a, v128.load(p)), f32x4.mul(b, v128.load(p, 4))),
                f32x4.add(f32x4.mul(d, v128.load(n)), f32x4.mul(e, v128.load(n, 4))),
              ),
            ),
          );
          v128.store(
            o,
            f32x4.add(
              v128.load(o, 16),
              f32x4.add(
                f32x4.add(f32x4.mul(a, v128.load(p, 16)), f32x4.mul(b, v128.load(p, 20))),
                f32x4.add(f32x4.mul(d, v128.load(n, 16)), f32x4.mul(e, v128.load(n, 20))),
              ),
            ),
            16,
          );
          p = n;
        }
      } else {
        for (let j = 0; j < 8; j++) for (let i = 0; i < 8; i++) {
          const xa = max(0, min(w - 1, x + i + <i32>ix)), xb = max(0, min(w - 1, x + i + <i32>ix + 1));
          const ya = <usize>max(0, min(h - 1, y + j + <i32>iy)) * stride;
          const yb = <usize>max(0, min(h - 1, y + j + <i32>iy + 1)) * stride;
          const o = out + <usize>j * across + (<usize>i << 2);
          store<f32>(
            o,
            load<f32>(o) + w00 * load<f32>(src + ya + (<usize>xa << 2)) + w01 * load<f32>(src + ya + (<usize>xb << 2))
              + w10 * load<f32>(src + yb + (<usize>xa << 2)) + w11 * load<f32>(src + yb + (<usize>xb << 2)),
          );
        }
      }
    }
    for (let k: usize = 0; k < 8; k++) {
      const o = out + k * across;
      v128.store(o, f32x4.mul(share, v128.load(o)));
      v128.store(o, f32x4.mul(share, v128.load(o, 16)), 16);
    }
  }
}
