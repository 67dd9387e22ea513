// Screen with grey mixed in (src/join/peel/greyed-screen.ts). Twins there: dropGreyedPlain.

/** Bins of a share of grey, from SHARE_FROM on, SHARE_BINS a whole. */
const BINS: i32 = 2048;
const SHARE_FROM: f32 = -0.25;
const SHARE_BINS: f32 = 2048;

// @ts-ignore: decorator
@inline
function binOf(share: f32): i32 {
  return min(BINS - 1, max(0, <i32>((share - SHARE_FROM) * SHARE_BINS)));
}

/** Half stops below `brightest`: the first of `steps` whose lower bound the value reaches. */
// @ts-ignore: decorator
@inline
function stepOf(value: f32, bounds: usize, steps: i32): i32 {
  for (let k = 0; k < steps - 1; k++) if (value > load<f32>(bounds + (<usize>k << 2))) return k;
  return steps - 1;
}

/** The bin in which the one of `rank` counted from below lies, outwards from `about` (-1: upwards from the first). */
function binAt(counts: usize, rank: i32, about: i32): i32 {
  let sum = 0;
  for (let d = 0; d < BINS; d++) {
    if (about < 0) sum += load<i32>(counts + (<usize>d << 2));
    else {
      if (about - d >= 0) sum += load<i32>(counts + (<usize>(about - d) << 2));
      if (d > 0 && about + d < BINS) sum += load<i32>(counts + (<usize>(about + d) << 2));
    }
    if (sum > rank) return d;
  }
  return BINS - 1;
}

/**
 * limits: most grey of the screen by brightness (bounds: the steps' lower bounds), as two floats a step whose sum it
 * is: first of all steps the median, then the ways, `medians` of the scatter about it, at least `least`. 1 and 0 where
 * fewer than `enough` of it are seen. Pixels above `dark` are looked at every litStep, others every darkStep. `main`,
 * a, b: planes of the screen's main channel and of the two that it holds back, ra, rb what lit screen has of these. One
 * item. Scratch: steps × 2048 integers.
 */
export function greyLimits(
  data: usize, n: i32, main: i32, a: i32, b: i32, ra: f32, rb: f32, sure: usize, bounds: usize, steps: i32, dark: f32,
  darkStep: i32, litStep: i32, enough: i32, medians: f32, least: f32, limits: usize, from: i32, to: i32,
  scratch: usize,
): void {
  memory.fill(scratch, 0, <usize>(steps * BINS) << 2);
  const pm = data + (<usize>(main * n) << 2), pa = data + (<usize>(a * n) << 2), pb = data + (<usize>(b * n) << 2);
  for (let i = 0; i < n; i += darkStep) {
    if (load<u8>(sure + <usize>i) == 0) continue;
    const m = max(load<f32>(pm + (<usize>i << 2)), <f32>1e-5);
    if (m > dark && i % litStep != 0) continue;
    const ga = (load<f32>(pa + (<usize>i << 2)) / m - ra) / (1 - ra);
    const gb = (load<f32>(pb + (<usize>i << 2)) / m - rb) / (1 - rb);
    const p = scratch + (<usize>(stepOf(m, bounds, steps) * BINS + binOf(min(ga, gb))) << 2);
    store<i32>(p, load<i32>(p) + 1);
  }
  for (let k = 0; k < steps; k++) {
    const counts = scratch + (<usize>(k * BINS) << 2);
    let count = 0;
    for (let j = 0; j < BINS; j++) count += load<i32>(counts + (<usize>j << 2));
    let middleShare: f32 = 1, way: f32 = 0;
    if (count >= enough) {
      const middle = binAt(counts, count >> 1, -1);
      const scatter = <f32>binAt(counts, count >> 1, middle) / SHARE_BINS;
      middleShare = max(<f32>0, (<f32>middle + 0.5) / SHARE_BINS + SHARE_FROM);
      way = max(least, medians * scatter);
    }
    store<f32>(limits + (<usize>k << 2), middleShare);
    store<f32>(limits + (<usize>(steps + k) << 2), way);
  }
}

/**
 * grey (bytes) of sure pixels less bright than `brightest`: 33 where they have more than their limit (middle and way,
 * together), 1 where they have more than the middle and half of the way, else 0. Items: rows.
 */
export function greyCandidates(
  data: usize, w: i32, h: i32, main: i32, a: i32, b: i32, ra: f32, rb: f32, sure: usize, bounds: usize, steps: i32,
  brightest: f32, limits: usize, grey: usize, from: i32, to: i32, scratch: usize,
): void {
  const n = w * h, end = to * w;
  const pm = data + (<usize>(main * n) << 2), pa = data + (<usize>(a * n) << 2), pb = data + (<usize>(b * n) << 2);
  const ways = limits + (<usize>steps << 2);
  let least: f32 = 1;
  for (let k = 0; k < steps; k++)
    least = min(least, load<f32>(limits + (<usize>k << 2)) + load<f32>(ways + (<usize>k << 2)) / 2);
  // Nearly all of the screen has less than the least limit in one of the two; only the rest is looked at closely.
  const fa = f32x4.splat(ra + least * (1 - ra)), fb = f32x4.splat(rb + least * (1 - rb));
  const most = f32x4.splat(brightest);
  for (let i = from * w; i < end; i += 4) {
    const left = end - i, p = <usize>i << 2;
    const vm = v128.load(pm + p);
    const over = v128.and(
      v128.and(f32x4.gt(v128.load(pa + p), f32x4.mul(fa, vm)), f32x4.gt(v128.load(pb + p), f32x4.mul(fb, vm))),
      f32x4.lt(vm, most),
    );
    const bits = i32x4.bitmask(over);
    if (left >= 4) store<u32>(grey + <usize>i, 0);
    else memory.fill(grey + <usize>i, 0, <usize>left);
    if (bits == 0) continue;
    for (let k = 0; k < min(left, 4); k++) {
      if (((bits >> k) & 1) == 0 || load<u8>(sure + <usize>(i + k)) == 0) continue;
      const q = <usize>(i + k) << 2, m = load<f32>(pm + q), r = load<f32>(pa + q), o = load<f32>(pb + q);
      const step = <usize>stepOf(m, bounds, steps) << 2, way = load<f32>(ways + step);
      const half = load<f32>(limits + step) + way / 2, whole = half + way / 2;
      if (r <= (ra + half * (1 - ra)) * m || o <= (rb + half * (1 - rb)) * m) continue;
      const is = r > (ra + whole * (1 - ra)) * m && o > (rb + whole * (1 - rb)) * m;
      store<u8>(grey + <usize>(i + k), is ? 33 : 1);
    }
  }
}

// @ts-ignore: decorator
@inline
function fiveOf(lanes: v128, shift: i32): i32 {
  const a = i8x16.extract_lane_u(lanes, 0), b = i8x16.extract_lane_u(lanes, 1), c = i8x16.extract_lane_u(lanes, 2);
  const d = i8x16.extract_lane_u(lanes, 3), e = i8x16.extract_lane_u(lanes, 4);
  return shift != 0
    ? (a >> 5) + (b >> 5) + (c >> 5) + (d >> 5) + (e >> 5)
    : (a & 31) + (b & 31) + (c & 31) + (d & 31) + (e & 31);
}

/**
 * verdict (bytes) of grey pixels: 2, no screen, where those over their limit are more than half of the square of five
 * by five about and of what is sure in it; 1, tinged, where less than all is sure in the square of nine by nine and
 * more than a third of the smaller one's sure pixels are grey; else 0. Items: rows.
 */
export function greySquares(
  grey: usize, sure: usize, w: i32, h: i32, verdict: usize, from: i32, to: i32, scratch: usize,
): void {
  for (let y = from; y < to; y++) {
    const row = y * w;
    memory.fill(verdict + <usize>row, 0, <usize>w);
    if (y < 4 || y >= h - 4) continue;
    for (let x = 4; x < w - 4; x++) {
      const at = row + x;
      if (x + 16 <= w && !v128.any_true(v128.load(grey + <usize>at))) {
        x += 15;
        continue;
      }
      const own = load<u8>(grey + <usize>at);
      if (own == 0) continue;
      let counts = i8x16.splat(0), known = i8x16.splat(0), around = i8x16.splat(1);
      for (let v = -4; v <= 4; v++) {
        const line = <usize>(at + v * w);
        around = v128.and(around, v128.load(sure + line - 4));
        if (v < -2 || v > 2) continue;
        counts = i8x16.add(counts, v128.load(grey + line - 2));
        known = i8x16.add(known, v128.load(sure + line - 2));
      }
      const over = fiveOf(counts, 1), all = fiveOf(known, 0);
      if (own == 33 && over > 12 && 2 * over > all) store<u8>(verdict + <usize>at, 2);
      else if ((i8x16.bitmask(i8x16.eq(around, i8x16.splat(1))) & 511) != 511 && 3 * fiveOf(counts, 0) > all)
        store<u8>(verdict + <usize>at, 1);
    }
  }
}

/** Takes out of sure (bytes) and weight what has a verdict; tinged (bytes): 1 where it is 1. Items: rows. */
export function greyTake(
  verdict: usize, w: i32, sure: usize, weight: usize, tinged: usize, from: i32, to: i32, scratch: usize,
): void {
  const end = to * w;
  for (let i = from * w; i < end; i++) {
    if (i + 16 <= end && !v128.any_true(v128.load(verdict + <usize>i))) {
      v128.store(tinged + <usize>i, i8x16.splat(0));
      i += 15;
      continue;
    }
    const v = load<u8>(verdict + <usize>i);
    store<u8>(tinged + <usize>i, v == 1 ? 1 : 0);
    if (v == 0) continue;
    store<u8>(sure + <usize>i, 0);
    store<f32>(weight + (<usize>i << 2), 0);
  }
}

/** out (bytes): a or b. Items: rows. */
export function eitherMask(a: usize, b: usize, out: usize, w: i32, from: i32, to: i32, scratch: usize): void {
  let i = from * w;
  const end = to * w;
  for (; i + 16 <= end; i += 16)
    v128.store(out + <usize>i, v128.or(v128.load(a + <usize>i), v128.load(b + <usize>i)));
  for (; i < end; i++) store<u8>(out + <usize>i, load<u8>(a + <usize>i) | load<u8>(b + <usize>i));
}
