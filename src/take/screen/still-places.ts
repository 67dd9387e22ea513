/**
 * Places that stand still behind a performer, and where they are in another frame: corners and lines (Shi & Tomasi,
 * *Good Features to Track*, CVPR 1994) found again by translational inverse compositional alignment (Baker & Matthews,
 * IJCV 2004) with the light's gain and bias taken out. Lengths in pixels, luma display-coded 0..1.
 */
const HALF = 7;
const SIDE = 2 * HALF + 1;
const N = SIDE * SIDE;
const COLUMNS = 16;
const ROWS = 9;
const MARGIN = HALF + 3;
/** Most places that a picture has. */
export const MOST_PLACES = COLUMNS * ROWS;
/** Fewer corners tell no motion of a camera. */
export const LEAST_CORNERS = 6;
/** Furthest that a corner is sought from where the last frame's motion puts it, px of the measured picture. */
const REACH = 14;
const LEAST_CORRELATION = 0.75;
/** Weaker corners are what a codec makes of a plain screen: smaller slope squared, summed over the patch's samples. */
const LEAST_STRENGTH = 0.02;

/** [a, −b, tx; b, a, ty] */
export type Similarity = readonly [a: number, b: number, tx: number, ty: number];
/** No motion. */
export const STILL: Similarity = [1, 0, 0, 0];

/** Where a similarity takes a point. */
export const applySimilarity = (s: Similarity, x: number, y: number): [number, number] => [
  s[0] * x - s[1] * y + s[2],
  s[1] * x + s[0] * y + s[3],
];

/** Places to follow, their patches, and their structure tensors as a share of the larger eigenvalue. */
export interface Corners {
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly txx: Float64Array;
  readonly txy: Float64Array;
  readonly tyy: Float64Array;
  readonly value: Float32Array;
  readonly gx: Float32Array;
  readonly gy: Float32Array;
}

export interface Box {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

const covers = (b: Box | null, x: number, y: number): boolean =>
  b !== null && x > b.x0 && x < b.x1 && y > b.y0 && y < b.y1;

/**
 * Noise of a picture (Immerkær, *Fast Noise Variance Estimation*, CVIU 1996), by the median so that edges do not count.
 */
function noiseOf(d: Float32Array, w: number, h: number): number {
  const v: number[] = [];
  for (let y = 1; y < h - 1; y += 4)
    for (let x = 1; x < w - 1; x += 4) {
      const o = y * w + x;
      v.push(
        Math.abs(
          d[o - w - 1]! -
            2 * d[o - w]! +
            d[o - w + 1]! -
            2 * d[o - 1]! +
            4 * d[o]! -
            2 * d[o + 1]! +
            d[o + w - 1]! -
            2 * d[o + w]! +
            d[o + w + 1]!,
        ),
      );
    }
  v.sort((a, b) => a - b);
  return (1.4826 * (v[v.length >> 1] ?? 0)) / 6;
}

/** The strongest corner in each cell of a grid, outside the box, well above what noise makes. */
export function cornersOf(d: Float32Array, w: number, h: number, box: Box | null): Corners {
  const sigma = noiseOf(d, w, h);
  const least = Math.max(LEAST_STRENGTH, 500 * sigma * sigma);
  const xs: number[] = [];
  const ys: number[] = [];
  for (let r = 0; r < ROWS; r++)
    for (let c = 0; c < COLUMNS; c++) {
      let best = least;
      let bx = -1;
      let by = -1;
      const x0 = Math.max(MARGIN, Math.floor((c * w) / COLUMNS));
      const x1 = Math.min(w - MARGIN, Math.floor(((c + 1) * w) / COLUMNS));
      const y0 = Math.max(MARGIN, Math.floor((r * h) / ROWS));
      const y1 = Math.min(h - MARGIN, Math.floor(((r + 1) * h) / ROWS));
      for (let y = y0; y < y1; y += 2)
        for (let x = x0; x < x1; x += 2) {
          if (covers(box, x, y)) continue;
          let xx = 0;
          let xy = 0;
          let yy = 0;
          for (let v = -HALF; v <= HALF; v += 2)
            for (let u = -HALF; u <= HALF; u += 2) {
              const o = (y + v) * w + x + u;
              const gx = d[o + 1]! - d[o - 1]!;
              const gy = d[o + w]! - d[o - w]!;
              xx += gx * gx;
              xy += gx * gy;
              yy += gy * gy;
            }
          // A corner tells both directions; a line one of them, and counts for less in the choice.
          const apart = Math.hypot(xx - yy, 2 * xy);
          const low = (xx + yy - apart) / 2;
          const worth = low + 0.1 * apart;
          if (worth > best) {
            best = worth;
            bx = x;
            by = y;
          }
        }
      if (bx >= 0) {
        xs.push(bx);
        ys.push(by);
      }
    }
  const n = xs.length;
  const txx = new Float64Array(n);
  const txy = new Float64Array(n);
  const tyy = new Float64Array(n);
  const value = new Float32Array(n * N);
  const gx = new Float32Array(n * N);
  const gy = new Float32Array(n * N);
  for (let i = 0; i < n; i++) {
    let mean = 0;
    for (let k = 0; k < N; k++) {
      const o = (ys[i]! + Math.floor(k / SIDE) - HALF) * w + xs[i]! + (k % SIDE) - HALF;
      value[i * N + k] = d[o]!;
      mean += d[o]! / N;
      gx[i * N + k] = 0.5 * (d[o + 1]! - d[o - 1]!);
      gy[i * N + k] = 0.5 * (d[o + w]! - d[o - w]!);
    }
    let xx = 0;
    let xy = 0;
    let yy = 0;
    for (let k = i * N; k < (i + 1) * N; k++) {
      value[k] = value[k]! - mean;
      xx += gx[k]! ** 2;
      xy += gx[k]! * gy[k]!;
      yy += gy[k]! ** 2;
    }
    const large = (xx + yy + Math.hypot(xx - yy, 2 * xy)) / 2;
    txx[i] = xx / large;
    txy[i] = xy / large;
    tyy[i] = yy / large;
  }
  return { x: Float64Array.from(xs), y: Float64Array.from(ys), txx, txy, tyy, value, gx, gy };
}

export interface Found {
  /** Which of the places, and where it is now, px. */
  readonly i: number;
  readonly x: number;
  readonly y: number;
}

export interface Sweep {
  readonly found: readonly Found[];
  /** How many places lay in sight. */
  readonly visible: number;
}

/** Corners found in a frame. Where too few are found near the prediction they are sought further off. */
export function follow(c: Corners, d: Float32Array, w: number, h: number, last: Similarity, box: Box | null): Sweep {
  const near = sweep(c, d, w, h, last, box, false);
  return near.found.length >= Math.max(LEAST_CORNERS, 0.5 * near.visible) ? near : sweep(c, d, w, h, last, box, true);
}

function sweep(
  c: Corners,
  d: Float32Array,
  w: number,
  h: number,
  last: Similarity,
  box: Box | null,
  wide: boolean,
): Sweep {
  const out: Found[] = [];
  let visible = 0;
  for (let i = 0; i < c.x.length; i++) {
    let [x, y] = applySimilarity(last, c.x[i]!, c.y[i]!);
    if (covers(box, x, y)) continue;
    visible++;
    if (wide) {
      let best = -1;
      let ux = 0;
      let uy = 0;
      for (let v = -REACH; v <= REACH; v += 2)
        for (let u = -REACH; u <= REACH; u += 2) {
          const q = correlation(c.value, i, d, w, h, x + u, y + v);
          if (q > best) {
            best = q;
            ux = u;
            uy = v;
          }
        }
      x += ux;
      y += uy;
    }
    const p = refine(c, i, d, w, h, x, y);
    if (p !== null) out.push(p);
  }
  return { found: out, visible };
}

/** Working memory of `read`: filled and used within one call. */
const sample = new Float32Array(N);

/** Reads the patch about (x, y) bilinearly into `sample`, its mean taken out; false where it leaves the picture. */
function read(d: Float32Array, w: number, h: number, x: number, y: number): boolean {
  const xi = Math.floor(x);
  const yi = Math.floor(y);
  const fx = x - xi;
  const fy = y - yi;
  if (xi < HALF || yi < HALF || xi + HALF + 1 >= w || yi + HALF + 1 >= h) return false;
  let mean = 0;
  for (let v = 0, k = 0; v < SIDE; v++) {
    let o = (yi + v - HALF) * w + xi - HALF;
    for (let u = 0; u < SIDE; u++, k++, o++) {
      const q = (d[o]! * (1 - fx) + d[o + 1]! * fx) * (1 - fy) + (d[o + w]! * (1 - fx) + d[o + w + 1]! * fx) * fy;
      sample[k] = q;
      mean += q;
    }
  }
  mean /= N;
  for (let k = 0; k < N; k++) sample[k] = sample[k]! - mean;
  return true;
}

function correlation(
  value: Float32Array,
  i: number,
  d: Float32Array,
  w: number,
  h: number,
  x: number,
  y: number,
): number {
  if (!read(d, w, h, x, y)) return -1;
  let ss = 0;
  let tt = 0;
  let st = 0;
  for (let k = 0; k < N; k++) {
    const s = sample[k]!;
    const t = value[i * N + k]!;
    ss += s * s;
    tt += t * t;
    st += s * t;
  }
  return st / Math.sqrt(ss * tt + 1e-12);
}

function refine(c: Corners, i: number, d: Float32Array, w: number, h: number, x: number, y: number): Found | null {
  const at = i * N;
  const x0 = x;
  const y0 = y;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  let tt = 0;
  for (let k = at; k < at + N; k++) {
    xx += c.gx[k]! ** 2;
    xy += c.gx[k]! * c.gy[k]!;
    yy += c.gy[k]! ** 2;
    tt += c.value[k]! ** 2;
  }
  // Along a line nothing pulls: a little damping keeps the place from sliding.
  const damp = 0.01 * (xx + yy);
  xx += damp;
  yy += damp;
  const det = xx * yy - xy * xy;
  for (let it = 0; it < 12; it++) {
    if (!read(d, w, h, x, y)) return null;
    let st = 0;
    for (let k = 0; k < N; k++) st += sample[k]! * c.value[at + k]!;
    const gain = st / tt;
    if (!(gain > 0.2)) return null;
    let ex = 0;
    let ey = 0;
    for (let k = 0; k < N; k++) {
      const e = sample[k]! / gain - c.value[at + k]!;
      ex += e * c.gx[at + k]!;
      ey += e * c.gy[at + k]!;
    }
    const dx = (yy * ex - xy * ey) / det;
    const dy = (xx * ey - xy * ex) / det;
    x -= dx;
    y -= dy;
    if (Math.hypot(x - x0, y - y0) > 6) return null;
    if (Math.hypot(dx, dy) < 0.003) break;
  }
  return correlation(c.value, i, d, w, h, x, y) < LEAST_CORRELATION ? null : { i, x, y };
}
