// Parts of the small picture that are, or are not, screen after all: edges of cast shadows, strays, specks (see
// src/join/peel/shadow-edge.ts, screen-strays.ts, screen-specks.ts), and the box of what a matte holds (matte-box.ts).
// In doubles where a decision hangs on it, as the plain twins are: mendShadowEdgesPlain, dropStraysPlain,
// takeInSpecksPlain, boxOfPlain.

// @ts-ignore: decorator
@inline
function f(p: usize, i: i32): f64 {
  return <f64>load<f32>(p + (<usize>i << 2));
}

/** settled (bytes): 1 where a sure pixel is within `share` of its screen colour. Items are rows. */
export function settledScreen(
  data: usize, colour: usize, sure: usize, w: i32, h: i32, share: f64, settled: usize, from: i32, to: i32,
  scratch: usize,
): void {
  const n = w * h, most = share * share;
  for (let i = from * w; i < to * w; i++) {
    let is: u8 = 0;
    if (load<u8>(sure + <usize>i) != 0) {
      const r = f(colour, i), g = f(colour, n + i), b = f(colour, 2 * n + i);
      const dr = f(data, i) - r, dg = f(data, n + i) - g, db = f(data, 2 * n + i) - b;
      if (dr * dr + dg * dg + db * db <= most * (r * r + g * g + b * b)) is = 1;
    }
    store<u8>(settled + <usize>i, is);
  }
}

function onLine(
  data: usize, n: i32, i: i32, stride: i32, k: i32, limit: f64, shallow: f64, spread: f64, body: usize,
): bool {
  const j = i + k * stride;
  const ar = f(data, i), ag = f(data, n + i), ab = f(data, 2 * n + i);
  const dr = f(data, j) - ar, dg = f(data, n + j) - ag, db = f(data, 2 * n + j) - ab;
  const one = Math.sqrt(ar * ar + ag * ag + ab * ab), br = ar + dr, bg = ag + dg;
  const bb = ab + db, other = Math.sqrt(br * br + bg * bg + bb * bb);
  const lit = Math.max(one, other);
  if (Math.min(one, other) > shallow * lit) return false;
  const power = dr * dr + dg * dg + db * db;
  for (let m = 1; m < k; m++) {
    const q = i + m * stride;
    if (body != 0 && load<u8>(body + <usize>q) == 1) return false;
    const r = f(data, q) - ar, g = f(data, n + q) - ag, b = f(data, 2 * n + q) - ab;
    const t = Math.min(1, Math.max(0, (r * dr + g * dg + b * db) / power));
    const x = r - t * dr, y = g - t * dg, z = b - t * db, lr = ar + t * dr, lg = ag + t * dg, lb = ab + t * db;
    if (Math.sqrt(x * x + y * y + z * z) > limit * Math.max(Math.sqrt(lr * lr + lg * lg + lb * lb), spread * lit))
      return false;
  }
  return true;
}

/**
 * edge (bytes, cleared before): 1 along runs of at most `reach` pixels between two settled ones that are a shadow's
 * edge, in four directions. body: a mask or 0. Items are rows.
 */
export function edgeRuns(
  data: usize, settled: usize, w: i32, h: i32, reach: i32, limit: f64, shallow: f64, spread: f64, body: usize,
  edge: usize, from: i32, to: i32, scratch: usize,
): void {
  const n = w * h;
  for (let s = 0; s < 4; s++) {
    const dx = s == 1 ? 0 : 1, dy = s == 0 ? 0 : s == 3 ? -1 : 1, stride = dy * w + dx;
    for (let y = from; y < to; y++) {
      if (y + dy < 0 || y + dy >= h) continue;
      const last = w - dx;
      for (let x = 0; x < last; x++) {
        const i = y * w + x;
        // A run begins beyond a settled pixel, with one that is not: where there is none in sixteen all are passed by.
        if (x + 16 <= last) {
          if (!v128.any_true(v128.andnot(v128.load(settled + <usize>i), v128.load(settled + <usize>(i + stride))))) {
            x += 15;
            continue;
          }
        }
        if (load<u8>(settled + <usize>i) == 0 || load<u8>(settled + <usize>(i + stride)) != 0) continue;
        let k = 2;
        while (k <= reach + 1) {
          const u = x + k * dx, v = y + k * dy;
          if (u >= w || v < 0 || v >= h) { k = reach + 2; break; }
          if (load<u8>(settled + <usize>(i + k * stride)) == 1) break;
          k++;
        }
        if (k > reach + 1 || !onLine(data, n, i, stride, k, limit, shallow, spread, body)) continue;
        for (let m = 1; m < k; m++) store<u8>(edge + <usize>(i + m * stride), 1);
      }
    }
  }
}

/** Along the edge the colour is what is seen, and sure. found: how many pixels. One item. */
export function takeEdges(
  data: usize, edge: usize, colour: usize, sure: usize, n: i32, found: usize, from: i32, to: i32, scratch: usize,
): void {
  let count = 0;
  for (let i = 0; i < n; i++) {
    if (load<u8>(edge + <usize>i) == 0) continue;
    for (let p = 0; p < 3; p++)
      store<f32>(colour + (<usize>(p * n + i) << 2), load<f32>(data + (<usize>(p * n + i) << 2)));
    store<u8>(sure + <usize>i, 1);
    count++;
  }
  store<i32>(found, count);
}

/**
 * part (bytes): 1 where mask is `value` and its part, by labelParts, has at least (small: less than) `least` pixels.
 * Items are rows.
 */
export function largeParts(
  mask: usize, value: i32, labels: usize, area: usize, least: f64, part: usize, w: i32, from: i32, to: i32,
  scratch: usize,
): void {
  for (let i = from * w; i < to * w; i++) {
    const is = <i32>load<u8>(mask + <usize>i) == value
      && <f64>load<i32>(area + (<usize>load<i32>(labels + (<usize>i << 2)) << 2)) >= least;
    store<u8>(part + <usize>i, is ? 1 : 0);
  }
}

/** 1 − mask. Items are rows. */
export function otherThan(mask: usize, out: usize, w: i32, from: i32, to: i32, scratch: usize): void {
  let i = from * w;
  for (; i + 16 <= to * w; i += 16) v128.store(out + <usize>i, i8x16.sub(i8x16.splat(1), v128.load(mask + <usize>i)));
  for (; i < to * w; i++) store<u8>(out + <usize>i, 1 - load<u8>(mask + <usize>i));
}

/** A mask as floats. Items are rows. */
export function maskFloats(mask: usize, out: usize, w: i32, from: i32, to: i32, scratch: usize): void {
  for (let i = from * w; i < to * w; i++) store<f32>(out + (<usize>i << 2), <f32>load<u8>(mask + <usize>i));
}

/**
 * Minor parts of sure that do not look like the screen around them are dropped: mean strength s of a part out of
 * .5..1.5, or its mean angle over limit · s. sums: two doubles a label. One item.
 */
export function dropMinor(
  data: usize, around: usize, sure: usize, major: usize, labels: usize, area: usize, sums: usize, count: i32, n: i32,
  limit: f64, weight: usize, from: i32, to: i32, scratch: usize,
): void {
  memory.fill(sums, 0, <usize>count << 4);
  for (let i = 0; i < n; i++) {
    if (load<u8>(sure + <usize>i) == load<u8>(major + <usize>i)) continue;
    const r = f(around, i), g = f(around, n + i), b = f(around, 2 * n + i);
    const power = r * r + g * g + b * b, dr = f(data, i), dg = f(data, n + i), db = f(data, 2 * n + i);
    const s = (dr * r + dg * g + db * b) / power;
    const x = dr - s * r, y = dg - s * g, z = db - s * b;
    const p = sums + (<usize>load<i32>(labels + (<usize>i << 2)) << 4);
    store<f64>(p, load<f64>(p) + s);
    store<f64>(p, load<f64>(p, 8) + Math.sqrt((x * x + y * y + z * z) / power), 8);
  }
  for (let i = 0; i < n; i++) {
    if (load<u8>(sure + <usize>i) == load<u8>(major + <usize>i)) continue;
    const l = <usize>load<i32>(labels + (<usize>i << 2));
    const a = <f64>load<i32>(area + (l << 2)), p = sums + (l << 4), s = load<f64>(p) / a;
    if (s < 0.5 || s > 1.5 || load<f64>(p, 8) / a > limit * s) {
      store<u8>(sure + <usize>i, 0);
      store<f32>(weight + (<usize>i << 2), 0);
    }
  }
}

/**
 * Parts of at most `most` pixels (eight-connected, most ≤ 8), all of less excess than
 * `limit`, become sure. One item; scratch 64 bytes.
 */
export function takeSpecks(
  sure: usize, excess: usize, w: i32, h: i32, most: i32, limit: f64, from: i32, to: i32, scratch: usize,
): void {
  const n = w * h;
  for (let i = 0; i < n; i++) {
    if (i + 16 <= n && v128.all_true<i8>(v128.load(sure + <usize>i))) { i += 15; continue; }
    if (load<u8>(sure + <usize>i) == 1 || <f64>load<f32>(excess + (<usize>i << 2)) >= limit) continue;
    store<i32>(scratch, i);
    let count = 1;
    let small = true;
    for (let k = 0; k < count && small; k++) {
      const at = load<i32>(scratch + (<usize>k << 2)), x = at % w, y = at / w;
      for (let v = max(0, y - 1); v <= y + 1 && v < h && small; v++) {
        for (let u = max(0, x - 1); u <= x + 1 && u < w; u++) {
          const j = v * w + u;
          if (load<u8>(sure + <usize>j) == 1) continue;
          let known = false;
          for (let m = 0; m < count; m++) if (load<i32>(scratch + (<usize>m << 2)) == j) known = true;
          if (known) continue;
          if (count == most || <f64>load<f32>(excess + (<usize>j << 2)) >= limit) { small = false; break; }
          store<i32>(scratch + (<usize>count << 2), j);
          count++;
        }
      }
    }
    if (small) for (let k = 0; k < count; k++) store<u8>(sure + <usize>load<i32>(scratch + (<usize>k << 2)), 1);
  }
}

/**
 * Smallest box (four i32 at `box`: x0, y0, x1, y1; y0 −1 for none) of the values above `least` of
 * a plane w wide, sought within another. One item.
 */
export function matteBox(
  alpha: usize, w: i32, left: i32, top: i32, right: i32, bottom: i32, least: f32, box: usize, from: i32, to: i32,
  scratch: usize,
): void {
  const v = f32x4.splat(least);
  let x0 = right, y0 = -1, x1 = left, y1 = 0;
  for (let y = top; y < bottom; y++) {
    const row = alpha + (<usize>(y * w) << 2);
    let first = left, last = right - 1;
    while (first + 3 <= last && !v128.any_true(f32x4.gt(v128.load(row + (<usize>first << 2)), v))) first += 4;
    while (first <= last && !(load<f32>(row + (<usize>first << 2)) > least)) first++;
    if (first > last) continue;
    while (last - 3 >= first && !v128.any_true(f32x4.gt(v128.load(row + (<usize>(last - 3) << 2)), v))) last -= 4;
    while (!(load<f32>(row + (<usize>last << 2)) > least)) last--;
    x0 = min(x0, first);
    x1 = max(x1, last + 1);
    if (y0 < 0) y0 = y;
    y1 = y + 1;
  }
  store<i32>(box, x0);
  store<i32>(box, y0, 4);
  store<i32>(box, x1, 8);
  store<i32>(box, y1, 12);
}
