/**
 * Which of a few shifts each pixel of a hole is copied by, so that copies meet one another and the border with the
 * least seam: the montage of K. He, J. Sun, "Statistics of patch offsets for image completion", ECCV 2012, section 4,
 * with the seam's cost of V. Kwatra et al., "Graphcut textures", SIGGRAPH 2003, solved by expansion moves (Y. Boykov,
 * O. Veksler, R. Zabih, "Fast approximate energy minimization via graph cuts", IEEE PAMI 23, 2001). The cost is a
 * metric, so every move is a cut; its edges are brought to the symmetric ones of the grid's cut by moving half of each
 * edge's surplus to its two pixels.
 */
import { gridCut } from '../../image/grid-cut.js';
import type { Offset } from './patch-offsets.js';
import { ROUGH } from './patch-roughness.js';

/** Border pixels as far off (px) have a say in what a hole's pixel is copied by, each with so much. */
const BORDER = 2;
const SAY = 0.5;
/** What a copy costs that would read something unknown (a colour's length is at most 1.7). */
const UNKNOWN = 1e3;
const HALF_KNOWN = 0.3;
const ROUNDS = 2;

/**
 * The index of the shift for each pixel of the hole; −1 elsewhere. Every pixel of the hole must have a shift that leads
 * to a known one. @param rgb height × width × 3 interleaved, coded @param known 1 where it may be copied from @param
 * dear what copying a pixel costs besides seams, as a colour's length @param rough a pair a pixel that is compared
 * beside colour (patch-roughness.ts, whose squares count ROUGH times): else the smoothest piece of a picture meets
 * everything best
 */
export function labelOffsets(
  rgb: Float32Array,
  hole: Uint8Array,
  known: Uint8Array,
  w: number,
  h: number,
  offsets: readonly Offset[],
  dear?: Float32Array,
  rough?: Float32Array,
): Int32Array {
  const box = boxOf(hole, w, h),
    bw = box.x1 - box.x0,
    bh = box.y1 - box.y0,
    n = bw * bh;
  const lead = offsets.map(({ dx, dy }) => dy * w + dx);
  const valid = (i: number, k: number): boolean => {
    const x = (i % w) + offsets[k]!.dx,
      y = Math.floor(i / w) + offsets[k]!.dy;
    return x >= 0 && y >= 0 && x < w && y < h && known[y * w + x] !== 0;
  };
  const apart = (i: number, j: number): number => {
    const r = rgb[3 * i]! - rgb[3 * j]!,
      g = rgb[3 * i + 1]! - rgb[3 * j + 1]!,
      b = rgb[3 * i + 2]! - rgb[3 * j + 2]!;
    if (rough === undefined) return Math.sqrt(r * r + g * g + b * b);
    const u = rough[2 * i]! - rough[2 * j]!,
      v = rough[2 * i + 1]! - rough[2 * j + 1]!;
    return Math.sqrt(r * r + g * g + b * b + ROUGH * (u * u + v * v));
  };
  const places = new Int32Array(n),
    inHole = new Uint8Array(n);
  for (let y = 0; y < bh; y++)
    for (let x = 0; x < bw; x++) {
      const b = y * bw + x;
      places[b] = (y + box.y0) * w + x + box.x0;
      inHole[b] = hole[places[b]!]!;
    }
  const unary = offsets.map((_, k) => {
    const out = new Float32Array(n);
    for (let b = 0; b < n; b++) if (inHole[b] !== 0) out[b] = atBorder(places[b]!, k);
    return out;
  });
  function atBorder(i: number, k: number): number {
    if (!valid(i, k)) return UNKNOWN;
    const x = i % w,
      y = Math.floor(i / w);
    let sum = dear === undefined ? 0 : dear[i + lead[k]!]!;
    for (let v = Math.max(0, y - BORDER); v <= Math.min(h - 1, y + BORDER); v++)
      for (let u = Math.max(0, x - BORDER); u <= Math.min(w - 1, x + BORDER); u++) {
        const q = v * w + u;
        if (hole[q] === 0 && known[q] !== 0) sum += SAY * (valid(q, k) ? apart(q, q + lead[k]!) : HALF_KNOWN);
      }
    return sum;
  }
  const label = new Int32Array(n).fill(-1);
  for (let b = 0; b < n; b++)
    if (inHole[b] !== 0) {
      label[b] = 0;
      for (let k = 1; k < offsets.length; k++) if (unary[k]![b]! < unary[label[b]!]![b]!) label[b] = k;
    }
  const seam = (b: number, a: number, c: number): number => {
    if (a === c) return 0;
    const i = places[b]!;
    return valid(i, a) && valid(i, c) ? apart(i + lead[a]!, i + lead[c]!) : HALF_KNOWN;
  };
  const between = (p: number, q: number, a: number, c: number): number => seam(p, a, c) + seam(q, a, c);
  const steps = [1, bw] as const;
  for (let round = 0; round < ROUNDS; round++) {
    let moved = 0;
    for (let k = 0; k < offsets.length; k++) moved += expand(k);
    if (moved === 0) break;
  }
  function expand(k: number): number {
    const terminal = new Float32Array(n),
      edges = [0, 1, 2, 3].map(() => new Float32Array(n)) as [Float32Array, Float32Array, Float32Array, Float32Array];
    // Cost of taking k less the cost of staying.
    for (let b = 0; b < n; b++) if (inHole[b] !== 0) terminal[b] = unary[k]![b]! - unary[label[b]!]![b]!;
    for (let y = 0; y < bh; y++)
      for (let x = 0; x < bw; x++)
        for (let d = 0; d < 2; d++) {
          const p = y * bw + x,
            q = p + steps[d]!;
          if ((d === 0 ? x + 1 >= bw : y + 1 >= bh) || inHole[p] === 0 || inHole[q] === 0) continue;
          const A = between(p, q, label[p]!, label[q]!),
            B = between(p, q, label[p]!, k),
            C = between(p, q, k, label[q]!),
            half = Math.max(0, B + C - A) / 2;
          edges[d === 0 ? 0 : 2][p] = half;
          terminal[p] = terminal[p]! + C - A - half;
          terminal[q] = terminal[q]! + B - A - half;
        }
    const take = gridCut(
      terminal.map((v) => -v),
      edges,
      bw,
      bh,
    );
    let moved = 0;
    for (let b = 0; b < n; b++)
      if (inHole[b] !== 0 && take[b] === 1 && label[b] !== k) {
        label[b] = k;
        moved++;
      }
    return moved;
  }
  const out = new Int32Array(w * h).fill(-1);
  for (let b = 0; b < n; b++) if (inHole[b] !== 0) out[places[b]!] = label[b]!;
  return out;
}

/**
 * Shifts with enough added that every pixel of the hole has one which leads to a known pixel: to the nearest known
 * along a row, else anywhere.
 */
export function coverHole(
  offsets: readonly Offset[],
  hole: Uint8Array,
  known: Uint8Array,
  w: number,
  h: number,
): Offset[] {
  const out = [...offsets],
    sources: number[] = [];
  for (let i = 0; i < known.length; i++) if (known[i] !== 0) sources.push(i);
  if (sources.length === 0) return [];
  for (let i = 0; i < hole.length; i++) {
    if (hole[i] === 0) continue;
    const x = i % w,
      y = Math.floor(i / w);
    if (
      out.some(
        ({ dx, dy }) => x + dx >= 0 && y + dy >= 0 && x + dx < w && y + dy < h && known[(y + dy) * w + x + dx] !== 0,
      )
    )
      continue;
    let best = sources[0]!,
      least = Infinity;
    for (const s of sources) {
      const dx = (s % w) - x,
        dy = Math.floor(s / w) - y,
        d = dx * dx + 4 * dy * dy;
      if (d < least) {
        least = d;
        best = s;
      }
    }
    out.push({ dx: (best % w) - x, dy: Math.floor(best / w) - y });
  }
  return out;
}

function boxOf(hole: Uint8Array, w: number, h: number): { x0: number; y0: number; x1: number; y1: number } {
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      if (hole[y * w + x] !== 0) {
        x0 = Math.min(x0, x);
        x1 = Math.max(x1, x + 1);
        y0 = Math.min(y0, y);
        y1 = y + 1;
      }
  return { x0, y0, x1, y1 };
}
