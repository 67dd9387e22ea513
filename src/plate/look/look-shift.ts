/**
 * Shift of the whole picture between two frames, sub-pixel: Gauss-Newton on a pyramid (Lucas &
 * Kanade, IJCAI 1981) with Tukey weights, so that what moves otherwise weighs little. Luma planes,
 * 0..1; result in pixels, the way the picture moves.
 */
function half(src: Float32Array, w: number, h: number): { d: Float32Array; w: number; h: number } {
  const ow = w >> 1;
  const oh = h >> 1;
  const d = new Float32Array(ow * oh);
  for (let y = 0; y < oh; y++)
    for (let x = 0; x < ow; x++) {
      const i = 2 * y * w + 2 * x;
      d[y * ow + x] = (src[i]! + src[i + 1]! + src[i + w]! + src[i + w + 1]!) / 4;
    }
  return { d, w: ow, h: oh };
}

export function pictureShift(
  a: Float32Array,
  b: Float32Array,
  w: number,
  h: number,
): { dx: number; dy: number; agree: number } {
  const pa = [{ d: a, w, h }];
  const pb = [{ d: b, w, h }];
  while (pa[pa.length - 1]!.w > 48 && pa[pa.length - 1]!.h > 32) {
    const p = pa[pa.length - 1]!;
    const q = pb[pb.length - 1]!;
    pa.push(half(p.d, p.w, p.h));
    pb.push(half(q.d, q.w, q.h));
  }
  let dx = 0;
  let dy = 0;
  let agree = 0;
  // Pictures beyond about a megapixel stop at half size: the slope there is as well known.
  const finest = w * h > 1_200_000 ? 1 : 0;
  for (let l = pa.length - 1; l >= finest; l--) {
    const p = pa[l]!;
    const q = pb[l]!;
    if (l < pa.length - 1) {
      dx *= 2;
      dy *= 2;
    } else {
      // Coarsest: whole-cell search, for pans too fast for the slope alone.
      let best = Infinity;
      for (let v = -6; v <= 6; v++)
        for (let u = -10; u <= 10; u++) {
          let s = 0;
          let n = 0;
          for (let y = Math.max(0, -v); y < Math.min(p.h, p.h - v); y += 1)
            for (let x = Math.max(0, -u); x < Math.min(p.w, p.w - u); x += 1) {
              s += Math.abs(p.d[y * p.w + x]! - q.d[(y + v) * q.w + x + u]!);
              n++;
            }
          const e = s / n + 0.0004 * (Math.abs(u) + Math.abs(v));
          if (e < best) {
            best = e;
            dx = u;
            dy = v;
          }
        }
    }
    for (let round = 0; round < 8; round++) {
      let sxx = 0;
      let syy = 0;
      let sxy = 0;
      let sxe = 0;
      let sye = 0;
      let ok = 0;
      let all = 0;
      const scale = 0.06;
      const ix = Math.floor(dx);
      const iy = Math.floor(dy);
      const fx = dx - ix;
      const fy = dy - iy;
      for (let y = Math.max(1, 1 - iy); y < Math.min(p.h - 1, p.h - 2 - iy); y++) {
        for (let x = Math.max(1, 1 - ix); x < Math.min(p.w - 1, p.w - 2 - ix); x++) {
          const i = y * p.w + x;
          const j = (y + iy) * q.w + x + ix;
          const v =
            (q.d[j]! * (1 - fx) + q.d[j + 1]! * fx) * (1 - fy) +
            (q.d[j + q.w]! * (1 - fx) + q.d[j + q.w + 1]! * fx) * fy;
          const e = p.d[i]! - v;
          const gx = (p.d[i + 1]! - p.d[i - 1]!) / 2;
          const gy = (p.d[i + p.w]! - p.d[i - p.w]!) / 2;
          const r = e / scale;
          all++;
          if (r > 1 || r < -1) continue;
          ok++;
          const wgt = (1 - r * r) ** 2;
          sxx += wgt * gx * gx;
          syy += wgt * gy * gy;
          sxy += wgt * gx * gy;
          sxe += wgt * gx * e;
          sye += wgt * gy * e;
        }
      }
      const det = sxx * syy - sxy * sxy;
      agree = all > 0 ? ok / all : 0;
      if (det < 1e-9) break;
      const ux = (sxe * syy - sye * sxy) / det;
      const uy = (sye * sxx - sxe * sxy) / det;
      dx += Math.max(-1.5, Math.min(1.5, ux));
      dy += Math.max(-1.5, Math.min(1.5, uy));
      if (Math.hypot(ux, uy) < 0.005) break;
    }
  }
  return { dx: dx * 2 ** finest, dy: dy * 2 ** finest, agree };
}
