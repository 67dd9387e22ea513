// What the lit screen's chromaticity and its shadow's tint say of small pixels. Twins: holdToOnePlain
// (src/join/peel/lit-hue.ts), takeTintPlain (src/join/peel/shadow-tint.ts), takePocketsPlain (shadow-pockets.ts).

// @ts-ignore: decorator
@inline
function dot(r: v128, g: v128, b: v128, x: f32, y: f32, z: f32): v128 {
  return f32x4.add(
    f32x4.add(f32x4.mul(r, f32x4.splat(x)), f32x4.mul(g, f32x4.splat(y))),
    f32x4.mul(b, f32x4.splat(z)),
  );
}

// @ts-ignore: decorator
@inline
function ramp(v: v128, from: f32, over: f32): v128 {
  const t = f32x4.mul(f32x4.sub(v, f32x4.splat(from)), f32x4.splat(1 / over));
  return f32x4.min(f32x4.splat(1), f32x4.max(f32x4.splat(0), t));
}

/**
 * What a screen's own channel may be that the camera clipped: where it is above `clipped`, as much as the other two
 * tell by the lit colour a (of the first other), b (of the second) and top, up to `freed` times what is seen.
 */
// @ts-ignore: decorator
@inline
function freedOf(lead: v128, p: v128, q: v128, a: f32, b: f32, top: f32, clipped: f32, freed: f32): v128 {
  const told = f32x4.mul(
    f32x4.add(f32x4.mul(p, f32x4.splat(a)), f32x4.mul(q, f32x4.splat(b))),
    f32x4.splat(top / max<f32>(1e-12, a * a + b * b)),
  );
  const most = f32x4.mul(lead, f32x4.splat(freed));
  const free = f32x4.max(lead, f32x4.min(told, most));
  return v128.bitselect(free, lead, f32x4.gt(lead, f32x4.splat(clipped)));
}

/**
 * Takes out of sure (bytes) and weight what lies farther from the lit colour x y z than its brightness s may: `limit`
 * about s = 1, `dark` below darkUntil, `bright` above brightFrom, between them in proportion. The screen's own channel,
 * green or blue, counts as freedOf has it where `freed` is more than 1. Items: rows.
 */
export function holdLit(
  data: usize, w: i32, h: i32, x: f32, y: f32, z: f32, limit: f32, dark: f32, bright: f32, darkUntil: f32,
  litFrom: f32, litUntil: f32, brightFrom: f32, clipped: f32, freed: f32, sure: usize, weight: usize, from: i32,
  to: i32, scratch: usize,
): void {
  const n = w * h, plane = <usize>n << 2, power = x * x + y * y + z * z, inverse = f32x4.splat(1 / power);
  const end = to * w;
  for (let i = from * w; i < end; i += 4) {
    const left = end - i;
    if (left >= 4 && load<u32>(sure + <usize>i) == 0) continue;
    const p = <usize>i << 2;
    const r = v128.load(data + p);
    let g = v128.load(data + plane + p), b = v128.load(data + 2 * plane + p);
    if (freed > 1) {
      if (y > z) g = freedOf(g, r, b, x, z, y, clipped, freed);
      else b = freedOf(b, r, g, x, y, z, clipped, freed);
    }
    const s = f32x4.mul(dot(r, g, b, x, y, z), inverse);
    const xr = f32x4.sub(r, f32x4.mul(s, f32x4.splat(x))), xg = f32x4.sub(g, f32x4.mul(s, f32x4.splat(y)));
    const xb = f32x4.sub(b, f32x4.mul(s, f32x4.splat(z)));
    const off = f32x4.add(f32x4.add(f32x4.mul(xr, xr), f32x4.mul(xg, xg)), f32x4.mul(xb, xb));
    const share = f32x4.sub(f32x4.splat(1), ramp(s, darkUntil, litFrom - darkUntil));
    const above = ramp(s, litUntil, brightFrom - litUntil);
    const most = f32x4.mul(
      f32x4.add(
        f32x4.add(f32x4.splat(limit), f32x4.mul(share, f32x4.splat(dark - limit))),
        f32x4.mul(above, f32x4.splat(bright - limit)),
      ),
      f32x4.max(s, f32x4.splat(1e-3)),
    );
    const over = i32x4.bitmask(f32x4.gt(off, f32x4.mul(f32x4.mul(most, most), f32x4.splat(power))));
    for (let k = 0; k < min(left, 4); k++) {
      if (((over >> k) & 1) == 0) continue;
      store<u8>(sure + <usize>(i + k), 0);
      store<f32>(weight + p + (<usize>k << 2), 0);
    }
  }
}

/**
 * Takes into sure (bytes) and weight what has the unit colour tx ty tz within `limit` and is along the lit colour
 * x y z no darker than `least` and no brighter than `most`. Items: rows.
 */
export function takeTint(
  data: usize, w: i32, h: i32, x: f32, y: f32, z: f32, tx: f32, ty: f32, tz: f32, least: f32, most: f32, limit: f32,
  sure: usize, weight: usize, from: i32, to: i32, scratch: usize,
): void {
  const n = w * h, plane = <usize>n << 2, end = to * w;
  for (let i = from * w; i < end; i += 4) {
    const left = end - i;
    if (left >= 4 && load<u32>(sure + <usize>i) == 0x01010101) continue;
    const p = <usize>i << 2;
    const r = v128.load(data + p), g = v128.load(data + plane + p), b = v128.load(data + 2 * plane + p);
    const s = dot(r, g, b, x, y, z), along = dot(r, g, b, tx, ty, tz);
    const size = f32x4.add(f32x4.add(f32x4.mul(r, r), f32x4.mul(g, g)), f32x4.mul(b, b));
    const near = f32x4.le(size, f32x4.mul(f32x4.mul(along, along), f32x4.splat(1 + limit * limit)));
    const is = v128.and(
      near,
      v128.and(f32x4.ge(s, f32x4.splat(least)), f32x4.le(s, f32x4.splat(most))),
    );
    const bits = i32x4.bitmask(is);
    if (bits == 0) continue;
    for (let k = 0; k < min(left, 4); k++) {
      if (((bits >> k) & 1) == 0) continue;
      store<u8>(sure + <usize>(i + k), 1);
      store<f32>(weight + p + (<usize>k << 2), 1);
    }
  }
}

/**
 * candidate (bytes): 1 where a pixel that is not sure has the tint within `limit` times `usual` over its strength, at
 * least once and at most `widest`; strengths as for takeTint. Items: rows.
 */
export function deepTint(
  data: usize, w: i32, h: i32, x: f32, y: f32, z: f32, tx: f32, ty: f32, tz: f32, least: f32, most: f32, limit: f32,
  usual: f32, widest: f32, sure: usize, candidate: usize, from: i32, to: i32, scratch: usize,
): void {
  const n = w * h, plane = <usize>n << 2, end = to * w;
  for (let i = from * w; i < end; i += 4) {
    const left = end - i;
    if (left >= 4 && load<u32>(sure + <usize>i) == 0x01010101) {
      store<u32>(candidate + <usize>i, 0);
      continue;
    }
    const p = <usize>i << 2;
    const r = v128.load(data + p), g = v128.load(data + plane + p), b = v128.load(data + 2 * plane + p);
    const s = dot(r, g, b, x, y, z), along = dot(r, g, b, tx, ty, tz);
    const size = f32x4.add(f32x4.add(f32x4.mul(r, r), f32x4.mul(g, g)), f32x4.mul(b, b));
    const own = f32x4.mul(
      f32x4.splat(limit),
      f32x4.max(f32x4.splat(1), f32x4.div(f32x4.splat(usual), f32x4.max(s, f32x4.splat(least)))),
    );
    const may = f32x4.min(f32x4.splat(widest), own), square = f32x4.mul(along, along);
    const near = f32x4.le(f32x4.sub(size, square), f32x4.mul(f32x4.mul(may, may), square));
    const is = v128.and(near, v128.and(f32x4.ge(s, f32x4.splat(least)), f32x4.le(s, f32x4.splat(most))));
    const bits = i32x4.bitmask(is);
    for (let k = 0; k < min(left, 4); k++) {
      const at = <usize>(i + k);
      store<u8>(candidate + at, load<u8>(sure + at) == 0 ? <u8>((bits >> k) & 1) : 0);
    }
  }
}

/** core (bytes): 1 at candidates with at least `enough` of them in the square of `reach` about. Items: rows. */
export function pocketCores(
  candidate: usize, w: i32, h: i32, reach: i32, enough: i32, core: usize, from: i32, to: i32, scratch: usize,
): void {
  for (let y = from; y < to; y++) {
    memory.fill(core + <usize>(y * w), 0, w);
    if (y < reach || y >= h - reach) continue;
    for (let x = reach; x < w - reach; x++) {
      const at = y * w + x;
      if (load<u8>(candidate + <usize>at) == 0) continue;
      let count = 0;
      for (let v = -reach; v <= reach; v++)
        for (let u = -reach; u <= reach; u++) count += load<u8>(candidate + <usize>(at + v * w + u));
      if (count >= enough) store<u8>(core + <usize>at, 1);
    }
  }
}

/** Takes candidates with a core in the square of `reach` about into sure (bytes) and weight. Items: rows. */
export function takePockets(
  candidate: usize, core: usize, w: i32, h: i32, reach: i32, sure: usize, weight: usize, from: i32, to: i32,
  scratch: usize,
): void {
  for (let y = from; y < to; y++)
    for (let x = 0; x < w; x++) {
      const at = <usize>(y * w + x);
      if (load<u8>(candidate + at) == 0) continue;
      let near = false;
      for (let v = max(0, y - reach); v <= min(h - 1, y + reach) && !near; v++)
        for (let u = max(0, x - reach); u <= min(w - 1, x + reach); u++)
          if (load<u8>(core + <usize>(v * w + u)) != 0) {
            near = true;
            break;
          }
      if (!near) continue;
      store<u8>(sure + at, 1);
      store<f32>(weight + (at << 2), 1);
    }
}
