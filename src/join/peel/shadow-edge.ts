/**
 * The edge of a cast shadow on the screen. A smooth screen colour B lies between lit and shadowed screen there and
 * explains neither, so the edge would pass for performer. Through a penumbra the colour goes straight, in linear light,
 * from the shadowed screen S (its fill alone) to the lit screen L (fill and key): I = S + t (L − S), 0 ≤ t ≤ 1 (the
 * dichromatic line without gloss; Maxwell, Friedhoff & Smith, A bi-illuminant dichromatic reflection model for
 * understanding images, CVPR 2008).
 *
 * Dark hair or a dark leg mixed with lit screen lies near the same line. What tells them apart is what lies beyond: a
 * run of pixels is a shadow's edge only where it is crossed from lit screen to shadowed screen with every pixel of it
 * on the line; through a body some pixel is not. Along such a run the screen's colour is what is seen.
 */
import { kernels, type KernelScope } from '../../image/kernels.js';
import { labelAreas, partsOf } from './label-areas.js';
import type { ScreenField } from './screen-field.js';
import type { SmallLinear } from './small-linear.js';

/** Longest run, small pixels (of 480 across the picture): wider penumbras are followed by the smooth colour itself. */
const REACH = 8;
/** |I − B| over |B| up to which a screen pixel is explained by its smooth colour. */
const SETTLED = 0.2;
/** Brightness of the shadowed screen over the lit from which there is no edge to mend. */
const SHALLOW = 0.7;
/**
 * The distance from the line may be the limit of ρ times the colour's length, or times this share of the lit screen's,
 * whose error a coder spreads over the edge.
 */
const SPREAD_ERROR = 0.25;
/** Limits of ρ granted away from any body: both ends scatter, and chroma is coarser than the edge. */
const LOOSE = 4;
/** Share of the picture from which what is no screen counts as a body. */
const BODY = 0.003;
/**
 * A body fills a square of this half side, small pixels. What is thinner and hangs on it may be the edge of the shadow
 * that begins at its feet.
 */
const THICK = 2;
const STEPS: readonly (readonly [number, number])[] = [
  [1, 0],
  [0, 1],
  [1, 1],
  [1, -1],
];

/**
 * Sets `colour` and `sure` of the field right along the edges of shadows, in place: once everywhere, then more freely
 * where no body stands in the run, between what the first look settled. By kernels (kernels/screen-parts.ts).
 * @returns small pixels that were changed
 */
export function mendShadowEdges(small: SmallLinear, field: ScreenField): number {
  const { width: w, height: h } = small,
    n = w * h;
  const door = kernels(),
    scope = door.scope();
  try {
    const data = scope.input(small.data),
      colour = scope.changed(field.colour),
      sure = scope.changed(field.sure);
    const settled = scope.allocate(n),
      edge = scope.allocate(n),
      found = scope.allocate(16);
    const run = (limit: number, body: number): number => {
      new Uint8Array(door.memory.buffer, edge, n).fill(0);
      door.run('settledScreen', [data, colour, sure, w, h, SETTLED, settled], h, w * 3);
      door.run('edgeRuns', [data, settled, w, h, REACH, limit, SHALLOW, SPREAD_ERROR, body, edge], h, w * 4);
      door.run('takeEdges', [data, edge, colour, sure, n, found], 1, 1);
      return new Int32Array(door.memory.buffer, found, 1)[0]!;
    };
    let changed = run(field.limit, 0);
    if (changed > 0) {
      changed += run(LOOSE * field.limit, bodyOf(sure, w, h, scope));
    }
    scope.finish();
    return changed;
  } finally {
    scope.close();
  }
}

/** The bodies of what is no screen (bytes): its large parts without what is thin on them. By kernels. */
function bodyOf(sure: number, w: number, h: number, scope: KernelScope): number {
  const n = w * h,
    door = kernels(),
    [off, large, core, body] = [scope.allocate(n), scope.allocate(n), scope.allocate(n), scope.allocate(n)];
  door.run('otherThan', [sure, off, w], h, w);
  const { labels, area } = partsOf(off, w, h, scope);
  door.run('largeParts', [off, 1, labels, area, BODY * n, large, w], h, w);
  door.run('pocketCores', [large, w, h, THICK, (2 * THICK + 1) ** 2, core], h, w);
  new Uint8Array(door.memory.buffer, body, n).fill(0);
  door.run('takePockets', [large, core, w, h, THICK, body, scope.allocate(4 * n)], h, w);
  return body;
}

/** Plain twin. */
function bodyOfPlain(sure: Uint8Array, w: number, h: number): Uint8Array {
  const off = sure.map((s) => 1 - s),
    { labels, area } = labelAreas(off, w, h),
    body = new Uint8Array(w * h);
  const large = (i: number): boolean => off[i] === 1 && area[labels[i]!]! >= BODY * w * h;
  const square = (i: number, all: (j: number) => boolean): boolean => {
    for (let v = -THICK; v <= THICK; v += 1)
      for (let u = -THICK; u <= THICK; u += 1) if (!all(i + v * w + u)) return false;
    return true;
  };
  for (let y = THICK; y < h - THICK; y += 1)
    for (let x = THICK; x < w - THICK; x += 1) {
      const i = y * w + x;
      if (!large(i) || !square(i, large)) continue;
      square(i, (j) => {
        body[j] = 1;
        return true;
      });
    }
  return body;
}

/** Plain twin of {@link mendShadowEdges}. */
export function mendShadowEdgesPlain(small: SmallLinear, field: ScreenField): number {
  const changed = mendRuns(small, field, field.limit, null);
  if (changed === 0) return 0;
  const { width: w, height: h } = small;
  return changed + mendRuns(small, field, LOOSE * field.limit, bodyOfPlain(field.sure, w, h));
}

function mendRuns(small: SmallLinear, field: ScreenField, limit: number, body: Uint8Array | null): number {
  const { width: w, height: h, data } = small;
  const { colour, sure } = field;
  const n = w * h;
  const settled = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0) continue;
    const off =
      (data[i]! - colour[i]!) ** 2 +
      (data[n + i]! - colour[n + i]!) ** 2 +
      (data[2 * n + i]! - colour[2 * n + i]!) ** 2;
    if (off <= SETTLED * SETTLED * (colour[i]! ** 2 + colour[n + i]! ** 2 + colour[2 * n + i]! ** 2)) settled[i] = 1;
  }
  const edge = new Uint8Array(n);
  for (const [dx, dy] of STEPS) {
    const stride = dy * w + dx;
    for (let y = 0; y < h; y += 1) {
      for (let x = 0; x < w; x += 1) {
        const i = y * w + x;
        // A run begins beyond a settled pixel.
        if (settled[i] === 0) continue;
        let k = 1;
        while (k <= REACH + 1) {
          const u = x + k * dx;
          const v = y + k * dy;
          if (u >= w || v < 0 || v >= h) {
            k = REACH + 2;
            break;
          }
          if (settled[i + k * stride] === 1) break;
          k += 1;
        }
        if (k < 2 || k > REACH + 1 || !onLine(data, n, i, stride, k, limit, body)) continue;
        for (let m = 1; m < k; m += 1) edge[i + m * stride] = 1;
      }
    }
  }
  let changed = 0;
  for (let i = 0; i < n; i += 1) {
    if (edge[i] === 0) continue;
    for (let p = 0; p < 3; p += 1) colour[p * n + i] = data[p * n + i]!;
    sure[i] = 1;
    changed += 1;
  }
  return changed;
}

/**
 * Whether all between pixel i and the k-th beyond it lies on the line between those two colours, one of which is a
 * shadow of the other.
 */
function onLine(
  data: Float32Array,
  n: number,
  i: number,
  stride: number,
  k: number,
  limit: number,
  body: Uint8Array | null,
): boolean {
  const j = i + k * stride;
  const ar = data[i]!;
  const ag = data[n + i]!;
  const ab = data[2 * n + i]!;
  const dr = data[j]! - ar;
  const dg = data[n + j]! - ag;
  const db = data[2 * n + j]! - ab;
  const one = Math.hypot(ar, ag, ab);
  const other = Math.hypot(ar + dr, ag + dg, ab + db);
  const lit = Math.max(one, other);
  if (Math.min(one, other) > SHALLOW * lit) return false;
  const power = dr * dr + dg * dg + db * db;
  for (let m = 1; m < k; m += 1) {
    const q = i + m * stride;
    if (body !== null && body[q] === 1) return false;
    const r = data[q]! - ar;
    const g = data[n + q]! - ag;
    const b = data[2 * n + q]! - ab;
    const t = Math.min(1, Math.max(0, (r * dr + g * dg + b * db) / power));
    const off = Math.hypot(r - t * dr, g - t * dg, b - t * db);
    if (off > limit * Math.max(Math.hypot(ar + t * dr, ag + t * dg, ab + t * db), SPREAD_ERROR * lit)) return false;
  }
  return true;
}
